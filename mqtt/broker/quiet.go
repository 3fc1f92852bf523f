package broker

import (
	"context"
	"fmt"
	"log/slog"
	"strings"

	paho "github.com/eclipse/paho.mqtt.golang"
)

// The client library's loggers belong to the whole program, and its goroutines
// read them without a lock: they are set before any can run. What it reports
// goes to the default log at the debug level. Its own debug output stays off,
// it would show passwords.
func init() {
	paho.CRITICAL, paho.ERROR, paho.WARN = library{}, library{}, library{}
}

// library is a logger of the client library. Causes reach people through State.
type library struct{}

// Println logs its arguments, parted by blanks.
func (library) Println(v ...any) { note(func() string { return fmt.Sprintln(v...) }) }

// Printf logs its arguments, formatted.
func (library) Printf(format string, v ...any) {
	note(func() string { return fmt.Sprintf(format, v...) })
}

func note(text func() string) {
	if slog.Default().Enabled(context.Background(), slog.LevelDebug) {
		slog.Debug("mqtt library", "says", strings.TrimSpace(text()))
	}
}
