package stats

import (
	"encoding/json"
	"math"
	"os"
	"testing"
)

// references holds the check values; each carries its source and how far its
// digits are to be trusted.
const references = "../../testdata/references/"

// reference reads a file of check values.
func reference(t *testing.T, name string, v any) {
	t.Helper()
	b, err := os.ReadFile(references + name)
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(b, v); err != nil {
		t.Fatalf("%s: %v", name, err)
	}
}

// near wants got and want to differ by no more than relative times want.
func near(t *testing.T, what string, got, want, relative float64) {
	t.Helper()
	if !(math.Abs(got-want) <= relative*math.Abs(want)) {
		t.Errorf("%s = %.15g, want %.15g", what, got, want)
	}
}
