package deploy

import (
	"errors"
	"fmt"
	"slices"
	"strings"
)

// A Value is written at a key of a configuration.
type Value struct {
	Key  string // with its table, such as "switch.line"
	Text string // as TOML has it, such as `"GPIO17"`
}

// Example is the configuration that Init writes.
func Example() []byte {
	data, err := files.ReadFile("files/" + ConfigName)
	if err != nil {
		panic("deploy: " + err.Error()) // it is embedded
	}
	return data
}

// Set writes values into a configuration and leaves all else in it as it is, the
// notes too. A key that is not there is added to the end of its table, a table to the
// end of the text. All faults are told at once: a key whose value goes over several
// lines is none of those that can be set.
func Set(text []byte, values ...Value) ([]byte, error) {
	lines := strings.SplitAfter(string(text), "\n")
	var faults []error
	for _, v := range values {
		table, key, ok := strings.Cut(v.Key, ".")
		if !ok {
			return nil, fmt.Errorf("deploy: key %s has no table", v.Key)
		}
		first, last := tableLines(lines, table)
		at := slices.IndexFunc(lines[first:last], func(l string) bool { return keyOf(l) == key })
		switch {
		case at >= 0:
			line, err := setLine(lines[first+at], v.Text)
			if err != nil {
				faults = append(faults, fmt.Errorf("line %d: %s: %w", first+at+1, v.Key, err))
				continue
			}
			lines[first+at] = line
		case first > 0:
			for last > first && strings.TrimSpace(lines[last-1]) == "" {
				last--
			}
			lines = slices.Insert(lines, last, key+" = "+v.Text+"\n")
			if last > 0 && !strings.HasSuffix(lines[last-1], "\n") {
				lines[last-1] += "\n"
			}
		default:
			if n := len(lines); lines[n-1] != "" && !strings.HasSuffix(lines[n-1], "\n") {
				lines[n-1] += "\n"
			}
			lines = append(lines, "\n["+table+"]\n", key+" = "+v.Text+"\n")
		}
	}
	if err := errors.Join(faults...); err != nil {
		return nil, err
	}
	return []byte(strings.Join(lines, "")), nil
}

// tableLines are the lines of a table behind its name, which has a line of its own
// (TOML 1.0). Both are 0 where there is no such table.
func tableLines(lines []string, table string) (first, last int) {
	for i, l := range lines {
		l, _, _ = strings.Cut(l, "#")
		if l = strings.TrimSpace(l); !strings.HasPrefix(l, "[") {
			continue
		}
		if first > 0 {
			return first, i
		}
		if strings.ReplaceAll(l, " ", "") == "["+table+"]" {
			first = i + 1
		}
	}
	if first == 0 {
		return 0, 0
	}
	return first, len(lines)
}

// keyOf is the key that a line sets, "" if it sets none.
func keyOf(line string) string {
	key, _, ok := strings.Cut(line, "=")
	if key = strings.TrimSpace(key); !ok || strings.HasPrefix(key, "#") {
		return ""
	}
	return strings.Trim(key, `"'`)
}

// setLine puts another value into a line, and keeps the note behind it in its column
// as far as there is room.
func setLine(line, value string) (string, error) {
	head, rest, _ := strings.Cut(line, "=")
	rest = strings.TrimSuffix(rest, "\n")
	end := valueEnd(rest)
	if end < 0 {
		return "", errors.New("its value goes over several lines: write it by hand")
	}
	note := strings.TrimLeft(rest[end:], " \t")
	out := strings.TrimRight(head, " ") + " = " + value
	if note != "" {
		column := len(head) + len("=") + len(rest) - len(note)
		out += strings.Repeat(" ", max(column-len(out), 1)) + note
	}
	return out + "\n", nil
}

// valueEnd is where the value in front of a note ends, below 0 where it does not end
// in this line.
func valueEnd(text string) int {
	quote, deep := byte(0), 0
	for i := 0; i < len(text); i++ {
		switch c := text[i]; {
		case quote == '"' && c == '\\':
			i++
		case quote != 0:
			if c == quote {
				quote = 0
			}
		case c == '"' || c == '\'':
			if strings.HasPrefix(text[i:], strings.Repeat(string(c), 3)) {
				return -1
			}
			quote = c
		case c == '[' || c == '{':
			deep++
		case c == ']' || c == '}':
			deep--
		case c == '#' && deep == 0:
			return len(strings.TrimRight(text[:i], " \t"))
		}
	}
	if quote != 0 || deep != 0 {
		return -1
	}
	return len(strings.TrimRight(text, " \t\r"))
}
