package words

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"benchtally/agent/crimp"
)

// comma says whether the language writes decimals behind a comma. Spanish does in
// Spain and most of South America, and writes a point in Mexico and Central America.
func (t Tongue) comma() bool { return t.foreign() }

// Decimal is a number that is written with a point, with the language's sign for
// decimals and a real minus sign. There is never a sign between thousands.
func (t Tongue) Decimal(number string) string {
	if rest, ok := strings.CutPrefix(number, "-"); ok {
		number = "−" + rest
	}
	if t.comma() {
		return strings.Replace(number, ".", ",", 1)
	}
	return number
}

// Number writes a number with so many decimals.
func (t Tongue) Number(v float64, decimals int) string {
	return t.Decimal(strconv.FormatFloat(v, 'f', decimals, 64))
}

// Length writes a length with its unit, rounded half away from zero.
func (t Tongue) Length(l crimp.Length, unit crimp.Unit, decimals int) string {
	return t.Decimal(l.Text(unit, decimals))
}

// ReadDecimal is a number as a person typed it, with the point that programs
// read: a comma may stand for it where the language writes one. What could be a
// sign between thousands is an error, as is all else that is no plain number.
func (t Tongue) ReadDecimal(typed string) (string, error) {
	number := strings.Replace(strings.TrimSpace(typed), "−", "-", 1)
	if strings.Contains(number, ",") {
		if !t.comma() || strings.ContainsAny(strings.Replace(number, ",", "", 1), ",.") {
			return "", fmt.Errorf("%q: write one decimal sign and nothing between thousands", typed)
		}
		number = strings.Replace(number, ",", ".", 1)
	}
	bare := strings.TrimLeft(number, "+-")
	if len(number)-len(bare) > 1 || strings.Trim(bare, "0123456789.") != "" || strings.Count(bare, ".") > 1 || strings.Trim(bare, ".") == "" {
		return "", fmt.Errorf("%q is no plain number", typed)
	}
	return number, nil
}

// Date writes a day as the language does.
func (t Tongue) Date(at time.Time) string { return at.Format(t.day()) }

// Clock writes a time to the minute as the language does, by a day of 24 hours.
func (t Tongue) Clock(at time.Time) string { return at.Format(t.day() + " 15:04") }

func (t Tongue) day() string {
	switch t.Code() {
	case "de":
		return "02.01.2006"
	case "es":
		return "02/01/2006"
	}
	return time.DateOnly
}
