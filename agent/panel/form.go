package panel

import (
	"crypto/rand"
	"errors"
	"fmt"
	"maps"
	"mime"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"benchtally/agent/crimp"
	"benchtally/agent/station"
	"benchtally/agent/words"
)

const (
	maxForm  = 4 << 10 // bytes
	maxField = 256     // bytes; the names in records are shorter, a finding is a sentence
)

func readForm(w http.ResponseWriter, r *http.Request) (url.Values, int, error) {
	const kind = "application/x-www-form-urlencoded"
	if is, _, err := mime.ParseMediaType(r.Header.Get("Content-Type")); err != nil || is != kind {
		return nil, http.StatusUnsupportedMediaType, fmt.Errorf("the form came as %q: want %s", r.Header.Get("Content-Type"), kind)
	}
	r.Body = http.MaxBytesReader(w, r.Body, maxForm)
	if err := r.ParseForm(); err != nil {
		var large *http.MaxBytesError
		if errors.As(err, &large) {
			return nil, http.StatusRequestEntityTooLarge, fmt.Errorf("the form is longer than %d bytes", maxForm)
		}
		return nil, http.StatusBadRequest, fmt.Errorf("the form cannot be read: %w", err)
	}
	return r.PostForm, http.StatusBadRequest, nil
}

// touched is a form as it was meant.
type touched struct {
	action station.Action
	key    string
	back   string // view that shows why it was not done
}

// reader reads forms in a language. Lengths without a unit are of the given one.
type reader struct {
	t    words.Tongue
	unit crimp.Unit // "": not clear

	touched
	value, valueUnit       string
	pressure, pressureUnit string
}

// readTouch reads a form field by field. A field that there is none of, or twice,
// or that cannot be what it is called, is an error that says so.
func readTouch(form url.Values, t words.Tongue, unit crimp.Unit) (touched, error) {
	r := reader{t: t, unit: unit, touched: touched{back: "/"}}
	var faults []error
	for _, name := range slices.Sorted(maps.Keys(form)) {
		if err := r.field(name, form[name]); err != nil {
			faults = append(faults, err)
		}
	}
	for _, join := range []func() error{r.joinValue, r.joinPressure} {
		if err := join(); err != nil {
			faults = append(faults, err)
		}
	}
	if r.action.Do == "" && len(faults) == 0 {
		faults = append(faults, fmt.Errorf("no action is named: the field do wants one of %v", station.Dos()))
	}
	if r.key == "" {
		r.key = rand.Text()
	}
	return r.touched, errors.Join(faults...)
}

// field checks that a field is text, once, and reads it. Points may come once for
// each that was chosen.
func (r *reader) field(name string, values []string) error {
	if name == "points" {
		values = []string{strings.Join(values, ",")}
	}
	if len(values) != 1 {
		return fmt.Errorf("the field %s comes %d times: want it once", name, len(values))
	}
	v := strings.TrimSpace(values[0])
	if len(v) > maxField {
		return r.fault("%s is longer than %d characters", r.called(name), maxField)
	}
	if !utf8.ValidString(v) || strings.ContainsFunc(v, unicode.IsControl) {
		return r.fault("%s holds a character that cannot be written", r.called(name))
	}
	return r.set(name, v)
}

func (r *reader) set(name, v string) error {
	a := &r.action
	if text := r.text(name); text != nil {
		*text = v
		return nil
	}
	switch name {
	case "do":
		if !slices.Contains(station.Dos(), station.Do(v)) {
			return fmt.Errorf("there is no action %q: want one of %v", v, station.Dos())
		}
		a.Do = station.Do(v)
	case "work":
		a.Work = crimp.Work(v)
	case "condition":
		a.Condition = crimp.Condition(v)
	case "end":
		if a.End = crimp.EndName(v); a.End != crimp.NoEnd && a.End != crimp.EndA && a.End != crimp.EndB {
			return fmt.Errorf("the field end is %q: want A, B or nothing", v)
		}
	case "quantity":
		return r.number(name, v, 1, 1_000_000, &a.Quantity)
	case "assembly":
		return r.number(name, v, 1, 1_000_000, &a.Assembly)
	case "hold":
		return r.number(name, v, 1, 86_400, &a.Hold)
	case "setting":
		if v == "" {
			return nil
		}
		a.Setting = new(int)
		return r.number(name, v, 0, 999, a.Setting)
	case "angle":
		return r.angle(v)
	case "ok":
		return yes(name, v, func(is bool) { a.OK = &is })
	case "off":
		return yes(name, v, func(is bool) { a.Off = is })
	case "key":
		if strings.Trim(v, "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_") != "" {
			return errors.New("the field key holds more than letters and digits")
		}
		r.key = v
	case "back":
		if !local(v) {
			return fmt.Errorf("the field back is %q: want a view of this page, such as /order", v)
		}
		r.back = v
	default:
		return fmt.Errorf("there is no field %q", name)
	}
	return nil
}

// text is where a field goes that is taken as it is; nil: it is another one.
func (r *reader) text(name string) *string {
	a := &r.action
	return map[string]*string{
		"cage": &a.Cage, "order": &a.Order, "spec": &a.Spec, "operator": &a.Operator, "piece": &a.Piece,
		"maker": &a.Maker, "lot": &a.Lot, "points": &a.Points, "standard": &a.Standard, "finding": &a.Finding, "reason": &a.Reason,
		"value": &r.value, "unit": &r.valueUnit, "pressure": &r.pressure, "pressure_unit": &r.pressureUnit,
	}[name]
}

// joinValue makes a length of what was typed and its unit, which stands behind
// the number, in a field of its own, or is that of the order in work.
func (r *reader) joinValue() error {
	if r.value == "" {
		return nil
	}
	number, u := r.value, r.valueUnit
	for _, known := range []crimp.Unit{crimp.Inches, crimp.Millimetres} {
		if rest, ok := strings.CutSuffix(number, string(known)); ok {
			number, u = strings.TrimSpace(rest), string(known)
		}
	}
	if u == "" {
		u = string(r.unit)
	}
	if u == "" {
		return r.fault("The length %q has no unit: write in or mm behind the number", r.value)
	}
	unit, err := crimp.ParseUnit(u)
	if err != nil {
		return fmt.Errorf("the field unit: %w", err)
	}
	plain, err := r.t.ReadDecimal(number)
	if err != nil {
		return r.fault("The length %q is no plain number", r.value)
	}
	l, err := crimp.ParseDecimal(plain, unit)
	if err != nil {
		return r.fault("The length %q is no plain number", r.value)
	}
	r.action.Value = &l
	return nil
}

// joinPressure makes a pressure of a number and its unit.
func (r *reader) joinPressure() error {
	if r.pressure == "" {
		return nil
	}
	text := r.pressure + r.pressureUnit
	for _, u := range []string{"MPa", "kPa", "bar", "psi"} {
		if rest, ok := strings.CutSuffix(r.pressure, u); ok {
			text = r.pressure
			if plain, err := r.t.ReadDecimal(strings.TrimSpace(rest)); err == nil {
				text = plain + u
			}
		}
	}
	if plain, err := r.t.ReadDecimal(r.pressure); err == nil {
		text = plain + r.pressureUnit
	}
	p, err := crimp.ParsePressure(text)
	if err != nil {
		return r.fault("The pressure %q is no number with bar, MPa or psi behind it, or is more than 1000 MPa", strings.TrimSpace(r.pressure+" "+r.pressureUnit))
	}
	r.action.Pressure = p
	return nil
}

func (r *reader) angle(v string) error {
	if v == "" {
		return nil
	}
	plain, err := r.t.ReadDecimal(v)
	degrees, err2 := strconv.ParseFloat(plain, 64)
	if err != nil || err2 != nil || degrees < 0 || degrees >= 360 {
		return r.fault("The angle %q is no number of degrees from 0 to below 360", v)
	}
	r.action.Angle = &degrees
	return nil
}

// number reads a whole number; empty leaves it as it is.
func (r *reader) number(name, v string, lowest, highest int, n *int) error {
	if v == "" {
		return nil
	}
	got, err := strconv.Atoi(v)
	if err != nil || got < lowest || got > highest {
		return r.fault("%s is %q: want a whole number from %d to %d", r.called(name), v, lowest, highest)
	}
	*n = got
	return nil
}

func yes(name, v string, set func(bool)) error {
	switch v {
	case "":
	case "yes":
		set(true)
	case "no":
		set(false)
	default:
		return fmt.Errorf("the field %s is %q: want yes or no", name, v)
	}
	return nil
}

// fault is an error of what was typed, in the reader's language.
func (r *reader) fault(english string, args ...any) error {
	return errors.New(r.t.Say(english, args...))
}

// called is how the page calls a field.
func (r *reader) called(name string) string {
	switch name {
	case "cage":
		return r.t.Say("Cage")
	case "order":
		return r.t.Say("Order")
	case "operator":
		return r.t.Say("Operator")
	case "piece":
		return r.t.Say("Piece")
	case "quantity":
		return r.t.Say("Quantity")
	case "setting":
		return r.t.Say("Setting")
	case "hold":
		return r.t.Say("Seconds held")
	case "lot":
		return r.t.Say("Lot")
	case "maker":
		return r.t.Say("Maker")
	case "finding":
		return r.t.Say("Finding")
	case "reason":
		return r.t.Say("Reason")
	}
	return name
}

// local says whether a text is the path of a view of this page, with nothing in
// it that a browser could take for another place.
func local(path string) bool {
	return strings.HasPrefix(path, "/") && !strings.HasPrefix(path, "//") && !strings.ContainsAny(path, "\\?#:\r\n\t ")
}
