package main

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"net"
	"os"
	"os/exec"
	"os/user"
	"path/filepath"
	"strconv"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
)

// postgres is a server of its own process, on a loopback port.
type postgres struct {
	bin, dir, port string
	as             *syscall.SysProcAttr
	cmd            *exec.Cmd
	log            bytes.Buffer
}

// shared serves all tests of this process; each has a database of its own.
var (
	shared    *postgres
	databases atomic.Int32
)

// newPostgres starts a server with settings of its own. Without it on this
// machine the test is skipped, or fails where the variable CI is set.
func newPostgres(t testing.TB, settings ...string) *postgres {
	t.Helper()
	var bin string
	places, _ := filepath.Glob("/usr/lib/postgresql/*/bin") // of Debian; the newest is last
	if len(places) > 0 {
		bin = places[len(places)-1]
	} else if path, err := exec.LookPath("initdb"); err == nil {
		bin = filepath.Dir(path)
	}
	if bin == "" {
		if os.Getenv("CI") != "" {
			t.Fatal("postgresql is not installed; it is needed where CI is set")
		}
		t.Skip("postgresql is not installed")
	}
	_, port, _ := net.SplitHostPort(freePort(t))
	p := &postgres{bin: bin, port: port}
	var err error
	if p.dir, err = os.MkdirTemp("", "collector-postgres-"); err != nil {
		t.Fatal(err)
	}
	if os.Getuid() == 0 { // it refuses to run as root
		u, err := user.Lookup("postgres")
		if err != nil {
			if u, err = user.Lookup("nobody"); err != nil {
				t.Fatal(err)
			}
		}
		uid, _ := strconv.ParseUint(u.Uid, 10, 32)
		gid, _ := strconv.ParseUint(u.Gid, 10, 32)
		p.as = &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: uint32(uid), Gid: uint32(gid)}}
		if err := os.Chown(p.dir, int(uid), int(gid)); err != nil {
			t.Fatal(err)
		}
	}
	initdb := exec.Command(filepath.Join(bin, "initdb"), "-D", p.dir+"/data", "-U", "postgres", "-A", "trust", "-E", "UTF8", "--locale=C", "--no-sync")
	initdb.SysProcAttr, initdb.Dir = p.as, p.dir
	if out, err := initdb.CombinedOutput(); err != nil {
		t.Fatalf("initdb: %v\n%s", err, out)
	}
	config, err := os.OpenFile(p.dir+"/data/postgresql.conf", os.O_APPEND|os.O_WRONLY, 0)
	if err != nil {
		t.Fatal(err)
	}
	defer config.Close() //nolint:errcheck // test
	for _, s := range append([]string{"listen_addresses = '127.0.0.1'", "port = " + p.port, "unix_socket_directories = ''", "timezone = 'UTC'"}, settings...) {
		if _, err := fmt.Fprintln(config, s); err != nil {
			t.Fatal(err)
		}
	}
	p.start(t)
	return p
}

// start starts the server and waits until it answers.
func (p *postgres) start(t testing.TB) {
	t.Helper()
	p.cmd = exec.Command(filepath.Join(p.bin, "postgres"), "-D", p.dir+"/data")
	p.cmd.SysProcAttr, p.cmd.Dir = p.as, p.dir
	p.cmd.Stdout, p.cmd.Stderr = &p.log, &p.log
	if err := p.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	until(t, "postgres answers", func() bool {
		db, err := pgx.Connect(t.Context(), p.url("postgres"))
		if err != nil {
			return false
		}
		return db.Close(t.Context()) == nil
	})
}

// stop ends the server: SIGINT in order, SIGQUIT as a crash does.
func (p *postgres) stop(how syscall.Signal) {
	if p.cmd != nil {
		_ = p.cmd.Process.Signal(how)
		_ = p.cmd.Wait()
		p.cmd = nil
	}
}

func (p *postgres) remove() {
	p.stop(syscall.SIGQUIT)
	_ = os.RemoveAll(p.dir)
}

func (p *postgres) url(database string) string {
	return "postgres://postgres@127.0.0.1:" + p.port + "/" + database + "?sslmode=disable"
}

// database is a new one with the tables and views in it.
func (p *postgres) database(t testing.TB) (url string, db *pgx.Conn) {
	t.Helper()
	name := fmt.Sprintf("presses_%d", databases.Add(1))
	admin, err := pgx.Connect(t.Context(), p.url("postgres"))
	if err != nil {
		t.Fatal(err)
	}
	defer admin.Close(t.Context()) //nolint:errcheck // test
	if _, err := admin.Exec(t.Context(), "CREATE DATABASE "+name); err != nil {
		t.Fatal(err)
	}
	for range 2 { // may be run again
		if err := run(t.Context(), []string{"--create", "--database", p.url(name)}, io.Discard, os.Stderr); err != nil {
			t.Fatal(err)
		}
	}
	return p.url(name), connect(t, p.url(name))
}

// newDatabase is one of the shared server.
func newDatabase(t testing.TB) (url string, db *pgx.Conn) {
	t.Helper()
	if shared == nil {
		shared = newPostgres(t, "fsync = off") // nothing here pulls a plug
	}
	return shared.database(t)
}

func connect(t testing.TB, url string) *pgx.Conn {
	t.Helper()
	db, err := pgx.Connect(t.Context(), url)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = db.Close(context.Background()) })
	return db
}

// ask is the answer of a query, a row in each line, columns parted by blanks.
func ask(t testing.TB, db *pgx.Conn, query string, args ...any) string {
	t.Helper()
	answer, err := answerOf(t.Context(), db, query, args...)
	if err != nil {
		t.Fatalf("%s: %v", query, err)
	}
	return answer
}

func answerOf(ctx context.Context, db *pgx.Conn, query string, args ...any) (string, error) {
	args = append([]any{pgx.QueryExecModeSimpleProtocol}, args...) // as text
	rows, err := db.Query(ctx, query, args...)
	if err != nil {
		return "", err
	}
	defer rows.Close()
	var all []byte
	for rows.Next() {
		if len(all) > 0 {
			all = append(all, '\n')
		}
		for i, v := range rows.RawValues() {
			if i > 0 {
				all = append(all, ' ')
			}
			if v == nil {
				v = []byte("-")
			}
			all = append(all, v...)
		}
	}
	return string(all), rows.Err()
}

// until waits for a condition.
func until(t testing.TB, what string, ok func() bool) {
	t.Helper()
	for end := time.Now().Add(60 * time.Second); !ok(); time.Sleep(10 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatalf("waited a minute for: %s", what)
		}
	}
}

func TestMain(m *testing.M) {
	if os.Getenv(childCollector) != "" { // this process is to be a collector, killed by its test
		main()
		return
	}
	code := m.Run()
	if shared != nil {
		shared.remove()
	}
	os.Exit(code)
}

// childCollector tells this test binary to be the program.
const childCollector = "COLLECTOR_TEST_CHILD"
