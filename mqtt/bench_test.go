package mqtt

import (
	"fmt"
	"testing"
)

// BenchmarkDrain publishes a backlog over loopback to mosquitto, from CONNECT to
// the acknowledgement of the last event; one operation is one event.
func BenchmarkDrain(b *testing.B) {
	for _, window := range []int{1, 16} {
		b.Run(fmt.Sprintf("window=%d", window), func(b *testing.B) {
			m := newMosquitto(b, eager)
			s := settings(m.addr)
			s.Window = window
			out := newBox(b.N)
			b.ReportAllocs()
			b.ResetTimer()
			p := start(b, s, out, nil)
			drain(b, p)
			b.StopTimer()
			p.stop()
			b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "events/s")
		})
	}
}

// BenchmarkGreeting is from New to the first event acknowledged by a broker that
// collects small packets, as Mosquitto does unless told otherwise.
func BenchmarkGreeting(b *testing.B) {
	addr := newMosquitto(b, "allow_anonymous true\n").addr
	for b.Loop() {
		p := start(b, settings(addr), newBox(1), nil)
		for _, topic := range retained {
			p.Retain(topic, []byte(`{"some":"state"}`))
		}
		drain(b, p)
		b.StopTimer()
		p.stop()
		b.StartTimer()
	}
}
