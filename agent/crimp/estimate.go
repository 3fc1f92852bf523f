package crimp

import "math"

// Model is how the offset of a set-up is thought to behave: what a setting gives
// differs from what it should give by an offset, which is constant but for a
// drift from stroke to stroke, and every piece scatters about it.
// Everything is in nanometres.
type Model struct {
	PriorKnown bool    // something is known of the first offset
	PriorMean  float64 // what it is expected to be
	Prior      float64 // its standard deviation about that
	Learned    bool    // the prior comes from earlier set-ups, and may be doubted
	Noise      float64 // piece to piece, standard deviation, positive
	Drift      float64 // per stroke, standard deviation of a random walk
}

// Estimate is what is known of an offset. Its zero value knows nothing.
type Estimate struct {
	Offset   float64 `json:"offset"`          // nanometres, measured minus what the setting should give
	Variance float64 `json:"variance"`        // nanometres squared; of no meaning while nothing is known
	N        int     `json:"n"`               // first crimps it rests on
	Stroke   int     `json:"stroke"`          // cage's count at the latest of them
	Prior    bool    `json:"prior,omitempty"` // it rests on a prior too
}

// doubt is how many standard deviations a first piece may lie from what earlier
// set-ups taught before that is given up: 1 in 1,000 of a normal distribution.
const doubt = 3.3

// Before is what is known of the offset before a piece was measured; false:
// nothing.
func (m Model) Before() (Estimate, bool) {
	if !m.PriorKnown {
		return Estimate{}, false
	}
	return Estimate{Offset: m.PriorMean, Variance: float64(m.Prior * m.Prior), Prior: true}, true
}

// Update takes in one first crimp: its offset in nanometres and the cage's
// count of strokes. It is a scalar Kalman filter. With a prior and no drift its
// gain after n pieces is 1/(n + σ²/σ₀²); with nothing known of the first offset
// it is 1/n, the harmonic rule of Grubbs (1954, reprinted in Journal of Quality
// Technology 15, 1983; not seen): the first correction is full, the n-th 1/n.
// With a drift q² a stroke the variance grows by it from piece to piece, so
// that the gain does not die away. A prior that was learned is given up when
// the first piece contradicts it: then something is different this time.
func (m Model) Update(e Estimate, offset float64, stroke int) Estimate {
	// The conversions keep processors that fuse multiply and add from giving
	// other last digits than the rest.
	noise := float64(m.Noise * m.Noise)
	prior, known := m.Before()
	if e.N == 0 && m.Learned && math.Abs(offset-prior.Offset) > doubt*m.Predict(prior) {
		known = false
	}
	if e.N == 0 && !known {
		return Estimate{Offset: offset, Variance: noise, N: 1, Stroke: stroke}
	}
	if e.N == 0 {
		e = prior
	} else {
		e.Variance += float64(m.Drift * m.Drift * float64(max(0, stroke-e.Stroke)))
	}
	gain := e.Variance / (e.Variance + noise)
	return Estimate{
		Offset:   e.Offset + float64(gain*(offset-e.Offset)),
		Variance: float64(gain * noise),
		N:        e.N + 1,
		Stroke:   max(stroke, e.Stroke),
		Prior:    e.Prior,
	}
}

// Predict is the standard deviation of the next piece, one stroke on, about its
// estimate: √(P + q² + σ²), nanometres.
func (m Model) Predict(e Estimate) float64 {
	return math.Sqrt(e.Variance + float64(m.Drift*m.Drift) + float64(m.Noise*m.Noise))
}

// Advice is a setting to dial.
type Advice struct {
	Setting int  // counts
	Change  int  // against the setting dialled now; 0: leave it
	Clamped bool // the wanted setting cannot be dialled; this is the nearest
	Held    bool // a change is wanted, but smaller than the shop's dead band
}

// Next advises the setting for the next piece, so that nominal, the setting
// that should give the target, is corrected by the estimated offset one to one
// (common practice, no source) and gives aim, in nanometres above the target.
// Only the advice is rounded to a count; the estimate stays as it is. While the
// distance from the aim to be expected at the dialled setting is smaller than
// hold, no change is advised.
func (s Scale) Next(e Estimate, aim float64, nominal, dialled int, hold Length) Advice {
	expected := e.Offset + float64(s.Change(dialled-nominal)) - aim
	if hold > 0 && math.Abs(expected) < float64(hold) {
		setting, clamped := s.Clamp(dialled)
		return Advice{Setting: setting, Change: setting - dialled, Clamped: clamped, Held: true}
	}
	setting, clamped := s.Clamp(nominal + s.Counts(aim-e.Offset))
	return Advice{Setting: setting, Change: setting - dialled, Clamped: clamped}
}

// Again advises the setting that closes an oversize piece to its target, from
// the piece's own deviation (one to one), at least one count smaller than the
// setting of the crimp that was measured.
func (s Scale) Again(deviation Length, crimped, dialled int) Advice {
	counts := s.Counts(-float64(deviation))
	if s.Change(counts) >= 0 {
		counts = s.Counts(-float64(s.Step))
	}
	setting, clamped := s.Clamp(crimped + counts)
	return Advice{Setting: setting, Change: setting - dialled, Clamped: clamped}
}
