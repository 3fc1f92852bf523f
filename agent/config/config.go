// Package config is the checked configuration of one press station with the
// crimp specifications that it names.
//
// # Caveats
//
// Load opens no device and no connection, so it may run on any machine. Whether
// the credentials named for the broker and the page exist, and who may read them,
// is looked at, but they are never read: the person who checks the file need not be
// allowed to. A caliper format is only checked for its form; whoever knows the
// formats reports an unknown one through Config.Fault.
package config

import (
	"time"

	"benchtally/agent/crimp"
)

// Config is what one station is told. Load fills every field and checks its
// range; a Config made otherwise is unchecked.
type Config struct {
	File string // as it was given to Load

	Press      Press
	Scale      crimp.Scale // the table [setting]
	Switch     Switch
	Caliper    Caliper
	Measure    Measure
	Correction Correction
	Care       Care
	Store      Store
	MQTT       MQTT
	Sparkplug  Sparkplug
	Page       Page
	Metrics    Metrics
	Order      Order
	Scanner    Scanner
	Specs      []crimp.Spec     // in the order of the files and their rows
	Standards  []crimp.Standard // in their order
	Jobs       []crimp.Job      // the job cards as they were when the configuration was read
	JobFiles   []string         // that they are read from anew, absolute
	JobFaults  Faults           // of those files; while there are any, there is no job card

	at     map[string]position // where each key that the file has is written
	sealed []sealed            // files that the service manager has not handed over
}

// Press names the press. Topic and Name together are 1 to 8 levels of
// [a-z0-9-], at most 128 bytes; Topic may be empty.
type Press struct {
	Name  string // one level
	Topic string // site and area
}

// Switch is the limit switch at the ring and how its contact is read.
type Switch struct {
	Line      string // input line, by the kernel's name
	Rest      string // line of the rest contact of a changeover switch; "" none
	Retracted string // line of a switch that closes when the ring is fully retracted; "" none
	ActiveLow bool   // the line is low while the ring is up

	Settle   time.Duration // a level counts once it has held this long; 1 ms to 1 s
	Shortest time.Duration // a shorter closure is no stroke; from Settle to 10 s
	Cycle    time.Duration // two strokes start at least this far apart; from Shortest to 1 min
	Stuck    time.Duration // a closure longer than this is a fault; from Cycle to 1 h
}

// Caliper is the caliper and the serial port it hangs on.
type Caliper struct {
	Port   string
	Format string     // "auto" or the name of a format; its form alone is checked
	Unit   crimp.Unit // of frames that carry none

	Trigger string // what makes it send: "send" its button, "stream" nothing, "request" being asked
	Request string // bytes that ask for a reading, up to 16 of ASCII; not empty where Trigger is "request"

	Baud     int    // 300 to 921600
	DataBits int    // 7 or 8
	Parity   string // "none", "even", "odd", "mark" or "space"
	StopBits string // "1" or "2"
	DTR, RTS string // "on", "off" or "" for left alone

	Zero  crimp.Length // largest reading with the jaws closed that is still good; 0 to 0.25 mm
	Limit crimp.Length // permissible error of the caliper; 0.001 mm to 1 mm

	CheckEvery time.Duration // from one check against a gauge block or ring to the next, 1 h to 31 days; 0 none is asked for
}

// Measure says how pieces are measured and judged.
type Measure struct {
	Places     int          // readings that make a verdict, 1 to 24
	Every      int          // judge every Nth piece, 1 to 1000
	Dies       int          // marks that the dies leave around a ferrule, 2 to 32, where the spec names none; 0 not told
	Ovality    crimp.Length // limit of largest − smallest, up to 5 mm; 0 none
	U          crimp.Length // standard uncertainty of the mean, up to 1 mm; 0 computed
	Confidence float64      // of a verdict, 0.5 to 0.9999; 0 simple acceptance

	Repeatability    crimp.Length // standard deviation of one reading, from a gauge study, up to 1 mm; 0 not told
	RepeatabilityDof int          // its degrees of freedom, up to 100000; 0 taken as known
	Temperature      float64      // how far from 20 °C the ferrule may be, kelvin, up to 100
}

// Correction is what is known beforehand of the offset between setting and diameter.
type Correction struct {
	PriorSD crimp.Length // of the first offset, up to 10 mm; 0 nothing is known
	NoiseSD crimp.Length // from piece to piece, 0.0001 mm to 1 mm
	DriftSD crimp.Length // per stroke, 0 to 1 mm
	Hold    crimp.Length // no change is advised below this offset, 0 to 1 mm
	Learn   bool         // earlier set-ups of a cage teach about the next one
	Costs   crimp.Costs  // both or none, in any one currency, 0.01 to 1000000
}

// Care says when work on a die cage falls due.
type Care struct {
	Lubricate int // crimps, 1 to 10000
	Teardown  int // crimps, 1 to 100000
	Months    int // 1 to 60
	OilDays   int // from one check of the oil's level to the next, 1 to 3650; 0 not told
}

// Order says what is looked at on orders with a job card.
type Order struct {
	EndPoints      []string // of each end, beside the diameter
	AssemblyPoints []string // of each assembly, beside what its card asks for
	FirstPiece     bool     // the first piece of each set-up is signed off by name
	Lengths        crimp.Scheme
	ScrapReasons   []string // to choose from
}

// Scanner is a scanner of barcodes on a port of its own.
type Scanner struct {
	Port     string // a serial port or an input device; "" none
	Baud     int    // 300 to 921600
	DataBits int    // 7 or 8
	Parity   string // "none", "even", "odd", "mark" or "space"
	StopBits string // "1" or "2"
}

// Store is where the records are kept.
type Store struct {
	Path string        // absolute
	Keep time.Duration // age at which sent records may go, whole days from 1 to 36500; 0 never
}

// MQTT is the broker that the records are sent to.
type MQTT struct {
	Broker        string // tcp://host:port or ssl://host:port, several parted by one blank; "" none
	User          string
	PasswordFile  string  // "", absolute, or one of Sealed
	CA, Cert, Key string  // PEM files, the same
	CRL           string  // PEM or DER, the same
	Window        int     // messages in flight, 1 to 64
	Rate          float64 // messages a second while catching up, up to 10000; 0 no cap
}

// Sparkplug is the press as a Sparkplug 3.0 edge node, with the credentials of
// MQTT.
type Sparkplug struct {
	Group  string // id of the group; "" no such node
	Node   string // id of the edge node; "" the press's name
	Device string // id of the press below it
	Host   string // id of the primary host that is waited for; "" none
	Broker string // as MQTT.Broker; "" the same one
}

// Page is the web page at the press.
type Page struct {
	Listen       string        // address:port; "" no page
	Cert, Key    string        // PEM files, absolute or not handed over as in Sealed; "" no TLS
	Proxy        string        // address of a reverse proxy that ends TLS; "" none
	Hosts        []string      // names under which it answers beside its address
	Operators    string        // file of those who may act, absolute; "" none
	SignIn       bool          // who acts must have signed in
	ViewSignedIn bool          // who looks must have, too
	Idle         time.Duration // after which a session ends when nothing is touched, 1 min to 12 h
	Language     string        // "en", "es" or "de"; each browser may choose another
}

// Metrics are figures for who watches many presses.
type Metrics struct {
	Listen string // address:port; "" none
}

// defaults is the configuration of a file that says nothing.
func defaults(file string) *Config {
	return &Config{
		File:  file,
		Press: Press{Topic: exampleTopic},
		Scale: crimp.Scale{Step: crimp.Thousandth, Lowest: 0, Highest: 999},
		Switch: Switch{
			ActiveLow: true,
			Settle:    20 * time.Millisecond,
			Shortest:  150 * time.Millisecond,
			Cycle:     time.Second,
			Stuck:     2 * time.Minute,
		},
		Caliper: Caliper{
			Format: "auto", Unit: crimp.Inches, Trigger: "send",
			Baud: 9600, DataBits: 8, Parity: "none", StopBits: "1",
			Zero: crimp.Thousandth / 2,
			// DIN 862, digital calipers up to 100 mm; second-hand, not read in the standard.
			Limit: 20 * crimp.Micrometre,
		},
		Measure:    Measure{Places: 3, Every: 1},
		Correction: Correction{NoiseSD: crimp.Thousandth, Learn: true, Costs: crimp.Costs{Shape: crimp.AtLimits}},
		// Lubrication and tear-down are facts of the trade: common practice, no source.
		Care:  Care{Lubricate: 50, Teardown: 1000, Months: 6},
		Store: Store{Path: "benchtally.db"},
		MQTT:  MQTT{Window: 1}, Sparkplug: Sparkplug{Device: "press"},
		Page: Page{Listen: "127.0.0.1:8737", Idle: 30 * time.Minute, Language: "en"},
		// What a shop looks at on a hose end, and why ends are scrap: common practice, no source.
		Order: Order{
			EndPoints:      []string{"square-cut", "insertion-mark", "bore-open"},
			AssemblyPoints: []string{"flushed", "capped"},
			FirstPiece:     true, Lengths: crimp.EN,
			ScrapReasons: []string{"cut not square", "insertion mark hidden", "bore closed", "hose damaged", "leak in proof test"},
		},
		Scanner: Scanner{Baud: 9600, DataBits: 8, Parity: "none", StopBits: "1"},
	}
}

// exampleTopic is the default topic, that of the invented shop in the examples.
const exampleTopic = "riverside/hose-shop"

// Base is the topic under which all topics of the press lie.
func (c *Config) Base() string {
	if c.Press.Topic == "" {
		return c.Press.Name
	}
	return c.Press.Topic + "/" + c.Press.Name
}

// Gauge is what the configuration tells of the measuring; the last digit of the
// readings and the latest check of the zero are not in it.
func (c *Config) Gauge() crimp.Gauge {
	m := c.Measure
	return crimp.Gauge{
		Limit: c.Caliper.Limit, Repeatability: m.Repeatability, RepeatabilityDof: float64(m.RepeatabilityDof),
		Kelvin: m.Temperature, Zero: crimp.Zero{Allowed: c.Caliper.Zero}, Step: c.resolution(),
	}
}

// Spec is the specification with this id.
func (c *Config) Spec(id string) (crimp.Spec, bool) {
	for _, s := range c.Specs {
		if s.ID == id {
			return s, true
		}
	}
	return crimp.Spec{}, false
}

// Places is how many readings a piece of a specification wants.
func (c *Config) Places(s crimp.Spec) int {
	if s.Places > 0 {
		return s.Places
	}
	return c.Measure.Places
}

// resolution is the last digit of a usual digital caliper of the configured unit,
// where no reading tells it (common practice, no source).
func (c *Config) resolution() crimp.Length {
	if c.Caliper.Unit == crimp.Inches {
		return crimp.Thousandth / 2
	}
	return crimp.Millimetre / 100
}

// Fault is a fault at a key that only another part of the program can find,
// such as "caliper.format" with a name that no decoder knows. Text says what
// would be right.
func (c *Config) Fault(key, text string) Fault {
	p := c.at[key]
	return Fault{File: c.File, Line: p.line, Column: p.column, Key: key, Text: text}
}
