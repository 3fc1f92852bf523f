package config

import (
	"fmt"
	"net"
	"net/netip"
	"net/url"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"
)

// The checks of single texts answer with what would be right, or with nothing.

// orBlank lets the empty text pass.
func orBlank(check func(string) string) func(string) string {
	return func(s string) string {
		if s == "" {
			return ""
		}
		return check(s)
	}
}

// level is one level of the topics: letters, digits and hyphens alone, so that
// every broker and bridge takes it as it is.
var level = regexp.MustCompile(`^[a-z0-9-]+$`)

func pressName(s string) string {
	if !level.MatchString(s) {
		return `want one level of small letters a to z, digits and "-", such as "north-bench"`
	}
	return ""
}

func topicLevels(s string) string {
	if s == "" {
		return ""
	}
	for l := range strings.SplitSeq(s, "/") {
		if !level.MatchString(l) {
			return `want levels of small letters a to z, digits and "-" with "/" between, such as "riverside/hose-shop"`
		}
	}
	return ""
}

// lineName wants a name as the kernel gives to GPIO lines: up to 31 bytes
// (GPIO_MAX_NAME_SIZE in linux/gpio.h is 32 with the closing zero).
func lineName(s string) string {
	if !printable(s, 31) || s != strings.TrimSpace(s) {
		return `want the name of an input line, such as "GPIO17"`
	}
	if _, err := strconv.Atoi(s); err == nil {
		return fmt.Sprintf("a number changes its meaning from board to board: want the line's name, such as %q", "GPIO"+s)
	}
	return ""
}

func portName(s string) string {
	if !printable(s, 255) || strings.TrimSpace(s) == "" {
		return `want the name of the caliper's serial port, such as "/dev/serial/by-id/…" (benchtally ports lists them)`
	}
	return ""
}

var formatForm = regexp.MustCompile(`^[a-z0-9][a-z0-9_.+-]{0,31}$`)

func formatName(s string) string {
	if !formatForm.MatchString(s) {
		return `want "auto" or the name of a format that benchtally listen shows`
	}
	return ""
}

func requestBytes(s string) string {
	if len(s) > 16 || strings.ContainsFunc(s, func(r rune) bool { return r >= utf8.RuneSelf }) {
		return `want at most 16 plain characters, such as "R\r"`
	}
	return ""
}

// stopBits takes 1 or 2.
func stopBits(at func(*Config) *string) setter {
	return func(c *Config, v any) string {
		var n int
		if wrong := number(func(*Config) *int { return &n }, 1, 2)(c, v); wrong != "" {
			return wrong
		}
		*at(c) = strconv.Itoa(n)
		return ""
	}
}

func scannerName(s string) string {
	if !printable(s, 255) || strings.TrimSpace(s) == "" {
		return `want the name of the scanner's port, such as "/dev/serial/by-id/…" (benchtally ports lists them), or "" for none`
	}
	return ""
}

// pointForm is the form of the names of points: they are kept in records.
var pointForm = regexp.MustCompile(`^[a-z0-9][a-z0-9-]{0,31}$`)

func pointName(s string) string {
	if !pointForm.MatchString(s) {
		return `want small letters, digits and "-", such as "square-cut"`
	}
	switch s {
	case "length", "angle", "proof", "first-piece", "assembly":
		return "this is looked at anyway, where the job card asks for it: leave it out"
	}
	return ""
}

func shortText(s string) string {
	if !printable(s, 60) || strings.TrimSpace(s) == "" {
		return "want at most 60 bytes without control characters"
	}
	return ""
}

// hostName is a name or an address under which the page answers.
func hostName(s string) string {
	if _, err := netip.ParseAddr(s); err == nil {
		return ""
	}
	if len(s) > 253 || !hostForm.MatchString(s) {
		return `want the name of a host without scheme and port, such as "press-1.shop.example"`
	}
	return ""
}

var hostForm = regexp.MustCompile(`^[A-Za-z0-9]([A-Za-z0-9-]*[A-Za-z0-9])?(\.[A-Za-z0-9]([A-Za-z0-9-]*[A-Za-z0-9])?)*$`)

// machineAddress is the address of one machine.
func machineAddress(s string) string {
	if a, err := netip.ParseAddr(s); err != nil || a.IsUnspecified() {
		return `want the address of the machine that the reverse proxy runs on, such as "127.0.0.1"`
	}
	return ""
}

// controlLine takes the state of a control line of the caliper's port.
func controlLine(at func(*Config) *string) setter {
	take := choice(at, "on", "off", "leave")
	return func(c *Config, v any) string {
		if v == "leave" {
			*at(c) = ""
			return ""
		}
		return take(c, v)
	}
}

func plainText(s string) string {
	if !printable(s, 128) {
		return "want at most 128 bytes without control characters"
	}
	return ""
}

func filePath(s string) string {
	switch {
	case s == "":
		return "want the name of a file"
	case !printable(s, 1024):
		return "want the name of a file, without control characters"
	case s == "~" || strings.HasPrefix(s, "~/"):
		return "~ means nothing here: write the whole path"
	case strings.HasSuffix(s, "/"):
		return "want the name of a file, this is a folder"
	}
	return ""
}

// printable says whether s has up to most bytes, none of them a control character.
func printable(s string, most int) bool {
	return len(s) <= most && s != "" && !strings.ContainsFunc(s, func(r rune) bool {
		return r == unicode.ReplacementChar || !unicode.IsPrint(r)
	})
}

// brokers takes one address or several, parted by blanks, and keeps each with its
// port. Blank is what "" means.
func brokers(at func(*Config) *string, blank string) setter {
	want := `want "tcp://HOST:1883" or "ssl://HOST:8883", several parted by a blank, or "" ` + blank
	return func(c *Config, v any) string {
		s, ok := v.(string)
		if !ok || s != "" && strings.TrimSpace(s) == "" {
			return want
		}
		var all []string
		for _, one := range strings.Fields(s) {
			if strings.ContainsAny(one, ",;") {
				return "several brokers are parted by a blank alone: take the comma or semicolon out"
			}
			address, text := brokerAddress(one, want)
			if text != "" {
				return text
			}
			if slices.Contains(all, address) {
				return "the same broker stands there twice: " + address
			}
			if len(all) > 0 && address[:3] != all[0][:3] {
				return "some of the brokers are with TLS and some without: write ssl:// for all"
			}
			all = append(all, address)
		}
		if len(all) > mostBrokers {
			return fmt.Sprintf("want at most %d brokers", mostBrokers)
		}
		*at(c) = strings.Join(all, " ")
		return ""
	}
}

// sparkplugID is an id of Sparkplug 3.0, chapter 4: no +, / and #; a group called
// STATE would lie among the states of hosts.
func sparkplugID(s string) string {
	switch {
	case !printable(s, 128):
		return "want 1 to 128 bytes without control characters"
	case strings.ContainsAny(s, "+/#"):
		return "+, / and # may not stand in it"
	case s == "STATE":
		return "the name STATE belongs to hosts"
	}
	return ""
}

// mostBrokers bounds the list of brokers; our own limit.
const mostBrokers = 16

// brokerAddress takes tcp://host or ssl://host with an optional port, and gives
// it with its port, or says what is wrong.
func brokerAddress(s, want string) (address, fault string) {
	u, err := url.Parse(s)
	switch {
	case err != nil || u.Host == "" || !printable(s, 512):
		return "", want
	case u.User != nil:
		return "", "user and password do not belong here: write user and password_file"
	case u.Path != "" || u.RawQuery != "" || u.Fragment != "" || u.ForceQuery:
		return "", "nothing may stand behind the port: " + want
	}
	port, secure := "1883", false
	switch u.Scheme {
	case "tcp":
	case "ssl":
		port, secure = "8883", true
	case "mqtt":
		return "", "write tcp:// in place of mqtt://"
	case "mqtts", "tls":
		return "", "write ssl:// in place of " + u.Scheme + "://"
	default:
		return "", want
	}
	if p := u.Port(); p != "" {
		port = p
	}
	if n, err := strconv.Atoi(port); err != nil || n < 1 || n > 65535 || u.Hostname() == "" {
		return "", "want a port of 1 to 65535"
	}
	return map[bool]string{false: "tcp://", true: "ssl://"}[secure] + net.JoinHostPort(u.Hostname(), port), ""
}

// listenAddress is an address of this machine with a port; what one that others
// reach needs besides is in relations.go.
func listenAddress(s string) string {
	host, port, err := net.SplitHostPort(s)
	if err != nil {
		return `want HOST:PORT, such as "127.0.0.1:8737", or "" for no page`
	}
	if n, err := strconv.ParseUint(port, 10, 16); err != nil || strconv.FormatUint(n, 10) != port {
		return "want a port of 0 to 65535 (0: any that is free)"
	}
	if _, err := netip.ParseAddr(host); err != nil && host != "localhost" && host != "" {
		return `want an address of this machine before the port, not a name, such as "127.0.0.1:` + port + `"`
	}
	return ""
}

// metricsAddress is an address to give metrics away at.
func metricsAddress(s string) string {
	if text := listenAddress(s); text != "" {
		return strings.NewReplacer("no page", "no metrics", "8737", "8738").Replace(text)
	}
	return ""
}

// shownHere says whether a page that listens there is reached from this machine
// alone.
func shownHere(listen string) bool {
	host, _, err := net.SplitHostPort(listen)
	return err == nil && onThisMachine(host)
}

// onThisMachine says whether a host name or address is the loopback.
func onThisMachine(host string) bool {
	if host == "localhost" {
		return true
	}
	a, err := netip.ParseAddr(host)
	return err == nil && a.Unmap().IsLoopback()
}
