// Package sparkplug speaks Sparkplug 3.0 as an edge node does: its topics and
// its payloads, protobuf messages of package org.eclipse.tahu.protobuf, whose
// field numbers are those of chapter 6 of the specification.
//
// # Caveats
//
// Only six data types are written, those that every decoder we tried reads the
// same: Int32, Int64, Double, Boolean, String and DateTime. Aliases, templates,
// data sets, arrays and metadata are never written; where they arrive they are
// passed over.
package sparkplug
