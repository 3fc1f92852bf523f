package main

import (
	"bytes"
	"context"
	"encoding/json"
	"strings"
	"testing"
)

// tried runs a command on a text as standard input. It must end with an answer
// that is strict JSON, or with a refusal that says why and prints nothing.
func tried(t *testing.T, text string, args ...string) {
	t.Helper()
	var out, errs bytes.Buffer
	code := run(env{context.Background(), strings.NewReader(text), &out, &errs}, args)
	switch {
	case code == exitDone && (!json.Valid(out.Bytes()) || errs.Len() > 0):
		t.Errorf("%q: %q, %q", args, out.String(), errs.String())
	case code == exitUsage && (out.Len() > 0 || !strings.HasPrefix(errs.String(), "benchtally: ")):
		t.Errorf("%q: exit %d, %q, %q", args, code, out.String(), errs.String())
	case code != exitDone && code != exitUsage:
		t.Errorf("%q: exit %d, %q", args, code, errs.String())
	}
}

// FuzzNumbers: no file of numbers brings a panic, or an answer that is none.
func FuzzNumbers(f *testing.F) {
	for _, text := range []string{
		"1\n2\n4\n", "# made up\n1.5 # mm\r\n\n2\n", "1\n1\n1\n", "1,5\n", "NaN\n", "1e60\n-1e60\n3\n", "1e-300\n2e-300\n4e-300\n",
		"30.48\n30.4800000001\n30.4799999999\n", "0x1p4\n", "1_0\n", "\ufeff7\n8\n9\n", "\xff\n", "1 2\n",
	} {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		if len(text) > 2000 {
			return
		}
		for _, kind := range []string{"individuals", "ewma", "cusum"} {
			tried(t, text, "chart", "--kind", kind, "-")
		}
		tried(t, text, "capability", "--lower", "-1", "--upper", "1", "--u", "0.1", "-")
		tried(t, text, "gauge", "--reference", "2", "--tolerance", "1", "-")
	})
}

// FuzzTable: nor does a table.
func FuzzTable(f *testing.F) {
	for _, text := range []string{
		"x,y\n1,1\n2,3\n3,2\n", "y,x\n1,1\n2,1\n", "x,y\n1,1e-155\n2,2e-155\n4,1e-155\n", "x,y\n1e60,1\n-1e60,2\n0,3\n",
		"part,appraiser,value\na,k,1\na,k,2\na,m,1\na,m,2\nb,k,4\nb,k,5\nb,m,4\nb,m,6\n",
		"part,appraiser,value\na,k,1e20\na,k,1e20\na,m,-1e20\na,m,-1e20\nb,k,1e-40\nb,k,2e-40\nb,m,1\nb,m,1\n",
		"reference,value\n1,1.1\n1,1.2\n2,2.1\n2,2.3\n", "# a\n\nx , y\n\"1\",2\n", "x;y\n1;2\n", "x,x\n1,2\n", "part\n",
	} {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		if len(text) > 2000 {
			return
		}
		tried(t, text, "trend", "--limit", "3", "-")
		tried(t, text, "gauge", "-")
	})
}
