package tape

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"reflect"
	"strings"
	"unicode/utf8"
)

// strict decodes exactly one JSON object without unknown keys.
func strict(text []byte, v any) error {
	if !utf8.Valid(text) {
		return errors.New(`not UTF-8: give bytes above 7f as "hex"`)
	}
	d := json.NewDecoder(bytes.NewReader(text))
	d.DisallowUnknownFields()
	err := d.Decode(v)
	var kind *json.UnmarshalTypeError
	switch {
	case err == nil:
		if _, err := d.Token(); !errors.Is(err, io.EOF) {
			return errors.New("something stands behind the JSON object: want one object a line")
		}
		return nil
	case errors.As(err, &kind):
		key := kind.Field[strings.LastIndexByte(kind.Field, '.')+1:] // an action's come as Action.key
		if key == "" {
			return fmt.Errorf("want an object in braces, found %s", found(kind.Value))
		}
		return fmt.Errorf("%q: want %s, found %s", key, wanted(kind.Type), found(kind.Value))
	case errors.Is(err, io.ErrUnexpectedEOF), errors.Is(err, io.EOF):
		return errors.New("not whole JSON: the line ends too early")
	}
	if key, ok := strings.CutPrefix(err.Error(), "json: unknown field "); ok {
		return fmt.Errorf("unknown key %s", key)
	}
	if syntax := (*json.SyntaxError)(nil); errors.As(err, &syntax) {
		return fmt.Errorf("not JSON: %w", err)
	}
	return err // of a value that reads itself
}

// wanted is the value that a field takes, in words.
func wanted(t reflect.Type) string {
	switch t.Kind() {
	case reflect.String:
		return "text"
	case reflect.Float64:
		return "a number"
	default:
		return "a whole number"
	}
}

// found is the value that stands there, in words for what encoding/json calls it.
func found(value string) string {
	switch value {
	case "string":
		return "text"
	case "bool":
		return "true or false"
	case "array":
		return "a list"
	case "object":
		return "an object"
	case "number":
		return "a number"
	default:
		return strings.TrimPrefix(value, "number ")
	}
}
