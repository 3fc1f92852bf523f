package crimp

// Outcome is what the readings of one crimp say.
type Outcome string

// The outcomes.
const (
	Pass    Outcome = "pass"
	Recrimp Outcome = "recrimp"
	Scrap   Outcome = "scrap"
	Unsure  Outcome = "unsure"
)
