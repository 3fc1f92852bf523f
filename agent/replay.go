package main

import (
	"bufio"
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"

	"benchtally/agent/config"
	"benchtally/agent/record"
	"benchtally/agent/station"
	"benchtally/agent/tape"
	"benchtally/store"
)

// replayBatch is how many inputs of a tape share one commit.
const replayBatch = 256

// replayCommand runs a tape through the agent.
type replayCommand struct {
	Tape   string `arg:"" help:"Tape of inputs: JSON lines."`
	Config string `required:"" placeholder:"FILE" help:"Configuration."`
	JSON   bool   `name:"json" help:"The records are JSON in any case."`
	Store  string `placeholder:"FILE" help:"Keep the records in this store, and go on where it stands. A tape that was broken off goes on where it broke off."`
}

// Run prints every record of the tape as one JSON line.
func (c *replayCommand) Run(e env) (err error) {
	cfg, err := loadWhole(c.Config)
	if err != nil {
		return err
	}
	p := &replay{cfg: cfg, path: c.Tape, out: bufio.NewWriterSize(e.stdout, 1<<16)}
	if c.Store != "" {
		kept, err1 := store.Open(c.Store, store.Options{})
		if err1 != nil {
			return err1
		}
		defer func() { err = errors.Join(err, kept.Close()) }()
		p.kept = &keeper{Store: kept}
	}
	if err := p.run(e); err != nil {
		return err
	}
	return p.out.Flush()
}

// replay is one run over one tape.
type replay struct {
	cfg  *config.Config
	path string
	kept *keeper // nil: nothing is kept
	out  *bufio.Writer

	in      *intake
	station *station.Station
	mark    mark
	digest  digest
	skip    int // inputs that are kept already
	batch   []station.Input
	line    []byte
}

// mark is how far a store has come with a tape. It is kept in the same
// transaction as the records, so a tape that was broken off anywhere goes on
// without an input lost or taken twice.
type mark struct {
	Header string          `json:"header"` // of the tape
	Lines  int             `json:"lines"`  // of the tape, header included, that were read
	Digest string          `json:"digest"` // of those lines
	Inputs int             `json:"inputs"` // that they gave and that were taken
	First  uint64          `json:"first"`  // seq of the tape's first record
	Held   json.RawMessage `json:"held"`   // what the inputs held back
}

// digest is a running SHA-256 over lines.
type digest struct {
	lines int
	sum   interface {
		io.Writer
		Sum([]byte) []byte
	}
}

func newDigest() digest { return digest{sum: sha256.New()} }

func (d *digest) add(line []byte) {
	d.lines++
	_, _ = d.sum.Write(line) // a hash never fails
	_, _ = d.sum.Write([]byte{'\n'})
}

func (d *digest) String() string { return hex.EncodeToString(d.sum.Sum(nil)) }

func (p *replay) run(e env) error {
	if p.kept != nil {
		note, err := p.kept.Note()
		if err != nil {
			return err
		}
		if note != nil {
			if err := json.Unmarshal(note, &p.mark); err != nil {
				return fmt.Errorf("read how far the store has come with its tape: %w", err)
			}
		}
	}
	resume, err := p.check()
	if err != nil {
		return err
	}
	var log station.Log = &station.Memory{}
	if p.kept != nil {
		log = p.kept
	}
	if p.station, err = station.Open(log, stationRules(p.cfg)); err != nil {
		return err
	}
	file, t, err := p.open()
	if err != nil {
		return err
	}
	defer func() { _ = file.Close() }() // it was only read
	if p.in, err = newIntake(p.cfg, t.At, false); err != nil {
		return err
	}
	p.digest = newDigest()
	p.digest.add(t.Text())
	header := string(bytes.TrimSpace(t.Text()))
	switch {
	case resume: // the same tape: go on where it broke off
		p.skip = p.mark.Inputs
		if err := p.printKept(); err != nil {
			return err
		}
		p.mark = mark{Header: header, First: p.mark.First}
	case p.mark.Header == header: // the rest of the same tape, in a file of its own
		if err := p.in.restore(p.mark.Held); err != nil {
			return err
		}
		p.mark = mark{Header: header, First: p.station.Seq() + 1}
	default:
		p.mark = mark{Header: header, First: p.station.Seq() + 1}
	}
	return p.play(e, t)
}

// check reads the whole tape once, so that a fault in it is told before anything
// is done, and says whether the store has its beginning already.
func (p *replay) check() (resume bool, err error) {
	file, t, err := p.open()
	if err != nil {
		return false, err
	}
	defer func() { _ = file.Close() }() // it was only read
	d := newDigest()
	d.add(t.Text())
	resume = p.mark.Lines == d.lines && p.mark.Digest == d.String()
	for {
		if _, err := t.Next(); errors.Is(err, io.EOF) {
			return resume, nil
		} else if err != nil {
			return false, err
		}
		if d.add(t.Text()); d.lines == p.mark.Lines {
			resume = p.mark.Digest == d.String()
		}
	}
}

func (p *replay) open() (*os.File, *tape.Reader, error) {
	file, err := os.Open(p.path)
	if err != nil {
		return nil, nil, invalid{err}
	}
	if info, err := file.Stat(); err == nil && info.IsDir() {
		return nil, nil, errors.Join(invalid{fmt.Errorf("%s: want a tape, this is a folder", p.path)}, file.Close())
	}
	t, err := tape.NewReader(file, p.path)
	if err != nil {
		return nil, nil, errors.Join(err, file.Close())
	}
	return file, t, nil
}

// play takes all lines in and keeps their inputs in batches.
func (p *replay) play(e env, t *tape.Reader) error {
	at := t.At
	for {
		l, err := t.Next()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return err
		}
		p.digest.add(t.Text())
		at = t.At.Add(l.T)
		if err := p.gather(p.in.take(l, at)); err != nil {
			return err
		}
		if err := e.ctx.Err(); err != nil {
			return fmt.Errorf("broken off at line %d; the same command goes on from there when it has a --store", l.N)
		}
	}
	if err := p.gather(p.in.end(at)); err != nil {
		return err
	}
	if err := p.commit(); err != nil || p.kept == nil {
		return err
	}
	// The last inputs may have left no record: the end is noted all the same.
	if err := p.note(); err != nil {
		return err
	}
	return p.kept.Store.Append(store.Batch{Note: p.kept.note})
}

func (p *replay) gather(inputs []station.Input) error {
	for _, in := range inputs {
		p.mark.Inputs++
		if p.mark.Inputs > p.skip {
			p.batch = append(p.batch, in)
		}
	}
	if len(p.batch) >= replayBatch {
		return p.commit()
	}
	return nil
}

// commit keeps the inputs gathered, and then prints their records.
func (p *replay) commit() error {
	if p.kept != nil {
		if err := p.note(); err != nil {
			return err
		}
	}
	records, err := p.station.Do(p.batch...)
	if err != nil {
		return err
	}
	p.batch = p.batch[:0]
	for i := range records {
		if err := p.print(&records[i]); err != nil {
			return err
		}
	}
	return p.out.Flush()
}

// note writes how far the tape is with this commit.
func (p *replay) note() (err error) {
	p.mark.Lines, p.mark.Digest = p.digest.lines, p.digest.String()
	if p.mark.Held, err = p.in.save(); err != nil {
		return err
	}
	p.kept.note, err = json.Marshal(p.mark)
	return err
}

func (p *replay) printKept() error {
	return p.kept.After(p.mark.First-1, func(r record.Record) error { return p.print(&r) })
}

func (p *replay) print(r *record.Record) error {
	p.line = append(r.AppendJSON(p.line[:0]), '\n')
	if _, err := p.out.Write(p.line); err != nil {
		return fmt.Errorf("write the records: %w", err)
	}
	return nil
}
