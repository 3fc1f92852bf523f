/*
 * The floor: it keeps caliper lines and publishes them, and nothing else. Each line is
 * appended to a file and synced before it is printed, published at QoS 1 of MQTT 3.1.1,
 * and passed in the outbox once the broker has acknowledged it. Less cannot be done for
 * the same promise; what a program takes beyond this, it takes for what else it does.
 *
 *	floor BASE PORT FILE WINDOW
 */
#define _GNU_SOURCE
#include <arpa/inet.h>
#include <errno.h>
#include <fcntl.h>
#include <netinet/tcp.h>
#include <poll.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <time.h>
#include <unistd.h>

static const char *base;
static int port, window;
static int file = -1, mark = -1;     /* the records, one JSON line each; where the outbox begins */
static uint64_t last;                /* seq of the latest record */
static struct { uint64_t seq, at; } sent; /* acknowledged up to this seq, and where the next record begins */

static int broker = -1;              /* -1: away */
static int greeted;                  /* CONNACK has come */
static time_t again;                 /* when the next attempt is due */
static time_t spoke;                 /* when something was written last */
static uint64_t next_at;             /* where the next record to be published begins */
static uint64_t next_seq;
static struct { uint16_t id; uint64_t end; } air[1024];
static unsigned first, flying;       /* of air, a ring */
static uint16_t packet;

static unsigned char heard[4096];
static size_t hears;
static char ahead[1 << 16];          /* records read from the file */
static uint64_t ahead_at;
static size_t ahead_n;

static void die(const char *what) { perror(what); exit(1); }

static void put(int fd, const void *b, size_t n)
{
	for (const char *p = b; n > 0;) {
		ssize_t k = write(fd, p, n);
		if (k < 0 && errno == EINTR) continue;
		if (k < 0) die("write");
		p += k, n -= (size_t)k;
	}
}

/* away ends the connection; what was in flight is sent again over the next one. */
static void away(void)
{
	if (broker >= 0) close(broker);
	broker = -1, greeted = 0, hears = 0, flying = 0;
	next_seq = sent.seq + 1, next_at = sent.at;
	again = time(NULL) + 1;
}

/* tell writes to the broker, which is away if it does not take it. */
static int tell(const void *b, size_t n)
{
	spoke = time(NULL);
	while (n > 0) {
		ssize_t k = send(broker, b, n, MSG_NOSIGNAL);
		if (k <= 0) { away(); return 0; }
		b = (const char *)b + k, n -= (size_t)k;
	}
	return 1;
}

static void call(void)
{
	struct sockaddr_in to = {.sin_family = AF_INET, .sin_port = htons((uint16_t)port), .sin_addr.s_addr = htonl(INADDR_LOOPBACK)};
	int yes = 1;
	if ((broker = socket(AF_INET, SOCK_STREAM, 0)) < 0) die("socket");
	if (connect(broker, (struct sockaddr *)&to, sizeof to) < 0) { away(); return; }
	setsockopt(broker, IPPROTO_TCP, TCP_NODELAY, &yes, sizeof yes);
	unsigned char b[64] = {0x10, 0, 0, 4, 'M', 'Q', 'T', 'T', 4, 2, 0, 60};
	int n = snprintf((char *)b + 14, 32, "floor-%d", (int)getpid());
	b[13] = (unsigned char)n, b[1] = (unsigned char)(12 + n);
	tell(b, (size_t)(14 + n));
}

/* publish sends the record of the line as an event, a CloudEvent as the agent's are. */
static int publish(const char *line, size_t n, uint64_t seq)
{
	static char b[4096];
	char *body = b + 8;
	const char *at = memmem(line, n, "\"at\":\"", 6);
	if (!at) { fprintf(stderr, "no record in the file\n"); exit(1); }
	int topic = snprintf(body + 2, 256, "%s/event/reading", base);
	body[0] = (char)(topic >> 8), body[1] = (char)topic;
	if (++packet == 0) packet = 1;
	char *p = body + 2 + topic;
	*p++ = (char)(packet >> 8), *p++ = (char)packet;
	p += sprintf(p, "{\"specversion\":\"1.0\",\"id\":\"floor-%llu\",\"source\":\"/%s\",\"type\":\"benchtally.reading.v1\",\"time\":\"%.27s\","
		"\"datacontenttype\":\"application/json\",\"sequence\":\"%020llu\",\"data\":", (unsigned long long)seq, base, at + 6, (unsigned long long)seq);
	memcpy(p, line, n), p += n, *p++ = '}';
	size_t size = (size_t)(p - body);
	/* always two bytes of length: 128 to 16,383 */
	char *head = body - 3;
	head[0] = 0x32, head[1] = (char)(size & 127) | (char)0x80, head[2] = (char)(size >> 7);
	return tell(head, size + 3);
}

/* fill publishes what the window has room for. */
static void fill(void)
{
	while (greeted && flying < (unsigned)window && next_seq <= last) {
		if (next_at < ahead_at || next_at >= ahead_at + ahead_n || !memchr(ahead + (next_at - ahead_at), '\n', ahead_n - (next_at - ahead_at))) {
			ssize_t k = pread(file, ahead, sizeof ahead, (off_t)next_at);
			if (k <= 0) die("read back");
			ahead_at = next_at, ahead_n = (size_t)k;
		}
		char *line = ahead + (next_at - ahead_at);
		char *end = memchr(line, '\n', ahead_n - (next_at - ahead_at));
		if (!end) { fprintf(stderr, "half a record in the file\n"); exit(1); }
		if (!publish(line, (size_t)(end - line), next_seq)) return;
		next_at += (uint64_t)(end - line) + 1, next_seq++;
		air[(first + flying) % 1024].id = packet;
		air[(first + flying++) % 1024].end = next_at;
	}
}

/* hear takes what the broker says. */
static void hear(void)
{
	ssize_t k = recv(broker, heard + hears, sizeof heard - hears, 0);
	if (k <= 0) { away(); return; }
	hears += (size_t)k;
	size_t at = 0, moved = 0;
	while (hears - at >= 2 && hears - at >= 2u + heard[at + 1]) { /* all packets that come here are short */
		unsigned char *p = heard + at;
		at += 2u + p[1];
		if (p[0] == 0x20) {
			if (p[3] != 0) { fprintf(stderr, "the broker refuses: %d\n", p[3]); exit(1); }
			greeted = 1;
		} else if (p[0] == 0x40 && flying > 0 && air[first].id == (p[2] << 8 | p[3])) { /* in order: MQTT 3.1.1, 4.6 */
			sent.seq++, sent.at = air[first].end;
			first = (first + 1) % 1024, flying--, moved = 1;
		}
	}
	memmove(heard, heard + at, hears -= at);
	/* Not synced: after a power cut events are sent again, none is lost. */
	if (moved && pwrite(mark, &sent, sizeof sent, 0) != sizeof sent) die("mark");
}

/* keep decodes a tape line with a caliper frame in inches, keeps it and prints it. */
static void keep(const char *line)
{
	static const char key[] = "\"text\":\"";
	const char *text = strstr(line, key);
	char *end;
	if (!text) { fprintf(stderr, "not a caliper line: %s\n", line); return; }
	text += sizeof key - 1;
	double inches = strtod(text, &end);
	if (end == text) { fprintf(stderr, "no number: %s\n", line); return; }
	struct timespec now;
	struct tm utc;
	char day[32], b[512];
	clock_gettime(CLOCK_REALTIME, &now);
	strftime(day, sizeof day, "%Y-%m-%dT%H:%M:%S", gmtime_r(&now.tv_sec, &utc));
	int n = snprintf(b, sizeof b, "{\"seq\":%llu,\"at\":\"%s.%06ldZ\",\"kind\":\"reading\",\"diameter_mm\":%.5f,\"raw\":\"%.*s\"}\n",
		(unsigned long long)last + 1, day, now.tv_nsec / 1000, inches * 25.4, (int)(end - text), text);
	put(file, b, (size_t)n);
	if (fdatasync(file) < 0) die("sync");
	last++;
	put(1, b, (size_t)n);
}

int main(int argc, char **argv)
{
	static char in[1 << 16];
	size_t n = 0;
	char name[4096];
	if (argc != 5 || (window = atoi(argv[4])) < 1 || window > 1024) { fprintf(stderr, "usage: floor BASE PORT FILE WINDOW (1 to 1024)\n"); return 2; }
	base = argv[1], port = atoi(argv[2]);
	snprintf(name, sizeof name, "%s.sent", argv[3]);
	if ((file = open(argv[3], O_RDWR | O_CREAT | O_APPEND, 0600)) < 0) die(argv[3]);
	if ((mark = open(name, O_RDWR | O_CREAT, 0600)) < 0) die(name);
	if (pread(mark, &sent, sizeof sent, 0) != sizeof sent) sent.seq = 0, sent.at = 0;
	/* The latest seq: that of the outbox and the lines behind. */
	last = sent.seq;
	for (uint64_t at = sent.at;;) {
		ssize_t k = pread(file, ahead, sizeof ahead, (off_t)at);
		if (k <= 0) break;
		for (ssize_t i = 0; i < k; i++) last += ahead[i] == '\n';
		at += (uint64_t)k;
	}
	away(), again = 0;
	for (int open = 1;;) {
		if (broker < 0 && time(NULL) >= again) call();
		if (greeted && time(NULL) - spoke >= 30) tell("\xc0", 2);
		fill();
		struct pollfd fds[2] = {{.fd = open ? 0 : -1, .events = POLLIN}, {.fd = broker, .events = POLLIN}};
		if (poll(fds, 2, 1000) < 0 && errno != EINTR) die("poll");
		if (fds[1].revents && broker >= 0) hear();
		if (!fds[0].revents) continue;
		ssize_t k = read(0, in + n, sizeof in - 1 - n);
		if (k <= 0) { open = 0; continue; }
		n += (size_t)k;
		size_t done = 0;
		for (char *end; (end = memchr(in + done, '\n', n - done)); done = (size_t)(end - in) + 1) {
			*end = 0;
			keep(in + done);
			fill();
		}
		memmove(in, in + done, n -= done);
	}
}
