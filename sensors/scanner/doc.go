// Package scanner turns a scanner of barcodes on a serial port, or one that types
// like a keyboard, into codes: texts, of which it does not know what they say.
//
// Reader is the pure stage: bytes and times in, events out. Run owns a port and
// feeds a Reader; it finds the port again after the cable was out.
//
// # Caveats
//
// A code whose end was lost may look like a shorter one ("PIECE A-1001/12" cut to
// "PIECE A-1001/1"). Three rules keep such a code out: the first one after the port
// was opened is refused unless silence or a line end came first; a scanner that has
// ended its codes with CR or LF is held to that, and the rest of a code that broke off
// is refused like its beginning; whatever was half received when the cable came out is
// thrown away.
//
// The package reads only: nothing is ever written to the scanner.
package scanner
