package main

import (
	"crypto/tls"
	"io"
	"net/http"
	"net/http/httptest"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"benchtally/agent/config"
	"benchtally/agent/people"
	"benchtally/agent/record"
)

// TestPageByTLS: with a certificate the page is served by TLS.
func TestPageByTLS(t *testing.T) {
	dir, file := shop(t, "[page]\nlisten = \"127.0.0.1:48738\"\ncert = \"page.pem\"\nkey = \"page.key\"\n")
	ca := newAuthority(t)
	ca.sign(t, filepath.Join(dir, "page.pem"), filepath.Join(dir, "page.key"), time.Now().Add(time.Hour))
	a := startAgent(t, file)
	a.say(`{"do":"start","order":"A-1001","spec":"hs-08","quantity":6,"setting":120}`)
	a.next(record.Start)
	browser := ca.browser(&tls.Config{})
	for deadline := time.Now().Add(10 * time.Second); ; time.Sleep(20 * time.Millisecond) { // it may not listen yet
		answer, err := browser.Get("https://127.0.0.1:48738/")
		if err != nil && time.Now().Before(deadline) {
			continue
		}
		if err != nil {
			t.Fatal(err)
		}
		body, err := io.ReadAll(answer.Body)
		_ = answer.Body.Close()
		if err != nil || answer.StatusCode != http.StatusOK || !strings.Contains(string(body), "Advice only") {
			t.Errorf("the page is %s, %v:\n%s", answer.Status, err, body)
		}
		break
	}
	a.end()
}

// TestDirect: the page is not shown by a way that the configuration does not name.
func TestDirect(t *testing.T) {
	for _, c := range []struct {
		name, proxy, peer string
		tls, forwarded    bool
		says              string // "": it is shown
	}{
		{"the screen at the press", "", "127.0.0.1:4000", false, false, ""},
		{"the screen at the press, IPv6", "", "[::1]:4000", false, false, ""},
		{"by TLS", "", "192.0.2.7:4000", true, false, ""},
		{"through the proxy", "192.0.2.1", "192.0.2.1:4000", false, true, ""},
		{"through the proxy here", "127.0.0.1", "127.0.0.1:4000", false, true, ""},
		{"the screen beside the proxy", "192.0.2.1", "127.0.0.1:4000", false, false, ""},
		{"through a proxy here that is not named", "", "127.0.0.1:4000", false, true, "a proxy that the page does not know"},
		{"through another proxy", "192.0.2.1", "192.0.2.2:4000", false, true, "a proxy that the page does not know"},
		{"through another proxy by TLS", "", "192.0.2.2:4000", true, true, "a proxy that the page does not know"},
		{"past the proxy", "192.0.2.1", "192.0.2.7:4000", false, false, "not shown unencrypted"},
		{"from nowhere", "192.0.2.1", "", false, false, "not shown unencrypted"},
	} {
		proxy, err := people.ParseProxy(c.proxy)
		if err != nil {
			t.Fatal(err)
		}
		r := httptest.NewRequest("GET", "/", nil)
		r.RemoteAddr = c.peer
		if c.tls {
			r.TLS = new(tls.ConnectionState)
		}
		if c.forwarded {
			r.Header.Set("X-Forwarded-For", "192.0.2.9")
		}
		w := httptest.NewRecorder()
		direct(proxy, http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { _, _ = io.WriteString(w, "shown") })).ServeHTTP(w, r)
		body := w.Body.String()
		switch {
		case c.says == "" && (w.Code != http.StatusOK || body != "shown"):
			t.Errorf("%s: %d, %q, want the page", c.name, w.Code, body)
		case c.says != "" && (w.Code != http.StatusForbidden || !strings.Contains(body, c.says)):
			t.Errorf("%s: %d, %q, want %q in it", c.name, w.Code, body, c.says)
		}
	}
}

// TestPageTrouble: what keeps people from the page is told, and only while it does.
func TestPageTrouble(t *testing.T) {
	dir := t.TempDir()
	page := config.Page{
		Cert: filepath.Join(dir, "page.pem"), Key: filepath.Join(dir, "page.key"),
		Operators: filepath.Join(dir, "operators.csv"), SignIn: true,
	}
	says := func(want string) {
		t.Helper()
		a := &agent{pair: pagePair(page), door: pageDoor(page)}
		if got := a.pageTrouble(); (got == "") != (want == "") || !strings.Contains(got, want) {
			t.Errorf("the trouble is %q, want %q in it", got, want)
		}
	}
	says("page.pem")
	newAuthority(t).sign(t, page.Cert, page.Key, time.Now().Add(time.Hour))
	says("operators.csv: there is no such file")
	write(t, page.Operators, "operator,name,lead,pin,badge\n")
	says("")
	write(t, page.Operators, "operator,name,lead,pin,badge\nkj,,no,,\n")
	says("operators.csv:2:5: lead")
	page.SignIn = false
	says("")
	page.Cert = ""
	says("")
}
