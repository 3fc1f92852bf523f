package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"
)

// bill is what a test reads of a bill of materials.
type bill struct {
	SpecVersion string
	Metadata    struct {
		Timestamp string
		Component struct {
			Version string
			Hashes  []struct{ Alg, Content string }
		}
	}
	Components []struct {
		Name, Version string
		Purl          string
		Licenses      []struct{ License struct{ ID string } }
		Properties    []struct{ Name, Value string }
	}
}

// The list beside each package and in it are the same, are valid CycloneDX, and
// name what the program itself says it was built of.
func TestBillOfMaterialsIsTheProgram(t *testing.T) {
	long(t)
	wants(t, "dpkg-deb", "sha256sum")
	for arch := range targets {
		deb := packageOf(t, older, arch)
		tree := unpacked(t, deb)
		text, err := os.ReadFile(strings.TrimSuffix(deb, ".deb") + ".cdx.json")
		if err != nil {
			t.Fatal(err)
		}
		inside, err := os.ReadFile(filepath.Join(tree, "usr/share/doc/benchtally/benchtally.cdx.json"))
		if err != nil || string(inside) != string(text) {
			t.Errorf("%s: the bill in the package is another one, %v", arch, err)
		}
		validBill(t, text)
		var b bill
		if err := json.Unmarshal(text, &b); err != nil {
			t.Fatal(err)
		}
		program := filepath.Join(tree, "usr/bin/benchtally")
		sum := strings.Fields(ask(t, "", "sha256sum", program))[0]
		if h := b.Metadata.Component.Hashes; b.SpecVersion != "1.6" || b.Metadata.Component.Version != older || len(h) != 1 || h[0].Content != sum {
			t.Errorf("%s: the bill is of %+v in %s, want version %s, sum %s", arch, b.Metadata.Component, b.SpecVersion, older, sum)
		}
		if b.Metadata.Timestamp != "2026-03-02T06:00:00Z" {
			t.Errorf("%s: made at %s", arch, b.Metadata.Timestamp)
		}
		listed := map[string]string{}
		for _, c := range b.Components {
			if len(c.Licenses) == 0 || c.Licenses[0].License.ID == "" {
				t.Errorf("%s: %s has no licence", arch, c.Name)
			}
			if len(c.Properties) == 1 {
				listed[c.Name+" "+c.Version] = c.Properties[0].Value
			}
		}
		of := 0
		for line := range strings.Lines(ask(t, "", "go", "version", "-m", program)) {
			if f := strings.Fields(line); f[0] == "dep" {
				of++
				if listed[f[1]+" "+f[2]] != f[3] {
					t.Errorf("%s: the bill has %q for %s %s, the program %s", arch, listed[f[1]+" "+f[2]], f[1], f[2], f[3])
				}
			}
		}
		if of < 15 || of != len(listed) || len(b.Components) != of+1 {
			t.Errorf("%s: the program has %d modules, the bill %d of them and %d in all", arch, of, len(listed), len(b.Components))
		}
	}
}

// validBill holds a bill before the schema of CycloneDX, which the module that
// writes it carries.
func validBill(t *testing.T, text []byte) {
	t.Helper()
	dir := strings.TrimSpace(ask(t, root(t), "go", "list", "-m", "-f", "{{.Dir}}", "github.com/CycloneDX/cyclonedx-go"))
	c := jsonschema.NewCompiler()
	for name, file := range map[string]string{"spdx.schema.json": "spdx.schema.json", "jsf-0.82.schema.json": "jsf-0.82.schemax.json"} {
		f, err := os.Open(filepath.Join(dir, "schema", file)) //nolint:gosec // a module's own file
		if err != nil {
			t.Fatal(err)
		}
		doc, err := jsonschema.UnmarshalJSON(f)
		if err == nil {
			err = c.AddResource("http://cyclonedx.org/schema/"+name, doc)
		}
		if err != nil {
			t.Fatal(err)
		}
		_ = f.Close()
	}
	schema, err := c.Compile(filepath.Join(dir, "schema", "bom-1.6.schema.json"))
	if err != nil {
		t.Fatal(err)
	}
	doc, err := jsonschema.UnmarshalJSON(strings.NewReader(string(text)))
	if err != nil {
		t.Fatal(err)
	}
	if err := schema.Validate(doc); err != nil {
		t.Error(err)
	}
}
