package sparkplug

import (
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"benchtally/agent/record"
)

// folded is the image of some records.
func folded(rs ...record.Record) *image {
	m := newImage()
	for i, r := range rs {
		r.Seq = uint64(i + 1)
		if r.At.IsZero() {
			r.At = noon.Add(time.Duration(i) * time.Second)
		}
		m.fold(&r)
	}
	return m
}

func TestImageIsRecalled(t *testing.T) {
	was := folded(append(everyKind(), fault(record.Caliper, true), fault(record.Clock, true), fault(record.Clock, false))...)
	is, err := recall(was.seq, was.note())
	if err != nil {
		t.Fatal(err)
	}
	delete(was.faults, record.Switch) // never told
	if diff := cmp.Diff(was, is, cmp.AllowUnexported(image{}, held{}, Value{})); diff != "" {
		t.Errorf("(-kept +recalled):\n%s", diff)
	}
	if len(was.note()) > 8<<10 {
		t.Errorf("the note has %d bytes", len(was.note()))
	}
}

func TestImageOfABadNote(t *testing.T) {
	good := folded(stroke("A-1/1")).note()
	for _, tc := range []struct {
		name string
		note []byte
		want Value
		ok   bool
	}{
		{"cut off", good[:len(good)-2], Value{}, false},
		{"noise", []byte("\xff\xff\xff\xff"), Value{}, false},
		{"empty", []byte{}, Value{}, true},
		{"metrics of another program", AppendBirth(nil, Payload{At: noon, Metrics: []Metric{{Name: "Stroke/Piece", At: noon, Value: Int32(4)}, {Name: "Stroke/Force", At: noon, Value: Double(1)}}}), Value{}, true},
		{"health that is null", AppendBirth(nil, Payload{At: noon, Metrics: []Metric{{Name: "Health/Switch", Value: Null(TypeString)}, {Name: "Health/Caliper", Value: Null(TypeString)}}}), Value{}, true},
		{"good", good, String("A-1/1"), true},
	} {
		t.Run(tc.name, func(t *testing.T) {
			m, err := recall(1, tc.note)
			if (err == nil) != tc.ok {
				t.Fatalf("error %v", err)
			}
			if err == nil && (m.values["Stroke/Piece"].value != tc.want || !m.alive()) {
				t.Errorf("image %+v", m)
			}
			playing(t, func(_ *stub, l *logbook, _ *Settings) {
				l.add(stroke("A-1/1"))
				l.marks[markImage] = logMark{0, tc.note} // up to no record
			}, func(p *play) {
				if k, _ := value(p.s.messages(DBIRTH)[0].payload, "Stroke/Piece"); k.Value != String("A-1/1") {
					t.Errorf("the piece in the birth is %v", k.Value)
				}
			})
		})
	}
}

// TestImageLearnsFromTheNewest has more records than are looked at without a
// note.
func TestImageLearnsFromTheNewest(t *testing.T) {
	l := newLogbook()
	l.add(reading(29))
	for range firstFold {
		l.add(stroke("A-1/1"))
	}
	l.marks[markImage] = logMark{1, []byte("\xff")}
	n, err := New(settings(), l)
	if err != nil {
		t.Fatal(err)
	}
	n.load(t.Context())
	if _, known := n.image.values["Reading/Diameter"]; known || n.image.seq != firstFold+1 {
		t.Errorf("a record beyond the newest %d was looked at: %d, %t", firstFold, n.image.seq, known)
	}
}

func TestImageKeepsNoTimeAhead(t *testing.T) {
	ahead := stroke("A-1/1")
	ahead.At = noon.AddDate(70, 0, 0)
	m := folded(reading(30), ahead, reading(31))
	if at := m.values["Reading/Diameter"].at; !at.Equal(ahead.At) {
		t.Errorf("a time fell to %v", at)
	}
	m.until(noon.Add(time.Minute))
	for name, h := range m.values {
		if h.at.After(noon.Add(time.Minute)) {
			t.Errorf("%s is of %v", name, h.at)
		}
	}
	later := reading(32)
	later.At = noon.Add(2 * time.Minute)
	m.fold(&later)
	if at := m.values["Reading/Diameter"].at; !at.Equal(later.At) {
		t.Errorf("the next one is of %v", at)
	}
}

// TestImageFoldsAnyKind has a metric for all that records say, and none that is
// not declared.
func TestImageFoldsAnyKind(t *testing.T) {
	m := folded(append(everyKind(), fault(record.Switch, true), fault(record.Action, true))...)
	for name, h := range m.values {
		if !declares(name, h.value.Type()) {
			t.Errorf("%s of type %d is not declared", name, h.value.Type())
		}
	}
	told := 0
	for _, d := range deviceMetrics {
		if _, known := m.values[d.name]; known {
			told++
		} else if d.name != "Health/Caliper" {
			t.Errorf("%s is never told", d.name)
		}
	}
	if told < 45 {
		t.Errorf("%d metrics are told", told)
	}
}
