package store

import (
	"fmt"
	"os"
	"path/filepath"
	"testing"
)

// BenchmarkAppend keeps records one by one and in hundreds. pages/op counts the
// pages written by a commit, root page included.
func BenchmarkAppend(b *testing.B) {
	for _, size := range []uint64{1, 100} {
		for _, before := range []uint64{0, 100_000} {
			b.Run(fmt.Sprintf("records=%d/before=%d", size, before), func(b *testing.B) {
				s := open(b, filepath.Join(b.TempDir(), "store.db"), Options{})
				fill(b, s, before, 5000)
				was := s.db.Stats()
				b.ReportAllocs()
				n := 0
				for b.Loop() {
					if err := s.Append(Batch{Records: shift(s.Last(), size)}); err != nil {
						b.Fatal(err)
					}
					n++
				}
				now := s.db.Stats()
				b.ReportMetric(float64(now.TxStats.GetWrite()-was.TxStats.GetWrite())/float64(n), "writes/op")
				b.ReportMetric(float64(now.TxStats.GetPageAlloc()-was.TxStats.GetPageAlloc())/pageSize/float64(n)+1, "pages/op")
			})
		}
	}
}

// BenchmarkUnsent reads the queue a hundred events at a time.
func BenchmarkUnsent(b *testing.B) {
	s := open(b, filepath.Join(b.TempDir(), "store.db"), Options{})
	fill(b, s, 100_000, 5000)
	b.ReportAllocs()
	var after uint64
	n := 0
	for b.Loop() {
		events, err := s.Unsent(after, 100)
		if err != nil {
			b.Fatal(err)
		}
		n += len(events)
		if after += uint64(len(events)); after >= 100_000 {
			after = 0
		}
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(n), "ns/event")
}

// BenchmarkOpen opens a store and reads its state: the time must not grow with
// history. A million records take BENCHTALLY_MILLION=1 in the environment.
func BenchmarkOpen(b *testing.B) {
	sizes := []uint64{10_000, 100_000}
	if os.Getenv("BENCHTALLY_MILLION") != "" {
		sizes = append(sizes, 1_000_000)
	}
	for _, size := range sizes {
		b.Run(fmt.Sprintf("records=%d", size), func(b *testing.B) {
			path := filepath.Join(b.TempDir(), "store.db")
			s := open(b, path, Options{})
			fill(b, s, size, 5000)
			if err := s.Append(Batch{State: make([]byte, 4000)}); err != nil {
				b.Fatal(err)
			}
			closed(b, s)
			info, err := os.Stat(path)
			if err != nil {
				b.Fatal(err)
			}
			for b.Loop() {
				s, err := Open(path, Options{})
				if err != nil {
					b.Fatal(err)
				}
				if _, seq, err := s.State(); err != nil || seq != size {
					b.Fatal(seq, err)
				}
				closed(b, s)
			}
			b.ReportMetric(float64(info.Size())/float64(size), "B/record")
		})
	}
}

// BenchmarkPack packs and unpacks the records of one crimp.
func BenchmarkPack(b *testing.B) {
	rs := shift(0, 6)
	b.Run("pack", func(b *testing.B) {
		b.ReportAllocs()
		var buf []byte
		for b.Loop() {
			for i := range rs {
				buf = pack(buf[:0], &rs[i])
			}
		}
	})
	b.Run("unpack", func(b *testing.B) {
		var packed [6][]byte
		total, json := 0, 0
		for i := range rs {
			packed[i] = pack(nil, &rs[i])
			total += len(packed[i])
			json += len(rs[i].AppendJSON(nil))
		}
		b.ReportAllocs()
		for b.Loop() {
			for i := range packed {
				if _, err := unpack(rs[i].Seq, packed[i]); err != nil {
					b.Fatal(err)
				}
			}
		}
		b.ReportMetric(float64(total)/6, "B/record")
		b.ReportMetric(float64(json)/6, "JSON-B/record")
	})
}
