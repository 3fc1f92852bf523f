package mqtt

import (
	"math"
	"strings"
	"testing"
	"time"

	"benchtally/mqtt/broker"
)

func TestSettingsDefaults(t *testing.T) {
	s, way, err := Settings{Access: broker.Access{Address: "tcp://broker.example"}, Base: testBase, ClientID: "n"}.checked()
	if err != nil {
		t.Fatal(err)
	}
	if way.String() != "broker.example:1883" {
		t.Errorf("address %v", way)
	}
	got := []any{s.Window, s.Rate, s.Keepalive, s.AckTimeout, s.Heartbeat, s.BackoffMin, s.BackoffMax}
	want := []any{1, 0.0, 30 * time.Second, 30 * time.Second, time.Minute, time.Second, time.Minute}
	for i := range want {
		if got[i] != want[i] {
			t.Errorf("default %d is %v, want %v", i, got[i], want[i])
		}
	}
}

func TestSettingsFaults(t *testing.T) {
	good := Settings{Access: broker.Access{Address: "ssl://h"}, Base: testBase, ClientID: "n"}
	for _, tc := range []struct {
		name string
		set  func(*Settings)
		want string
	}{
		{"no broker", func(s *Settings) { s.Address = "" }, "want tcp://host:1883 or ssl://host:8883"},
		{"bad base", func(s *Settings) { s.Base = "a//b" }, "level 2 is empty"},
		{"no client id", func(s *Settings) { s.ClientID = "" }, "client id"},
		{"client id with a line break", func(s *Settings) { s.ClientID = "a\nb" }, "client id"},
		{"password without user", func(s *Settings) { s.PasswordFile = "p" }, "a password file without a user"},
		{"certificate without key", func(s *Settings) { s.Cert = "c" }, "go together"},
		{"key without certificate", func(s *Settings) { s.Key = "k" }, "go together"},
		{"certificates without TLS", func(s *Settings) { s.Address, s.CA = "tcp://h", "ca" }, "write ssl://"},
		{"window too large", func(s *Settings) { s.Window = 65 }, "window 65"},
		{"window negative", func(s *Settings) { s.Window = -1 }, "window -1"},
		{"rate negative", func(s *Settings) { s.Rate = -1 }, "rate -1"},
		{"rate no number", func(s *Settings) { s.Rate = math.NaN() }, "rate NaN"},
		{"rate infinite", func(s *Settings) { s.Rate = math.Inf(1) }, "rate +Inf"},
		{"keepalive too short", func(s *Settings) { s.Keepalive = time.Millisecond }, "keepalive 1ms"},
		{"heartbeat negative", func(s *Settings) { s.Heartbeat = -1 }, "heartbeat"},
		{"ack timeout too long", func(s *Settings) { s.AckTimeout = 13 * time.Hour }, "acknowledgement timeout"},
		{"back-off the wrong way", func(s *Settings) { s.BackoffMin = 2 * time.Minute }, "is longer than the longest"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			s := good
			tc.set(&s)
			if _, err := New(s, newBox(0)); err == nil || !strings.Contains(err.Error(), tc.want) {
				t.Errorf("got %v, want an error with %q", err, tc.want)
			}
		})
	}
	s := good
	s.Window, s.Base, s.Address = 99, "", "x"
	_, err := New(s, newBox(0))
	if err == nil {
		t.Fatal("three faults are taken")
	}
	for _, part := range []string{"window 99", "level 1 is empty", "broker"} {
		if !strings.Contains(err.Error(), part) {
			t.Errorf("%q is not named in: %v", part, err)
		}
	}
}

func TestPasswordInAddressIsNotRepeated(t *testing.T) {
	for _, address := range []string{"tcp://kj:secret@h:1883", "kj:secret@h", "tcp://kj:secret%zz@h", "ssl://secret@"} {
		_, err := New(Settings{Access: broker.Access{Address: address}, Base: testBase, ClientID: "n"}, newBox(0))
		if err == nil || !strings.Contains(err.Error(), "does not belong in the address") {
			t.Errorf("%q: got %v, want a refusal of the password", address, err)
		} else if strings.Contains(err.Error(), "secret") {
			t.Errorf("the error repeats the password: %v", err)
		}
	}
}
