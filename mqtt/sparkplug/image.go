package sparkplug

import (
	"slices"
	"strings"
	"time"

	"benchtally/agent/record"
)

// image is what a node's metrics are now: the newest value of each.
type image struct {
	seq    uint64    // of the newest record in it
	at     time.Time // latest time told; from birth to birth times never fall, as Sparkplug demands of what is not historical
	values map[string]held
	faults map[record.Source]bool
}

// held is a value and when it was acquired.
type held struct {
	value Value
	at    time.Time
}

func newImage() *image {
	return &image{values: map[string]held{}, faults: map[record.Source]bool{}}
}

// until takes back times that are after now: the clock was ahead when they were
// told. Without it one wrong time would stay for ever.
func (m *image) until(now time.Time) {
	if m.at.After(now) {
		m.at = now
	}
	for name, h := range m.values {
		if h.at.After(now) {
			h.at = now
			m.values[name] = h
		}
	}
}

// alive reports whether the press can be seen at all: by its switch or by its
// caliper.
func (m *image) alive() bool { return !m.faults[record.Switch] || !m.faults[record.Caliper] }

// device is the beginning of the metrics that a device of the press tells.
func device(s record.Source) string {
	if s == record.Switch {
		return "Stroke/"
	}
	return "Reading/"
}

// quality is how far a metric can be relied on: what a lost device said last is
// stale.
func (m *image) quality(name string) Quality {
	for _, s := range []record.Source{record.Switch, record.Caliper} {
		switch {
		case !strings.HasPrefix(name, device(s)):
		case m.faults[s]:
			return Stale
		default:
			return Good // said, so that it takes back what was said before
		}
	}
	return ""
}

// fold takes in a record and returns which metrics of the press and of the node
// it told.
func (m *image) fold(r *record.Record) (press, agent []string) {
	m.seq = r.Seq
	if r.At.After(m.at) {
		m.at = r.At
	}
	for _, s := range tell(r) {
		m.values[s.name] = held{s.value, m.at}
		press = append(press, s.name)
	}
	name, known := healths[r.Source]
	if r.Kind != record.Fault || !known {
		return press, nil
	}
	on := r.State == record.On
	text := healthy
	if on {
		text = r.Reason
	}
	m.faults[r.Source] = on
	m.values[name] = held{String(text), m.at}
	if !ofPress(r.Source) {
		return press, []string{name}
	}
	press = append(press, name)
	for _, d := range deviceMetrics { // what the device said last is stale from now on, or good again
		if strings.HasPrefix(d.name, device(r.Source)) {
			press = append(press, d.name)
		}
	}
	return press, nil
}

// metrics are the metrics of those declared that are named, all with nil names.
// What was never told is null, and was so when the newest record was told: no
// later, or the time of its first value might be before.
func (m *image) metrics(declared []metric, names []string) []Metric {
	var all []Metric
	for _, d := range declared {
		if names != nil && !slices.Contains(names, d.name) {
			continue
		}
		h, known := m.values[d.name]
		if !known {
			h = held{Null(d.typ), m.at}
			if _, health := healthOf(d.name); health {
				h.value = String(healthy)
			}
		}
		all = append(all, Metric{Name: d.name, At: h.at, Value: h.value, Quality: m.quality(d.name), Unit: d.unit})
	}
	return all
}

// inOrder puts metrics in the order of their times
// (tck-id-operational-behavior-data-publish-nbirth-order).
func inOrder(all []Metric) []Metric {
	slices.SortStableFunc(all, func(a, b Metric) int { return a.At.Compare(b.At) })
	return all
}

// healthOf is the source of trouble whose metric has that name.
func healthOf(name string) (record.Source, bool) {
	for source, n := range healths {
		if n == name {
			return source, true
		}
	}
	return "", false
}

// note is the image as it is kept: as the payload of a birth.
func (m *image) note() []byte {
	p := Payload{At: m.at}
	for _, declared := range [][]metric{deviceMetrics, nodeMetrics} {
		for _, d := range declared {
			if h, known := m.values[d.name]; known {
				p.Metrics = append(p.Metrics, Metric{Name: d.name, At: h.at, Value: h.value})
			}
		}
	}
	return AppendBirth(nil, p)
}

// recall is the image of a note, without the metrics that this program does not
// have.
func recall(seq uint64, note []byte) (*image, error) {
	p, err := Decode(note)
	if err != nil {
		return nil, err
	}
	m := newImage()
	for _, k := range p.Metrics {
		if !declares(k.Name, k.Value.Type()) {
			continue
		}
		m.values[k.Name] = held{k.Value, k.At}
		if source, ok := healthOf(k.Name); ok {
			text, said := k.Value.Text()
			m.faults[source] = said && text != healthy
		}
	}
	m.seq, m.at = seq, p.At
	return m, nil
}

// declares says whether there is a metric of that name and type.
func declares(name string, t DataType) bool {
	for _, declared := range [][]metric{deviceMetrics, nodeMetrics} {
		for _, d := range declared {
			if d.name == name && d.typ == t {
				return true
			}
		}
	}
	return false
}

// historical is what a record tells, as a value of the past.
func historical(r *record.Record) []Metric {
	var all []Metric
	for _, s := range tell(r) {
		m := Metric{Name: s.name, At: r.At, Value: s.value, Historical: true}
		for _, d := range deviceMetrics {
			if d.name == s.name {
				m.Unit = d.unit
			}
		}
		all = append(all, m)
	}
	return all
}
