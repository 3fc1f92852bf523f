package record

import "time"

// TimeLayout is RFC 3339 in UTC with microseconds: the form of every time that
// leaves the agent. Its strings sort as the times do.
const TimeLayout = "2006-01-02T15:04:05.000000Z"

// Stamp brings a time to the precision that records keep: UTC, microseconds.
func Stamp(t time.Time) time.Time { return t.UTC().Truncate(time.Microsecond) }

// appendTime appends t in TimeLayout. It is quicker than formatting by a layout,
// which would take half of the time of a whole record.
func appendTime(b []byte, t time.Time) []byte {
	t = t.UTC()
	year, month, day := t.Date()
	if year < 0 || year > 9999 {
		return t.AppendFormat(b, TimeLayout)
	}
	hour, minute, second := t.Clock()
	b = digits(b, year, 4)
	b = append(b, '-')
	b = digits(b, int(month), 2)
	b = append(b, '-')
	b = digits(b, day, 2)
	b = append(b, 'T')
	b = digits(b, hour, 2)
	b = append(b, ':')
	b = digits(b, minute, 2)
	b = append(b, ':')
	b = digits(b, second, 2)
	b = append(b, '.')
	b = digits(b, t.Nanosecond()/1000, 6)
	return append(b, 'Z')
}

// digits appends the last digits of n, at most six.
func digits(b []byte, n, width int) []byte {
	b = append(b, "000000"[:width]...)
	for i := len(b) - 1; n != 0; i-- {
		b[i] += byte(n % 10)
		n /= 10
	}
	return b
}
