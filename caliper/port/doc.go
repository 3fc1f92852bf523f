// Package port keeps the port of a device open that sends by itself: a serial
// line, or an input device for one that types like a keyboard. It finds the device
// again after its cable was out, also under another name.
//
// The package knows nothing of what is sent. Its users read bytes, and are told
// when the port goes away and when it is back.
package port
