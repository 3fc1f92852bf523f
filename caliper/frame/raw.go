package frame

const hexDigits = "0123456789abcdef"

// Raw is a frame as it may be shown and kept: without its terminator, bytes that
// are not printable ASCII written as \xNN, a backslash as \\.
func Raw(b []byte) string {
	for len(b) > 0 && (b[len(b)-1] == '\r' || b[len(b)-1] == '\n') {
		b = b[:len(b)-1]
	}
	plain := true
	for _, c := range b {
		plain = plain && c >= ' ' && c < 0x7F && c != '\\'
	}
	if plain {
		return string(b)
	}
	out := make([]byte, 0, 4*len(b))
	for _, c := range b {
		switch {
		case c == '\\':
			out = append(out, '\\', '\\')
		case c >= ' ' && c < 0x7F:
			out = append(out, c)
		default:
			out = append(out, '\\', 'x', hexDigits[c>>4], hexDigits[c&15])
		}
	}
	return string(out)
}
