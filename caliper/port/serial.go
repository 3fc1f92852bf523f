package port

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"time"

	"go.bug.st/serial"
	"golang.org/x/sys/unix"
)

// Device is an open port. One goroutine reads, writes and closes it.
type Device interface {
	// Read waits for bytes; (0, nil) means that the timeout passed.
	Read(b []byte) (int, error)
	SetReadTimeout(d time.Duration) error
	// Ask throws away what has arrived and sends a request.
	Ask(request string) error
	Close() error
}

// serialPort adapts the serial library, the only place that knows it.
type serialPort struct {
	serial.Port
	claim *os.File // keeps others off
}

// openSerial opens the device exclusively, unless another program has it open.
// Errors that have a remedy are fs.ErrNotExist, fs.ErrPermission and unix.EBUSY.
func (m machine) openSerial(path string, p Port) (Device, error) {
	claim, err := m.claim(path)
	if err != nil {
		return nil, err
	}
	port, err := openLine(path, p)
	if err != nil {
		return nil, errors.Join(err, claim.Close())
	}
	return serialPort{port, claim}, nil
}

// openLine opens the device with the line's settings.
func openLine(path string, p Port) (serial.Port, error) {
	mode := &serial.Mode{BaudRate: p.Baud, DataBits: p.DataBits}
	switch p.Parity {
	case "even":
		mode.Parity = serial.EvenParity
	case "odd":
		mode.Parity = serial.OddParity
	case "mark":
		mode.Parity = serial.MarkParity
	case "space":
		mode.Parity = serial.SpaceParity
	default:
		mode.Parity = serial.NoParity
	}
	if p.StopBits == "2" {
		mode.StopBits = serial.TwoStopBits
	}
	// Only when asked for: a line without modem control refuses it.
	if p.DTR != "" || p.RTS != "" {
		mode.InitialStatusBits = &serial.ModemOutputBits{DTR: p.DTR != "off", RTS: p.RTS != "off"}
	}
	port, err := serial.Open(path, mode)
	if err == nil {
		return port, nil
	}
	var pe *serial.PortError
	if errors.As(err, &pe) { // the library's error does not unwrap
		switch pe.Code() {
		case serial.PortBusy:
			err = unix.EBUSY
		case serial.PermissionDenied:
			err = fs.ErrPermission
		case serial.PortNotFound:
			err = fs.ErrNotExist
		case serial.InvalidSerialPort, serial.InvalidSpeed, serial.InvalidDataBits, serial.InvalidParity,
			serial.InvalidStopBits, serial.InvalidTimeoutValue, serial.ErrorEnumeratingPorts,
			serial.PortClosed, serial.FunctionNotImplemented:
		}
	}
	return nil, err
}

func (s serialPort) Ask(request string) error {
	if err := s.ResetInputBuffer(); err != nil {
		return fmt.Errorf("empty the input: %w", err)
	}
	if _, err := s.Write([]byte(request)); err != nil {
		return fmt.Errorf("send the request: %w", err)
	}
	return nil
}

func (s serialPort) Close() error { return errors.Join(s.Port.Close(), s.claim.Close()) }
