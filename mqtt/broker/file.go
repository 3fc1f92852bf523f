package broker

import (
	"errors"
	"fmt"
	"io"
	"os"
)

// maxFile bounds certificates, keys and passwords, so that a wrong path costs
// no memory; MQTT 3.1.1, section 3.1.3.5, allows passwords of 65,535 bytes.
const maxFile = 1 << 20

// readFile reads a small file. A secret one must not be readable by everybody.
func readFile(path string, secret bool) ([]byte, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close() //nolint:errcheck // nothing was written
	info, err := f.Stat()
	if err != nil {
		return nil, err
	}
	if secret && info.Mode().Perm()&0o007 != 0 {
		return nil, fmt.Errorf("%s can be read by everybody on this machine: run chmod o-rwx on it", path)
	}
	b, err := io.ReadAll(io.LimitReader(f, maxFile+1))
	if err == nil && len(b) > maxFile {
		err = errors.New("larger than 1 MiB")
	}
	if err != nil {
		return nil, fmt.Errorf("read %s: %w", path, err)
	}
	return b, nil
}
