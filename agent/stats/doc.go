// Package stats is the statistics of measured series: control charts and how
// often they alarm, capability, gauge studies, trends and the risks of a wrong
// verdict. It is arithmetic on numbers that are handed in: no clock, no input or
// output, nothing of the press.
//
// Numbers carry no unit. What goes in millimetres comes out in millimetres.
// Whatever cannot be computed, because there are too few values, because they
// are all the same or because one of them is no number, is an error and never a
// number.
//
// Sources stand beside each formula. "e-Handbook" is the NIST/SEMATECH
// e-Handbook of Statistical Methods, with its section.
package stats
