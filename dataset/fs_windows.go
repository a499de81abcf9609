package dataset

import (
	"errors"
	"os"
	"time"

	"golang.org/x/sys/windows"
)

// exchange: Windows has no swap of two folders.
func exchange(a, b string) error { return errors.ErrUnsupported }

// rename writes through to the disk. A virus scanner or indexer may hold a new
// file for a moment, so a refusal is tried again for about a second.
func rename(from, to string) error {
	src, err := windows.UTF16PtrFromString(from)
	if err != nil {
		return err
	}
	dst, err := windows.UTF16PtrFromString(to)
	if err != nil {
		return err
	}
	for wait := 5 * time.Millisecond; ; wait *= 2 {
		err = windows.MoveFileEx(src, dst, windows.MOVEFILE_REPLACE_EXISTING|windows.MOVEFILE_WRITE_THROUGH)
		held := errors.Is(err, windows.ERROR_ACCESS_DENIED) || errors.Is(err, windows.ERROR_SHARING_VIOLATION)
		if !held || wait > 500*time.Millisecond {
			break
		}
		time.Sleep(wait)
	}
	if err != nil {
		return &os.LinkError{Op: "rename", Old: from, New: to, Err: err}
	}
	return nil
}

// syncDir: rename above writes through, and Windows offers no more.
func syncDir(dir string) error { return nil }

// tryLock takes the lock of an open file, which ends with the process;
// ErrBusy if another holds it.
func tryLock(f *os.File) error {
	err := windows.LockFileEx(windows.Handle(f.Fd()), windows.LOCKFILE_EXCLUSIVE_LOCK|windows.LOCKFILE_FAIL_IMMEDIATELY,
		0, 1, 0, new(windows.Overlapped))
	if errors.Is(err, windows.ERROR_LOCK_VIOLATION) || errors.Is(err, windows.ERROR_IO_PENDING) {
		return ErrBusy
	}
	return err
}
