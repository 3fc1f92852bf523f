package station

import "benchtally/agent/crimp"

func caution(j *crimp.Job) string               { return "" }
func found(c *crimp.Cage) crimp.Condition       { return "" }
func inspect(c *crimp.Cage, to crimp.Condition) {}
func angleTolerance(crimp.Length) float64       { return 5 }
func angleOff(a, b float64) float64             { return a - b }
func proofCheck(w, p crimp.Pressure, hold int) (bool, string) {
	return p >= 2*w && hold >= 30, ""
}

const mostPressure = 1_000 * crimp.Megapascal
