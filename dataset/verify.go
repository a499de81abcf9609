package dataset

import (
	"cmp"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
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
	find := func(where, format string, args ...any) {
		out = append(out, Finding{where, fmt.Sprintf(format, args...)})
	}
	entries, err := os.ReadDir(filepath.Join(b.Dir, "batches"))
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, err
	}
	slices.SortStableFunc(entries, func(x, y os.DirEntry) int { return cmp.Compare(numberOf(x.Name()), numberOf(y.Name())) })
	expect := 1
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
		b.verifyBatch(name, n, find)
	}
	if err := b.complete(); err != nil && len(out) == 0 {
		find(recordsDir, "%s", plainReason(err))
	}
	if err := b.verifyTop(find); err != nil {
		return nil, err
	}
	if len(out) > 0 {
		return out, nil // records can only be judged by sound batches
	}
	l, err := b.readLog()
	if err != nil {
		find("batches", "%s", plainReason(err))
		return out, nil
	}
	rec, loose, err := b.resolve(l)
	if err != nil {
		find("batches", "%s", plainReason(err))
		return out, nil
	}
	for _, c := range loose {
		find(fmt.Sprintf("batch %d", c.Batch), "%v corrects line %d of batch %d, which is not there", c.Source, c.OfLine, c.OfBatch)
	}
	b.verifyRecords(rec, l.names, find)
	return out, nil
}

// verifyTop names what a sync program may have put beside the book's own files.
func (b *Book) verifyTop(find func(where, format string, args ...any)) error {
	entries, err := os.ReadDir(b.Dir)
	if err != nil {
		return err
	}
	for _, e := range entries {
		for _, own := range []string{"book.toml", "targets.toml", "batches", recordsDir} {
			stem := strings.TrimSuffix(own, ".toml")
			if name := e.Name(); name != own && strings.HasPrefix(name, stem) && (own != stem || e.IsDir()) && (own == stem || strings.HasSuffix(name, ".toml")) {
				find(name, "looks like a copy of %s made by a sync program: never read; compare it and move it away", own)
			}
		}
	}
	inside, err := os.ReadDir(filepath.Join(b.Dir, recordsDir))
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	for _, e := range inside {
		if len(inside) > 1 {
			find(recordsDir+"/"+e.Name(), "one of %d in a folder that holds one: other programs may read rows twice; remove the folder records, it is made anew", len(inside))
		}
	}
	return nil
}

// plainReason is the text of an error without its hint and its prefix.
func plainReason(err error) string {
	text, _, _ := strings.Cut(err.Error(), "\nhint:")
	for _, kind := range []error{ErrDamaged, ErrFormat} {
		if _, reason, ok := strings.Cut(text, kind.Error()+": "); ok {
			return reason
		}
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
		if err := t.decode(data, e.Rows, m.Format, &Records{}); err != nil {
			find(where+", "+e.Name, "%v", err)
		}
	}
	for _, src := range m.Sources {
		names = append(names, src.File.Name)
		packed, err := b.verifyFile(dir, where, src.File, find)
		if err != nil {
			continue
		}
		if _, err := src.unpack(packed); err != nil {
			find(where, "%v", err)
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
