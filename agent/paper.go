package main

import (
	"errors"
	"fmt"
	"io"
	"maps"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"benchtally/agent/config"
	"benchtally/agent/panel"
	"benchtally/agent/station"
	"benchtally/agent/words"
	"benchtally/store"
)

// paperCommand writes what is printed or handed on.
type paperCommand struct {
	Kind     string `arg:"" help:"certificate, card, labels or table of an order; label of an assembly; commands, shop (labels of cages, rings and orders) or handover."`
	ID       string `arg:"" optional:"" help:"The order, or order and assembly such as A-1001/3."`
	Config   string `default:"${config}" placeholder:"FILE" help:"Configuration; ${default}."`
	Language string `placeholder:"CODE" help:"en, es or de; without it the page's language."`
	Output   string `short:"o" placeholder:"FILE" help:"Where to write it; - is the standard output. Without it a file of its own name here."`
}

// Help tells what the papers are.
func (*paperCommand) Help() string {
	return `The papers are made of the records of the running agent, or of its store when none runs, and are the same bytes each time that they are made of the same records. They say what was measured and told, and promise nothing.`
}

// Run writes the paper.
func (c *paperCommand) Run(e env) error {
	if _, known := paperKinds[c.Kind]; !known {
		return invalid{fmt.Errorf("there is no paper %q: want one of %s", c.Kind, strings.Join(slices.Sorted(maps.Keys(paperKinds)), ", "))}
	}
	if c.Language != "" && words.Name(c.Language) == "" {
		return invalid{fmt.Errorf("--language %s: want one of %s", c.Language, strings.Join(words.Languages(), ", "))}
	}
	cfg, err := loadConfig(c.Config)
	if err != nil {
		return err
	}
	paper, err := c.make(e, cfg)
	if err != nil {
		return err
	}
	if c.Output == "-" {
		_, err = e.stdout.Write(paper.Body)
		return err
	}
	name := c.Output
	if name == "" {
		name = filepath.Base(paper.Name)
	}
	if err := os.WriteFile(name, paper.Body, 0o644); err != nil { //nolint:gosec // a paper is for others to read
		return err
	}
	_, err = fmt.Fprintln(e.stdout, "written", name)
	return err
}

// make asks the running agent for the paper, or makes it of the store.
func (c *paperCommand) make(e env, cfg *config.Config) (p panel.Paper, err error) {
	request := panel.PaperRequest{Kind: c.Kind, ID: c.ID, Language: c.Language}
	body, err := askAgent(e.ctx, cfg.Store.Path, "GET", "/paper", url.Values{"kind": {c.Kind}, "id": {c.ID}, "language": {c.Language}}, nil)
	if err == nil {
		p.Name = request.Name()
		p.Body, err = io.ReadAll(body)
		return p, errors.Join(err, body.Close())
	}
	if !errors.Is(err, errNoAgent) {
		return p, err
	}
	kept, err := openKept(cfg.Store.Path, store.Options{ReadOnly: true})
	if err != nil {
		return p, err
	}
	defer func() { err = errors.Join(err, kept.Close()) }()
	rules := stationRules(cfg)
	s, err := station.Open(&keeper{Store: kept}, rules)
	if err != nil {
		return p, err
	}
	return papers{archive: archive{kept, rules}, cfg: cfg, jobs: newJobs(cfg, time.Now), view: s.View, now: time.Now}.paper(request)
}
