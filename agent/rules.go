package main

import (
	"benchtally/agent/config"
	"benchtally/agent/crimp"
	"benchtally/agent/station"
	"benchtally/caliper"
	"benchtally/caliper/port"
	"benchtally/sensors"
)

// stationRules are the shop's rules as the station takes them.
func stationRules(c *config.Config) station.Rules {
	return station.Rules{
		Scale: c.Scale,
		Model: crimp.Model{
			PriorKnown: c.Correction.PriorSD > 0, Prior: float64(c.Correction.PriorSD),
			Noise: float64(c.Correction.NoiseSD), Drift: float64(c.Correction.DriftSD),
		},
		Learn:     c.Correction.Learn,
		Costs:     c.Correction.Costs,
		Hold:      c.Correction.Hold,
		Judge:     crimp.Rules{Ovality: c.Measure.Ovality, Confidence: c.Measure.Confidence, Caliper: c.Caliper.Limit},
		Places:    c.Measure.Places,
		Every:     c.Measure.Every,
		U:         c.Measure.U,
		Gauge:     c.Gauge(),
		Intervals: crimp.Intervals{Lubricate: c.Care.Lubricate, Teardown: c.Care.Teardown, Months: c.Care.Months, OilDays: c.Care.OilDays},
		Specs:     c.Specs,

		Jobs:       jobsOf(c.Jobs),
		Points:     station.Points{End: c.Order.EndPoints, Assembly: c.Order.AssemblyPoints},
		FirstPiece: c.Order.FirstPiece, Lengths: c.Order.Lengths,
		Standards: c.Standards, CheckEvery: c.Caliper.CheckEvery, Retracts: c.Switch.Retracted != "",
	}
}

// jobsOf looks orders up among job cards.
func jobsOf(jobs []crimp.Job) func(string) (crimp.Job, bool) {
	byOrder := make(map[string]crimp.Job, len(jobs))
	for _, j := range jobs {
		byOrder[j.Order] = j
	}
	return func(order string) (crimp.Job, bool) {
		j, ok := byOrder[order]
		return j, ok
	}
}

func filterSettings(c *config.Config) sensors.Settings {
	return sensors.Settings{
		Settle: c.Switch.Settle, Shortest: c.Switch.Shortest, Cycle: c.Switch.Cycle,
		Stuck: c.Switch.Stuck, Changeover: c.Switch.Rest != "",
	}
}

func readerSettings(c *config.Config) caliper.Settings {
	return caliper.Settings{
		Format: c.Caliper.Format, Unit: c.Caliper.Unit, Trigger: c.Caliper.Trigger,
		SevenBits: c.Caliper.DataBits == 7,
	}
}

func caliperPort(c *config.Config) caliper.Port {
	return caliper.Port{
		Port: port.Port{
			Name: c.Caliper.Port, Baud: c.Caliper.Baud, DataBits: c.Caliper.DataBits, Parity: c.Caliper.Parity,
			StopBits: c.Caliper.StopBits, DTR: c.Caliper.DTR, RTS: c.Caliper.RTS,
		},
		Request: c.Caliper.Request,
	}
}

func scannerPort(c *config.Config) port.Port {
	return port.Port{
		Name: c.Scanner.Port, Baud: c.Scanner.Baud, DataBits: c.Scanner.DataBits, Parity: c.Scanner.Parity,
		StopBits: c.Scanner.StopBits,
	}
}

func switchLines(c *config.Config) sensors.Lines {
	return sensors.Lines{Up: c.Switch.Line, Rest: c.Switch.Rest, Retracted: c.Switch.Retracted, ActiveLow: c.Switch.ActiveLow}
}
