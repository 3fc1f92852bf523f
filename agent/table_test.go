package main

import (
	"errors"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// take reads columns name (texts) and x (numbers) of a table from standard input.
func take(t *testing.T, text string) (names []string, x []float64, err error) {
	t.Helper()
	table, err := readTable(env{stdin: strings.NewReader(text)}, "-")
	if err == nil {
		err = table.take(tableColumn{name: "name", texts: &names}, tableColumn{name: "x", numbers: &x})
	}
	var bad invalid
	if err != nil && (!errors.As(err, &bad) || names != nil || x != nil) {
		t.Errorf("%q: %v is not invalid, or something was given: %q, %v", text, err, names, x)
	}
	return names, x, err
}

func TestTable(t *testing.T) {
	for name, text := range map[string]string{
		"plain":                    "name,x\na,1\nb,-2.5e-3\n",
		"other order and columns":  "x,note,name\n1,hello,a\n-2.5e-3,,b\n",
		"a sheet's own":            "\ufeffname,x\r\na,1\r\nb,-2.5e-3\r\n",
		"quotes":                   "\"name\",\"x\"\n\"a\",\"1\"\n\"b\", \"-2.5e-3\"\n",
		"quotes with commas":       "name,x,note\na,1,\"one, two\"\nb,-2.5e-3,\"3/8\"\"\"\n",
		"capitals and blanks":      "Name , X\n a,1 \n b, -2.5e-3\n",
		"comments and rows of no":  "# made up\n\n# twice\nname,x\na,1\n,\n\nb,-2.5e-3\n,\n",
		"no newline at the end":    "name,x\na,1\nb,-2.5e-3",
		"a column twice, not ours": "note,name,note,x\n,a,,1\n,b,,-2.5e-3\n",
		"columns without a name":   "name,x,,\na,1,,\nb,-2.5e-3,,\n",
	} {
		names, x, err := take(t, text)
		if err != nil || !slices.Equal(names, []string{"a", "b"}) || !slices.Equal(x, []float64{1, -0.0025}) {
			t.Errorf("%s: %q, %v, %v", name, names, x, err)
		}
	}
	// A part may be called #1: below the header there are no comments.
	if names, _, err := take(t, "name,x\n#1,1\n"); err != nil || !slices.Equal(names, []string{"#1"}) {
		t.Errorf("%q, %v", names, err)
	}
}

func TestTableFaults(t *testing.T) {
	var many strings.Builder
	many.WriteString("name,x\n")
	for range maxNumberFaults + 5 {
		many.WriteString("a,b\n")
	}
	for name, c := range map[string]struct {
		text string
		says []string
	}{
		"nothing":              {"", []string{"standard input: the file is empty"}},
		"comments only":        {"# none\n", []string{"the file is empty"}},
		"no rows":              {"name,x\n\n", []string{"no row below the header"}},
		"columns missing":      {"# c\nnom,y\na,1\n", []string{"standard input:2: name: this column is missing", "standard input:2: x: this column is missing: the header needs name,x"}},
		"column twice":         {"name,x,X\na,1,2\n", []string{":1: x: stands twice in the header, as columns 2 and 3"}},
		"semicolons":           {"name;x\na;1,5\n", []string{":1: the columns are separated by semicolons"}},
		"tabs":                 {"name\tx\na\t1\n", []string{"tabs"}},
		"all faults at once":   {"name,x\na,one\n,2\nb,\nc,1,5\nd,NaN\n", []string{`:2: x: "one" is no decimal number`, ":3: name: is empty", ":4: x: is empty", ":5: this row has 3 columns, the header has 2", `:6: x: "NaN"`}},
		"decimal comma":        {"name,x\na,\"30,48\"\n", []string{`:2: x: "30,48" has a comma`, "point"}},
		"a unit":               {"name,x\na,30.48mm\n", []string{`"30.48mm" is no decimal number`}},
		"a short row":          {"name,x\na\nb,1\n", []string{":2: this row has 1 column, the header has 2"}},
		"inch mark":            {"name,x\n3/8\",1\nb,c\n", []string{":2: a quote inside a cell", `:3: x: "c"`}},
		"quote left open":      {"name,x\nb,c\n\"a,1\n", []string{`:2: x: "c"`, ":3: a cell that begins with a quote"}},
		"line after a break":   {"name,x\n\"a\nb\",1\nc,d\n", []string{":4: x: \"d\""}},
		"more than are told":   {many.String(), []string{":2: x", "standard input: and 5 more faults"}},
		"another kind of file": {"\x00\x01", []string{"no text in UTF-8"}},
	} {
		_, _, err := take(t, c.text)
		if err == nil {
			t.Errorf("%s: no error", name)
			continue
		}
		for _, s := range c.says {
			if !strings.Contains(err.Error(), s) {
				t.Errorf("%s: %q, want %q in it", name, err, s)
			}
		}
		if n := strings.Count(err.Error(), "\n") + 1; n > maxNumberFaults+1 {
			t.Errorf("%s: %d lines:\n%s", name, n, err)
		}
	}
	for _, name := range []string{filepath.Join(t.TempDir(), "none.csv"), t.TempDir()} {
		_, err := readTable(env{}, name)
		if bad := (invalid{}); !errors.As(err, &bad) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// TestFaultsOfTwoTakes: what one take found is not told by the next.
func TestFaultsOfTwoTakes(t *testing.T) {
	table, err := readTable(env{stdin: strings.NewReader("name,x\na,b\n")}, "-")
	if err != nil {
		t.Fatal(err)
	}
	for range 2 {
		var x []float64
		if err := table.take(tableColumn{name: "x", numbers: &x}); err == nil || strings.Contains(err.Error(), "\n") {
			t.Errorf("%v, want one fault", err)
		}
	}
	if !table.has("x", "NAME") || table.has("x", "y") {
		t.Errorf("columns %q", table.header)
	}
}
