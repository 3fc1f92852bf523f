package main

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// put writes a module's files.
func put(t *testing.T, files map[string]string) module {
	t.Helper()
	dir := t.TempDir()
	deep := filepath.Join(dir, "inner", "deep")
	if err := os.MkdirAll(deep, 0o750); err != nil {
		t.Fatal(err)
	}
	for name, text := range files {
		path := filepath.Join(dir, name)
		if err := os.MkdirAll(filepath.Dir(path), 0o750); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	return module{path: "example.org/part", version: "v1.2.3", dir: dir, folders: []string{deep}}
}

const isc = `Copyright (c) 2026 Somebody

Permission to use, copy, modify, and/or distribute this software for any
purpose with or without fee is hereby granted, provided that the above
copyright notice and this permission notice appear in all copies.

THE SOFTWARE IS PROVIDED "AS IS" AND THE AUTHOR DISCLAIMS ALL WARRANTIES
WITH REGARD TO THIS SOFTWARE INCLUDING ALL IMPLIED WARRANTIES OF
MERCHANTABILITY AND FITNESS. IN NO EVENT SHALL THE AUTHOR BE LIABLE FOR
ANY SPECIAL, DIRECT, INDIRECT, OR CONSEQUENTIAL DAMAGES OR ANY DAMAGES
WHATSOEVER RESULTING FROM LOSS OF USE, DATA OR PROFITS, WHETHER IN AN
ACTION OF CONTRACT, NEGLIGENCE OR OTHER TORTIOUS ACTION, ARISING OUT OF
OR IN CONNECTION WITH THE USE OR PERFORMANCE OF THIS SOFTWARE.
`

func TestModuleWithoutARecognisedLicenceFails(t *testing.T) {
	gpl, err := os.ReadFile("/usr/share/common-licenses/GPL-3")
	if err != nil {
		t.Skip(err) // Debian has it
	}
	condition := strings.Repeat("Whoever uses it for gain pays the author a tenth of it.\n", 5)
	for name, c := range map[string]struct {
		files map[string]string
		want  string
	}{
		"none":                  {map[string]string{"part.go": "package part"}, "no licence is in"},
		"only a notice":         {map[string]string{"NOTICE": "by Somebody"}, "no licence is in"},
		"none that is known":    {map[string]string{"LICENSE": "You may look at it."}, "LICENSE is no licence that is known"},
		"one with a condition":  {map[string]string{"LICENSE": isc + condition}, "or has more in it"},
		"not accepted":          {map[string]string{"COPYING": string(gpl)}, "COPYING has the licence GPL-3.0, which nobody has accepted"},
		"one good and one not":  {map[string]string{"LICENSE": isc, "LICENSE-parts.txt": "You may look at it."}, "LICENSE-parts.txt is no licence that is known"},
		"only in a package":     {map[string]string{"inner/LICENSE": isc}, "no licence is in"},
		"a program of the name": {map[string]string{"license.go": isc}, "no licence is in"},
	} {
		if l, err := licencesOf(put(t, c.files)); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %q, %v, want %q", name, l.names, err, c.want)
		}
	}
}

func TestLicencesAreFoundWithWhatGoesAlong(t *testing.T) {
	l, err := licencesOf(put(t, map[string]string{
		"LICENSE.md": isc, "NOTICE": "by Somebody", "AUTHORS": "Somebody", "README": "read me",
		"inner/LICENSE": "of the inner", "inner/deep/PATENTS": "of the deep", "other/LICENSE": "not in the program",
		"THIRD_PARTY_LICENSES/Tables-LICENSE": "of tables",
	}))
	if err != nil || !slices.Equal(l.names, []string{"ISC"}) {
		t.Fatalf("%q, %v", l.names, err)
	}
	var got []string
	for _, p := range l.texts {
		got = append(got, p.name)
	}
	want := []string{"AUTHORS", "LICENSE.md", "NOTICE", "THIRD_PARTY_LICENSES/Tables-LICENSE", "inner/LICENSE", "inner/deep/PATENTS"}
	if !slices.Equal(got, want) {
		t.Errorf("got %q, want %q", got, want)
	}
}

// What else is in the program: all that is embedded is ours or is named here, with
// the licence that it stands under. Type that is not embedded as a file is the
// font's, whose licence the font has.
func TestEmbeddedIsOursOrNamed(t *testing.T) {
	named := map[string]string{
		"codeberg.org/go-pdf/fpdf": "widths of letters and code pages, under the module's own licence",
	}
	out, err := output(t.Context(), root(t), buildEnv("arm64"), "go", "list", "-deps", "-f",
		"{{if .EmbedFiles}}{{.ImportPath}}{{end}}", "./agent")
	if err != nil {
		t.Fatal(err)
	}
	found := strings.Fields(out)
	if !slices.Contains(found, "benchtally/agent/panel") {
		t.Fatalf("embedded in %q only", found)
	}
	for _, p := range found {
		if _, ok := named[p]; !ok && !strings.HasPrefix(p, "benchtally/") {
			t.Errorf("%s has files embedded: see whose they are, and name them here", p)
		}
	}
	font, err := fontLicence()
	if err != nil || !strings.Contains(font.text, "Redistribution and use in source and binary forms") {
		t.Errorf("the font says %q, %v", font.text, err)
	}
}
