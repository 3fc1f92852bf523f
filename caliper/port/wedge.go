package port

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"os"
	"syscall"
	"time"
	"unsafe"

	"golang.org/x/sys/unix"
)

// A keyboard wedge is a device that types what it sends like a keyboard. Keys
// stand for the characters of the US layout.

// eventSize is that of the kernel's struct input_event: two words of time, then
// type, code and value. 24 bytes with 64-bit words, 16 with 32-bit ones.
const eventSize = int(unsafe.Sizeof(syscall.Timeval{})) + 8

// From linux/input-event-codes.h.
const (
	evSyn      = 0
	evKey      = 1
	synDropped = 3
	keyShiftL  = 42
	keyShiftR  = 54
	keyEnter   = 28
)

// eviocgrab is EVIOCGRAB of linux/input.h, _IOW('E', 0x90, int): without it the
// digits would also land in a console.
const eviocgrab = 0x40044590

// Lost stands for keys that have no character or were lost. Nothing that is sent
// has it, so what it stands in is to be refused.
const Lost = 0x1A

// wedge turns key events into characters.
type wedge struct {
	file    *os.File
	timeout time.Duration
	shift   bool
	part    []byte // of an event
	buf     [64 * 24]byte
}

// openWedge opens an input device for itself alone.
func openWedge(path string, grab func(*os.File) error) (Device, error) {
	f, err := os.OpenFile(path, os.O_RDONLY|unix.O_NONBLOCK, 0)
	if err != nil {
		return nil, err
	}
	if err := grab(f); err != nil {
		return nil, errors.Join(fmt.Errorf("take the keys for the agent alone: %w", err), f.Close())
	}
	return &wedge{file: f}, nil
}

// grabKeys keeps the keys from every other program.
func grabKeys(f *os.File) error {
	raw, err := f.SyscallConn()
	if err != nil {
		return err
	}
	var grabErr error
	err = raw.Control(func(fd uintptr) { grabErr = unix.IoctlSetInt(int(fd), eviocgrab, 1) })
	return errors.Join(err, grabErr)
}

func (w *wedge) SetReadTimeout(d time.Duration) error {
	w.timeout = d
	return nil
}

// Ask is refused: a keyboard cannot be asked.
func (w *wedge) Ask(string) error {
	return errors.New("a device that types like a keyboard cannot be asked: set its trigger to \"send\"")
}

func (w *wedge) Close() error { return w.file.Close() }

// Read waits for keys. b must hold at least one character per event of buf.
func (w *wedge) Read(b []byte) (int, error) {
	if err := w.file.SetReadDeadline(time.Now().Add(w.timeout)); err != nil {
		return 0, err
	}
	n, err := w.file.Read(w.buf[:min(len(w.buf), len(b)*eventSize)])
	switch {
	case errors.Is(err, os.ErrDeadlineExceeded):
		return 0, nil
	case err != nil:
		return 0, err
	case n == 0:
		return 0, io.ErrUnexpectedEOF
	}
	return w.decode(b, w.buf[:n]), nil
}

// decode turns bytes of events into characters. It keeps the part of an event
// that is not whole yet.
func (w *wedge) decode(b, events []byte) int {
	n := 0
	w.part = append(w.part, events...)
	for len(w.part) >= eventSize && n < len(b) {
		e := w.part[eventSize-8 : eventSize]
		kind, code := binary.NativeEndian.Uint16(e), binary.NativeEndian.Uint16(e[2:])
		value := int32(binary.NativeEndian.Uint32(e[4:]))
		w.part = w.part[eventSize:]
		if c, ok := w.key(kind, code, value); ok {
			b[n] = c
			n++
		}
	}
	w.part = append([]byte(nil), w.part...)
	return n
}

// key is the character of an event: of a key going down, not of its release or
// repetition.
func (w *wedge) key(kind, code uint16, value int32) (byte, bool) {
	switch {
	case kind == evSyn && code == synDropped:
		w.shift = false
		return Lost, true
	case kind != evKey:
		return 0, false
	case code == keyShiftL || code == keyShiftR:
		w.shift = value != 0
		return 0, false
	case value != 1:
		return 0, false
	case isModifier(code):
		return 0, false
	case int(code) >= len(keys) || keys[code][0] == 0:
		return Lost, true
	case w.shift:
		return keys[code][1], true
	default:
		return keys[code][0], true
	}
}

// isModifier tells the keys that type nothing: Ctrl, Alt, the locks.
func isModifier(code uint16) bool {
	switch code {
	case 29, 97, 56, 100, 125, 126, 58, 69, 70:
		return true
	default:
		return false
	}
}

// keys are the characters of the keys, alone and with shift (codes of
// linux/input-event-codes.h, US layout). Enter and Tab end what is typed.
var keys = func() (k [128][2]byte) {
	row := func(first int, plain, shifted string) {
		for i := range plain {
			k[first+i] = [2]byte{plain[i], shifted[i]}
		}
	}
	row(2, "1234567890-=", "!@#$%^&*()_+")
	row(16, "qwertyuiop[]", "QWERTYUIOP{}")
	row(30, "asdfghjkl;'`", "ASDFGHJKL:\"~")
	row(43, "\\zxcvbnm,./", "|ZXCVBNM<>?")
	row(71, "789-456+1230.", "789-456+1230.") // number block
	row(57, " ", " ")
	row(121, ",", ",") // comma of the number block
	row(15, "\r", "\r")
	row(keyEnter, "\r", "\r")
	row(96, "\r", "\r")
	return k
}()
