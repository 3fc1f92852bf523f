package main

import (
	"context"
	"debug/buildinfo"
	"encoding/json"
	"fmt"
	"path/filepath"
	"runtime/debug"
	"slices"
	"strings"
)

// module is one module whose code is in the program.
type module struct {
	path, version string
	sum           string   // as go.sum has it: "h1:…"; "" for the standard library
	dir           string   // its source
	folders       []string // of its packages that are in the program
}

// standard is the path of Go's own library.
const standard = "std"

// modulesOf are the modules that the program says it was built of, in order of
// their paths, and the standard library.
func modulesOf(ctx context.Context, root, arch, binary string) ([]module, error) {
	info, err := buildinfo.ReadFile(binary)
	if err != nil {
		return nil, fmt.Errorf("read what the program was built of: %w", err)
	}
	goroot, err := output(ctx, root, nil, "go", "env", "GOROOT")
	if err != nil {
		return nil, err
	}
	all := []module{{path: standard, version: strings.TrimPrefix(info.GoVersion, "go"), dir: strings.TrimSpace(goroot)}}
	for _, m := range info.Deps {
		if m.Replace != nil {
			return nil, fmt.Errorf("%s is replaced by %s: a package is built of what go.mod requires", m.Path, m.Replace.Path)
		}
		found, err := source(ctx, root, m)
		if err != nil {
			return nil, err
		}
		all = append(all, found)
	}
	folders, err := linked(ctx, root, arch)
	if err != nil {
		return nil, err
	}
	for i := range all {
		all[i].folders = folders[all[i].path]
		if all[i].path != standard && all[i].folders == nil {
			return nil, fmt.Errorf("%s is in the program, and no package of it: build anew", all[i].path)
		}
	}
	slices.SortFunc(all, func(a, b module) int { return strings.Compare(a.path, b.path) })
	return all, nil
}

// source finds the source of a module that the program names.
func source(ctx context.Context, root string, m *debug.Module) (module, error) {
	out, err := output(ctx, root, nil, "go", "mod", "download", "-json", m.Path+"@"+m.Version)
	if err != nil {
		return module{}, err
	}
	var found struct{ Dir, Sum string }
	if err := json.Unmarshal([]byte(out), &found); err != nil {
		return module{}, fmt.Errorf("what go says of %s: %w", m.Path, err)
	}
	if found.Sum != m.Sum {
		return module{}, fmt.Errorf("%s: the program was built of %s, here lies %s", m.Path, m.Sum, found.Sum)
	}
	return module{path: m.Path, version: m.Version, sum: m.Sum, dir: found.Dir}, nil
}

// linked are the folders of all packages in the program, by module.
func linked(ctx context.Context, root, arch string) (map[string][]string, error) {
	out, err := output(ctx, root, buildEnv(arch), "go", "list", "-deps", "-f",
		"{{with .Module}}{{if not .Main}}{{.Path}}\t{{$.Dir}}{{end}}{{end}}", "./agent")
	if err != nil {
		return nil, err
	}
	folders := map[string][]string{}
	for line := range strings.Lines(out) {
		if path, dir, ok := strings.Cut(strings.TrimSpace(line), "\t"); ok {
			folders[path] = append(folders[path], filepath.Clean(dir))
		}
	}
	return folders, nil
}
