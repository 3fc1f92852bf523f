package broker

import (
	"context"
	"errors"
	"fmt"
	"net"
	"strings"
	"syscall"
	"testing"
)

func TestWhyNoNetwork(t *testing.T) {
	b, err := New(Access{Address: "tcp://broker.example"})
	if err != nil {
		t.Fatal(err)
	}
	dial := func(err error) error { return &net.OpError{Op: "dial", Net: "tcp", Err: err} }
	for _, tc := range []struct {
		name string
		err  error
		want string
	}{
		{"unknown name", dial(&net.DNSError{Err: "no such host", Name: "broker.example", IsNotFound: true}), "no machine of the name broker.example is known"},
		{"no name server", dial(&net.DNSError{Err: "i/o timeout", IsTimeout: true}), "the name server does not answer for broker.example"},
		{"refused", dial(syscall.ECONNREFUSED), "nothing listens at broker.example:1883"},
		{"no route", dial(syscall.EHOSTUNREACH), "there is no way to broker.example:1883"},
		{"no network", dial(syscall.ENETUNREACH), "there is no way to broker.example:1883"},
		{"no answer", dial(context.DeadlineExceeded), "broker.example:1883 does not answer within 10s"},
		{"something else", dial(syscall.EADDRNOTAVAIL), "no connection to broker.example:1883: cannot assign requested address"},
	} {
		if got := b.whyNoNetwork(tc.err); !strings.HasPrefix(got, tc.want) {
			t.Errorf("%s: got %q, want %q", tc.name, got, tc.want)
		}
	}
}

func TestInnermost(t *testing.T) {
	core := errors.New("core")
	for _, err := range []error{core, fmt.Errorf("a: %w", core), fmt.Errorf("%w : %w", errors.New("b"), core), errors.Join(errors.New("c"), core)} {
		if got := innermost(err); got != "core" {
			t.Errorf("innermost of %q is %q", err, got)
		}
	}
}
