package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/jackc/pgx/v5"
	"golang.org/x/tools/txtar"

	"benchtally/agent/crimp"
	"benchtally/agent/record"
	"benchtally/agent/station"
	"benchtally/mqtt"
)

// invented is a shift of ten strokes with one cage and three with another. The
// numbers of records are their lines: day, time, kind, the rest of the record.
const invented = `
02 06:00:00 start      "order":"A-1","spec":"hs-08","cage":"C-21","nominal":120
02 06:10:00 stroke     "order":"A-1","piece":"A-1/1","cage":"C-21","setting":120,"crimp":1
02 06:11:00 reading    "order":"A-1","piece":"A-1/1","place":1,"diameter_mm":30.5
02 06:11:00 verdict    "order":"A-1","piece":"A-1/1","spec":"hs-08","crimp":1,"outcome":"pass","mean_mm":30.5,"deviation_mm":0.02
02 06:11:00 correction "order":"A-1","piece":"A-1/1","for":"next","setting":120,"offset_mm":0.02
02 06:20:00 stroke     "order":"A-1","piece":"A-1/2","cage":"C-21","setting":120,"crimp":1
02 06:21:00 reading    "order":"A-1","piece":"A-1/2","place":1,"diameter_mm":30.64
02 06:21:00 verdict    "order":"A-1","piece":"A-1/2","spec":"hs-08","crimp":1,"outcome":"recrimp","mean_mm":30.64,"deviation_mm":0.16
02 06:21:00 correction "order":"A-1","piece":"A-1/2","for":"recrimp","setting":114,"offset_mm":0.16
02 06:21:00 correction "order":"A-1","piece":"A-1/2","for":"next","setting":118,"offset_mm":0.04
02 06:30:00 stroke     "order":"A-1","piece":"A-1/2","cage":"C-21","setting":114,"crimp":2
02 06:31:00 reading    "order":"A-1","piece":"A-1/2","place":1,"diameter_mm":30.46
02 06:31:00 verdict    "order":"A-1","piece":"A-1/2","spec":"hs-08","crimp":2,"outcome":"pass","mean_mm":30.46,"deviation_mm":-0.02
02 06:40:00 stroke     "order":"A-1","piece":"A-1/3","cage":"C-21","setting":118,"crimp":1
02 06:41:00 reading    "order":"A-1","piece":"A-1/3","place":1,"diameter_mm":30.99
02 06:41:30 undo       "order":"A-1","piece":"A-1/3","of":15
02 06:42:00 reading    "order":"A-1","piece":"A-1/3","place":1,"diameter_mm":30.3
02 06:42:00 verdict    "order":"A-1","piece":"A-1/3","spec":"hs-08","crimp":1,"outcome":"scrap","mean_mm":30.3,"deviation_mm":-0.18
02 06:42:00 correction "order":"A-1","piece":"A-1/3","for":"next","setting":117,"offset_mm":0.06
02 06:50:00 stroke     "order":"A-1","piece":"A-1/4","cage":"C-21","setting":117,"crimp":1
02 06:51:00 dry        "order":"A-1","of":20
02 07:00:00 stroke     "order":"A-1","piece":"A-1/4","cage":"C-21","setting":117,"crimp":1
02 07:01:00 reading    "order":"A-1","piece":"A-1/4","place":1,"diameter_mm":30.5
02 07:01:00 verdict    "order":"A-1","piece":"A-1/4","spec":"hs-08","crimp":1,"outcome":"pass","mean_mm":30.5,"deviation_mm":0.02
02 07:01:00 correction "order":"A-1","piece":"A-1/4","for":"next","setting":116,"offset_mm":0.10
02 07:05:00 undo       "order":"A-1","piece":"A-1/4","of":23
02 07:10:00 stroke     "cage":"C-21"
02 13:59:59 stroke     "order":"A-1","piece":"A-1/5","cage":"C-21","setting":117,"crimp":1
02 14:00:00 verdict    "order":"A-1","piece":"A-1/5","spec":"hs-08","crimp":1,"outcome":"unsure","reason":"not judged: 0 of 1 readings"
02 14:00:00 stroke     "order":"A-1","piece":"A-1/6","cage":"C-21","setting":117,"crimp":1
02 14:01:00 same       "order":"A-1","piece":"A-1/5","crimp":2,"of":30
02 14:02:00 verdict    "order":"A-1","piece":"A-1/5","spec":"hs-08","crimp":2,"outcome":"pass","mean_mm":30.48,"deviation_mm":0
02 22:30:00 start      "order":"B-1","spec":"hs-12","cage":"C-30","nominal":200
02 23:00:00 stroke     "order":"B-1","piece":"B-1/1","cage":"C-30","setting":200,"crimp":1
02 23:01:00 verdict    "order":"B-1","piece":"B-1/1","spec":"hs-12","crimp":1,"outcome":"pass","mean_mm":38.03,"deviation_mm":0.03
03 01:00:00 stroke     "order":"B-1","piece":"B-1/2","cage":"C-30","setting":200,"crimp":1
03 01:01:00 verdict    "order":"B-1","piece":"B-1/2","spec":"hs-12","crimp":1,"outcome":"pass","mean_mm":38.01,"deviation_mm":0.01
03 01:02:00 scrap      "order":"B-1","piece":"B-1/2","state":"on","reason":"leak"
03 06:15:00 stroke     "order":"B-1","piece":"B-1/3","cage":"C-30","setting":200,"crimp":1
03 06:20:00 care       "cage":"C-21","work":"lubricate","state":"done","strokes":9
03 06:30:00 stroke     "cage":"C-21"
03 07:00:00 fault      "source":"broker","state":"on","reason":"no route"
03 07:10:00 fault      "source":"broker","state":"on","reason":"refused"
03 07:30:00 fault      "source":"broker","state":"off"
03 08:00:00 fault      "source":"caliper","state":"on","reason":"unplugged"
03 08:00:30 fault      "source":"caliper","state":"off"
03 09:00:00 fault      "source":"switch","state":"on","reason":"stuck"
`

// Every value here is computed by hand from the lines above.
func TestNumbersOfAnInventedShift(t *testing.T) {
	_, db := newDatabase(t)
	for i, line := range strings.Split(strings.TrimSpace(invented), "\n") {
		day, clock, kind := line[:2], line[3:11], strings.TrimSpace(line[12:23])
		payload := event("s1", "r1", i+1, kind, "2026-03-"+day+"T"+clock+"Z", ","+line[23:])
		if got := ask(t, db, "SELECT take_event($1, $2::text)", base+"/event/"+kind, payload); got != "kept" {
			t.Fatalf("%s: %s", line, got)
		}
	}
	exec := func(sql string) {
		t.Helper()
		if _, err := db.Exec(t.Context(), sql); err != nil {
			t.Fatal(err)
		}
	}
	exec("UPDATE event SET received = time + interval '1 second' * CASE sequence WHEN 2 THEN 600 WHEN 4 THEN 1200 ELSE 1 END")
	exec("UPDATE care_limit SET strokes = 3 WHERE work = 'lubricate'")
	const shifts = "SELECT day, shift, strokes, dry, again, no_order FROM strokes_by_shift ORDER BY day, shift"
	for _, row := range []struct{ name, query, want string }{
		{"strokes by hour", "SELECT to_char(hour, 'DD HH24'), strokes, dry, again, no_order FROM strokes_by_hour ORDER BY hour",
			"02 06 5 1 1 0\n02 07 2 0 0 1\n02 13 1 0 0 0\n02 14 1 0 1 0\n02 23 1 0 0 0\n03 01 1 0 0 0\n03 06 2 0 0 1"},
		{"strokes by shift, the night's last on the next day", shifts,
			"2026-03-02 early 8 1 1 1\n2026-03-02 late 1 0 1 0\n2026-03-02 night 2 0 0 0\n2026-03-03 early 2 0 0 1"},
		{"pieces", "SELECT by, name, pieces, pass, recrimp, scrap, unsure, open, judged, round(first_pass_share, 3), round(recrimp_share, 3), round(scrap_share, 3) FROM pieces ORDER BY by, name",
			"cage C-21 5 3 0 1 0 1 4 0.250 0.400 0.250\ncage C-30 3 1 0 1 0 1 2 0.500 0.000 0.500\n" +
				"order A-1 5 3 0 1 0 1 4 0.250 0.400 0.250\norder B-1 3 1 0 1 0 1 2 0.500 0.000 0.500\n" +
				"spec hs-08 5 3 0 1 0 1 4 0.250 0.400 0.250\nspec hs-12 3 1 0 1 0 1 2 0.500 0.000 0.500"},
		// √((0.02² + 0.16² + 0.18²) / 2) and √(2 · 0.01²)
		{"first crimps", "SELECT spec, cage, n, round(mean_deviation_mm, 6), round(sd_mm, 6), least_mm, most_mm FROM first_crimps ORDER BY spec",
			"hs-08 C-21 3 0.000000 0.170880 -0.18 0.16\nhs-12 C-30 2 0.020000 0.014142 0.01 0.03"},
		// 0.02, 0.04, 0.06 at the cage's strokes 1, 2, 4: 0.06 / (14/3) a stroke
		{"offset trend", "SELECT cage, spec, n, offset_mm, setting, round(mm_per_1000_strokes::numeric, 3) FROM offset_trend",
			"C-21 hs-08 3 0.06 117 12.857"},
		{"care", "SELECT cage, work, strokes, of, due, to_char(last_done, 'DD HH24:MI') FROM cage_care ORDER BY cage, work",
			"C-21 lubricate 1 3 f 03 06:20\nC-21 teardown 10 1000 f -\nC-30 lubricate 3 3 t -\nC-30 teardown 3 1000 f -"},
		{"outages", "SELECT part, to_char(began, 'HH24:MI'), ended IS NULL, CASE WHEN ended IS NULL THEN began + lasted = now() ELSE lasted = ended - began END, reason FROM outage ORDER BY began",
			"broker 07:00 f t no route\ncaliper 08:00 f t unplugged\nswitch 09:00 t t stuck"},
		{"downtime", "SELECT part, times, open, lasted, longest FROM downtime WHERE part <> 'switch' ORDER BY part",
			"broker 1 0 00:30:00 00:30:00\ncaliper 1 0 00:00:30 00:00:30"},
		{"late", "SELECT day, events, latest, median FROM late", "2026-03-02 2 00:20:00 00:10:00"},
		{"readings", "SELECT order_id, readings, withdrawn FROM readings", "A-1 6 2"},
	} {
		t.Run(row.name, func(t *testing.T) {
			if diff := cmp.Diff(strings.Split(row.want, "\n"), strings.Split(ask(t, db, row.query), "\n")); diff != "" {
				t.Errorf("want -, got +:\n%s", diff)
			}
		})
	}
	exec("SET timezone = 'Europe/Berlin'") // an hour on: what closed at 13:59:59 closed in the late shift
	if got, want := ask(t, db, shifts), "2026-03-02 early 7 1 1 1\n2026-03-02 late 2 0 1 0\n2026-03-02 night 2 0 0 0\n2026-03-03 early 2 0 0 1"; got != want {
		t.Errorf("shifts in Berlin:\n%s\nwant:\n%s", got, want)
	}
	// A scrap that is taken back, and one of a whole assembly without it.
	for i, more := range []string{`"order":"B-1","piece":"B-1/2","state":"off"`, `"order":"B-1","assembly":7,"state":"on"`} {
		ask(t, db, "SELECT take_event($1, $2::text)", base+"/event/scrap", event("s1", "r1", 100+i, "scrap", noon, ","+more))
	}
	if got := ask(t, db, "SELECT outcome FROM piece WHERE piece = 'B-1/2'"); got != "pass" {
		t.Errorf("a piece that is not given up after all: %s", got)
	}
}

// tally is what the records of one press give, counted here and not in SQL.
type tally struct {
	Judged   string // crimps that stand judged, by the fold that the agent itself uses
	Strokes  int
	Dry      int
	Readings int
	Undone   int
	Since    map[string]int // strokes of each cage since it was lubricated
	Down     map[string]time.Duration
}

func count(t *testing.T, records []record.Record) tally {
	t.Helper()
	history, err := station.NewHistory(station.Rules{Scale: crimp.Scale{Step: crimp.Thousandth, Highest: 999}, Places: 3, Every: 1},
		func(_, _, _ string, _ time.Time) bool { return true })
	if err != nil {
		t.Fatal(err)
	}
	c := tally{Since: map[string]int{}, Down: map[string]time.Duration{}}
	began := map[record.Source]time.Time{}
	for _, r := range records {
		if err := history.Add(r); err != nil {
			t.Fatal(err)
		}
		switch {
		case r.Kind == record.Stroke:
			c.Strokes++
			if r.Cage != "" {
				c.Since[r.Cage]++
			}
		case r.Kind == record.Dry:
			c.Dry++
		case r.Kind == record.Reading:
			c.Readings++
		case r.Kind == record.Undo:
			c.Undone++
		case r.Kind == record.Care && r.State == record.Done && r.Work == crimp.Lubricate && c.Since[r.Cage] > 0:
			c.Since[r.Cage] = 0
		case r.Kind == record.Fault && r.State == record.On:
			if _, on := began[r.Source]; !on {
				began[r.Source] = r.At
			}
		case r.Kind == record.Fault:
			c.Down[string(r.Source)] += r.At.Sub(began[r.Source])
			delete(began, r.Source)
		}
	}
	var judged []string
	for _, j := range history.Judged() {
		judged = append(judged, fmt.Sprintf("%d %s %d %s %s %.0f", j.Seq, j.Piece, j.Crimp, j.Spec.ID, j.Outcome, j.Deviation()))
	}
	c.Judged = strings.Join(judged, "\n")
	return c
}

// told is the same from the views.
func told(t *testing.T, db *pgx.Conn, source string) tally {
	t.Helper()
	c := tally{Since: map[string]int{}, Down: map[string]time.Duration{}}
	scan := func(query string, to ...any) {
		t.Helper()
		if err := db.QueryRow(t.Context(), query, source).Scan(to...); err != nil {
			t.Fatalf("%s: %v", query, err)
		}
	}
	// A mean in a record is rounded to the nanometre.
	c.Judged = ask(t, db, "SELECT stroke, piece, crimp, spec, outcome, round(deviation_mm * 1000000) FROM crimp WHERE source = $1 AND mean_mm IS NOT NULL ORDER BY stroke", source)
	scan("SELECT coalesce(sum(strokes), 0), coalesce(sum(dry), 0) FROM strokes_by_hour WHERE source = $1", &c.Strokes, &c.Dry)
	scan("SELECT coalesce(sum(readings), 0), coalesce(sum(withdrawn), 0) FROM readings WHERE source = $1", &c.Readings, &c.Undone)
	for line := range strings.Lines(ask(t, db, "SELECT cage, strokes FROM cage_care WHERE source = $1 AND work = 'lubricate'", source)) {
		var cage string
		var n int
		if _, err := fmt.Sscan(line, &cage, &n); err != nil {
			t.Fatal(err)
		}
		c.Since[cage] = n
	}
	for line := range strings.Lines(ask(t, db, "SELECT part, extract(epoch FROM sum(lasted)) * 1000000 FROM outage WHERE source = $1 AND ended IS NOT NULL GROUP BY part", source)) {
		var part string
		var us float64
		if _, err := fmt.Sscan(line, &part, &us); err != nil {
			t.Fatal(err)
		}
		c.Down[part] = time.Duration(us) * time.Microsecond
	}
	return c
}

// records reads what a replay printed and has the database take it in, as the
// press of that name would publish it.
func records(t *testing.T, db *pgx.Conn, name string, lines []byte) []record.Record {
	t.Helper()
	var all []record.Record
	var calls pgx.Batch
	for line := range bytes.Lines(lines) {
		line = bytes.TrimSpace(line)
		var r record.Record
		if err := json.Unmarshal(line, &r); err != nil {
			t.Fatal(err)
		}
		all = append(all, r)
		payload, topic, err := mqtt.AppendEvent(nil, "riverside/hose-shop/"+name, record.Event{Seq: r.Seq, ID: fmt.Sprintf("card-run-%d", r.Seq), Record: line})
		if err != nil {
			t.Fatal(err)
		}
		calls.Queue("SELECT take_event($1::text, $2::bytea)", topic, payload).QueryRow(func(row pgx.Row) error {
			var what string
			if err := row.Scan(&what); err != nil || what != "kept" {
				return fmt.Errorf("%s: %s, %w", line, what, err)
			}
			return nil
		})
	}
	if err := db.SendBatch(t.Context(), &calls).Close(); err != nil {
		t.Fatal(err)
	}
	return all
}

func TestNumbersOfTheRecordedShifts(t *testing.T) {
	_, db := newDatabase(t)
	names, err := filepath.Glob("../../testdata/shifts/*.txtar")
	if err != nil || len(names) < 30 {
		t.Fatalf("%d shifts, %v", len(names), err)
	}
	judged := 0
	for _, file := range names {
		name := strings.TrimSuffix(filepath.Base(file), ".txtar")
		t.Run(name, func(t *testing.T) {
			a, err := txtar.ParseFile(file)
			if err != nil {
				t.Fatal(err)
			}
			var lines []byte
			for _, f := range a.Files {
				if f.Name == "want" { // what replay prints, as the agent's own tests hold
					lines = f.Data
				}
			}
			want := count(t, records(t, db, name, lines))
			judged += len(strings.FieldsFunc(want.Judged, func(r rune) bool { return r == '\n' }))
			if diff := cmp.Diff(want, told(t, db, "/riverside/hose-shop/"+name)); diff != "" {
				t.Errorf("counted -, views +:\n%s", diff)
			}
		})
	}
	t.Log(judged, "judged crimps")
	if judged < 80 {
		t.Errorf("%d judged crimps in all shifts", judged)
	}
}

// Tapes of a technician who does anything at any time, through the program.
func TestNumbersOfRandomTapes(t *testing.T) {
	if testing.Short() {
		t.Skip("builds the agent")
	}
	_, db := newDatabase(t)
	dir := t.TempDir()
	agent := filepath.Join(dir, "benchtally")
	if out, err := exec.Command("go", "build", "-o", agent, "../../agent").CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	for _, name := range []string{"bench.toml", "specs.csv"} {
		b, err := os.ReadFile("../../testdata/shifts/" + name)
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(dir, name), b, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	judged, lasting, withdrawn := 0, 0, 0
	for seed := range uint64(20) {
		t.Run(fmt.Sprint("seed ", seed), func(t *testing.T) {
			tape := filepath.Join(dir, "tape.jsonl")
			if err := os.WriteFile(tape, randomTape(seed, 400), 0o600); err != nil {
				t.Fatal(err)
			}
			replay := exec.Command(agent, "replay", tape, "--config", filepath.Join(dir, "bench.toml"))
			var errs bytes.Buffer
			replay.Stderr = &errs
			lines, err := replay.Output()
			if err != nil {
				t.Fatalf("%v\n%s", err, errs.String())
			}
			name := fmt.Sprint("random-", seed)
			want := count(t, records(t, db, name, lines))
			if diff := cmp.Diff(want, told(t, db, "/riverside/hose-shop/"+name)); diff != "" {
				t.Errorf("counted -, views +:\n%s\n%s", diff, lines)
			}
			judged += bytes.Count(lines, []byte(`"mean_mm"`))
			lasting += len(strings.FieldsFunc(want.Judged, func(r rune) bool { return r == '\n' }))
			withdrawn += want.Undone + want.Dry
		})
	}
	t.Logf("%d verdicts, of which %d stand; %d readings and strokes were taken back", judged, lasting, withdrawn)
	if judged < 100 || lasting < 50 || judged-lasting < 50 || withdrawn < 100 {
		t.Error("the tapes are too tame")
	}
}

func randomTape(seed uint64, n int) []byte {
	rnd := rand.New(rand.NewPCG(seed, 2))
	b := []byte(`{"tape":1,"at":"2026-03-02T06:00:00Z"}` + "\n")
	at := 1.0
	say := func(format string, args ...any) {
		b = fmt.Appendf(b, `{"t":%.1f,`+format+"}\n", append([]any{at}, args...)...)
		at += 2
	}
	say(`"do":"start","order":"A-1","spec":"hs-08","setting":120,"quantity":90`)
	for range n {
		switch rnd.IntN(20) {
		case 0:
			order := []string{"A-1", "A-2"}[rnd.IntN(2)]
			say(`"do":"start","order":"%s","spec":"%s","setting":%d,"quantity":90`, order, []string{"hs-08", "hs-09"}[rnd.IntN(2)], 115+rnd.IntN(10))
		case 1, 2:
			say(`"do":"undo"`)
		case 3:
			say(`"do":"dry"`)
		case 4:
			say(`"do":"same"`)
		case 5:
			say(`"do":"measure","piece":"A-%d/%d"`, 1+rnd.IntN(2), 1+rnd.IntN(30))
		case 6:
			say(`"do":"care","cage":"C-21","work":"lubricate"`)
		case 7, 8, 9:
			say(`"level":0`)
			say(`"level":1`)
		default:
			say(`"text":"+1.%04d\r\n"`, 1940+rnd.IntN(130))
		}
	}
	return b
}

// What was written before the clock was set is found at the time at which it
// happened, by all that is told of it.
func TestNumbersOfAWrongClock(t *testing.T) {
	_, db := newDatabase(t)
	records(t, db, "wrong-clock", []byte(`{"seq":1,"at":"2026-03-01T12:00:00.000000Z","kind":"stroke","cage":"C-21"}
{"seq":2,"at":"1970-01-01T00:01:00.000000Z","kind":"stroke","clock":"unset","cage":"C-21"}
{"seq":3,"at":"2026-03-02T05:00:00.000000Z","kind":"fault","clock":"unset","state":"off","of":2,"source":"clock","behind_ms":1772427540000}
{"seq":4,"at":"2026-03-02T05:01:00.000000Z","kind":"stroke","clock":"unset","cage":"C-21"}
{"seq":5,"at":"2026-03-02T06:02:00.000500Z","kind":"fault","state":"off","of":2,"source":"clock","behind_ms":3600000}
{"seq":6,"at":"2026-03-02T06:03:00.000000Z","kind":"stroke","clock":"unset","cage":"C-21"}`))
	rows, err := db.Query(t.Context(), "SELECT seq || ' ' || to_char(at AT TIME ZONE 'UTC', 'YYYY-MM-DD HH24:MI:SS') FROM happened ORDER BY seq")
	if err != nil {
		t.Fatal(err)
	}
	got, err := pgx.CollectRows(rows, pgx.RowTo[string])
	want := []string{"2 2026-03-02 06:00:00", "3 2026-03-02 06:00:00", "4 2026-03-02 06:01:00"}
	if diff := cmp.Diff(want, got); diff != "" || err != nil {
		t.Errorf("want -, got +\n%s%v", diff, err)
	}
}
