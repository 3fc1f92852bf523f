// Package report makes what leaves the bench: pictures of what was judged, and
// the papers and tables of an order.
//
// Pictures are SVG that stands alone in a file and takes its colours from the
// page that it stands in. Papers are PDF, in black on white, with their type in
// them. The same data make the same bytes: times are those of the records and
// never the clock's.
//
// No paper says that an assembly may be pressurised. They say what was measured
// and whether it lay within limits.
package report
