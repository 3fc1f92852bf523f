//go:build linux

package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"sync"

	"benchtally/deploy/machine/hand"
)

// teller writes answers, one at a time.
type teller struct {
	mu  sync.Mutex
	enc *json.Encoder
}

func (t *teller) tell(a hand.Answer) {
	t.mu.Lock()
	defer t.mu.Unlock()
	if err := t.enc.Encode(a); err != nil {
		fmt.Fprintln(os.Stderr, "inside: answer:", err)
	}
}

// serve answers what is asked over the port, each question by itself.
func serve() error {
	path, err := await(hand.Port)
	if err != nil {
		return err
	}
	port, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		return err
	}
	t := &teller{enc: json.NewEncoder(port)}
	t.tell(hand.Answer{Out: "up"}) // number 0
	in := json.NewDecoder(port)
	for {
		var q hand.Question
		if err := in.Decode(&q); errors.Is(err, io.EOF) {
			return errors.New("nobody listens outside")
		} else if err != nil {
			return err
		}
		go func() {
			a, err := answer(q, t.tell)
			if err != nil {
				a.Bad = err.Error()
			}
			a.ID = q.ID
			t.tell(a)
		}()
	}
}

func answer(q hand.Question, tell func(hand.Answer)) (hand.Answer, error) {
	switch q.Do {
	case hand.Run:
		return run(q.Args)
	case hand.Start:
		return hand.Answer{}, start(q.Name, q.Args)
	case hand.Signal:
		return hand.Answer{}, signal(q.Name, q.Number)
	case hand.Wait:
		return wait(q.Name)
	case hand.Press:
		return hand.Answer{}, press(q.Line, q.Course)
	case hand.Append:
		return hand.Answer{}, appendLines(q, tell)
	case hand.Off:
		powerOff()
	}
	return hand.Answer{}, fmt.Errorf("%q is not known inside", q.Do)
}
