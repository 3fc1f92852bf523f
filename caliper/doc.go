// Package caliper turns a digital caliper on a serial port, or one that types
// like a keyboard, into readings.
//
// Reader is the pure stage: bytes and times in, events out. It never looks at a
// clock, so a tape gives the same events as the caliper did. Run owns a port and
// feeds a Reader; it finds the port again after the cable was out.
//
// # Caveats
//
// A frame whose end was lost may look like a shorter, valid number ("25.40" cut
// to "25.4"). Three rules keep such a number out: the first frame after the port
// was opened is dropped unless silence or a line end came first; a caliper that
// has ended its frames with CR or LF is held to that; whatever was half received
// when the cable came out is thrown away.
//
// The package reads only. The one thing that is ever written to a port is the
// request that the configuration names for a caliper that must be asked.
package caliper
