package report

import (
	"bytes"
	"errors"
	"fmt"
	"image/png"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"benchtally/agent/crimp"
	"benchtally/agent/station"
)

var options = Options{
	Language: plain{}, Press: "riverside/hose-shop, north-bench", Store: "7f3a91c2", Zone: time.FixedZone("CET", 3600),
}

// tool is a program that looks at papers from outside. Where it is not installed
// the test is skipped, but for CI.
func tool(t *testing.T, name string) string {
	t.Helper()
	path, err := exec.LookPath(name)
	switch {
	case err == nil:
		return path
	case os.Getenv("CI") != "":
		t.Fatalf("%s is not installed: apt-get install poppler-utils zbar-tools qpdf", name)
	}
	t.Skipf("%s is not installed", name)
	return ""
}

// file puts a paper where tools find it.
func file(t *testing.T, pdf []byte) string {
	t.Helper()
	name := filepath.Join(t.TempDir(), "paper.pdf")
	if err := os.WriteFile(name, pdf, 0o600); err != nil {
		t.Fatal(err)
	}
	return name
}

// run is what a tool says.
func run(t *testing.T, name string, args ...string) string {
	t.Helper()
	out, err := exec.Command(tool(t, name), args...).CombinedOutput()
	if err != nil {
		t.Fatalf("%s %q: %v\n%s", name, args, err, out)
	}
	return string(out)
}

// read is the text of a paper, as it is laid out, and how many pages it has.
func read(t *testing.T, pdf []byte) (text string, pages int) {
	t.Helper()
	text = run(t, "pdftotext", "-layout", file(t, pdf), "-")
	return text, strings.Count(text, "\f")
}

// flat is a text with all blanks as one space, so that a broken line does not hide
// a sentence.
func flat(text string) string { return strings.Join(strings.Fields(text), " ") }

// Dots an inch of printers of labels and of sheets.
const (
	labelDots = "203"
	sheetDots = "300"
)

// scan is what a scanner reads on the first pages of a paper that was printed.
func scan(t *testing.T, pdf []byte, dots string) []string {
	t.Helper()
	tool(t, "zbarimg")
	name := file(t, pdf)
	run(t, "pdftoppm", "-r", dots, "-l", "12", "-gray", "-png", name, strings.TrimSuffix(name, ".pdf"))
	images, err := filepath.Glob(strings.TrimSuffix(name, ".pdf") + "-*.png")
	if err != nil || len(images) == 0 {
		t.Fatalf("no pages: %v", err)
	}
	slices.Sort(images)
	var none *exec.ExitError
	out, err := exec.Command("zbarimg", append([]string{"-q", "--nodbus"}, images...)...).CombinedOutput()
	if err != nil && (!errors.As(err, &none) || none.ExitCode() != 4) { // 4: a page has no code
		t.Fatalf("zbarimg: %v\n%s", err, out)
	}
	lines := strings.Split(strings.TrimSpace(string(out)), "\n")
	slices.Sort(lines)
	return lines
}

// paper is a PDF that a test looks at, must be made.
func paper(t *testing.T) func(pdf []byte, err error) []byte {
	return func(pdf []byte, err error) []byte {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return pdf
	}
}

// has looks for texts on a paper.
func has(t *testing.T, text string, want ...string) {
	t.Helper()
	text = flat(text)
	for _, w := range want {
		if !strings.Contains(text, w) {
			t.Errorf("the paper does not say %q", w)
		}
	}
	if t.Failed() {
		t.Log(text)
	}
}

func TestCertificateTellsTheWholeOrder(t *testing.T) {
	d := dossier(12)
	text, pages := read(t, paper(t)(Certificate(d, options)))
	if pages != 3 {
		t.Errorf("%d pages, want 3", pages)
	}
	has(t, text,
		"Record of crimping, order A-1001", "Reference: pump 3, return line", "riverside/hose-shop, north-bench",
		"Recorded from 2026-03-02 07:00 to 2026-03-02 07:48 (CET); the order is finished or set aside.",
		"12 2 1 2 2 ordered complete crimped again scrapped not measured",
		"Overall length 1200.0 mm (47.24 in)", "Length tolerance +12.0, −4.0 mm", "Cut length 1096.0 mm (43.15 in)",
		"Angle of the elbows 90°", "Working pressure 250 bar (3626 psi)", "Note caps red",
		"A, B hs-08 2026-01 C-21 30.580 mm (1.2039 in) 30.480 – 30.680 mm 120 once",
		"skive 28.0 mm", "insertion depth 41.0 mm", "3 readings make a verdict",
		"A 1–8 2SN 08 Riverside Hose H-4411 DKOL 15 Riverside Fittings F-208",
		"B 9–12 2SN 08 Riverside Hose H-4412 DKOL 15 90° Riverside Fittings F-311",
		"Hose and fitting are of different makers: that wants the written word of both.",
		"A A-1001/1 124 30.64 30.63 30.65 30.640 +0.060 0.020 >99.9 % within limits",
		"2026-03-02 07:04 · kj · seated, mark: good (kj)",
		"B A-1001/6 124 30.74 30.73 30.75 30.740 +0.160 0.020 <0.1 % too large,",
		"0.060 mm over the upper limit: the sheet allows one more crimp",
		"118 30.60 30.59 30.61 30.600 +0.020 0.020 >99.9 % within limits,",
		"A A-1001/9 124 30.44 30.43 30.45 30.440 −0.140 0.020 <0.1 % scrap", "0.040 mm under the lower limit: an undersize crimp cannot be undone",
		"A A-1001/13 124 – – – – – not measured", "Not measured: no reading of this crimp is kept",
		"30.67 30.66† 30.68", "† A reading in doubt: the caliper was found wrong afterwards",
		"B A-1001/18 124 – – – – – not measured,", "by the shop's plan not every piece is measured",
		"given up: hose torn at the skive", "Scrap. length 1200.0 mm (0.0): good (kj) · flushed, capped: good (mb) · end B is scrap",
		"Crimped, not all checked. length 1202.0 mm (+2.0): good (kj) · flushed, capped: not good (mb) · not checked, or not good: flushed, capped",
		"1 250 bar (3626 psi) 500 bar (7252 psi) 45 s no leak, no failure ts 2026-03-02 07:04",
		"No record of a proof test of these assemblies: 4, 6–9, 11, 12.", "it is not made by this program",
		"2026-03-02 07:01 closed jaws 0.000 0.000 good kj", "2026-03-02 07:48 ring-25 25.000 25.060 wrong kj", "Readings from record 160 to 252 are in doubt.",
		"At the press and at the checks: kj, mb, ts", "Signature", Advisory, "Never feel for leaks by hand.",
		"Store 7f3a91c2, records 12 to 252.", "page 1 of 3", "page 3 of 3", "Deviation from the target, mm", "upper limit",
		"Setting, counts", "dialled 124", "advised, where another was dialled",
		"Offset of the cage, mm C-21, strokes from the order's first crimp on", "mean −0.095", "This set-up shows no drift.",
	)
	digest, err := Digest(d)
	if err != nil {
		t.Fatal(err)
	}
	has(t, text, "SHA-256 "+digest)
}

// What cannot be told is not told: no empty section, no zero that means unknown.
func TestCertificateOfLittle(t *testing.T) {
	bare := &station.Dossier{Order: "A-1009", From: 7, To: 7, Began: shiftStart, Latest: shiftStart, Starts: []station.StartEntry{{At: shiftStart, Spec: hs12}}}
	text, pages := read(t, paper(t)(Certificate(bare, options)))
	if pages != 1 {
		t.Errorf("%d pages, want 1", pages)
	}
	has(t, text, "– 0 0 0 0 ordered within limits", "Nothing is crimped yet.", "No record of a proof test.", "Pressure", "nobody is named",
		"None was made between the first and the latest record of this order.", "the order is in work", "1.2040 in (30.582 mm)")
	for _, absent := range []string{"Working pressure", "Cut length", "Hose and fittings", "†", "0001-01-01", "□"} {
		if strings.Contains(text, absent) {
			t.Errorf("it says %q of an order that has none", absent)
		}
	}
}

func TestCertificateOfSingleEnds(t *testing.T) {
	text, _ := read(t, paper(t)(Certificate(singles(9), options)))
	has(t, text, "9 8 1 1 0 ordered within limits crimped again scrapped not measured", "Counted in single ends.",
		"A-1001/1 124 1.2060 1.2055 1.2065 1.2064 +0.0024 0.0008 >99.9 % within limits", "Readings, in")
	if strings.Contains(text, "Assembly") {
		t.Error("it speaks of assemblies")
	}
}

// With specifications in two units each row says its own.
func TestCertificateInTwoUnits(t *testing.T) {
	d := dossier(2)
	for i := range d.Pieces {
		if d.Pieces[i].End == crimp.EndB {
			d.Pieces[i].Spec = hs12
		}
	}
	text, _ := read(t, paper(t)(Certificate(d, options)))
	has(t, text, "A A-1001/1 124 mm 30.64 30.63 30.65 30.640 +0.060", "B A-1001/2 124 in 1.2035 1.2031 1.2039 1.2035 −0.0004")
}

func TestCertificateOf400Assemblies(t *testing.T) {
	began := time.Now()
	pdf := paper(t)(Certificate(dossier(400), options))
	if took := time.Since(began); took > 20*time.Second {
		t.Errorf("it took %s", took)
	}
	text, pages := read(t, pdf)
	if pages < 30 || pages > 45 {
		t.Errorf("%d pages", pages)
	}
	for n := 1; n <= 800; n++ {
		if !strings.Contains(text, fmt.Sprintf("A-1001/%d ", n)) {
			t.Fatalf("piece %d is missing", n)
		}
	}
	if got := strings.Count(text, "What it says"); got < pages-5 {
		t.Errorf("%d heads of the table on %d pages", got, pages)
	}
	has(t, text, "The latest 120 of 798 measured pieces.", fmt.Sprintf("page %d of %d", pages, pages))
}

// Names of any kind come out, or are seen not to.
func TestCertificateOfOddNames(t *testing.T) {
	long := strings.Repeat("Wagenheber-", 6)[:64]
	for name, change := range map[string]func(d *station.Dossier){
		"64 letters": func(d *station.Dossier) {
			d.Order, d.Job.Reference, d.Job.Note = long, long, strings.Repeat("W", 300)
			for i := range d.Pieces {
				p := &d.Pieces[i]
				p.ID, p.Spec.ID, p.Cage, p.Parts.Hose.Lot = fmt.Sprintf("%s/%d", long, p.N), long, long, long
				p.Crimps[0].Operator = long
			}
		},
		"control characters": func(d *station.Dossier) {
			d.Order, d.Job.Reference, d.Job.Note = "A\x00\x1b[31m1", "a\nb\tc\r\n\ufffe", "\xff\xfe(\\)"
		},
		"other scripts": func(d *station.Dossier) {
			d.Order, d.Job.Reference = "主油泵-7", "насос № 3, Łódź, αβγ"
			for i := range d.Pieces {
				d.Pieces[i].Crimps[0].Operator = "عمر 😀"
			}
		},
	} {
		t.Run(name, func(t *testing.T) {
			d := dossier(5)
			change(d)
			pdf := paper(t)(Certificate(d, options))
			text, _ := read(t, pdf)
			if out := run(t, "qpdf", "--check", file(t, pdf)); !strings.Contains(out, "No syntax or stream encoding errors") {
				t.Errorf("qpdf: %s", out)
			}
			if name == "64 letters" {
				if got := strings.ReplaceAll(flat(text), " ", ""); !strings.Contains(got, long) {
					t.Error("the order's name is not whole")
				}
				return
			}
			has(t, text, "□ stands for a sign that this paper's type does not have.")
			if name == "other scripts" {
				has(t, text, "насос № 3, Łódź, αβγ", "order □□□-7", "□□□ □")
			}
		})
	}
}

func TestPapersAreTheSameTwice(t *testing.T) {
	d := dossier(12)
	for name, make := range map[string]func() ([]byte, error){
		"certificate": func() ([]byte, error) { return Certificate(d, options) },
		"labels": func() ([]byte, error) {
			return Labels(AssemblyLabels(d, pieceCode, options), SmallLabel, d.Latest, options)
		},
		"sheet":    func() ([]byte, error) { return Sheet("Commands", commands(), shiftStart, options) },
		"job card": func() ([]byte, error) { return JobCard(traveller(), options) },
		"undated":  func() ([]byte, error) { return JobCard(Traveller{Code: "ORDER A-1"}, options) },
		"shift":    func() ([]byte, error) { return ShiftSheet(handover(), options) },
		"table":    func() ([]byte, error) { return Table(d, options) },
	} {
		a := paper(t)(make())
		for range 3 {
			if b := paper(t)(make()); !bytes.Equal(a, b) {
				t.Errorf("%s: %d bytes, then others, %d", name, len(a), len(b))
			}
		}
		if bytes.HasPrefix(a, []byte("%PDF")) && !regexp.MustCompile(`/CreationDate \(D:(20260302|19700101)`).Match(a) {
			t.Errorf("%s is not dated by its data", name)
		}
	}
}

func TestPapersAreSoundPDF(t *testing.T) {
	for name, pdf := range map[string][]byte{
		"certificate": paper(t)(Certificate(dossier(40), options)),
		"labels":      paper(t)(Labels(AssemblyLabels(dossier(12), pieceCode, options), LargeLabel, shiftStart, options)),
		"sheet":       paper(t)(Sheet("Commands", commands(), shiftStart, options)),
		"job card":    paper(t)(JobCard(traveller(), options)),
		"shift":       paper(t)(ShiftSheet(handover(), options)),
	} {
		if out := run(t, "qpdf", "--check", file(t, pdf)); !strings.Contains(out, "No syntax or stream encoding errors") {
			t.Errorf("%s: %s", name, out)
		}
	}
}

// A scanner that knows nothing of us reads what the paper is known by.
func TestSealIsScanned(t *testing.T) {
	for _, order := range []string{"A-1001", strings.Repeat("W", 64), "насос/7"} {
		d := dossier(2)
		d.Order = order
		digest, err := Digest(d)
		if err != nil {
			t.Fatal(err)
		}
		want := fmt.Sprintf("QR-Code:RECORD %s STORE 7f3a91c2 SEQ 12-52 SHA256 %s", order, digest)
		if got := scan(t, paper(t)(Certificate(d, options)), sheetDots); !slices.Contains(got, want) {
			t.Errorf("scanned %q, want %q", got, want)
		}
	}
}

// The digest is of all that the records say, and of nothing else.
func TestDigest(t *testing.T) {
	of := func(change func(*station.Dossier)) string {
		d := dossier(3)
		change(d)
		s, err := Digest(d)
		if err != nil {
			t.Fatal(err)
		}
		return s
	}
	same := of(func(*station.Dossier) {})
	if again := of(func(*station.Dossier) {}); same != again || len(same) != 64 {
		t.Errorf("digests %s and %s of the same", same, again)
	}
	for name, change := range map[string]func(*station.Dossier){
		"a reading":  func(d *station.Dossier) { d.Pieces[4].Crimps[0].Readings[2].Value++ },
		"an outcome": func(d *station.Dossier) { d.Pieces[0].Crimps[0].Outcome = crimp.Scrap },
		"a lot":      func(d *station.Dossier) { d.Pieces[1].Parts.Hose.Lot = "H-1" },
		"a check":    func(d *station.Dossier) { d.Assemblies[2].Checks[0].OK = false },
		"a record":   func(d *station.Dossier) { d.To++ },
	} {
		if of(change) == same {
			t.Errorf("%s changes nothing", name)
		}
	}
	d := dossier(1)
	d.Pieces[0].Crimps[0].Conformity = math.NaN()
	if _, err := Certificate(d, options); err == nil || !strings.Contains(err.Error(), "digest of order A-1001") {
		t.Errorf("a conformity that is no number: %v", err)
	}
}

// Both codes of a label say what people read on it, whatever its size.
func TestLabelsAreScanned(t *testing.T) {
	d := dossier(12)
	for name, size := range map[string]Size{"small": SmallLabel, "large": LargeLabel} {
		t.Run(name, func(t *testing.T) {
			labels := AssemblyLabels(d, pieceCode, options)
			pdf := paper(t)(Labels(labels, size, shiftStart, options))
			var want []string
			for _, n := range []int{1, 3, 5, 7, 11, 13, 15, 17, 21, 23} { // assemblies 5 and 10 are scrap
				want = append(want, fmt.Sprintf("CODE-128:PIECE A-1001/%d", n), fmt.Sprintf("QR-Code:PIECE A-1001/%d", n))
			}
			slices.Sort(want)
			if got := scan(t, pdf, labelDots); !slices.Equal(got, want) {
				t.Errorf("scanned %q, want %q", got, want)
			}
			text, pages := read(t, pdf)
			if pages != 10 {
				t.Errorf("%d pages, want 10", pages)
			}
			has(t, text, "A-1001 1 of 12", "2SN 08 – DKOL 15 – DKOL 15 90°", "1200.0 mm 2026-03-02", "A A-1001/1 B A-1001/2", "PIECE A-1001/1")
			var wide, high float64
			info := run(t, "pdfinfo", file(t, pdf))
			if _, err := fmt.Sscanf(info[strings.Index(info, "Page size:"):], "Page size: %f x %f pts", &wide, &high); err != nil {
				t.Fatal(err)
			}
			if math.Abs(wide*25.4/72-size.Width.MM()) > 0.01 || math.Abs(high*25.4/72-size.Height.MM()) > 0.01 {
				t.Errorf("pages of %g by %g points, want %s by %s", wide, high, size.Width, size.Height)
			}
		})
	}
}

// A code that has no room for bars, or is no ASCII, is in the QR code alone.
func TestLabelsOfOddCodes(t *testing.T) {
	long := "PIECE " + strings.Repeat("W", 64) + "/123"
	for _, c := range []struct {
		code string
		bars bool
	}{
		{"CAGE C-21", true}, {"DO UNDO", true}, {"CHECK ring-25", true}, {"BADGE K3J9PQ7T", true},
		{"BADGE K3J9PQ7T22MXK3J9PQ7T22MX", false}, {long, false}, {"ORDER насос/7", false},
	} {
		got := scan(t, paper(t)(Labels([]Label{{Code: c.code, Title: "x"}}, SmallLabel, shiftStart, options)), labelDots)
		want := []string{"QR-Code:" + c.code}
		if c.bars {
			want = []string{"CODE-128:" + c.code, "QR-Code:" + c.code}
		}
		if !slices.Equal(got, want) {
			t.Errorf("scanned %q, want %q", got, want)
		}
	}
}

func TestLabelsThatCannotBe(t *testing.T) {
	for name, c := range map[string]struct {
		labels []Label
		size   Size
		want   string
	}{
		"none":      {nil, SmallLabel, "no label to print"},
		"too small": {commands(), Size{5 * crimp.Millimetre, 29 * crimp.Millimetre}, "a label of 5mm by 29mm: want 20 to 300 mm either way"},
		"too large": {commands(), Size{29 * crimp.Millimetre, 400 * crimp.Millimetre}, "want 20 to 300 mm"},
		"too much":  {[]Label{{Code: strings.Repeat("x", 5000)}}, SmallLabel, "QR code of"},
	} {
		if _, err := Labels(c.labels, c.size, shiftStart, options); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want %q", name, err, c.want)
		}
	}
}

// A sheet of commands is scanned whole: no code disturbs its neighbour.
func TestSheetIsScanned(t *testing.T) {
	var labels []Label
	for i := range 17 {
		labels = append(labels, Label{Code: fmt.Sprintf("DO THING %d", i), Title: fmt.Sprintf("Thing %d", i)})
	}
	pdf := paper(t)(Sheet("Commands for the scanner", labels, shiftStart, options))
	got := scan(t, pdf, sheetDots)
	if len(got) != 2*len(labels) {
		t.Errorf("%d codes scanned, want %d: %q", len(got), 2*len(labels), got)
	}
	for _, l := range labels {
		if !slices.Contains(got, "QR-Code:"+l.Code) || !slices.Contains(got, "CODE-128:"+l.Code) {
			t.Errorf("%q is not scanned", l.Code)
		}
	}
	if text, pages := read(t, pdf); pages != 2 || !strings.Contains(text, "Thing 16") {
		t.Errorf("%d pages", pages)
	}
}

func TestLabelsOfSingleEnds(t *testing.T) {
	labels := AssemblyLabels(singles(9), pieceCode, options)
	if len(labels) != 8 || labels[0].Code != "PIECE A-1001/1" || labels[0].Title != "A-1001/1" {
		t.Errorf("%d labels, first %+v; want 8: the ninth piece is scrap", len(labels), labels[0])
	}
}

func TestJobCard(t *testing.T) {
	pdf := paper(t)(JobCard(traveller(), options))
	text, pages := read(t, pdf)
	if pages != 1 {
		t.Errorf("%d pages, want 1", pages)
	}
	has(t, text, "Job card, order A-1001", "12 1096.0 mm 1200.0 mm assemblies cut length overall length", "Hose lot H-4411",
		"End A Fitting DKOL 15, Riverside Fittings Fitting lot F-208", "Specification hs-08, 2026-01 Die cage C-21", "Skive 28.0 mm Insertion depth 41.0 mm",
		"Target 1.2040 in (30.582 mm) Limits 1.1990 – 1.2090 in", "Setting on the sheet 085", "Proof test: 500 bar (7252 psi), 30 to 60 s", Advisory)
	if got := scan(t, pdf, sheetDots); !slices.Equal(got, []string{"QR-Code:ORDER A-1001"}) {
		t.Errorf("scanned %q", got)
	}
	one := traveller()
	one.Specs[1], one.Job.Ends[1], one.Job.Working, one.Cut = crimp.Spec{}, crimp.End{}, 0, 0
	text, _ = read(t, paper(t)(JobCard(one, options)))
	for _, absent := range []string{"End B", "Proof test:", "Crimp and measure end B"} {
		if strings.Contains(text, absent) {
			t.Errorf("it says %q of an order without", absent)
		}
	}
}

func TestShiftSheet(t *testing.T) {
	text, pages := read(t, paper(t)(ShiftSheet(handover(), options)))
	if pages != 1 {
		t.Errorf("%d pages, want 1", pages)
	}
	has(t, text, "Hand-over of the shift, 2026-03-02", "From 2026-03-02 07:00 to 2026-03-02 15:00 (CET). At the press: kj, mb.",
		"C-21 124 127 die cage loaded setting dialled advised for the next piece",
		"A-1001 hs-08 finished 26 12 12 1 1", "A-1002 * hs-12 held 5 4 – 0 0", "Not measured: A-1002/3", "A-1003 hs-08, hs-12 in work 11 5 40 0 0",
		"C-21 lubricate 52 50 due", "C-23 take apart and inspect 960 1000 due in 3 days", "the press check the oil level – – not due yet",
		"ring-25 25.000 25.060 wrong", "In doubt: readings from record 14 to 90, of A-1001/1, A-1001/2.",
		"caliper · no caliper at the port: look at the cable · since 2026-03-02 14:00", "Handed over by", "records 12 to 2210", Advisory)
	text, _ = read(t, paper(t)(ShiftSheet(Handover{From: shiftStart, To: shiftStart}, options)))
	has(t, text, "nobody is named", "– – – die cage loaded", "None in this shift.", "Nothing is due.", "None.")
}

func TestLetterPaper(t *testing.T) {
	o := options
	o.Paper = Letter
	if info := run(t, "pdfinfo", file(t, paper(t)(Certificate(dossier(2), o)))); !strings.Contains(info, "612 x 792 pts (letter)") {
		t.Error(info)
	}
	o.Paper = A4
	if info := run(t, "pdfinfo", file(t, paper(t)(Certificate(dossier(2), o)))); !strings.Contains(info, "(A4)") {
		t.Error(info)
	}
}

// Nothing is printed in the margins or beyond the page, however much there is.
func TestPapersKeepTheirMargins(t *testing.T) {
	o := options
	o.Language = wordy{}
	for name, pdf := range map[string][]byte{
		"certificate": paper(t)(Certificate(dossier(40), options)), "wordy certificate": paper(t)(Certificate(dossier(40), o)),
		"wordy shift": paper(t)(ShiftSheet(handover(), o)), "wordy job card": paper(t)(JobCard(traveller(), o)),
	} {
		t.Run(name, func(t *testing.T) { keepsMargins(t, pdf) })
	}
}

func keepsMargins(t *testing.T, pdf []byte) {
	t.Helper()
	name := file(t, pdf)
	run(t, "pdftoppm", "-r", "50", "-gray", "-png", name, strings.TrimSuffix(name, ".pdf"))
	pages, err := filepath.Glob(strings.TrimSuffix(name, ".pdf") + "-*.png")
	if err != nil || len(pages) == 0 {
		t.Fatalf("%d pages: %v", len(pages), err)
	}
	for _, page := range pages {
		f, err := os.Open(page)
		if err != nil {
			t.Fatal(err)
		}
		img, err := png.Decode(f)
		if err != nil {
			t.Fatal(err)
		}
		if err := f.Close(); err != nil {
			t.Fatal(err)
		}
		b := img.Bounds()
		edge := 17 * 50 / 25 // 17 mm
		for y := b.Min.Y; y < b.Max.Y; y++ {
			for x := b.Min.X; x < b.Max.X; x++ {
				if x >= edge && x < b.Max.X-edge {
					continue
				}
				if r, _, _, _ := img.At(x, y).RGBA(); r < 0x8000 {
					t.Fatalf("%s: ink at %s, %s mm", filepath.Base(page), strconv.Itoa(x/2), strconv.Itoa(y/2))
				}
			}
		}
	}
}

func BenchmarkCertificate40(b *testing.B) {
	d := dossier(40)
	for b.Loop() {
		if _, err := Certificate(d, options); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkDeviations(b *testing.B) {
	s := SeriesOf(judged(40), advice(40))
	for b.Loop() {
		Deviations(s, plain{})
	}
}
