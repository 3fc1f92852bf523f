package people

import (
	"errors"
	"slices"
	"strings"
	"testing"
)

const header = "operator,name,lead,pin,badge\n"

// hashes that a file may hold: of the PIN 4711, and of the badge AAAA….
var (
	pin4711 = pinHash{iterations: leastIterations, salt: strings.Repeat("s", saltSize), key: pinHash{iterations: leastIterations, salt: strings.Repeat("s", saltSize)}.of("4711")}.String()
	badgeA  = hashBadge(tokenA).String()
)

const tokenA = "AAAAAAAAAAAAAAAAAAAAAAAAAA"

func TestParse(t *testing.T) {
	roll, err := Parse("operators.csv", []byte("\ufeff"+header+
		"kj,Kim Jansen,yes,"+pin4711+","+badgeA+"\r\n\n"+
		`mb,"Bo ""the drill"", Mia",,,`+"\n"))
	if err != nil {
		t.Fatal(err)
	}
	want := []Person{{ID: "kj", Name: "Kim Jansen", Lead: true}, {ID: "mb", Name: `Bo "the drill", Mia`}}
	if got := roll.People(); !slices.Equal(got, want) {
		t.Errorf("people are %v, want %v", got, want)
	}
	for id, want := range map[string][2]bool{"kj": {true, true}, "mb": {}, "zz": {}} {
		if pin, badge := roll.Means(id); pin != want[0] || badge != want[1] {
			t.Errorf("%s signs in by PIN: %v, by badge: %v; want %v", id, pin, badge, want)
		}
	}
	if p, err := roll.Find("mb"); err != nil || p != want[1] {
		t.Errorf("mb is %v, %v", p, err)
	}
	if p, err := roll.Find("zz"); err == nil || err.Error() != "there is no operator zz: there are kj, mb" || p != (Person{}) {
		t.Errorf("zz is %v, %v", p, err)
	}
	again, err := Parse("again.csv", roll.CSV())
	if err != nil || !slices.Equal(again, roll) {
		t.Errorf("written and read again it is %v, %v", again, err)
	}
	if none, err := Parse("operators.csv", []byte(header)); err != nil || len(none) != 0 {
		t.Errorf("nobody is %v, %v", none, err)
	}
}

// TestParseFaults: every fault is told with its place and what would be right,
// all in one run, and nothing of what may be secret.
func TestParseFaults(t *testing.T) {
	for name, c := range map[string]struct{ text, want string }{
		"nothing":        {"", "o.csv:1: the file is empty: the first line names the columns, operator,name,lead,pin,badge"},
		"no header":      {"kj,Kim,,,\n", "o.csv:1: the first line names the columns, want operator,name,lead,pin,badge"},
		"semicolons":     {strings.ReplaceAll(header, ",", ";"), "o.csv:1: the first line names the columns, want operator,name,lead,pin,badge"},
		"not UTF-8":      {header + "kj,K\xf6nig,,,\n", "o.csv:2:5: is not UTF-8 here: save the file as UTF-8"},
		"too short":      {header + "kj,Kim\n", "o.csv:2: this row has 2 columns, want 5: a cell with a comma in it stands in quotes"},
		"too long":       {header + "kj,Jansen, Kim,,,\n", "o.csv:2: this row has 6 columns, want 5: a cell with a comma in it stands in quotes"},
		"no sign":        {header + ",Kim,,,\n", "o.csv:2:1: operator: no operator is named: want a short sign, such as kj"},
		"blank in it":    {header + "k j,,,,\n", "o.csv:2:1: operator: the sign of an operator has no blanks: want one such as kj"},
		"long sign":      {header + strings.Repeat("k", 65) + ",,,,\n", "o.csv:2:1: operator: the sign of an operator is longer than 64 bytes"},
		"hidden in it":   {header + "k\u200bj,,,,\n", "o.csv:2:1: operator: the sign of an operator holds a character that cannot be written"},
		"twice":          {header + "kj,,,,\nmb,,,,\nkj,,,,\n", "o.csv:4:1: operator: kj stands twice, first on line 2: take one of them out"},
		"name":           {header + "kj, Kim,,,\n", "o.csv:2:4: name: the name begins or ends with a blank: take it away"},
		"lead":           {header + "kj,Jürgen,no,,\n", "o.csv:2:11: lead: want yes or nothing"},
		"PIN in clear":   {header + "kj,,,4711,\n", `o.csv:2:6: pin: is not the hash of a PIN: empty the cell and set it with "benchtally operator pin"`},
		"PIN cut":        {header + "kj,,," + pin4711[:60] + ",\n", `o.csv:2:6: pin: is the hash of a PIN, damaged: empty the cell and set it with "benchtally operator pin"`},
		"PIN too costly": {header + "kj,,," + strings.Replace(pin4711, "10000", "999999999", 1) + ",\n", `o.csv:2:6: pin: is the hash of a PIN with a wrong number of iterations, which are 10000 to 500000: empty the cell and set it with "benchtally operator pin"`},
		"badge in clear": {header + "kj,,,," + tokenA + "\n", `o.csv:2:7: badge: is not the hash of a badge: empty the cell and make one with "benchtally operator badge"`},
		"badge shared":   {header + "kj,,,," + badgeA + "\nmb,,,," + badgeA + "\n", "o.csv:3:7: badge: this badge stands twice, first on line 2: empty one of the cells"},
		"quote inside":   {header + "kj,Kim \"K\",no,,\nmb,,no,,\n", "o.csv:2:8: a quote inside a cell: put the cell in quotes and write each inner quote twice\no.csv:3:5: lead: want yes or nothing"},
		"quote open":     {header + "kj,\"Kim,,,\nmb,,,,\n", "o.csv:2: a cell that begins with a quote must end with one before the next comma; inner quotes are written twice"},
		"all at once": {header + "k j,,no,4711,\n,,,,x\n", `o.csv:2:1: operator: the sign of an operator has no blanks: want one such as kj
o.csv:2:6: lead: want yes or nothing
o.csv:2:9: pin: is not the hash of a PIN: empty the cell and set it with "benchtally operator pin"
o.csv:3:1: operator: no operator is named: want a short sign, such as kj
o.csv:3:5: badge: is not the hash of a badge: empty the cell and make one with "benchtally operator badge"`},
	} {
		roll, err := Parse("o.csv", []byte(c.text))
		var faults Faults
		if roll != nil || !errors.As(err, &faults) {
			t.Errorf("%s: %v, %v, want faults", name, roll, err)
			continue
		}
		if err.Error() != c.want {
			t.Errorf("%s: says\n%s\nwant\n%s", name, err, c.want)
		}
	}
}

func TestChanges(t *testing.T) {
	var r Roll
	for _, p := range []Person{{ID: "kj", Name: "Kim"}, {ID: "mb", Lead: true}, {ID: "ts"}} {
		if err := r.Add(p); err != nil {
			t.Fatal(err)
		}
	}
	before := slices.Clone(r)
	for name, c := range map[string]struct {
		err  error
		says string
	}{
		"twice":      {r.Add(Person{ID: "kj"}), "kj already"},
		"blank":      {r.Add(Person{ID: "k j"}), "no blanks"},
		"name":       {r.Add(Person{ID: "x", Name: "a\nb"}), "cannot be written"},
		"PIN of?":    {r.SetPIN("zz", "4711"), "no operator zz: there are kj, mb, ts"},
		"PIN":        {r.SetPIN("kj", "1234"), "counts up"},
		"badge of?":  {func() error { _, err := r.SetBadge("zz"); return err }(), "no operator zz"},
		"remove":     {r.Remove("zz"), "no operator zz"},
		"from empty": {new(Roll).Remove("kj"), "no operator kj, nor any other"},
	} {
		if c.err == nil || !strings.Contains(c.err.Error(), c.says) {
			t.Errorf("%s: %v, want %q in it", name, c.err, c.says)
		}
	}
	if !slices.Equal(r, before) {
		t.Errorf("what was refused changed the roll to %v", r)
	}
	if err := r.SetPIN("mb", "4711"); err != nil || !r[1].pin.is("4711") {
		t.Errorf("the PIN of mb is not 4711: %v", err)
	}
	old, err := r.SetBadge("ts")
	if e, ok := r.holder(hashBadge(old)); err != nil || !ok || e.ID != "ts" {
		t.Errorf("the badge of ts is %v's, %v", e.ID, err)
	}
	token, err := r.SetBadge("ts")
	if e, ok := r.holder(hashBadge(token)); err != nil || !ok || e.ID != "ts" {
		t.Errorf("the new badge of ts is %v's, %v", e.ID, err)
	}
	if _, ok := r.holder(hashBadge(old)); ok {
		t.Error("the old badge still works")
	}
	if err := r.Remove("mb"); err != nil || !slices.Equal(r.People(), []Person{{ID: "kj", Name: "Kim"}, {ID: "ts"}}) {
		t.Errorf("without mb the roll is %v, %v", r.People(), err)
	}
}

func TestCalled(t *testing.T) {
	if got := (Person{ID: "kj"}).Called(); got != "kj" {
		t.Errorf("called %q", got)
	}
	if got := (Person{ID: "kj", Name: "Kim"}).Called(); got != "Kim" {
		t.Errorf("called %q", got)
	}
}

// FuzzParse: any text is either refused with faults that have a place in it, or
// read as people who come back when they are written.
func FuzzParse(f *testing.F) {
	f.Add([]byte(header + "kj,Kim Jansen,yes," + pin4711 + "," + badgeA + "\n"))
	f.Add([]byte("\ufeff" + header + "kj,\"a, \"\"b\"\"\",,,\r\n\r\nmb,,,,"))
	f.Add([]byte(header + "kj,\"a\nb\",no,4711,x\nk\xff,,,,\n"))
	f.Add([]byte(header + "kj,a\"b,,,\n,,,,\n\"x"))
	f.Add([]byte(""))
	f.Fuzz(func(t *testing.T, data []byte) {
		roll, err := Parse("o.csv", data)
		if err != nil {
			var faults Faults
			if !errors.As(err, &faults) || len(faults) == 0 {
				t.Fatalf("no fault, but %v", err)
			}
			for _, fault := range faults {
				if fault.Line < 1 || fault.Line > 1+strings.Count(string(data), "\n") || fault.Column < 0 || fault.Text == "" {
					t.Errorf("%+v lies outside of the file", fault)
				}
			}
			return
		}
		for _, p := range roll.People() {
			if CheckID(p.ID) != nil || CheckName(p.Name) != nil {
				t.Errorf("%+v was let through", p)
			}
		}
		again, err := Parse("o.csv", roll.CSV())
		if err != nil || !slices.Equal(again, roll) {
			t.Errorf("%q came back as %v, %v", roll.CSV(), again, err)
		}
	})
}
