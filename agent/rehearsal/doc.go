// Package rehearsal is a hose shop that does not exist: a press, a caliper, a
// broker and a technician at work with them, for showing and trying the agent
// without hardware.
//
// What it makes goes the same way as the real thing: contacts that bounce are
// sampled, frames come through a real pseudo-terminal, events go to a real
// broker. The [Shift] decides the same each time; when it does so is left to
// the machine it runs on.
//
// # Caveats
//
// The shop, its orders, its hoses and its fittings are invented. Its sizes and
// tolerances are no specification: never crimp to them.
//
// The [Press] is read late on a busy machine, and at sixty times real time a
// hundredth of a second is more than half a second in the shop. Its readers
// therefore go through its course without leaving anything out, and must take
// their times from [Press.Now].
package rehearsal
