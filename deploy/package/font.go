package main

import (
	"errors"
	"fmt"

	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/sfnt"
)

// fontLicence is the licence of the type that papers are printed in, as the font
// itself has it. It is embedded in the program, by another owner than its module.
func fontLicence() (paper, error) {
	f, err := sfnt.Parse(goregular.TTF)
	if err != nil {
		return paper{}, fmt.Errorf("read the font: %w", err)
	}
	text, err := f.Name(nil, sfnt.NameIDLicense)
	if err == nil && text == "" {
		err = errors.New("it has none")
	}
	if err != nil {
		return paper{}, fmt.Errorf("the font's licence: %w", err)
	}
	return paper{"Go fonts", text}, nil
}
