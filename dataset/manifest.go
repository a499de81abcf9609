package dataset

import (
	"bytes"
	"cmp"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"hash/crc32"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/klauspost/compress/zstd"
)

// Kinds of batch.
const (
	kindImport = "import"
	kindUndo   = "undo"
)

// manifest is manifest.json of a batch, or of a folder of records.
type manifest struct {
	Format  int            `json:"format"`
	Kind    string         `json:"kind"`
	Number  int            `json:"number,omitempty"`
	Undoes  int            `json:"undoes,omitempty"`
	Program string         `json:"program,omitempty"`
	Time    *time.Time     `json:"time,omitempty"`
	Batches []string       `json:"batches,omitempty"` // records: the folders they were resolved from
	Grower  string         `json:"grower,omitempty"`  // records: whose the rows are that name no grower
	Tables  []fileEntry    `json:"tables"`
	Sources []sourceEntry  `json:"sources,omitempty"`
	Map     *mapEntry      `json:"map,omitempty"`
	Skipped map[string]int `json:"skipped,omitempty"`
}

type fileEntry struct {
	Name   string `json:"name"`
	Table  string `json:"table,omitempty"`
	Rows   int    `json:"rows,omitempty"`
	Bytes  int    `json:"bytes"`
	SHA256 string `json:"sha256"`
	CRC32C string `json:"crc32c"`
}

// sourceEntry is one imported file as it came; the zstd file holds its bytes.
type sourceEntry struct {
	Original string    `json:"original"` // as the grower named it
	Bytes    int       `json:"bytes"`
	SHA256   string    `json:"sha256"`
	File     fileEntry `json:"file"`
}

type mapEntry struct {
	Name string `json:"name"`
	Text string `json:"text"`
}

const manifestName = "manifest.json"

func castagnoli(data []byte) string {
	return fmt.Sprintf("%08x", crc32.Checksum(data, crc32.MakeTable(crc32.Castagnoli)))
}

func sha(data []byte) string {
	sum := sha256.Sum256(data)
	return hex.EncodeToString(sum[:])
}

func entryOf(name, table string, rows int, data []byte) fileEntry {
	return fileEntry{name, table, rows, len(data), sha(data), castagnoli(data)}
}

func (m *manifest) encode() ([]byte, error) {
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetIndent("", " ")
	e.SetEscapeHTML(false)
	err := e.Encode(m)
	return b.Bytes(), err
}

// decodeManifest reads a manifest. The error wraps ErrFormat if a newer program
// wrote it, whatever else this program cannot make of it, else ErrDamaged.
func decodeManifest(where string, data []byte) (*manifest, error) {
	m := &manifest{}
	d := json.NewDecoder(bytes.NewReader(data))
	d.DisallowUnknownFields()
	err := d.Decode(m)
	if err != nil {
		var only struct {
			Format int `json:"format"`
		}
		if json.Unmarshal(data, &only) == nil {
			m.Format = only.Format
		}
	}
	switch {
	case m.Format > Format:
		return nil, hint(fmt.Errorf("%s: %w: it has format %d, this program reads up to %d", where, ErrFormat, m.Format, Format), "use a newer carryover")
	case err != nil:
		return nil, damaged(where, "its manifest cannot be understood: %v", err)
	}
	return m, nil
}

// damaged names what is wrong and what to do.
func damaged(where, format string, args ...any) error {
	return hint(fmt.Errorf("%s: %w: %s", where, ErrDamaged, fmt.Sprintf(format, args...)),
		"carryover verify lists all damage; bring back what it names from a backup")
}

var batchName = regexp.MustCompile(`^(\d{6,})-([0-9a-f]{12})$`)

// batchDirs lists the batch folders of the book by number. Two folders of one
// number, or a number left out, is damage.
func (b *Book) batchDirs() (names []string, err error) {
	entries, err := os.ReadDir(filepath.Join(b.Dir, "batches"))
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	for _, e := range entries {
		if e.IsDir() && batchName.MatchString(e.Name()) {
			names = append(names, e.Name())
		}
	}
	slices.SortStableFunc(names, func(a, b string) int { return cmp.Compare(numberOf(a), numberOf(b)) })
	for i, name := range names {
		switch n := numberOf(name); {
		case n > i+1:
			return nil, damaged("batches", "batch %d is missing", i+1)
		case n < i+1:
			return nil, damaged("batches", "two folders say they are batch %d", n)
		}
	}
	return names, nil
}

// numberOf returns the batch number in a folder's name, 0 if it is none of ours.
func numberOf(name string) int {
	m := batchName.FindStringSubmatch(name)
	if m == nil {
		return 0
	}
	n, err := strconv.Atoi(m[1])
	if err != nil {
		return 0
	}
	return n
}

// readManifest reads a batch's manifest, whose hash is in the folder's name.
func (b *Book) readManifest(name string) (*manifest, error) {
	where := fmt.Sprintf("batch %d", numberOf(name))
	data, err := os.ReadFile(filepath.Join(b.Dir, "batches", name, manifestName))
	if err != nil {
		return nil, damaged(where, "its manifest cannot be read: %v", errors.Unwrap(err))
	}
	if sha(data)[:12] != batchName.FindStringSubmatch(name)[2] {
		return nil, damaged(where, "its manifest is not the one its folder was named for")
	}
	m, err := decodeManifest(where, data)
	if err != nil {
		return nil, err
	}
	if m.Number != numberOf(name) {
		return nil, damaged(where, "its manifest says batch %d", m.Number)
	}
	return m, nil
}

// readChecked reads a file and refuses it unless length and CRC-32C are those
// of its entry; no decoder sees a byte before.
func readChecked(dir, where string, e fileEntry) ([]byte, error) {
	if e.Name != filepath.Base(e.Name) || e.Name == "" {
		return nil, damaged(where, "its manifest names a file %q", e.Name)
	}
	data, err := os.ReadFile(filepath.Join(dir, e.Name))
	if err != nil {
		if errors.Is(err, fs.ErrNotExist) {
			return nil, fmt.Errorf("%w (%w)", damaged(where, "%s is missing", e.Name), fs.ErrNotExist)
		}
		return nil, err
	}
	if len(data) != e.Bytes || castagnoli(data) != e.CRC32C {
		return nil, damaged(where, "%s is not as it was written", e.Name)
	}
	return data, nil
}

// readTables appends the tables of a checked folder, written in the given
// format, to rec.
func readTables(dir, where string, format int, list []fileEntry, rec *Records) error {
	for _, e := range list {
		t := tableNamed(e.Table)
		if t == nil {
			return damaged(where, "it holds a table %q that no book has", e.Table)
		}
		data, err := readChecked(dir, where, e)
		if err != nil {
			return err
		}
		if e.Rows < 0 || e.Rows > len(data)*1024 {
			return damaged(where, "%s cannot hold %d rows", e.Name, e.Rows)
		}
		if err := t.decode(data, e.Rows, format, rec); err != nil {
			return damaged(where, "%s: %v", e.Name, err)
		}
	}
	return nil
}

// writeTables encodes tables into a folder; all: also those without rows.
func writeTables(dir string, rec *Records, all, sync bool) (list []fileEntry, err error) {
	for _, t := range tables() {
		n := t.len(rec)
		if n == 0 && !all {
			continue
		}
		var buf bytes.Buffer
		if err := t.encode(&buf, rec, groupRows); err != nil {
			return nil, fmt.Errorf("table %s: %w", t.name(), err)
		}
		name := t.name() + ".parquet"
		if err := writeIn(dir, name, buf.Bytes(), sync); err != nil {
			return nil, err
		}
		list = append(list, entryOf(name, t.name(), n, buf.Bytes()))
	}
	return list, nil
}

// writeIn writes a file of a folder that nobody sees yet.
func writeIn(dir, name string, data []byte, sync bool) (err error) {
	f, err := os.OpenFile(filepath.Join(dir, name), os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if err != nil {
		return err
	}
	defer func() {
		if e := f.Close(); err == nil {
			err = e
		}
	}()
	if _, err = f.Write(data); err == nil && sync {
		err = f.Sync()
	}
	return err
}

// batchLog is the batches of a book in order, and which of them count.
type batchLog struct {
	names     []string
	manifests []*manifest
	dead      []bool // undone, or an undo that is itself undone
}

// readLog reads every manifest of the book.
func (b *Book) readLog() (*batchLog, error) {
	names, err := b.batchDirs()
	if err != nil {
		return nil, err
	}
	l := &batchLog{names: names}
	for _, name := range names {
		m, err := b.readManifest(name)
		if err != nil {
			return nil, err
		}
		l.manifests = append(l.manifests, m)
	}
	return l, l.judge()
}

// judge works out which batches count: a later undo decides over an earlier.
func (l *batchLog) judge() error {
	l.dead = make([]bool, len(l.manifests))
	for i := len(l.manifests) - 1; i >= 0; i-- {
		m := l.manifests[i]
		if m.Kind != kindUndo || l.dead[i] {
			continue
		}
		if m.Undoes < 1 || m.Undoes > i {
			return damaged(fmt.Sprintf("batch %d", i+1), "it undoes batch %d", m.Undoes)
		}
		l.dead[m.Undoes-1] = true
	}
	return nil
}

// resolve reads the live batches and applies their corrections, each to what
// stood before its batch. Rows come sorted and with their grower; loose are
// corrections that found no row.
func (b *Book) resolve(l *batchLog) (rec *Records, loose []Correction, err error) {
	rec = &Records{}
	for i, m := range l.manifests {
		if l.dead[i] || m.Kind != kindImport {
			continue
		}
		one := &Records{}
		if err := readTables(filepath.Join(b.Dir, "batches", l.names[i]), fmt.Sprintf("batch %d", i+1), m.Format, m.Tables, one); err != nil {
			return nil, nil, err
		}
		for n, removed := range takeOut(rec, one.Corrections) {
			if removed == 0 {
				loose = append(loose, one.Corrections[n])
			}
		}
		for _, t := range tables() {
			t.add(rec, one)
		}
	}
	rec.nameGrower(b.Config.Grower)
	rec.Sort()
	return rec, loose, nil
}

// names says whether the correction means rows of a file, by its full name or,
// unless a file has that for its full name, by its last.
func (c *Correction) names(file string, exact bool) bool {
	return c.OfFile == "" || c.OfFile == file || !exact && c.OfFile == file[strings.LastIndexAny(file, `/\`)+1:]
}

// correcting returns what tells which of the corrections name row i of table t
// in rec.
func correcting(t table, list []Correction, rec *Records) func(i int) []int {
	type place struct{ batch, line int32 }
	at := map[place][]int{}
	for n := range list {
		if c := &list[n]; c.Table == t.name() {
			at[place{c.OfBatch, c.OfLine}] = append(at[place{c.OfBatch, c.OfLine}], n)
		}
	}
	if len(at) == 0 {
		return func(int) []int { return nil }
	}
	exact := make([]bool, len(list))
	for i := range t.len(rec) {
		s := t.source(rec, i)
		for _, n := range at[place{s.Batch, s.Line}] {
			exact[n] = exact[n] || list[n].OfFile == s.File
		}
	}
	return func(i int) (hits []int) {
		s := t.source(rec, i)
		for _, n := range at[place{s.Batch, s.Line}] {
			a, ok := t.analyte(rec, i)
			if c := &list[n]; c.names(s.File, exact[n]) && (c.Analyte == "" || ok && a == c.Analyte) && (c.OfRow == "" || c.OfRow == t.named(rec, i)) {
				hits = append(hits, n)
			}
		}
		return hits
	}
}

// takeOut removes the rows that corrections name, and returns for each
// correction how many it removed.
func takeOut(rec *Records, list []Correction) (removed []int) {
	removed = make([]int, len(list))
	for _, t := range tables() {
		if !slices.ContainsFunc(list, func(c Correction) bool { return c.Table == t.name() }) {
			continue
		}
		hit := correcting(t, list, rec)
		t.keep(rec, func(i int) bool {
			hits := hit(i)
			for _, n := range hits {
				removed[n]++
			}
			return len(hits) == 0
		})
	}
	return removed
}

// Source returns the bytes of a source file of a batch, as they were imported.
//
// The error wraps ErrNoBatch if there is no such batch or file in it, and
// ErrDamaged.
func (b *Book) Source(batch int, name string) ([]byte, error) {
	names, err := b.batchDirs()
	if err != nil {
		return nil, err
	}
	if batch < 1 || batch > len(names) {
		return nil, fmt.Errorf("%w: %d: the book has %d", ErrNoBatch, batch, len(names))
	}
	m, err := b.readManifest(names[batch-1])
	if err != nil {
		return nil, err
	}
	where := fmt.Sprintf("batch %d", batch)
	for _, s := range m.Sources {
		if s.Original != name {
			continue
		}
		packed, err := readChecked(filepath.Join(b.Dir, "batches", names[batch-1]), where, s.File)
		if err != nil {
			return nil, err
		}
		data, err := s.unpack(packed)
		if err != nil {
			return nil, damaged(where, "%v", err)
		}
		return data, nil
	}
	return nil, fmt.Errorf("%w with a file %q: batch %d has none", ErrNoBatch, name, batch)
}

// unpack returns the source file's bytes if they are those imported.
func (s sourceEntry) unpack(packed []byte) ([]byte, error) {
	z, err := zstd.NewReader(nil, zstd.WithDecoderConcurrency(1), zstd.WithDecoderMaxMemory(uint64(max(s.Bytes, 0))+1<<20))
	if err != nil {
		return nil, err
	}
	defer z.Close()
	data, err := z.DecodeAll(packed, nil)
	if err != nil || len(data) != s.Bytes || sha(data) != s.SHA256 {
		return nil, fmt.Errorf("%s does not give back %s as imported", s.File.Name, s.Original)
	}
	return data, nil
}
