package dataset

import (
	"errors"
	"os"

	"golang.org/x/sys/unix"
)

// exchange swaps two folders in one step, or fails with ErrUnsupported.
func exchange(a, b string) error {
	err := unix.Renameat2(unix.AT_FDCWD, a, unix.AT_FDCWD, b, unix.RENAME_EXCHANGE)
	if errors.Is(err, unix.ENOSYS) || errors.Is(err, unix.EINVAL) || errors.Is(err, unix.ENOTSUP) {
		return errors.ErrUnsupported
	}
	return err
}

// rename is atomic; it lasts once syncDir of the parent returns.
func rename(from, to string) error { return os.Rename(from, to) }

// syncDir makes the names in a folder last.
func syncDir(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	defer d.Close()
	return d.Sync()
}

// tryLock takes the lock of an open file, which ends with the process;
// ErrBusy if another holds it.
func tryLock(f *os.File) error {
	err := unix.Flock(int(f.Fd()), unix.LOCK_EX|unix.LOCK_NB)
	if errors.Is(err, unix.EWOULDBLOCK) || errors.Is(err, unix.EINTR) {
		return ErrBusy
	}
	return err
}
