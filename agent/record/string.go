package record

import "unicode/utf8"

const hexDigits = "0123456789abcdef"

// plain are the bytes that stand in a JSON string as they are.
var plain = func() (is [256]bool) {
	for c := ' '; c < 0x7f; c++ {
		is[c] = c != '"' && c != '\\'
	}
	return is
}()

// AppendString appends s as a JSON string. Bytes that are not UTF-8 become
// U+FFFD, control characters are escaped (RFC 8259, section 7).
func AppendString(b []byte, s string) []byte {
	b = append(b, '"')
	begin := 0 // of what goes in as it is
	for i := 0; i < len(s); {
		c := s[i]
		if plain[c] {
			i++
			continue
		}
		if c >= utf8.RuneSelf {
			if r, size := utf8.DecodeRuneInString(s[i:]); r != utf8.RuneError || size > 1 {
				i += size
				continue
			}
		}
		b = append(b, s[begin:i]...)
		i++
		begin = i
		switch {
		case c >= utf8.RuneSelf:
			b = append(b, "\ufffd"...)
		case c == '"' || c == '\\':
			b = append(b, '\\', c)
		case c == '\n':
			b = append(b, '\\', 'n')
		case c == '\r':
			b = append(b, '\\', 'r')
		case c == '\t':
			b = append(b, '\\', 't')
		default:
			b = append(b, '\\', 'u', '0', '0', hexDigits[c>>4], hexDigits[c&15])
		}
	}
	b = append(b, s[begin:]...)
	return append(b, '"')
}
