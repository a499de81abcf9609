//go:build !linux && !darwin && !windows

package dataset

import (
	"errors"
	"fmt"
	"os"
)

func exchange(a, b string) error { return errors.ErrUnsupported }

func rename(from, to string) error { return os.Rename(from, to) }

func syncDir(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	defer d.Close()
	return d.Sync()
}

// tryLock refuses: without a lock that ends with its process a book is only
// read here.
func tryLock(f *os.File) error {
	return fmt.Errorf("writing to a book needs a file lock: %w on this system", errors.ErrUnsupported)
}
