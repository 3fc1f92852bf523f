package main

import (
	"context"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// The panel says that it waits while there is no page, and goes there once there is
// one, without a touch.
func TestKioskWaitsForThePage(t *testing.T) {
	wants(t, "chromium")
	dir := t.TempDir()
	wait := filepath.Join(dir, "wait.html")
	if err := os.WriteFile(wait, content("kiosk/wait.html"), 0o600); err != nil {
		t.Fatal(err)
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	address := l.Addr().String()
	_ = l.Close() // nobody listens there any more

	ctx, cancel := context.WithTimeout(t.Context(), 2*time.Minute)
	defer cancel()
	args := []string{"--headless", "--no-sandbox", "--disable-gpu", "--user-data-dir=" + filepath.Join(dir, "browser")}
	url := "file://" + wait + "#http://" + address + "/"
	shown, err := output(ctx, dir, nil, "chromium", append(args, "--dump-dom", url)...)
	if err != nil || !strings.Contains(shown, "The page of this press is not there yet.") {
		t.Fatalf("without a page it shows %q, %v", shown, err)
	}

	asked := make(chan string, 16)
	server := &http.Server{ReadHeaderTimeout: time.Minute, Handler: http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		_, _ = w.Write([]byte("<!doctype html><title>there</title>"))
		if r.Header.Get("Sec-Fetch-Dest") == "document" {
			select {
			case asked <- r.URL.Path:
			default:
			}
		}
	})}
	defer server.Close() //nolint:errcheck // at the end
	browsing, end := context.WithCancel(ctx)
	defer end()
	ended := make(chan error, 1)
	go func() {
		_, err := output(browsing, dir, nil, "chromium", append(args, "--remote-debugging-port=0", url)...)
		ended <- err
	}()
	// It looks each second; whether it has looked before the page is there makes no
	// difference to what must come.
	if l, err = net.Listen("tcp", address); err != nil {
		t.Fatal(err)
	}
	go func() { _ = server.Serve(l) }()
	select {
	case path := <-asked:
		if path != "/" {
			t.Errorf("it goes to %s", path)
		}
	case err := <-ended:
		t.Fatalf("the browser has ended: %v", err)
	case <-ctx.Done():
		t.Fatal("the page is there, and the panel has not gone to it")
	}
	end()
	<-ended //nolint:errcheck // it was ended
}

// What is installed is off, its user can read no records, the browser is started
// with the page, and all that it needs is to be had.
func TestKioskInACleanDebian(t *testing.T) {
	d := cleanDebian(t)
	agent, kiosk := d.bring(packageOf(t, older, "amd64")), d.bring(kioskOf(t, older))
	planned := d.sh("apt-get -q -s --no-install-recommends install " + agent + " " + kiosk)
	for _, want := range []string{"Inst cage ", "Inst chromium ", "Inst libpam-systemd ", "Inst fonts-dejavu-core ", "Inst benchtally-kiosk ", "Inst benchtally "} {
		if !strings.Contains(planned, "\n"+want) {
			t.Errorf("apt would not %s:\n%s", want, planned)
		}
	}

	// The browser itself would be some 400 MB: what stands for it says how it was called.
	d.sh(`printf '#!/bin/sh\nprintf "%%s\\n" "$@"\n' >/usr/bin/chromium && chmod 755 /usr/bin/chromium && ln -s chromium /usr/bin/cage`)
	d.sh("dpkg -i --force-depends " + agent + " " + kiosk)
	if got := d.sh("systemctl is-enabled benchtally-kiosk.service || true"); got != "disabled\n" {
		t.Errorf("installed, it is %q", got)
	}
	if got := d.sh("systemd-analyze verify benchtally-kiosk.service 2>&1"); got != "" {
		t.Errorf("the unit: %s", got)
	}
	args := d.sh("STATE_DIRECTORY=/var/lib/x XDG_RUNTIME_DIR=/run/y BENCHTALLY_PAGE=http://127.0.0.1:8737/ setpriv --reuid=benchtally-kiosk --regid=benchtally-kiosk --init-groups /usr/libexec/benchtally-kiosk/browser")
	for _, want := range []string{"--kiosk", "file:///usr/share/benchtally-kiosk/wait.html#http://127.0.0.1:8737/", "--user-data-dir=/var/lib/x/browser", "--disk-cache-dir=/run/y/benchtally-kiosk"} {
		if !strings.Contains("\n"+args, "\n"+want+"\n") {
			t.Errorf("the browser gets no %s:\n%s", want, args)
		}
	}
	d.sh("test -r /usr/share/benchtally-kiosk/wait.html && ! setpriv --reuid=benchtally-kiosk --regid=benchtally-kiosk --init-groups ls /var/lib/benchtally 2>/dev/null")

	// Turned on, it stays so through an upgrade, and off it is gone.
	d.sh("systemctl enable -q benchtally-kiosk && dpkg -i --force-depends " + d.bring(kioskOf(t, newer)) + " && systemctl is-enabled benchtally-kiosk")
	d.sh("mkdir -p /var/lib/benchtally-kiosk/browser && dpkg --force-depends --purge benchtally-kiosk && test ! -e /var/lib/benchtally-kiosk && test -d /var/lib/benchtally")
}
