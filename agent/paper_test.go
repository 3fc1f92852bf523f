package main

import (
	"io"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"benchtally/agent/record"
)

// jobsShop is a shop with a job card and a recorded order of it.
func jobsShop(t *testing.T, change string) (config string) {
	t.Helper()
	dir, config := shop(t, change+"[[jobs]]\nfile = \"jobs.csv\"\n")
	write(t, filepath.Join(dir, "jobs.csv"), "order,quantity,a_spec,b_spec,length,a_cutoff,b_cutoff,hose,hose_maker,hose_lot\nA-7,1,hs-08,hs-08,900mm,30mm,40mm,two-wire,M1,H-1\n")
	tape := filepath.Join(dir, "day.tape")
	write(t, tape, `{"tape":1,"at":"2026-03-02T06:00:00Z"}
{"t":1,"do":"start","order":"A-7","operator":"kj"}
{"t":5,"level":0}
{"t":5.8,"level":1}
{"t":8,"text":"+1.2000\r\n"}
{"t":9,"text":"+1.2005\r\n"}
{"t":10,"text":"+1.1995\r\n"}
{"t":12,"do":"check","points":"first-piece"}
{"t":15,"level":0}
{"t":15.8,"level":1}
{"t":18,"text":"+1.2010\r\n"}
{"t":19,"text":"+1.2010\r\n"}
{"t":20,"text":"+1.2010\r\n"}
{"t":25,"do":"finish"}
`)
	ran(t, exitDone, "replay", tape, "--config", config, "--store", filepath.Join(dir, "bench.db"))
	return config
}

// ran runs a command that must end with a code.
func ran(t *testing.T, want int, args ...string) (out, said string) {
	t.Helper()
	code, out, said := command(t, "", args...)
	if code != want {
		t.Fatalf("%v ends with %d, want %d: %s", args, code, want, said)
	}
	return out, said
}

func TestPapers(t *testing.T) {
	config := jobsShop(t, "")
	for _, c := range []struct{ kind, id, begins string }{
		{"certificate", "A-7", "%PDF-"}, {"labels", "A-7", "%PDF-"}, {"label", "A-7/1", "%PDF-"}, {"card", "A-7", "%PDF-"},
		{"table", "A-7", "\ufefforder,assembly,end,piece"}, {"commands", "", "%PDF-"}, {"shop", "", "%PDF-"}, {"handover", "", "%PDF-"},
	} {
		args := []string{"paper", c.kind, "--config", config, "-o", "-"}
		if c.id != "" {
			args = append(args, c.id)
		}
		out, _ := ran(t, exitDone, args...)
		if !strings.HasPrefix(out, c.begins) {
			t.Errorf("%s begins with %.20q", c.kind, out)
		}
		if again, _ := ran(t, exitDone, args...); again != out && c.kind != "handover" && c.kind != "commands" && c.kind != "shop" && c.kind != "card" {
			t.Errorf("%s made twice differs", c.kind)
		}
	}
	t.Chdir(t.TempDir())
	if out, _ := ran(t, exitDone, "paper", "certificate", "A-7", "--config", config, "--language", "de"); out != "written certificate-A-7.pdf\n" {
		t.Errorf("said %q", out)
	}
	if _, err := os.Stat("certificate-A-7.pdf"); err != nil {
		t.Error(err)
	}
	for _, c := range []struct {
		code int
		want string
		args []string
	}{
		{exitUsage, `there is no paper "poster": want one of card, certificate`, []string{"poster"}},
		{exitUsage, `a paper "table" wants the id of its order`, []string{"table"}},
		{exitUsage, "--language fr: want one of en, es, de", []string{"table", "A-7", "--language", "fr"}},
		{exitUsage, `"A-7": want an order and an assembly, such as A-1001/3`, []string{"label", "A-7"}},
		{exitFault, "no record speaks of order B-1", []string{"certificate", "B-1"}},
		{exitFault, "no label to print", []string{"label", "A-7/9"}},
	} {
		if _, said := ran(t, c.code, append([]string{"paper", "--config", config}, c.args...)...); !strings.Contains(said, c.want) {
			t.Errorf("%v says %q, want %q", c.args, said, c.want)
		}
	}
}

// TestPapersOfARunningAgent: the page and the command line make the same paper.
func TestPapersOfARunningAgent(t *testing.T) {
	address := freeAddress(t)
	config := jobsShop(t, "[page]\nlisten = \""+address+"\"\n")
	before, _ := ran(t, exitDone, "paper", "certificate", "A-7", "--config", config, "-o", "-")
	a := startAgent(t, config)
	defer a.end()
	a.say(`{"do":"operator","operator":"kj"}`)
	a.next(record.Operator)
	if by, _ := ran(t, exitDone, "paper", "certificate", "A-7", "--config", config, "-o", "-"); by != before {
		t.Error("the running agent makes another certificate than its store")
	}
	got, err := http.Get("http://" + address + "/paper?kind=certificate&id=A-7")
	if err != nil {
		t.Fatal(err)
	}
	body, err := io.ReadAll(got.Body)
	if err != nil || got.Header.Get("Content-Type") != "application/pdf" || string(body) != before {
		t.Errorf("the page gives %s, %d bytes, %v", got.Header.Get("Content-Type"), len(body), err)
	}
	for closed, told := range map[string]string{"+0.0000": "0.000 mm · good<", "-0.0015": "−0.038 mm · wrong"} { // the second time the page is asked it has to look again
		a.say(`{"text":"` + closed + `\r\n"}`)
		a.next(record.Zero)
		for deadline := time.Now().Add(5 * time.Second); ; time.Sleep(5 * time.Millisecond) { // what is kept is shown a moment later
			got, err := http.Get("http://" + address + "/caliper/checks")
			if err != nil {
				t.Fatal(err)
			}
			body, err := io.ReadAll(got.Body)
			if err != nil {
				t.Fatal(err)
			}
			if strings.Contains(string(body), "Closed jaws: "+told) {
				break
			}
			if time.Now().After(deadline) {
				t.Fatalf("the check %s is not told: %s", closed, body)
			}
		}
	}
}
