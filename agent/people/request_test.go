package people

import (
	"crypto/tls"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
)

func TestCookie(t *testing.T) {
	token := newToken()
	for secure, want := range map[bool]string{
		true:  "benchtally=" + token + "; Path=/; HttpOnly; Secure; SameSite=Strict",
		false: "benchtally=" + token + "; Path=/; HttpOnly; SameSite=Strict",
	} {
		if got := Cookie(token, secure).String(); got != want {
			t.Errorf("the cookie is %q, want %q", got, want)
		}
	}
	if got := Cookie("", true).String(); got != "benchtally=; Path=/; Max-Age=0; HttpOnly; Secure; SameSite=Strict" {
		t.Errorf("the cookie is taken away by %q", got)
	}
	for header, want := range map[string]string{
		"benchtally=" + token:                  token,
		"a=b; benchtally=" + token + "; c=d":   token,
		"benchtally=" + token[1:]:              "",
		"benchtally=" + token + token:          "",
		"other=" + token:                       "",
		"":                                     "",
		"benchtally=" + strings.Repeat("é", 4): "",
	} {
		r := httptest.NewRequest("GET", "/", nil)
		r.Header.Set("Cookie", header)
		if got := TokenOf(r); got != want {
			t.Errorf("%q carries %q, want %q", header, got, want)
		}
	}
}

func TestParseProxy(t *testing.T) {
	for _, bad := range []string{"proxy", "192.0.2.1:80", "192.0.2.0/24", "0.0.0.0", "::", " 127.0.0.1"} {
		if p, err := ParseProxy(bad); err == nil || !strings.Contains(err.Error(), "such as 127.0.0.1") {
			t.Errorf("%q is %v, %v", bad, p, err)
		}
	}
}

// TestProxy: what a request says of who asks counts from the proxy alone, and of
// that only what the proxy added itself.
func TestProxy(t *testing.T) {
	for _, c := range []struct {
		name, proxy, peer string
		headers           http.Header
		from              string
		secure, unknown   bool
	}{
		{"nobody between", "", "192.0.2.7:4000", nil, "192.0.2.7", false, false},
		{"IPv6", "", "[2001:db8::7]:4000", nil, "2001:db8::7", false, false},
		{"IPv6 with a zone", "", "[fe80::7%eth0]:4000", nil, "fe80::7", false, false},
		{"IPv4 in IPv6", "", "[::ffff:192.0.2.7]:4000", nil, "192.0.2.7", false, false},
		{"a socket", "", "@", nil, "@", false, false},
		{"it says what it likes", "", "192.0.2.7:4000", http.Header{"X-Forwarded-For": {"192.0.2.9"}, "X-Forwarded-Proto": {"https"}}, "192.0.2.7", false, true},
		{"it is not the proxy", "127.0.0.1", "192.0.2.7:4000", http.Header{"X-Forwarded-For": {"192.0.2.9"}, "X-Forwarded-Proto": {"https"}}, "192.0.2.7", false, true},
		{"another header", "", "127.0.0.1:4000", http.Header{"Forwarded": {"for=192.0.2.9"}}, "127.0.0.1", false, true},
		{"the proxy", "127.0.0.1", "127.0.0.1:4000", http.Header{"X-Forwarded-For": {"192.0.2.9"}, "X-Forwarded-Proto": {"https"}}, "192.0.2.9", true, false},
		{"the proxy, IPv4 in IPv6", "127.0.0.1", "[::ffff:127.0.0.1]:4000", http.Header{"X-Forwarded-For": {"192.0.2.9"}}, "192.0.2.9", false, false},
		{"the proxy, without TLS", "127.0.0.1", "127.0.0.1:4000", http.Header{"X-Forwarded-For": {"192.0.2.9"}, "X-Forwarded-Proto": {"http"}}, "192.0.2.9", false, false},
		{"the proxy adds to a lie", "::1", "[::1]:4000", http.Header{"X-Forwarded-For": {"192.0.2.1, 192.0.2.9"}, "X-Forwarded-Proto": {"https,http"}}, "192.0.2.9", false, false},
		{"the proxy adds a line", "::1", "[::1]:4000", http.Header{"X-Forwarded-For": {"192.0.2.1", "2001:db8::9"}}, "2001:db8::9", false, false},
		{"the proxy says nothing", "::1", "[::1]:4000", nil, "::1", false, false},
		{"the proxy says nonsense", "::1", "[::1]:4000", http.Header{"X-Forwarded-For": {"unknown"}}, "::1", false, false},
	} {
		p, err := ParseProxy(c.proxy)
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		r := httptest.NewRequest("GET", "/", nil)
		r.RemoteAddr = c.peer
		if c.headers != nil {
			r.Header = c.headers
		}
		if from, secure, unknown := p.From(r), p.Secure(r), p.Unannounced(r); from != c.from || secure != c.secure || unknown != c.unknown {
			t.Errorf("%s: from %s, secure %v, through another proxy %v; want %s, %v, %v", c.name, from, secure, unknown, c.from, c.secure, c.unknown)
		}
		if r.TLS = new(tls.ConnectionState); !p.Secure(r) {
			t.Errorf("%s: by TLS it is not secure", c.name)
		}
	}
}
