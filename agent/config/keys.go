package config

import (
	"strings"
	"time"

	"benchtally/agent/crimp"
)

// The tables that may stand several times: each names a specs file, a file of job
// cards, or a gauge block or ring.
const (
	specsTable     = "specs"
	jobsTable      = "jobs"
	standardsTable = "standards"
)

// repeats says whether a table may stand several times.
func repeats(table string) bool {
	return table == specsTable || table == jobsTable || table == standardsTable
}

// key is one key that the file may have.
type key struct {
	table, name string
	must        string // what to write when it is missing; "" where there is a default
	set         setter // nil for the keys of tables that may stand several times, which are no fields of their own
}

// keys are all keys, in the order in which the example has them.
var keys = []key{
	{"press", "name", `name = "north-bench"`, text(func(c *Config) *string { return &c.Press.Name }, pressName)},
	{"press", "topic", "", text(func(c *Config) *string { return &c.Press.Topic }, topicLevels)},

	{"setting", "step", "", length(func(c *Config) *crimp.Length { return &c.Scale.Step }, crimp.Micrometre, crimp.Millimetre)},
	{"setting", "larger", "", either(func(c *Config) *bool { return &c.Scale.Smaller }, "smaller", "larger")},
	{"setting", "lowest", "", number(func(c *Config) *int { return &c.Scale.Lowest }, 0, 998)},
	{"setting", "highest", "", number(func(c *Config) *int { return &c.Scale.Highest }, 1, 999)},

	{"switch", "line", `line = "GPIO17" (benchtally ports lists the lines found)`, text(func(c *Config) *string { return &c.Switch.Line }, lineName)},
	{"switch", "active", "", either(func(c *Config) *bool { return &c.Switch.ActiveLow }, "low", "high")},
	{"switch", "settle", "", duration(func(c *Config) *time.Duration { return &c.Switch.Settle }, time.Millisecond, time.Second)},
	{"switch", "shortest", "", duration(func(c *Config) *time.Duration { return &c.Switch.Shortest }, time.Millisecond, 10*time.Second)},
	{"switch", "cycle", "", duration(func(c *Config) *time.Duration { return &c.Switch.Cycle }, time.Millisecond, time.Minute)},
	{"switch", "stuck", "", duration(func(c *Config) *time.Duration { return &c.Switch.Stuck }, time.Second, time.Hour)},
	{"switch", "rest", "", text(func(c *Config) *string { return &c.Switch.Rest }, orBlank(lineName))},
	{"switch", "retracted", "", text(func(c *Config) *string { return &c.Switch.Retracted }, orBlank(lineName))},

	{"caliper", "port", `port = "/dev/serial/by-id/…" (benchtally ports lists the ports found)`, text(func(c *Config) *string { return &c.Caliper.Port }, portName)},
	{"caliper", "format", "", text(func(c *Config) *string { return &c.Caliper.Format }, formatName)},
	{"caliper", "unit", "", choice(func(c *Config) *crimp.Unit { return &c.Caliper.Unit }, crimp.Inches, crimp.Millimetres)},
	{"caliper", "trigger", "", choice(func(c *Config) *string { return &c.Caliper.Trigger }, "send", "stream", onRequest)},
	{"caliper", "request", "", text(func(c *Config) *string { return &c.Caliper.Request }, requestBytes)},
	{"caliper", "baud", "", number(func(c *Config) *int { return &c.Caliper.Baud }, 300, 921600)},
	{"caliper", "data_bits", "", number(func(c *Config) *int { return &c.Caliper.DataBits }, 7, 8)},
	{"caliper", "parity", "", choice(func(c *Config) *string { return &c.Caliper.Parity }, "none", "even", "odd", "mark", "space")},
	{"caliper", "stop_bits", "", stopBits(func(c *Config) *string { return &c.Caliper.StopBits })},
	{"caliper", "dtr", "", controlLine(func(c *Config) *string { return &c.Caliper.DTR })},
	{"caliper", "rts", "", controlLine(func(c *Config) *string { return &c.Caliper.RTS })},
	{"caliper", "zero", "", length(func(c *Config) *crimp.Length { return &c.Caliper.Zero }, 0, crimp.Millimetre/4)},
	{"caliper", "limit", "", length(func(c *Config) *crimp.Length { return &c.Caliper.Limit }, crimp.Micrometre, crimp.Millimetre)},

	{"caliper", "check_every", "", span(func(c *Config) *time.Duration { return &c.Caliper.CheckEvery }, time.Hour, 31*24*time.Hour, "when the shop asks for none")},

	{"measure", "places", "", number(func(c *Config) *int { return &c.Measure.Places }, 1, mostPlaces)},
	{"measure", "every", "", number(func(c *Config) *int { return &c.Measure.Every }, 1, 1000)},
	{"measure", "dies", "", orZero(func(c *Config) *int { return &c.Measure.Dies }, fewestDies, mostDies, "when it is not known")},
	{"measure", "ovality", "", optional(func(c *Config) *crimp.Length { return &c.Measure.Ovality }, crimp.Micrometre, 5*crimp.Millimetre, "no limit")},
	{"measure", "u", "", optional(func(c *Config) *crimp.Length { return &c.Measure.U }, crimp.Micrometre/10, crimp.Millimetre, "one computed from the caliper's data")},
	{"measure", "confidence", "", fraction(func(c *Config) *float64 { return &c.Measure.Confidence }, 0.5, 0.9999, "for simple acceptance")},
	{"measure", "repeatability", "", optional(func(c *Config) *crimp.Length { return &c.Measure.Repeatability }, crimp.Micrometre/10, crimp.Millimetre, "one that is not known")},
	{"measure", "repeatability_dof", "", orZero(func(c *Config) *int { return &c.Measure.RepeatabilityDof }, 1, 100_000, "to take the repeatability as known")},
	{"measure", "temperature", "", fraction(func(c *Config) *float64 { return &c.Measure.Temperature }, 0.1, 100, "to leave it out; it is counted from 20 °C, in kelvin")},

	{"correction", "prior_sd", "", optional(func(c *Config) *crimp.Length { return &c.Correction.PriorSD }, crimp.Micrometre/10, 10*crimp.Millimetre, "nothing known")},
	{"correction", "noise_sd", "", length(func(c *Config) *crimp.Length { return &c.Correction.NoiseSD }, crimp.Micrometre/10, crimp.Millimetre)},
	{"correction", "drift_sd", "", length(func(c *Config) *crimp.Length { return &c.Correction.DriftSD }, 0, crimp.Millimetre)},
	{"correction", "hold", "", length(func(c *Config) *crimp.Length { return &c.Correction.Hold }, 0, crimp.Millimetre)},
	{"correction", "learn", "", either(func(c *Config) *bool { return &c.Correction.Learn }, "on", "off")},
	{"correction", "scrap_cost", "", fraction(func(c *Config) *float64 { return &c.Correction.Costs.Scrap }, 0.01, 1_000_000, "to aim at the target")},
	{"correction", "stroke_cost", "", fraction(func(c *Config) *float64 { return &c.Correction.Costs.Stroke }, 0.01, 1_000_000, "to aim at the target")},
	{"correction", "cost_shape", "", choice(func(c *Config) *crimp.Shape { return &c.Correction.Costs.Shape }, crimp.Shapes()...)},

	{"care", "lubricate", "", number(func(c *Config) *int { return &c.Care.Lubricate }, 1, 10_000)},
	{"care", "teardown", "", number(func(c *Config) *int { return &c.Care.Teardown }, 1, 100_000)},
	{"care", "months", "", number(func(c *Config) *int { return &c.Care.Months }, 1, 60)},

	{"care", "oil_days", "", orZero(func(c *Config) *int { return &c.Care.OilDays }, 1, 3650, "when it is not told")},

	{"order", "end_points", "", list(func(c *Config) *[]string { return &c.Order.EndPoints }, pointName)},
	{"order", "assembly_points", "", list(func(c *Config) *[]string { return &c.Order.AssemblyPoints }, pointName)},
	{"order", "first_piece", "", either(func(c *Config) *bool { return &c.Order.FirstPiece }, "sign", "as any")},
	{"order", "lengths", "", choice(func(c *Config) *crimp.Scheme { return &c.Order.Lengths }, crimp.EN, crimp.SAE)},
	{"order", "scrap_reasons", "", list(func(c *Config) *[]string { return &c.Order.ScrapReasons }, shortText)},

	{"scanner", "port", "", text(func(c *Config) *string { return &c.Scanner.Port }, orBlank(scannerName))},
	{"scanner", "baud", "", number(func(c *Config) *int { return &c.Scanner.Baud }, 300, 921600)},
	{"scanner", "data_bits", "", number(func(c *Config) *int { return &c.Scanner.DataBits }, 7, 8)},
	{"scanner", "parity", "", choice(func(c *Config) *string { return &c.Scanner.Parity }, "none", "even", "odd", "mark", "space")},
	{"scanner", "stop_bits", "", stopBits(func(c *Config) *string { return &c.Scanner.StopBits })},

	{"store", "path", "", text(func(c *Config) *string { return &c.Store.Path }, filePath)},
	{"store", "keep", "", days(func(c *Config) *time.Duration { return &c.Store.Keep }, 36_500)},

	{"mqtt", "broker", "", brokers(func(c *Config) *string { return &c.MQTT.Broker }, "to publish nothing")},
	{"mqtt", "user", "", text(func(c *Config) *string { return &c.MQTT.User }, orBlank(plainText))},
	{"mqtt", "password_file", "", text(func(c *Config) *string { return &c.MQTT.PasswordFile }, orBlank(credentialFile))},
	{"mqtt", "ca", "", text(func(c *Config) *string { return &c.MQTT.CA }, orBlank(credentialFile))},
	{"mqtt", "crl", "", text(func(c *Config) *string { return &c.MQTT.CRL }, orBlank(credentialFile))},
	{"mqtt", "cert", "", text(func(c *Config) *string { return &c.MQTT.Cert }, orBlank(credentialFile))},
	{"mqtt", "key", "", text(func(c *Config) *string { return &c.MQTT.Key }, orBlank(credentialFile))},
	{"mqtt", "window", "", number(func(c *Config) *int { return &c.MQTT.Window }, 1, 64)},
	{"mqtt", "rate", "", fraction(func(c *Config) *float64 { return &c.MQTT.Rate }, 0.1, 10_000, "for no cap")},

	{"sparkplug", "group", "", text(func(c *Config) *string { return &c.Sparkplug.Group }, orBlank(sparkplugID))},
	{"sparkplug", "node", "", text(func(c *Config) *string { return &c.Sparkplug.Node }, orBlank(sparkplugID))},
	{"sparkplug", "device", "", text(func(c *Config) *string { return &c.Sparkplug.Device }, sparkplugID)},
	{"sparkplug", "host", "", text(func(c *Config) *string { return &c.Sparkplug.Host }, orBlank(sparkplugID))},
	{"sparkplug", "broker", "", brokers(func(c *Config) *string { return &c.Sparkplug.Broker }, "for that of [mqtt]")},

	{"page", "listen", "", text(func(c *Config) *string { return &c.Page.Listen }, orBlank(listenAddress))},
	{"page", "cert", "", text(func(c *Config) *string { return &c.Page.Cert }, orBlank(credentialFile))},
	{"page", "key", "", text(func(c *Config) *string { return &c.Page.Key }, orBlank(credentialFile))},
	{"page", "proxy", "", text(func(c *Config) *string { return &c.Page.Proxy }, orBlank(machineAddress))},
	{"page", "hosts", "", list(func(c *Config) *[]string { return &c.Page.Hosts }, hostName)},
	{"page", "operators", "", text(func(c *Config) *string { return &c.Page.Operators }, orBlank(filePath))},
	{"page", "sign_in", "", either(func(c *Config) *bool { return &c.Page.SignIn }, "on", "off")},
	{"page", "view", "", either(func(c *Config) *bool { return &c.Page.ViewSignedIn }, "signed-in", "open")},
	{"page", "idle", "", duration(func(c *Config) *time.Duration { return &c.Page.Idle }, time.Minute, 12*time.Hour)},
	{"page", "language", "", choice(func(c *Config) *string { return &c.Page.Language }, "en", "es", "de")},

	{"metrics", "listen", "", text(func(c *Config) *string { return &c.Metrics.Listen }, orBlank(metricsAddress))},

	{specsTable, "file", `file = "specs.csv"`, nil},
	{jobsTable, "file", "", nil},
	{standardsTable, "name", "", nil},
	{standardsTable, "value", "", nil},
	{standardsTable, "allowed", "", nil},
}

// onRequest is the trigger of a caliper that is asked for each reading.
const onRequest = "request"

// fewestDies and mostDies bound the marks that dies leave around a ferrule.
const fewestDies, mostDies = 2, 32

// mostPlaces is the most readings that one verdict may want.
const mostPlaces = 24

// lookup finds a key; ok is false for one that nobody knows.
func lookup(table, name string) (k key, ok bool) {
	for _, k := range keys {
		if k.table == table && k.name == name {
			return k, true
		}
	}
	return key{}, false
}

// tables are the names of all tables, in order.
func tables() (names []string) {
	for _, k := range keys {
		if len(names) == 0 || names[len(names)-1] != k.table {
			names = append(names, k.table)
		}
	}
	return names
}

// unknown says what to do about a key that nobody knows, in a table that is known.
func unknown(table, name string) string {
	var here, elsewhere []string
	for _, k := range keys {
		switch {
		case k.table == table:
			here = append(here, k.name)
		case k.name == strings.ToLower(name):
			elsewhere = append(elsewhere, keyText(k.table+"."+k.name))
		}
	}
	if elsewhere != nil {
		return "unknown key here, it belongs under " + strings.Join(elsewhere, " or ")
	}
	return "unknown key, " + suggest(name, here)
}
