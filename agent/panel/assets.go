package panel

import (
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"html/template"
	"io/fs"
	"sync"
)

//go:embed static
var static embed.FS

//go:embed template
var sources embed.FS

// templates are parsed for the first page that is asked for, and not at each start of
// a command, of which most show none.
var templates = sync.OnceValue(func() *template.Template {
	return template.Must(template.New("").Funcs(template.FuncMap{"fit": fit}).ParseFS(sources, "template/*.html"))
})

// build names what the page is made of: a page of another build loads itself anew.
var build = fingerprint(static, sources)

func fingerprint(trees ...fs.FS) string {
	sum := sha256.New()
	for _, tree := range trees {
		err := fs.WalkDir(tree, ".", func(path string, d fs.DirEntry, err error) error {
			if err != nil || d.IsDir() {
				return err
			}
			b, err := fs.ReadFile(tree, path)
			sum.Write(b)
			return err
		})
		if err != nil {
			panic("panel: read an embedded file: " + err.Error()) // the compiler put it there
		}
	}
	return hex.EncodeToString(sum.Sum(nil)[:6])
}
