package sparkplug

import (
	"testing"
	"time"

	"benchtally/agent/record"
)

// BenchmarkTell is from a record to the bytes of its DDATA.
func BenchmarkTell(b *testing.B) {
	kinds := everyKind()
	for _, r := range []record.Record{kinds[1], kinds[4], kinds[7], kinds[8], fault(record.Caliper, true)} {
		b.Run(string(r.Kind), func(b *testing.B) {
			m, r := folded(r), r
			r.At = noon
			var buf []byte
			b.ReportAllocs()
			for b.Loop() {
				r.Seq++
				press, _ := m.fold(&r)
				buf = AppendData(buf[:0], Payload{At: noon, HasSeq: true, Seq: 1, Metrics: inOrder(m.metrics(deviceMetrics, press))})
			}
			b.ReportMetric(float64(len(buf)), "bytes")
		})
	}
}

// BenchmarkBirth is a DBIRTH with all metrics.
func BenchmarkBirth(b *testing.B) {
	m := folded(everyKind()...)
	var buf []byte
	b.ReportAllocs()
	for b.Loop() {
		buf = AppendBirth(buf[:0], Payload{At: noon, HasSeq: true, Seq: 1, Metrics: inOrder(m.metrics(deviceMetrics, nil))})
	}
	b.ReportMetric(float64(len(buf)), "bytes")
}

// BenchmarkHear is a rebirth command heard, as in a storm of them.
func BenchmarkHear(b *testing.B) {
	n, err := New(settings(), newLogbook())
	if err != nil {
		b.Fatal(err)
	}
	l, ask := newLink(n, 0), rebirthCommand()
	b.ReportAllocs()
	for b.Loop() {
		l.hear(commands, ask, false)
	}
}

// BenchmarkStorm is a rebirth command at QoS 1, which no ear bounds, from the
// broker's write to its acknowledgement, while the node lives on.
func BenchmarkStorm(b *testing.B) {
	s, log := &stub{}, newLogbook()
	n := start(b, settings(), log, s.network)
	eventually(b, "born", func() bool { return n.State().Connected })
	ask := rebirthCommand()
	b.ReportAllocs()
	b.ResetTimer()
	for b.Loop() {
		s.sayAt(1, commands, ask, false)
	}
	b.StopTimer()
	b.ReportMetric(float64(n.State().Births), "births")
	b.ReportMetric(float64(time.Second)/float64(b.Elapsed())*float64(b.N), "commands/s")
}
