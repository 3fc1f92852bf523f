package config

import (
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"

	"benchtally/agent/crimp"
)

// setter puts the value of a key into the configuration. Its answer says what
// would be right; it is empty when the value is.
type setter func(c *Config, v any) string

// text takes a string that check finds nothing to say about.
func text(at func(*Config) *string, check func(string) string) setter {
	return func(c *Config, v any) string {
		s, ok := v.(string)
		if !ok {
			return "want text in quotes" + found(v)
		}
		if wrong := check(s); wrong != "" {
			return wrong
		}
		*at(c) = s
		return ""
	}
}

// list takes texts in square brackets, each of which check finds nothing to say
// about, no text twice.
func list(at func(*Config) *[]string, check func(string) string) setter {
	return func(c *Config, v any) string {
		texts, ok := v.([]string)
		if !ok {
			return `want texts in quotes between square brackets, such as ["one", "two"]`
		}
		seen := map[string]bool{}
		for _, s := range texts {
			if wrong := check(s); wrong != "" {
				return fmt.Sprintf("%q: %s", shorten(s), wrong)
			}
			if seen[s] {
				return fmt.Sprintf("%q stands twice: keep one of them", shorten(s))
			}
			seen[s] = true
		}
		if *at(c) = texts; len(texts) == 0 {
			*at(c) = nil
		}
		return ""
	}
}

// choice takes one of a few words.
func choice[T ~string](at func(*Config) *T, words ...T) setter {
	known := make([]string, len(words))
	for i, w := range words {
		known[i] = string(w)
	}
	want := "want " + orList(known)
	return func(c *Config, v any) string {
		s, ok := v.(string)
		if !ok {
			return want + ", in quotes" + found(v)
		}
		if !slices.Contains(known, s) {
			return want
		}
		*at(c) = T(s)
		return ""
	}
}

// either takes one of two words for yes and no.
func either(at func(*Config) *bool, yes, no string) setter {
	var word string
	take := choice(func(*Config) *string { return &word }, yes, no)
	return func(c *Config, v any) string {
		if v != yes && v != no {
			return take(c, v)
		}
		*at(c) = v == yes
		return ""
	}
}

// number takes a whole number from low to high.
func number(at func(*Config) *int, low, high int) setter { return orZero(at, low, high, "") }

// orZero takes a whole number from low to high, and 0 too where zero says what
// it means.
func orZero(at func(*Config) *int, low, high int, zero string) setter {
	limits := fmt.Sprintf("%d to %d", low, high)
	if high == low+1 {
		limits = fmt.Sprintf("%d or %d", low, high)
	}
	kind := func(v any) string { return ", " + limits + found(v) }
	if zero != "" {
		limits += ", or 0 " + zero
		kind = func(v any) string { return found(v) + ": " + limits }
	}
	return func(c *Config, v any) string {
		n, ok := v.(int64)
		_, broken := v.(float64)
		switch {
		case broken:
			return "want a whole number, " + limits
		case !ok:
			return "want a whole number" + kind(v)
		case (n != 0 || zero == "") && (n < int64(low) || n > int64(high)):
			return "want " + limits
		}
		*at(c) = int(n)
		return ""
	}
}

// fraction takes a number from low to high, or 0, which means what zero says.
func fraction(at func(*Config) *float64, low, high float64, zero string) setter {
	plain := func(f float64) string { return strconv.FormatFloat(f, 'f', -1, 64) } // 1000000, not 1e+06
	limits := plain(low) + " to " + plain(high) + ", or 0 " + zero
	return func(c *Config, v any) string {
		f, ok := v.(float64)
		if n, whole := v.(int64); whole {
			f, ok = float64(n), true
		}
		switch {
		case !ok:
			return "want a number" + found(v) + ": " + limits
		case f != 0 && !(f >= low && f <= high): // in this form nan is refused too
			return "want " + limits
		}
		*at(c) = f
		return ""
	}
}

// length takes a length from low to high.
func length(at func(*Config) *crimp.Length, low, high crimp.Length) setter {
	limits := low.String() + " to " + high.String()
	return func(c *Config, v any) string {
		s, ok := v.(string)
		if !ok {
			return `want a length in quotes with its unit, such as "0.001in"` + found(v)
		}
		l, wrong := readLength(s)
		switch {
		case wrong != "":
			return wrong
		case l < low || l > high:
			return "want " + limits
		}
		*at(c) = l
		return ""
	}
}

// optional takes a length like length, or "" for 0, which means what blank says.
func optional(at func(*Config) *crimp.Length, low, high crimp.Length, blank string) setter {
	take := length(at, low, high)
	return func(c *Config, v any) string {
		if v == "" {
			*at(c) = 0
			return ""
		}
		wrong := take(c, v)
		if wrong != "" {
			wrong += `, or "" for ` + blank
		}
		return wrong
	}
}

// duration takes a time such as "20ms", from low to high.
func duration(at func(*Config) *time.Duration, low, high time.Duration) setter {
	limits := shortTime(low) + " to " + shortTime(high)
	return func(c *Config, v any) string {
		s, ok := v.(string)
		if !ok {
			return "want a time in quotes with its unit, " + limits + found(v)
		}
		t, err := time.ParseDuration(strings.TrimSpace(s))
		switch {
		case err != nil:
			return "want a time with its unit (ms, s, m, h), " + limits
		case t < low || t > high:
			return "want " + limits
		}
		*at(c) = t
		return ""
	}
}

// span takes a time like duration, or "" for 0, which means what blank says.
func span(at func(*Config) *time.Duration, low, high time.Duration, blank string) setter {
	take := duration(at, low, high)
	return func(c *Config, v any) string {
		if v == "" {
			*at(c) = 0
			return ""
		}
		wrong := take(c, v)
		if wrong != "" {
			wrong += `, or "" ` + blank
		}
		return wrong
	}
}

// days takes whole days such as "365d", from 1 to high, or "" for 0.
func days(at func(*Config) *time.Duration, high int) setter {
	want := fmt.Sprintf(`want whole days, "1d" to "%dd", or "" to keep everything`, high)
	return func(c *Config, v any) string {
		if v == "" {
			*at(c) = 0
			return ""
		}
		s, _ := v.(string)
		digits, ok := strings.CutSuffix(s, "d")
		n, err := strconv.ParseUint(digits, 10, 32)
		if !ok || err != nil || n < 1 || n > uint64(high) {
			return want
		}
		*at(c) = time.Duration(n) * 24 * time.Hour
		return ""
	}
}

// readLength is crimp.ParseLength with its refusals in the words of a
// technician; the second answer is empty when the length is good.
func readLength(s string) (crimp.Length, string) {
	l, err := crimp.ParseLength(s)
	if err == nil {
		return l, ""
	}
	t := strings.TrimSpace(s)
	if n := strings.Replace(t, ",", ".", 1); n != t {
		if _, err := crimp.ParseLength(n); err == nil {
			return 0, fmt.Sprintf("decimal comma: write %q", n)
		}
	}
	number := strings.TrimRightFunc(t, func(r rune) bool { return !unicode.IsDigit(r) && r != '.' })
	unit := strings.TrimSpace(t[len(number):])
	if _, err := crimp.ParseDecimal(number, crimp.Millimetres); err == nil {
		switch strings.ToLower(unit) {
		case "":
			return 0, fmt.Sprintf(`no unit: write "in" or "mm" behind the number, such as "%sin"`, number)
		case "in", "in.", "inch", "inches", `"`, "″", "''":
			return 0, fmt.Sprintf("write %q", number+"in")
		case "mm", "mm.":
			return 0, fmt.Sprintf("write %q", number+"mm")
		default:
			return 0, fmt.Sprintf(`unit %q is not known here: write the length in "in" or "mm"`, shorten(unit))
		}
	}
	if inner := errors.Unwrap(err); inner != nil {
		return 0, inner.Error() + `: want a number with its unit, such as "1.204in"`
	}
	return 0, `want a number with its unit, such as "1.204in"`
}

// found says what stands where another kind of value should be.
func found(v any) string {
	switch v := v.(type) {
	case string:
		return ", without quotes"
	case bool:
		return ", not true or false"
	case int64, float64:
		return ", not a bare number"
	case []string:
		return ", not a list"
	case other:
		return ", not " + string(v)
	default:
		return ""
	}
}

// shortTime writes a duration without idle zeros: 1m, not 1m0s.
func shortTime(t time.Duration) string {
	s := t.String()
	if strings.HasSuffix(s, "m0s") {
		s = strings.TrimSuffix(s, "0s")
	}
	if strings.HasSuffix(s, "h0m") {
		s = strings.TrimSuffix(s, "0m")
	}
	return s
}

// orList writes words as "a", "b" or "c".
func orList(words []string) string {
	quoted := make([]string, len(words))
	for i, w := range words {
		quoted[i] = strconv.Quote(w)
	}
	last := len(quoted) - 1
	if last == 0 {
		return quoted[0]
	}
	return strings.Join(quoted[:last], ", ") + " or " + quoted[last]
}
