package people

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"syscall"
)

// mostFile is the size beyond which a file is not what it is taken for; it is
// some 5,000 people.
const mostFile = 1 << 20

// Read reads an operators file whole. The error is of type Faults.
func Read(path string) (Roll, error) {
	roll, _, err := read(path)
	if err != nil {
		return nil, err
	}
	return roll, nil
}

// read also returns what the system says of the file that was read.
func read(path string) (Roll, fs.FileInfo, error) {
	whole := func(format string, args ...any) (Roll, fs.FileInfo, error) {
		return nil, nil, Faults{{File: path, Text: fmt.Sprintf(format, args...)}}
	}
	// A pipe in its place would hold the reader up for ever.
	f, err := os.OpenFile(path, os.O_RDONLY|syscall.O_NONBLOCK, 0)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return whole("there is no such file: \"benchtally operator add\" makes it")
	case errors.Is(err, fs.ErrPermission):
		return whole("belongs to another user, who alone may read it: run this as that user, such as with sudo -u benchtally")
	case err != nil:
		return whole("cannot be opened: %v", cause(err))
	}
	defer f.Close() //nolint:errcheck // only read from
	info, err := f.Stat()
	switch {
	case err != nil:
		return whole("cannot be read: %v", cause(err))
	case !info.Mode().IsRegular():
		return whole("want a file, this is a folder, a device or a pipe")
	case info.Mode().Perm()&0o077 != 0:
		return whole("others than its owner may open it, mode %#o: chmod 600 %s, and set PINs that were seen anew", info.Mode().Perm(), path)
	}
	data, err := io.ReadAll(io.LimitReader(f, mostFile+1))
	switch {
	case err != nil:
		return whole("cannot be read: %v", cause(err))
	case len(data) > mostFile:
		return whole("larger than %d MiB: want one line for each operator", mostFile>>20)
	}
	roll, err := Parse(path, data)
	return roll, info, err
}

// Change reads an operators file, lets change have it and writes it anew, whole
// or not at all; one that is not there is made. One changer waits for another, so
// nobody's line is lost. A file with faults is left as it is; its error is of
// type Faults. What root writes belongs to the file's or the folder's owner.
func Change(path string, change func(*Roll) error) error {
	if real, err := filepath.EvalSymlinks(path); err == nil {
		path = real // the link stays one
	}
	folder, err := os.Open(filepath.Dir(path))
	if err != nil {
		return fmt.Errorf("the folder of the operators file: %w", err)
	}
	defer folder.Close() //nolint:errcheck // only held for its lock
	if err := syscall.Flock(int(folder.Fd()), syscall.LOCK_EX); err != nil {
		return fmt.Errorf("lock %s: %w", folder.Name(), err)
	}
	owner, err := os.Lstat(path)
	var roll Roll
	switch {
	case errors.Is(err, fs.ErrNotExist):
		owner, err = folder.Stat()
	case err == nil:
		roll, err = Read(path)
	}
	if err != nil {
		return err
	}
	if err := change(&roll); err != nil {
		return err
	}
	if err := replace(path, roll.CSV(), owner); err != nil {
		if errors.Is(err, fs.ErrPermission) {
			return fmt.Errorf("write %s: not allowed to this user: run this as the agent's user, such as with sudo -u benchtally", path)
		}
		return fmt.Errorf("write %s: %w", path, cause(err))
	}
	return folder.Sync()
}

// replace puts a file for its owner alone in the place of another.
func replace(path string, data []byte, owner fs.FileInfo) error {
	file, err := os.CreateTemp(filepath.Dir(path), ".operators-") // mode 0600
	if err != nil {
		return err
	}
	defer func() { _ = os.Remove(file.Name()) }() // gone already when all went well
	if stat, ok := owner.Sys().(*syscall.Stat_t); ok && os.Geteuid() == 0 {
		err = file.Chown(int(stat.Uid), int(stat.Gid))
	}
	_, errWrite := file.Write(data)
	if err = errors.Join(err, errWrite, file.Sync(), file.Close()); err != nil {
		return err
	}
	return os.Rename(file.Name(), path)
}

// cause is the system's own reason, without the path that is named anyway.
func cause(err error) error {
	var pe *fs.PathError
	if errors.As(err, &pe) {
		return pe.Err
	}
	return err
}
