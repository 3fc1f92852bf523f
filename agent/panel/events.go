package panel

import (
	"bytes"
	"net/http"
	"strconv"
	"time"

	"benchtally/agent/words"
)

const (
	beatEvery   = time.Second           // so that a page knows within three that nothing comes
	drawEvery   = 50 * time.Millisecond // at most; faster is not seen. The first change after a rest is drawn at once
	writeWithin = 5 * time.Second       // a page that takes nothing for so long is dropped, and comes back by itself
)

// events keeps one page fresh until it goes away or takes nothing: the live part
// whenever it looks different, and a beat with the age of the data.
func (s *server) events(w http.ResponseWriter, r *http.Request) {
	if !s.board.join() {
		w.Header().Set("Retry-After", "5")
		http.Error(w, words.In(s.language(r)).Say("%d pages are open already. Close one.", maxWatchers), http.StatusServiceUnavailable)
		return
	}
	defer s.board.leave()
	language := s.language(r)
	w.Header().Set("Content-Type", "text/event-stream")
	out := stream{w: w, control: http.NewResponseController(w)}
	out.event("build", []byte(build))

	beat := time.NewTicker(beatEvery)
	defer beat.Stop()
	shown := ""
	_, heard := s.board.latest()
	for out.err == nil && s.mayLook(r) {
		drawn := time.Now()
		live, changed, err := s.board.live(language)
		if err != nil {
			return // the page says that its data is old, which is true
		}
		if live.sum != shown {
			out.event("live", live.html)
			shown = live.sum
		}
		if told, n := s.board.latest(); n != heard {
			heard = n
			out.event("said", []byte(told.text(words.In(language))))
		}
		out.event("beat", strconv.AppendInt(nil, s.board.age().Milliseconds(), 10))
		if out.flush(); out.err != nil {
			return
		}
		select {
		case <-r.Context().Done():
			return
		case <-beat.C:
			continue
		case <-changed:
		}
		select {
		case <-r.Context().Done():
			return
		case <-time.After(time.Until(drawn.Add(drawEvery))):
		}
	}
}

// stream writes server-sent events; after the first error it writes no more.
type stream struct {
	w       http.ResponseWriter
	control *http.ResponseController
	err     error
}

func (s *stream) event(name string, data []byte) {
	var b bytes.Buffer
	b.WriteString("event: " + name + "\n")
	for line := range bytes.SplitSeq(data, []byte("\n")) {
		b.WriteString("data: ")
		b.Write(bytes.TrimRight(line, "\r"))
		b.WriteByte('\n')
	}
	b.WriteByte('\n')
	if s.err == nil {
		s.err = s.control.SetWriteDeadline(time.Now().Add(writeWithin))
	}
	if s.err == nil {
		_, s.err = s.w.Write(b.Bytes())
	}
}

func (s *stream) flush() {
	if s.err == nil {
		s.err = s.control.Flush()
	}
}
