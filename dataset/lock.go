package dataset

import (
	"errors"
	"os"
	"path/filepath"
	"time"
)

// lockWait is how long an import waits for another that is still writing;
// most take milliseconds.
const lockWait = 10 * time.Second

// lock takes the book for writing, waiting up to wait, and returns what gives
// it back. The lock lies with the open file, not with the file's existence:
// it ends with its process, however that ends.
func (b *Book) lock(wait time.Duration) (unlock func(), err error) {
	f, err := os.OpenFile(filepath.Join(b.Dir, ".lock"), os.O_RDWR|os.O_CREATE, 0o600)
	if err != nil {
		return nil, err
	}
	for end := time.Now().Add(wait); ; time.Sleep(5 * time.Millisecond) {
		err = tryLock(f)
		if err == nil {
			return func() { f.Close() }, nil // closing releases the lock
		}
		if !errors.Is(err, ErrBusy) || time.Now().After(end) {
			break
		}
	}
	f.Close()
	if errors.Is(err, ErrBusy) {
		return nil, hint(ErrBusy, "wait until it is done, then import again")
	}
	return nil, err
}
