package dataset

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"github.com/klauspost/compress/zstd"
)

// Finding is one thing wrong with a book.
type Finding struct {
	Where string // batch 3, soil_tests.parquet
	What  string
}

func (f Finding) String() string { return f.Where + ": " + f.What }

// Verify checks every byte of the book and returns what is wrong, nothing if it
// is sound. The error is for what cannot be looked at, not for damage.
func (b *Book) Verify() ([]Finding, error) {
	var out []Finding
	find := func(where, format string, args ...any) { out = append(out, Finding{where, fmt.Sprintf(format, args...)}) }
	entries, err := os.ReadDir(filepath.Join(b.Dir, "batches"))
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, err
	}
	expect := 1
	var names []string
	for _, e := range entries {
		name := e.Name()
		switch {
		case strings.HasPrefix(name, ".new-"):
			continue // a crash left it; the next import sweeps it
		case !e.IsDir() || !batchName.MatchString(name):
			find("batches/"+name, "not a batch of this book (a copy made by a sync program?): never read as data; move it away")
			continue
		}
		n := numberOf(name)
		for ; expect < n; expect++ {
			find(fmt.Sprintf("batch %d", expect), "missing")
		}
		if n < expect {
			find(fmt.Sprintf("batch %d", n), "there twice: folder %s", name)
		}
		expect = n + 1
		names = append(names, name)
		b.verifyBatch(name, n, find)
	}
	if len(out) == 0 {
		l, err := b.readLog()
		if err != nil {
			return nil, err
		}
		rec, err := b.resolve(l)
		if err != nil {
			return nil, err
		}
		b.verifyRecords(rec, names, find)
	}
	return out, nil
}

// plainReason is the text of an error without its hint and its prefix.
func plainReason(err error) string {
	text, _, _ := strings.Cut(err.Error(), "\nhint:")
	if i := strings.Index(text, ErrDamaged.Error()+": "); i >= 0 {
		text = text[i+len(ErrDamaged.Error())+2:]
	}
	return text
}

func (b *Book) verifyBatch(name string, number int, find func(where, format string, args ...any)) {
	where := fmt.Sprintf("batch %d", number)
	dir := filepath.Join(b.Dir, "batches", name)
	m, err := b.readManifest(name)
	if err != nil {
		find(where, "%s", plainReason(err))
		return
	}
	names := []string{manifestName}
	for _, e := range m.Tables {
		names = append(names, e.Name)
		data, err := b.verifyFile(dir, where, e, find)
		if err != nil {
			continue
		}
		t := tableNamed(e.Table)
		if t == nil {
			find(where, "it holds a table %q that no book has", e.Table)
			continue
		}
		if err := t.decode(data, e.Rows, &Records{}); err != nil {
			find(where+", "+e.Name, "%v", err)
		}
	}
	if len(m.Sources) > 0 {
		z, err := zstd.NewReader(nil, zstd.WithDecoderConcurrency(1), zstd.WithDecoderMaxMemory(1<<30))
		if err != nil {
			find(where, "%v", err)
			return
		}
		defer z.Close()
		for _, s := range m.Sources {
			names = append(names, s.File.Name)
			data, err := b.verifyFile(dir, where, s.File, find)
			if err != nil {
				continue
			}
			if plain, err := z.DecodeAll(data, nil); err != nil || len(plain) != s.Bytes || sha(plain) != s.SHA256 {
				find(where+", "+s.File.Name, "it does not give back %s as imported", s.Original)
			}
		}
	}
	list, err := os.ReadDir(dir)
	if err != nil {
		find(where, "%v", err)
	}
	for _, e := range list {
		if !slices.Contains(names, e.Name()) {
			find(where+", "+e.Name(), "not a file of this batch: never read as data; move it away")
		}
	}
}

// verifyFile checks a file against its entry, both sums.
func (b *Book) verifyFile(dir, where string, e fileEntry, find func(where, format string, args ...any)) ([]byte, error) {
	data, err := readChecked(dir, where, e)
	if err == nil && sha(data) != e.SHA256 {
		err = damaged(where, "%s is not as it was written", e.Name)
	}
	if err != nil {
		find(where, "%s", plainReason(err))
	}
	return data, err
}

// verifyRecords checks that records/ says what the batches say. Out of date or
// missing is no fault: the next command makes it anew.
func (b *Book) verifyRecords(rec *Records, names []string, find func(where, format string, args ...any)) {
	got, err := b.readRecords(names)
	if errors.Is(err, fs.ErrNotExist) {
		return
	}
	if err != nil {
		find(recordsDir, "%s: the batches are sound, and the next command makes it anew", plainReason(err))
		return
	}
	for _, t := range tables() {
		key := t.identity()
		same := t.len(rec) == t.len(got)
		for i := 0; same && i < t.len(rec); i++ {
			same = key(rec, i) == key(got, i) && *t.source(rec, i) == *t.source(got, i)
		}
		if !same {
			find(recordsDir, "table %s is not what the batches say: remove the folder records, it is made anew", t.name())
		}
	}
}
