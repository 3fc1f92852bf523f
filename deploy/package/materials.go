package main

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"fmt"

	cdx "github.com/CycloneDX/cyclonedx-go"
)

// materials is the bill of materials of a program, as CycloneDX 1.6 in JSON: the
// program with its SHA-256, and every module in it with version, licences and the
// sum that go.sum has of it. Nothing in it depends on when or where it is made.
func materials(r release, arch string, binary []byte, parts []licensed) ([]byte, error) {
	sum := sha256.Sum256(binary)
	program := cdx.Component{
		BOMRef: "benchtally", Type: cdx.ComponentTypeApplication, Name: "benchtally", Version: r.version,
		Description: "agent at a hose crimping press, for " + arch,
		Hashes:      &[]cdx.Hash{{Algorithm: cdx.HashAlgoSHA256, Value: hex.EncodeToString(sum[:])}},
		Licenses:    licenceChoices([]string{"Apache-2.0"}),
		PackageURL:  fmt.Sprintf("pkg:deb/benchtally@%s?arch=%s", r.debian(), arch),
	}
	var components []cdx.Component
	var uses []string
	for _, p := range parts {
		ref := fmt.Sprintf("pkg:golang/%s@%s", p.path, p.version)
		c := cdx.Component{
			BOMRef: ref, Type: cdx.ComponentTypeLibrary, Name: p.path, Version: p.version, PackageURL: ref,
			Scope: cdx.ScopeRequired, Licenses: licenceChoices(p.names),
		}
		if p.sum != "" {
			c.Properties = &[]cdx.Property{{Name: "go.sum", Value: p.sum}}
		}
		components = append(components, c)
		uses = append(uses, ref)
	}
	bom := cdx.NewBOM()
	bom.SerialNumber = "urn:uuid:" + uuid(sum)
	bom.Metadata = &cdx.Metadata{Timestamp: r.date.Format("2006-01-02T15:04:05Z07:00"), Component: &program}
	bom.Components = &components
	bom.Dependencies = &[]cdx.Dependency{{Ref: program.BOMRef, Dependencies: &uses}}
	var b bytes.Buffer
	encoder := cdx.NewBOMEncoder(&b, cdx.BOMFileFormatJSON).SetPretty(true).SetEscapeHTML(false)
	if err := encoder.EncodeVersion(bom, cdx.SpecVersion1_6); err != nil {
		return nil, fmt.Errorf("write the bill of materials: %w", err)
	}
	return b.Bytes(), nil
}

// licenceChoices are licences by their SPDX names.
func licenceChoices(names []string) *cdx.Licenses {
	var all cdx.Licenses
	for _, n := range names {
		all = append(all, cdx.LicenseChoice{License: &cdx.License{ID: n}})
	}
	return &all
}

// uuid makes an identifier of a sum: the same program has the same one (version 8
// of RFC 9562: by a rule of one's own).
func uuid(sum [sha256.Size]byte) string {
	u := sum[:16]
	u[6], u[8] = u[6]&0x0f|0x80, u[8]&0x3f|0x80
	return fmt.Sprintf("%x-%x-%x-%x-%x", u[:4], u[4:6], u[6:8], u[8:10], u[10:16])
}
