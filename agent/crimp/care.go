package crimp

// Work is work on a die cage.
type Work string

// The works on a die cage.
const (
	Lubricate Work = "lubricate"
	Clean     Work = "clean"
	Teardown  Work = "teardown"
)
