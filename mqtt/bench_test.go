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
