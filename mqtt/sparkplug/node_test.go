package sparkplug

import (
	"slices"
	"testing"
	"testing/synctest"
	"time"

	"benchtally/agent/crimp"
	"benchtally/agent/record"
)

// kinds are the message types of messages, in order.
func kinds(ms []heardMessage) (all []MessageType) {
	for _, m := range ms {
		all = append(all, m.kind())
	}
	return all
}

func wantKinds(t *testing.T, got []heardMessage, want ...MessageType) {
	t.Helper()
	if k := kinds(got); !slices.Equal(k, want) {
		t.Fatalf("messages %v, want %v", k, want)
	}
}

func stroke(piece string) record.Record {
	setting := 120
	return record.Record{Kind: record.Stroke, Order: "A-1001", Piece: piece, Cage: "C-21", Setting: &setting, Crimp: 1}
}

func reading(mm float64) record.Record {
	d := crimp.Length(mm * float64(crimp.Millimetre))
	return record.Record{Kind: record.Reading, Piece: "A-1001/1", Place: 1, Diameter: &d}
}

func fault(s record.Source, on bool) record.Record {
	r := record.Record{Kind: record.Fault, Source: s, State: record.Off, Reason: "it works again"}
	if on {
		r.State, r.Reason = record.On, "cable unplugged"
	}
	return r
}

func TestLifeOfANode(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s, log := &stub{}, newLogbook()
		log.add(stroke("A-1001/1"))
		n := start(t, settings(), log, s.network)
		synctest.Wait()
		wantKinds(t, s.messages(), NBIRTH, DBIRTH)
		if st := n.State(); !st.Connected || st.Reason != "" || st.Births != 1 {
			t.Errorf("state %+v", st)
		}
		birth := s.messages(DBIRTH)[0].payload
		if len(birth.Metrics) != len(deviceMetrics) {
			t.Errorf("%d metrics, want %d", len(birth.Metrics), len(deviceMetrics))
		}
		if m, _ := value(birth, "Stroke/Piece"); m.Value != String("A-1001/1") {
			t.Errorf("the stroke's piece is %+v", m)
		}
		if m, _ := value(birth, "Reading/Diameter"); m.Value != Null(TypeDouble) || m.Unit != "mm" || m.At.IsZero() {
			t.Errorf("a diameter never read is %+v", m)
		}

		log.add(reading(30.48))
		n.Wake()
		synctest.Wait()
		data := s.messages(DDATA)
		if len(data) != 1 || data[0].payload.Seq != 2 || !data[0].payload.HasSeq {
			t.Fatalf("data %+v", data)
		}
		if m, _ := value(data[0].payload, "Reading/Diameter"); m.Historical || m.Quality != Good {
			t.Errorf("the diameter is %+v", m)
		} else if v, ok := m.Value.As(TypeDouble); !ok || v != Double(30.48) {
			t.Errorf("the diameter is %+v", m)
		}

		n.stop()
		wantKinds(t, s.messages(), NBIRTH, DBIRTH, DDATA, NDEATH)
		if s.left != 1 {
			t.Errorf("%d DISCONNECTs", s.left)
		}
	})
}

func TestDeviceThatIsLost(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s, log := &stub{}, newLogbook()
		log.add(reading(30))
		n := start(t, settings(), log, s.network)
		say := func(rs ...record.Record) {
			log.add(rs...)
			n.Wake()
			synctest.Wait()
		}
		synctest.Wait()
		say(fault(record.Caliper, true))
		last := s.messages(DDATA)[0].payload
		if m, _ := value(last, "Health/Caliper"); m.Value != (Value{}) && m.Value.kind != stringKind {
			t.Errorf("the caliper's health is %+v", m)
		}
		if m, ok := value(last, "Reading/Diameter"); !ok || m.Quality != Stale {
			t.Errorf("the diameter is %+v, want it stale", m)
		}
		say(fault(record.Switch, true))
		wantKinds(t, s.messages(), NBIRTH, DBIRTH, DDATA, DDEATH)
		say(stroke("A-1001/9")) // nobody is told of a press that cannot be seen
		wantKinds(t, s.messages(), NBIRTH, DBIRTH, DDATA, DDEATH)
		say(fault(record.Switch, false))
		wantKinds(t, s.messages(), NBIRTH, DBIRTH, DDATA, DDEATH, DBIRTH)
		if m, _ := value(s.messages(DBIRTH)[1].payload, "Stroke/Piece"); m.Value != String("A-1001/9") || m.Quality != Good {
			t.Errorf("the stroke in the second birth is %+v", m)
		}
		say(fault(record.Clock, true))
		wantKinds(t, s.messages()[5:], NDATA, DDATA)
		for i, m := range s.messages() {
			if int(m.payload.Seq) != i {
				t.Errorf("message %d, a %s, has the sequence %d", i, m.kind(), m.payload.Seq)
			}
		}
		n.stop()
	})
}

func TestRebirth(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s, log := &stub{}, newLogbook()
		n := start(t, settings(), log, s.network)
		synctest.Wait()
		ask := AppendBirth(nil, Payload{At: time.Now(), Metrics: []Metric{{Name: Rebirth, Value: Boolean(true)}}})
		const command = "spBv1.0/riverside-hose-shop/NCMD/north-bench"
		s.say(command, ask, false)
		synctest.Wait()
		wantKinds(t, s.messages(), NBIRTH, DBIRTH, NBIRTH, DBIRTH)
		for range 100 {
			s.say(command, ask, false)
		}
		time.Sleep(rebirthEvery - time.Second)
		synctest.Wait()
		if got := len(s.messages(NBIRTH)); got != 2 {
			t.Errorf("%d births within %v, want two", got, rebirthEvery)
		}
		time.Sleep(3 * rebirthEvery)
		synctest.Wait()
		births := s.messages(NBIRTH)
		if len(births) != 3 || births[2].payload.Seq != 0 || births[2].nth != 1 {
			t.Fatalf("births %+v, want a third one by the same connection", births)
		}
		a, _ := value(births[0].payload, BdSeq)
		b, _ := value(births[1].payload, BdSeq)
		if a.Value != b.Value {
			t.Errorf("bdSeq %v, then %v", a.Value, b.Value)
		}
		n.stop()
	})
}

func TestPrimaryHost(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s, log := &stub{host: "control-room"}, newLogbook()
		set := settings()
		set.Host = s.host
		n := start(t, set, log, s.network)
		synctest.Wait()
		wantKinds(t, s.messages())
		if st := n.State(); st.Connected || st.Reason != "the primary host control-room is not online at broker.example:1883" {
			t.Errorf("state %+v", st)
		}
		log.add(stroke("A-1001/1"), reading(30), reading(31)) // while the host is away
		n.Wake()
		synctest.Wait()
		s.setState(`{"online":true,"timestamp":1000}`)
		synctest.Wait()
		wantKinds(t, s.messages(), NBIRTH, DBIRTH, DDATA, DDATA, DDATA)
		for _, m := range s.messages(DDATA) {
			for _, v := range m.payload.Metrics {
				if !v.Historical {
					t.Errorf("%s is not historical", v.Name)
				}
			}
		}
		s.setState(`{"online":false,"timestamp":999}`) // older
		synctest.Wait()
		if !n.State().Connected {
			t.Error("an older word of the host counts")
		}
		s.setState(`{"online":false,"timestamp":1001}`)
		synctest.Wait()
		if got := s.messages(); got[len(got)-1].kind() != NDEATH {
			t.Errorf("messages %v, want a death at the end", kinds(got))
		}
		log.add(reading(32))
		time.Sleep(10 * time.Second)
		synctest.Wait()
		before := len(s.messages())
		s.setState(`{"online":true,"timestamp":2000}`)
		synctest.Wait()
		// What was told less than 90 s ago is told once more, and what came since.
		wantKinds(t, s.messages()[before:], NBIRTH, DBIRTH, DDATA, DDATA, DDATA, DDATA)
		time.Sleep(2 * doubtful)
		synctest.Wait()
		s.cut()
		time.Sleep(10 * time.Second)
		synctest.Wait()
		births := s.messages(NBIRTH)
		if last := births[len(births)-1]; last.nth != len(s.connects) {
			t.Errorf("born last in connection %d of %d", last.nth, len(s.connects))
		}
		again := s.messages()[before+6:]
		wantKinds(t, again, NBIRTH, DBIRTH)
		n.stop()
	})
}
