package machine

import (
	"bytes"
	"encoding/binary"
	"math"
	"strings"
	"testing"
)

// logBytes makes a log: the number of entries that it claims, then headers of
// four numbers, each with its data behind it in whole sectors.
func logBytes(promised uint64, entries ...[]byte) []byte {
	super := make([]byte, 512)
	for i, n := range []uint64{logMagic, logVersion, promised, 512} {
		binary.LittleEndian.PutUint64(super[8*i:], n)
	}
	return append(super, bytes.Join(entries, nil)...)
}

func logEntry(sector, sectors, flags, named uint64, data ...byte) []byte {
	e := make([]byte, 512+(len(data)+511)/512*512)
	for i, n := range []uint64{sector, sectors, flags, named} {
		binary.LittleEndian.PutUint64(e[8*i:], n)
	}
	copy(e[512:], data)
	return e
}

func sectorsOf(b byte, n int) []byte { return bytes.Repeat([]byte{b}, n*512) }

func TestReadLog(t *testing.T) {
	write := logEntry(8, 2, 0, 0, sectorsOf('a', 2)...)
	flush := logEntry(0, 0, flagFlush, 0)
	for _, test := range []struct {
		name string
		log  []byte
		want []entry
		err  string
	}{
		{"a write and a flush", logBytes(2, write, flush), []entry{
			{start: 512, offset: 4096, length: 1024, data: 1024},
			{start: 2048, flags: flagFlush, data: 2560},
		}, ""},
		{"a mark with a name", logBytes(2, logEntry(0, 0, flagMark, 5, []byte("begin")...), flush), []entry{
			{start: 512, flags: flagMark, data: 1024},
			{start: 1536, flags: flagFlush, data: 2048},
		}, ""},
		{"a discard has no data", logBytes(2, logEntry(8, 64, flagDiscard, 0), flush), []entry{
			{start: 512, flags: flagDiscard, offset: 4096, length: 32768, data: 1024},
			{start: 1024, flags: flagFlush, data: 1536},
		}, ""},
		{"more than it claims", logBytes(0, flush), []entry{{start: 512, flags: flagFlush, data: 1024}}, ""},
		{"the last is cut short", logBytes(1, flush, write[:1024]), []entry{{start: 512, flags: flagFlush, data: 1024}}, ""},
		{"empty room behind", logBytes(1, flush, make([]byte, 4096)), []entry{{start: 512, flags: flagFlush, data: 1024}}, ""},
		{"less than it claims", logBytes(3, flush), nil, "has 1 entries, and says that they are 3"},
		{"no log", make([]byte, 4096), nil, "no log of writes"},
		{"nothing", nil, nil, "no log of writes"},
		{"a sector beyond any disk", logBytes(1, logEntry(math.MaxUint64, 1, 0, 0, 1)), nil, "entry 0 at byte 512: 1 sectors from"},
		{"a length beyond any disk", logBytes(1, logEntry(0, math.MaxUint64, 0, 0, 1)), nil, "no disk is so large"},
	} {
		t.Run(test.name, func(t *testing.T) {
			l, err := readLog(bytes.NewReader(test.log), int64(len(test.log)))
			if test.err != "" {
				if err == nil || !strings.Contains(err.Error(), test.err) {
					t.Fatalf("got %v, want %s", err, test.err)
				}
				return
			}
			if err != nil {
				t.Fatal(err)
			}
			if len(l.entries) != len(test.want) {
				t.Fatalf("got %+v, want %+v", l.entries, test.want)
			}
			for i, e := range l.entries {
				if e != test.want[i] {
					t.Errorf("entry %d: got %+v, want %+v", i, e, test.want[i])
				}
			}
		})
	}
	for _, version := range []byte{0, 2} {
		log := logBytes(0)
		log[8] = version
		if _, err := readLog(bytes.NewReader(log), int64(len(log))); err == nil || !strings.Contains(err.Error(), "only 1 is known") {
			t.Errorf("version %d: %v", version, err)
		}
	}
	for _, sector := range []uint32{0, 511, 513, 768, 1 << 17} {
		log := logBytes(0)
		binary.LittleEndian.PutUint32(log[24:], sector)
		if _, err := readLog(bytes.NewReader(log), int64(len(log))); err == nil || !strings.Contains(err.Error(), "want a power of two") {
			t.Errorf("sectors of %d: %v", sector, err)
		}
	}
}

// TestAfter: what was done when the log was so long is among so many entries.
func TestAfter(t *testing.T) {
	log := logBytes(2, logEntry(0, 1, 0, 0, sectorsOf(1, 1)...), logEntry(0, 0, flagFlush, 0))
	l, err := readLog(bytes.NewReader(log), int64(len(log)))
	if err != nil {
		t.Fatal(err)
	}
	for size, want := range map[int64]int{0: 0, 512: 0, 513: 1, 1536: 1, 1537: 2, 2048: 2, 9999: 2} {
		if got := l.after(size); got != want {
			t.Errorf("when it was %d bytes long: got %d entries, want %d", size, got, want)
		}
	}
}

// FuzzReadLog: any bytes are a log or an error; what is read lies within them and
// in their order.
func FuzzReadLog(f *testing.F) {
	f.Add(logBytes(2, logEntry(8, 2, 0, 0, sectorsOf('a', 2)...), logEntry(0, 0, flagFlush, 0)))
	f.Add(logBytes(1, logEntry(0, 0, flagMark, 5, []byte("begin")...)))
	f.Add(logBytes(1, logEntry(8, 64, flagDiscard, 0)))
	f.Fuzz(func(t *testing.T, b []byte) {
		l, err := readLog(bytes.NewReader(b), int64(len(b)))
		if err != nil {
			return
		}
		end := int64(512)
		for i, e := range l.entries {
			if e.start < end || e.data <= e.start || e.writes() && e.data+e.length > int64(len(b)) {
				t.Fatalf("entry %d of %d bytes: %+v", i, len(b), e)
			}
			end = e.data
			if e.writes() {
				end += e.length
			}
		}
		if l.end > int64(len(b)) && len(l.entries) > 0 || l.after(l.end) != len(l.entries) {
			t.Fatalf("ends at %d of %d bytes with %d entries", l.end, len(b), len(l.entries))
		}
	})
}
