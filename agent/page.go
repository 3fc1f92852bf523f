package main

import (
	"context"
	"log/slog"
	"net"
	"time"

	"benchtally/agent/station"
)

// pageRetry is how long a page waits for an address that is taken.
const pageRetry = 5 * time.Second

// servePage shows the page until ctx ends. An address that cannot be had keeps
// nobody from working: it is tried again.
func (a *agent) servePage(ctx context.Context) error {
	if a.cfg.Page.Listen == "" {
		return nil
	}
	handler := a.health.board.Handler(func(ctx context.Context, action station.Action) (string, error) {
		records, err := a.act(ctx, action)
		return refusal(records), err
	}, a.cfg.Page.Listen)
	for told := false; ; {
		listener, err := net.Listen("tcp", a.cfg.Page.Listen)
		if err == nil {
			slog.Info("page", "address", "http://"+listener.Addr().String())
			if a.onPage != nil {
				a.onPage(listener.Addr().String())
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
