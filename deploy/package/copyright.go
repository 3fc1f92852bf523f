package main

import (
	"fmt"
	"slices"
	"strings"
	"unicode/utf8"
)

// maintainer answers for the packages.
const maintainer = "Benchtally maintainers <maintainers@benchtally.example>"

// own says whose the program is.
const own = `Benchtally counts, measures and advises at a hose crimping press.

Copyright 2026 The Benchtally maintainers
License: Apache License, version 2.0. ` + apache + "\n"

// apache stands for a text that Debian's policy (12.5) wants named and not repeated.
const apache = "On Debian systems its text is in\n /usr/share/common-licenses/Apache-2.0."

const others = `
The program contains code of the modules below, unchanged. The source of each is
had with "go mod download PATH@VERSION"; that of the program, with the list of
all that it is built of, is where this package is from. Behind a module's name
stand its licences as SPDX names them. Their texts follow, with the notices that
go along with them.
`

// copyrightOf is the text that Debian wants of every package, with the texts of
// all licences in the program, each text once.
func copyrightOf(parts []licensed) string {
	var b, texts strings.Builder
	b.WriteString(own)
	b.WriteString(others)
	b.WriteString("\n")
	seen := map[string]string{} // text to where it stands
	for _, p := range parts {
		_, _ = fmt.Fprintf(&b, " %s %s: %s\n", p.path, p.version, strings.Join(p.names, ", "))
		for _, t := range p.texts {
			head := fmt.Sprintf("%s %s: %s", p.path, p.version, t.name)
			_, _ = fmt.Fprintf(&texts, "\n%s\n%s\n", head, strings.Repeat("-", utf8.RuneCountInString(head)))
			body := strings.TrimRight(strings.ReplaceAll(t.text, "\r", ""), "\n\t ")
			if names, err := recognise(t); err == nil && slices.Equal(names, []string{"Apache-2.0"}) {
				texts.WriteString("\nApache License, version 2.0. " + apache + "\n")
				continue
			}
			if first, ok := seen[body]; ok {
				_, _ = fmt.Fprintf(&texts, "\nthe same text as %s\n", first)
				continue
			}
			seen[body] = head
			texts.WriteString("\n" + body + "\n")
		}
	}
	return b.String() + texts.String()
}

// licensed is a module with its licences.
type licensed struct {
	module
	licences
}

// licensedOf finds the licences of all modules; the font's is among those of the
// module that carries it.
func licensedOf(modules []module) (all []licensed, err error) {
	font, err := fontLicence()
	if err != nil {
		return nil, err
	}
	for _, m := range modules {
		l, err := licencesOf(m)
		if err != nil {
			return nil, err
		}
		if m.path == "golang.org/x/image" {
			l.texts = append(l.texts, font)
		}
		all = append(all, licensed{m, l})
	}
	return all, nil
}
