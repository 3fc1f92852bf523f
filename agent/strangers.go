package main

import (
	"fmt"
	"regexp"
	"strings"
	"sync"

	"benchtally/agent/record"
)

// strangers puts others in the place of people: each operator's id becomes
// person-1, person-2 and so on, the same one throughout. It is safe for concurrent
// use.
type strangers struct {
	keep bool // people stay who they are

	mu    sync.Mutex
	names map[string]string
	ids   []*regexp.Regexp
	as    []string
}

// meet makes a stranger of an id.
func (s *strangers) meet(id string) string {
	if id == "" || s.keep {
		return id
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	if name, ok := s.names[id]; ok {
		return name
	}
	if s.names == nil {
		s.names = map[string]string{}
	}
	name := fmt.Sprintf("person-%d", len(s.names)+1)
	s.names[id] = name
	// Whole words only: an id of two letters stands within many others.
	s.ids = append(s.ids, regexp.MustCompile(`(^|[^\pL\pN_-])`+regexp.QuoteMeta(id)+`($|[^\pL\pN_-])`))
	s.as = append(s.as, "${1}"+name+"${2}")
	return name
}

// text is a text with strangers in it, of those who were met.
func (s *strangers) text(t string) string {
	s.mu.Lock()
	defer s.mu.Unlock()
	for i, id := range s.ids {
		for range 2 { // neighbours share a blank
			t = id.ReplaceAllString(t, s.as[i])
		}
	}
	return t
}

// record is a record without people, and without what they wrote in their own
// words. What came in from elsewhere than the caliper is left out: it may be
// anything that somebody typed or scanned.
func (s *strangers) record(r record.Record) record.Record {
	if r.Source == record.Action || r.Source == record.Scanner {
		r.Raw = ""
	}
	if s.keep {
		return r
	}
	r.Operator = s.meet(r.Operator)
	r.Finding = unsaid(r.Finding)
	if r.Job != nil {
		job := *r.Job
		job.Note = unsaid(job.Note)
		r.Job = &job
	}
	return r
}

// unsaid is in the place of what a person wrote.
func unsaid(text string) string {
	if text == "" {
		return ""
	}
	return fmt.Sprintf("(%d characters)", len([]rune(text)))
}

// userinfo is a name and a password in an address.
var userinfo = regexp.MustCompile(`://[^/\s"'@]*@`)

// unnamed takes names and passwords out of addresses.
func unnamed(t string) string { return userinfo.ReplaceAllString(t, "://(not shown)@") }

// clean is a whole part as it leaves the shop.
func (s *strangers) clean(b []byte) []byte {
	return []byte(s.text(unnamed(strings.ToValidUTF8(string(b), "\uFFFD"))))
}
