package main

import (
	"context"
	"encoding/json"
	"io"
	"net"
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"benchtally/agent/record"
)

// practised is a demo in the hands of a test.
type practised struct {
	t       *testing.T
	page    string
	records chan record.Record
}

func tryDemo(t *testing.T) *practised {
	t.Helper()
	ctx, cancel := context.WithCancel(t.Context())
	address := freeAddress(t)
	out, in := io.Pipe()
	ended := make(chan int, 1)
	go func() {
		ended <- run(env{ctx, strings.NewReader(""), in, io.Discard}, []string{"demo", "--try", "--speed", "20", "--json", "--listen", address})
		_ = in.Close()
	}()
	d := &practised{t: t, page: "http://" + address, records: make(chan record.Record, 256)}
	go func() {
		lines := json.NewDecoder(out)
		for {
			var r record.Record
			if lines.Decode(&r) != nil {
				close(d.records)
				return
			}
			d.records <- r
		}
	}()
	t.Cleanup(func() {
		cancel()
		if code := <-ended; code != exitDone {
			t.Errorf("the demo ends with %d", code)
		}
	})
	return d
}

// freeAddress is an address on this machine that nobody listens at.
func freeAddress(t *testing.T) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = l.Close() }() // it was only asked for its number
	return l.Addr().String()
}

// post sends a form and gives the answer's status.
func (d *practised) post(path string, pairs ...string) int {
	d.t.Helper()
	form := url.Values{}
	for i := 0; i+1 < len(pairs); i += 2 {
		form.Set(pairs[i], pairs[i+1])
	}
	got, err := http.PostForm(d.page+path, form)
	if err != nil {
		d.t.Fatal(err)
	}
	_ = got.Body.Close()
	return got.StatusCode
}

// next is the next record of a kind.
func (d *practised) next(kind record.Kind) record.Record {
	d.t.Helper()
	late := time.After(20 * time.Second)
	for {
		select {
		case r, open := <-d.records:
			if !open {
				d.t.Fatalf("the demo ended before a %s", kind)
			}
			if r.Kind == kind {
				return r
			}
		case <-late:
			d.t.Fatalf("no %s in twenty seconds", kind)
		}
	}
}

// TestTry: a person closes the press and measures, and the bench has it; the cage
// is new and crimps large.
func TestTry(t *testing.T) {
	d := tryDemo(t)
	for began := time.Now(); ; { // until the page is there
		got, err := http.Get(d.page + "/practice")
		if err == nil {
			_ = got.Body.Close()
			break
		}
		if time.Since(began) > 20*time.Second {
			t.Fatal(err)
		}
		time.Sleep(20 * time.Millisecond)
	}
	if code := d.post("/practice", "do", "measure"); code != http.StatusConflict {
		t.Errorf("measuring what was never crimped gives %d", code)
	}
	if code := d.post("/practice", "do", "dance"); code != http.StatusConflict {
		t.Errorf("something unknown gives %d", code)
	}
	d.post("/do", "do", "start", "order", "A-2001", "operator", "kj")
	if r := d.next(record.Start); r.End != "A" || r.Quantity != 3 || r.HoseLot != "H-76" {
		t.Errorf("%+v", r)
	}
	if code := d.post("/practice", "do", "crimp"); code != http.StatusOK {
		t.Fatalf("closing the press gives %d", code)
	}
	if r := d.next(record.Stroke); r.Piece != "A-2001/1" || r.Assembly != 1 {
		t.Errorf("%+v", r)
	}
	d.post("/practice", "do", "all")
	v := d.next(record.Verdict)
	if v.Outcome != "recrimp" || v.Readings != 3 {
		t.Errorf("%+v", v)
	}
	again := d.next(record.Correction)
	d.post("/do", "do", "set", "setting", strings.TrimLeft(dial(again.Setting), "0"))
	d.post("/practice", "do", "crimp")
	d.post("/practice", "do", "all")
	if v := d.next(record.Verdict); v.Outcome != "pass" || v.Crimp != 2 {
		t.Errorf("%+v", v)
	}
	d.post("/practice", "do", "thin")
	d.post("/practice", "do", "crimp")
	d.post("/practice", "do", "all")
	if v := d.next(record.Verdict); v.Outcome != "scrap" || v.Piece != "A-2001/2" {
		t.Errorf("%+v", v)
	}
	d.post("/do", "do", "standard", "standard", "ring-25")
	d.post("/practice", "do", "ring")
	if r := d.next(record.Standard); r.State != record.Due {
		t.Errorf("%+v", r)
	}
	if r := d.next(record.Standard); r.State != record.Done || !*r.OK {
		t.Errorf("%+v", r)
	}
	d.post("/practice", "do", "unplug")
	if r := d.next(record.Fault); r.Source != record.Caliper || r.State != record.On {
		t.Errorf("%+v", r)
	}
	d.post("/practice", "do", "plug")
	if r := d.next(record.Fault); r.State != record.Off {
		t.Errorf("%+v", r)
	}
	for d.post("/practice", "do", "zero") != http.StatusOK { // the first frame after the port was opened may count for nothing
	}
	if r := d.next(record.Zero); !*r.OK {
		t.Errorf("%+v", r)
	}
}
