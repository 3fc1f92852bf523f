package main

import (
	"context"
	"crypto/tls"
	"log/slog"
	"net"
	"net/http"
	"net/netip"
	"time"

	"benchtally/agent/config"
	"benchtally/agent/panel"
	"benchtally/agent/people"
)

// pageRetry is how long a page waits for an address that is taken.
const pageRetry = 5 * time.Second

// servePage shows the page until ctx ends, by TLS where a certificate is named.
// An address that cannot be had keeps nobody from working: it is tried again.
func (a *agent) servePage(ctx context.Context) error {
	if a.cfg.Page.Listen == "" {
		return nil
	}
	proxy, err := people.ParseProxy(a.cfg.Page.Proxy)
	if err != nil {
		return invalid{err}
	}
	handler := direct(proxy, a.health.board.Handler(a.desk(), panel.Options{
		Hosts:  append([]string{a.cfg.Page.Listen}, a.cfg.Page.Hosts...),
		Closed: a.cfg.Page.ViewSignedIn, Secure: proxy.Secure, Remote: proxy.From,
	}))
	if a.beside != nil {
		handler = a.beside(handler)
	}
	scheme := "http://"
	if a.pair != nil {
		scheme = "https://"
	}
	for told := false; ; {
		listener, err := net.Listen("tcp", a.cfg.Page.Listen)
		if err == nil {
			address := listener.Addr().String()
			slog.Info("page", "address", scheme+address)
			if a.onPage != nil {
				a.onPage(address)
			}
			listener = newCrowd(listener, func(ip netip.Addr) bool { return ip.IsLoopback() || proxy.Is(ip) })
			if a.pair != nil {
				_ = a.pair.trouble() // it is logged now, not when somebody comes
				listener = tls.NewListener(listener, a.pair.config())
			}
			return serveHTTP(ctx, listener, handler)
		}
		if !told {
			told = true
			slog.Warn("the page cannot be shown; it is tried again", "err", err)
		}
		select {
		case <-ctx.Done():
			return nil
		case <-time.After(pageRetry):
		}
	}
}

// pagePair is the certificate of the page; nil: it is served without TLS.
func pagePair(p config.Page) *keyPair {
	if p.Cert == "" {
		return nil
	}
	return &keyPair{cert: p.Cert, key: p.Key, now: time.Now}
}

// pageDoor lets operators in; nil: whoever reaches the page may act.
func pageDoor(p config.Page) *people.Door {
	if !p.SignIn {
		return nil
	}
	return people.NewDoor(p.Operators, people.Settings{Idle: p.Idle, Now: time.Now})
}

// pageTrouble says why people do not get in at the page; "": they do.
func (a *agent) pageTrouble() string {
	if a.pair != nil {
		if trouble := a.pair.trouble(); trouble != "" {
			return trouble
		}
	}
	if a.door != nil {
		return a.door.Trouble()
	}
	return ""
}

// direct refuses what came by another way than the configuration names: through a
// proxy that it does not know, so that a page for this machine alone is not open
// to others; and unencrypted from another machine past the proxy that encrypts.
func direct(proxy people.Proxy, next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		peer, known := people.Peer(r.RemoteAddr)
		switch {
		case proxy.Unannounced(r):
			http.Error(w, "This came through a proxy that the page does not know. Write the proxy's address into the configuration: proxy, under [page].", http.StatusForbidden)
		case r.TLS == nil && !proxy.Speaks(r) && !(known && peer.IsLoopback()):
			http.Error(w, "This page is not shown unencrypted to other machines. Use the address of the proxy before it.", http.StatusForbidden)
		default:
			next.ServeHTTP(w, r)
		}
	})
}
