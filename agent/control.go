package main

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"log/slog"
	"net"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"runtime"
	"strconv"
	"syscall"
	"time"

	"benchtally/agent/panel"
	"benchtally/agent/record"
	"benchtally/agent/station"
	"benchtally/agent/tape"
	"benchtally/store"
)

// The running agent has its store to itself; the other commands ask it through a
// socket beside the store, which only its own user may open. It gives records
// away and takes what an operator may do at the page, nothing else.

// controlPath is where the agent of a store listens.
func controlPath(store string) string { return store + ".sock" }

// shortPath gives a name for a socket's path that fits into a socket address
// (108 bytes, unix(7)) and a function that ends its use.
func shortPath(path string) (string, func(), error) {
	if len(path) < 100 {
		return path, func() {}, nil
	}
	dir, err := os.Open(filepath.Dir(path))
	if err != nil {
		return "", nil, err
	}
	return fmt.Sprintf("/proc/self/fd/%d/%s", dir.Fd(), filepath.Base(path)), func() { _ = dir.Close() }, nil
}

// serveControl answers the other commands until ctx ends.
func (a *agent) serveControl(ctx context.Context) error {
	path := controlPath(a.cfg.Store.Path)
	short, end, err := shortPath(path)
	if err != nil {
		return fmt.Errorf("listen for other commands: %w", err)
	}
	defer end()
	// The store is locked by this process, so nobody listens on a socket left there.
	if err := os.Remove(short); err != nil && !errors.Is(err, fs.ErrNotExist) {
		slog.Warn("other commands cannot reach this agent", "socket", path, "err", err)
		return nil
	}
	mask := syscall.Umask(0o177)
	listener, err := net.Listen("unix", short)
	syscall.Umask(mask)
	if err != nil {
		slog.Warn("other commands cannot reach this agent", "socket", path, "err", err)
		return nil
	}
	return serveHTTP(ctx, listener, a.controls())
}

// serveHTTP serves until ctx ends.
func serveHTTP(ctx context.Context, l net.Listener, h http.Handler) error {
	server := &http.Server{
		Handler: h, ReadHeaderTimeout: 5 * time.Second, IdleTimeout: 2 * time.Minute, MaxHeaderBytes: 16 << 10,
		BaseContext: func(net.Listener) context.Context { return ctx },
		ErrorLog:    slog.NewLogLogger(slog.Default().Handler(), slog.LevelDebug),
	}
	done := make(chan error, 1)
	go func() { done <- server.Serve(l) }()
	select {
	case err := <-done:
		return fmt.Errorf("serve %s: %w", l.Addr(), err)
	case <-ctx.Done():
	}
	_ = server.Close() // watchers of the page would hold a gentle end up
	if err := <-done; !errors.Is(err, http.ErrServerClosed) {
		return fmt.Errorf("serve %s: %w", l.Addr(), err)
	}
	return nil
}

func (a *agent) controls() http.Handler {
	mux := http.NewServeMux()
	mux.HandleFunc("GET /status", func(w http.ResponseWriter, _ *http.Request) {
		answer(w, a.status(), nil)
	})
	mux.HandleFunc("GET /metrics", a.answerFigures)
	mux.HandleFunc("GET /goroutines", func(w http.ResponseWriter, _ *http.Request) {
		_, _ = w.Write(goroutines()) // the asker sees a broken answer
	})
	mux.HandleFunc("GET /log", func(w http.ResponseWriter, r *http.Request) {
		want, err := parseSelection(r.URL.Query())
		if err != nil {
			answer(w, nil, err)
			return
		}
		out := bufio.NewWriterSize(w, 1<<16)
		var line []byte
		err = want.from(a.store, func(r record.Record, corrected time.Time) error {
			line = append(appendCorrected(line[:0], r, corrected), '\n')
			_, err := out.Write(line)
			return err
		})
		if err != nil {
			panic(http.ErrAbortHandler) // so that the reader knows there was more
		}
		_ = out.Flush() // the reader sees a broken stream
	})
	mux.HandleFunc("GET /backup", func(w http.ResponseWriter, _ *http.Request) {
		if err := a.store.Backup(w); err != nil {
			slog.Error("a backup broke off", "err", err)
			panic(http.ErrAbortHandler)
		}
	})
	mux.HandleFunc("GET /paper", func(w http.ResponseWriter, r *http.Request) {
		q := r.URL.Query()
		p, err := a.desk().Paper(r.Context(), panel.PaperRequest{Kind: q.Get("kind"), ID: q.Get("id"), Language: q.Get("language")})
		if err != nil {
			answer(w, nil, err)
			return
		}
		_, _ = w.Write(p.Body) // the asker sees a broken answer
	})
	mux.HandleFunc("POST /resend", func(w http.ResponseWriter, r *http.Request) {
		from, err1 := strconv.ParseUint(r.URL.Query().Get("from"), 10, 64)
		to, err2 := strconv.ParseUint(r.URL.Query().Get("to"), 10, 64)
		err := errors.Join(err1, err2)
		if err == nil {
			err = a.store.Resend(from, to)
		}
		if err == nil && a.publisher != nil {
			a.publisher.Wake()
		}
		answer(w, struct{}{}, err)
	})
	mux.HandleFunc("POST /do", func(w http.ResponseWriter, r *http.Request) {
		text, err := io.ReadAll(http.MaxBytesReader(w, r.Body, maxInput))
		var line tape.Line
		if err == nil {
			line, err = tape.Parse(text)
		}
		if err == nil && line.Action == nil {
			err = errors.New(`want an action, such as {"do":"undo"}`)
		}
		if err != nil {
			answer(w, nil, err)
			return
		}
		records, err := a.act(r.Context(), *line.Action)
		answer(w, records, err)
	})
	return mux
}

// act does one operator's action, now, and returns its records.
func (a *agent) act(ctx context.Context, action station.Action) ([]record.Record, error) {
	ctx, cancel := context.WithTimeout(ctx, 10*time.Second)
	defer cancel()
	action.At = a.now()
	return a.bench.ask(ctx, action)
}

// refusal is why an action was refused, from its records; "": it was not.
func refusal(records []record.Record) string {
	for _, r := range records {
		if r.Kind == record.Refused {
			return r.Reason
		}
	}
	return ""
}

// mostStacks bounds what is told of goroutines: a page with many watchers has some
// hundred.
const mostStacks = 1 << 20

// goroutines tells where each goroutine stands, for who looks for one that hangs.
func goroutines() []byte {
	b := make([]byte, mostStacks)
	return b[:runtime.Stack(b, true)]
}

func answer(w http.ResponseWriter, v any, err error) {
	w.Header().Set("Content-Type", "application/json")
	if err != nil {
		w.WriteHeader(http.StatusBadRequest)
		v = map[string]string{"error": err.Error()}
	}
	_ = json.NewEncoder(w).Encode(v) // the asker sees a broken answer
}

// errNoAgent says that no agent runs on a store.
var errNoAgent = errors.New("no agent runs on this store")

// askAgent asks the agent that runs on a store; errNoAgent: there is none. The
// caller closes the answer.
func askAgent(ctx context.Context, kept, method, path string, query url.Values, body io.Reader) (io.ReadCloser, error) {
	short, end, err := shortPath(controlPath(kept))
	if err != nil {
		return nil, errNoAgent
	}
	defer end()
	client := http.Client{Transport: &http.Transport{
		DisableKeepAlives: true,
		DialContext: func(ctx context.Context, _, _ string) (net.Conn, error) {
			return new(net.Dialer).DialContext(ctx, "unix", short)
		},
	}}
	target := url.URL{Scheme: "http", Host: "agent", Path: path, RawQuery: query.Encode()}
	request, err := http.NewRequestWithContext(ctx, method, target.String(), body)
	if err != nil {
		return nil, err
	}
	response, err := client.Do(request)
	if errors.Is(err, fs.ErrNotExist) || errors.Is(err, syscall.ECONNREFUSED) {
		return nil, errNoAgent
	}
	if errors.Is(err, fs.ErrPermission) {
		return nil, fmt.Errorf("the agent on %s belongs to another user: run this as that user, such as with sudo -u benchtally", kept)
	}
	if err != nil {
		return nil, fmt.Errorf("ask the running agent: %w", err)
	}
	if response.StatusCode == http.StatusOK {
		return response.Body, nil
	}
	defer func() { _ = response.Body.Close() }() // its error is of no more use
	var wrong struct{ Error string }
	if err := json.NewDecoder(response.Body).Decode(&wrong); err != nil || wrong.Error == "" {
		return nil, fmt.Errorf("ask the running agent: %s", response.Status)
	}
	return nil, errors.New(wrong.Error)
}

// askOrOpen asks the running agent, or opens the store for reading where none runs.
// An agent that has just begun has the store and does not listen yet: who finds the
// store in use asks once more.
func askOrOpen(ctx context.Context, path, resource string, query url.Values) (body io.ReadCloser, kept *store.Store, err error) {
	body, err = askAgent(ctx, path, "GET", resource, query, nil)
	if !errors.Is(err, errNoAgent) {
		return body, nil, err
	}
	kept, err = openKept(path, store.Options{ReadOnly: true})
	if errors.Is(err, store.ErrLocked) {
		if body, again := askAgent(ctx, path, "GET", resource, query, nil); !errors.Is(again, errNoAgent) {
			return body, nil, again
		}
	}
	return nil, kept, err
}
