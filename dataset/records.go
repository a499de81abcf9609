package dataset

import (
	"cmp"
	"errors"
	"fmt"
	"io/fs"
	"iter"
	"maps"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"carryover/dataset/unit"
)

// Names beside records/ while it is being replaced.
const (
	recordsDir = "records"
	recordsNew = ".records-new"
	recordsOld = ".records-old"
)

// recordsName is the folder in records/ for a list of batch folders and the
// grower that book.toml names. They alone decide, so one directory listing
// tells whether records are current.
func recordsName(batches []string, grower string) string {
	return sha([]byte(strings.Join(append(slices.Clip(batches), grower), "\n")))[:16]
}

// Records returns the live rows of the book: superseded, withdrawn and undone
// rows gone, every table sorted. They are read from records/ if that is current
// and sound, else resolved from the batches, and records/ is mended if the book
// can be written.
//
// The error wraps ErrDamaged if a batch that is needed is damaged.
func (b *Book) Records() (*Records, error) {
	for try := 0; ; try++ {
		names, err := b.batchDirs()
		if err != nil {
			return nil, err
		}
		if rec, err := b.readRecords(names); err == nil {
			return rec, nil
		}
		unlock, err := b.lock(0)
		if errors.Is(err, ErrBusy) && try < 20 { // an import is about to exchange the folder
			time.Sleep(2 * time.Millisecond)
			continue
		}
		if err != nil { // a book that cannot be written is read all the same
			rec, _, err := b.rebuild()
			return rec, err
		}
		defer unlock()
		rec, names, current, err := b.live()
		if err == nil && !current {
			_ = b.publish(rec, names) // disposable
		}
		return rec, err
	}
}

// live returns the live rows and the batch folders they come from; current:
// records/ gave them.
func (b *Book) live() (rec *Records, names []string, current bool, err error) {
	if names, err = b.batchDirs(); err != nil {
		return nil, nil, false, err
	}
	if rec, err = b.readRecords(names); err == nil {
		return rec, names, true, nil
	}
	rec, names, err = b.rebuild()
	return rec, names, false, err
}

// rebuild resolves the live rows from the batches: whatever ails records/,
// they hold the truth.
func (b *Book) rebuild() (rec *Records, names []string, err error) {
	if err := b.complete(); err != nil {
		return nil, nil, err
	}
	l, err := b.readLog()
	if err != nil {
		return nil, nil, err
	}
	if rec, _, err = b.resolve(l); err != nil {
		return nil, nil, err
	}
	return rec, l.names, nil
}

// readRecords reads records/ if it was resolved from exactly these batches.
func (b *Book) readRecords(batches []string) (*Records, error) {
	dir := filepath.Join(b.Dir, recordsDir, recordsName(batches, b.Config.Grower))
	data, err := os.ReadFile(filepath.Join(dir, manifestName))
	if err != nil {
		return nil, err
	}
	m, err := decodeManifest(recordsDir, data)
	if err != nil {
		return nil, err
	}
	if m.Format < 1 || m.Kind != recordsDir || !slices.Equal(m.Batches, batches) || m.Grower != b.Config.Grower || len(m.Tables) != len(tables()) {
		return nil, damaged(recordsDir, "its manifest is not that of these batches")
	}
	for i, t := range tables() {
		if m.Tables[i].Table != t.name() {
			return nil, damaged(recordsDir, "table %s is not listed", t.name())
		}
	}
	rec := &Records{}
	return rec, readTables(dir, recordsDir, m.Format, m.Tables, rec)
}

// publish puts records/ in place of the one before. The caller holds the lock;
// rec is sorted. Nothing is synced: what a power cut tears is found by its
// checksum and made anew.
func (b *Book) publish(rec *Records, batches []string) error {
	tmp, dir, old := filepath.Join(b.Dir, recordsNew), filepath.Join(b.Dir, recordsDir), filepath.Join(b.Dir, recordsOld)
	for _, left := range []string{tmp, old} {
		if err := os.RemoveAll(left); err != nil {
			return err
		}
	}
	in := filepath.Join(tmp, recordsName(batches, b.Config.Grower))
	if err := os.MkdirAll(in, 0o755); err != nil {
		return err
	}
	list, err := writeTables(in, rec, true, false)
	if err != nil {
		return err
	}
	m := manifest{Format: Format, Kind: recordsDir, Batches: batches, Grower: b.Config.Grower, Tables: list}
	data, err := m.encode()
	if err != nil {
		return err
	}
	if err := writeIn(in, manifestName, data, false); err != nil {
		return err
	}
	if _, err := os.Stat(dir); errors.Is(err, fs.ErrNotExist) {
		return rename(tmp, dir)
	}
	if exchange(tmp, dir) != nil {
		// Two steps: for a moment there is none, never two.
		if err := rename(dir, old); err != nil {
			return err
		}
		if err := rename(tmp, dir); err != nil {
			return err
		}
	}
	// What is left over is swept by the next writer.
	_ = os.RemoveAll(tmp)
	_ = os.RemoveAll(old)
	return nil
}

// sweep removes the hidden files and folders that a crash left. The caller
// holds the lock.
func (b *Book) sweep() error {
	for dir, prefixes := range map[string][]string{
		b.Dir:                           {recordsNew, recordsOld, ".book.toml-", ".targets.toml-"},
		filepath.Join(b.Dir, "batches"): {".new-"},
	} {
		entries, err := os.ReadDir(dir)
		if err != nil && !errors.Is(err, fs.ErrNotExist) {
			return err
		}
		for _, e := range entries {
			if !slices.ContainsFunc(prefixes, func(p string) bool { return strings.HasPrefix(e.Name(), p) }) {
				continue
			}
			if err := os.RemoveAll(filepath.Join(dir, e.Name())); err != nil {
				return err
			}
		}
	}
	return nil
}

// complete refuses a book that has lost its last batches: records/ still names
// the folders it was resolved from. It reads that list before the folders, so
// that a batch which comes meanwhile is no loss.
func (b *Book) complete() error {
	dir := filepath.Join(b.Dir, recordsDir)
	entries, err := os.ReadDir(dir)
	if err != nil {
		return nil // no records, no witness
	}
	var lists [][]string
	for _, e := range entries {
		data, err := os.ReadFile(filepath.Join(dir, e.Name(), manifestName))
		if err != nil {
			continue
		}
		if m, err := decodeManifest(recordsDir, data); err == nil && e.Name() == recordsName(m.Batches, m.Grower) {
			lists = append(lists, m.Batches)
		}
	}
	names, err := b.batchDirs()
	if err != nil {
		return err
	}
	for _, list := range lists {
		for _, name := range list {
			if !slices.Contains(names, name) {
				return hint(fmt.Errorf("batches/%s: %w: the folder was part of the book and is gone", name, ErrDamaged),
					"bring it back from a backup, or let the sync finish; if it is gone for good, remove the folder records")
			}
		}
	}
	return nil
}

// Selection names what to look at; empty lists mean all. Names match without
// regard to case; a former name selects the bed that has its history now.
type Selection struct {
	Growers []string
	Beds    []string
}

func selects(list []string, names ...string) bool {
	return len(list) == 0 || slices.ContainsFunc(list, func(s string) bool {
		return slices.ContainsFunc(names, func(n string) bool { return strings.EqualFold(s, n) })
	})
}

// BedHistory is one bed with all that is recorded of it, each table by date. A
// bed that was another before (Bed.Was) carries that one's rows from before the
// day it changed; such rows keep the name they were recorded under. The slices
// may be parts of the Records: read, do not write.
type BedHistory struct {
	Grower, Name string
	Descriptions []Bed
	Tests        []SoilTest
	Amendments   []Amendment
	Plantings    []Planting
	Harvests     []Harvest
	Covers       []Cover
	Tillage      []Tillage
	LeafTests    []LeafTest
	Advice       []Advice
	Lists        []Listed
	Forecasts    []Forecast
	Irrigation   []Weather // of this bed; weather by site stays in Records
}

// bedKey is a bed of a grower.
type bedKey struct{ grower, bed string }

func (k bedKey) compare(o bedKey) int {
	return cmp.Or(strings.Compare(k.grower, o.grower), strings.Compare(k.bed, o.bed))
}

// bedRow is a row of a table keyed by bed; at says of which bed and day.
type bedRow[T any] interface {
	*T
	at() (bedKey, Date)
}

func (t *Bed) at() (bedKey, Date)       { return bedKey{t.Grower, t.Bed}, t.From }
func (t *SoilTest) at() (bedKey, Date)  { return bedKey{t.Grower, t.Bed}, t.Date }
func (t *Amendment) at() (bedKey, Date) { return bedKey{t.Grower, t.Bed}, t.Date }
func (t *Harvest) at() (bedKey, Date)   { return bedKey{t.Grower, t.Bed}, t.Date }
func (t *Cover) at() (bedKey, Date)     { return bedKey{t.Grower, t.Bed}, t.Sown }
func (t *Tillage) at() (bedKey, Date)   { return bedKey{t.Grower, t.Bed}, t.Date }
func (t *LeafTest) at() (bedKey, Date)  { return bedKey{t.Grower, t.Bed}, t.Date }
func (t *Advice) at() (bedKey, Date)    { return bedKey{t.Grower, t.Bed}, t.Date }
func (t *Listed) at() (bedKey, Date)    { return bedKey{t.Grower, t.Bed}, t.ListedOn }
func (t *Forecast) at() (bedKey, Date)  { return bedKey{t.Grower, t.Bed}, t.MadeOn }
func (t *Weather) at() (bedKey, Date)   { return bedKey{t.Grower, t.Bed}, t.Date }

// at of a planting without a set-out day is the middle of its harvest year.
func (t *Planting) at() (bedKey, Date) {
	if t.SetOut != nil {
		return bedKey{t.Grower, t.Bed}, *t.SetOut
	}
	return bedKey{t.Grower, t.Bed}, DateOf(int(t.Season), time.July, 1)
}

// part is a bed's name and the day on which it stops to count.
type part struct {
	bedKey
	until Date
}

const forever = Date(math.MaxInt32)

// gather returns the rows of the parts by date: a piece of rows itself where
// that is in order, else a copy.
func gather[T any, P bedRow[T]](rows []T, parts []part) []T {
	byDay := func(a, b T) int {
		_, x := P(&a).at()
		_, y := P(&b).at()
		return cmp.Compare(x, y)
	}
	var all []T
	for i, p := range parts {
		from, _ := slices.BinarySearchFunc(rows, p.bedKey, func(t T, k bedKey) int {
			at, _ := P(&t).at()
			return at.compare(k)
		})
		to := from
		for to < len(rows) {
			if k, _ := P(&rows[to]).at(); k != p.bedKey {
				break
			}
			to++
		}
		piece := rows[from:to:to]
		if i == 0 && len(parts) == 1 && slices.IsSortedFunc(piece, byDay) {
			return piece
		}
		for j := range piece {
			if _, day := P(&piece[j]).at(); day < p.until {
				all = append(all, piece[j])
			}
		}
	}
	slices.SortStableFunc(all, byDay)
	return all
}

func (r *Records) history(k bedKey, parts []part) *BedHistory {
	return &BedHistory{Grower: k.grower, Name: k.bed,
		Descriptions: gather(r.Beds, parts), Tests: gather(r.SoilTests, parts), Amendments: gather(r.Amendments, parts),
		Plantings: gather(r.Plantings, parts), Harvests: gather(r.Harvests, parts), Covers: gather(r.Covers, parts),
		Tillage: gather(r.Tillage, parts), LeafTests: gather(r.LeafTests, parts), Advice: gather(r.Advice, parts),
		Lists: gather(r.Lists, parts), Forecasts: gather(r.Forecasts, parts), Irrigation: gather(r.Weather, parts)}
}

// last returns the last day of anything in the history.
func (h *BedHistory) last() Date {
	return max(lastDay(h.Descriptions), lastDay(h.Tests), lastDay(h.Amendments), lastDay(h.Plantings), lastDay(h.Harvests),
		lastDay(h.Covers), lastDay(h.Tillage), lastDay(h.LeafTests), lastDay(h.Advice), lastDay(h.Lists), lastDay(h.Forecasts), lastDay(h.Irrigation))
}

func lastDay[T any, P bedRow[T]](rows []T) Date {
	if len(rows) == 0 {
		return -forever
	}
	_, day := P(&rows[len(rows)-1]).at()
	return day
}

// parts lists the names a bed goes back to, its own first. A former name counts
// up to the day of the change, once, by whatever way it is reached.
func (r *Records) parts(k bedKey) []part {
	until := map[string]Date{k.bed: forever}
	var follow func(name string, limit Date)
	follow = func(name string, limit Date) {
		for _, d := range gather(r.Beds, []part{{bedKey{k.grower, name}, forever}}) {
			if d.From >= limit {
				continue // told of another bed
			}
			for _, was := range d.Former() {
				if day, ok := until[was]; !ok || day < d.From {
					until[was] = d.From
					follow(was, d.From)
				}
			}
		}
	}
	follow(k.bed, forever)
	parts := []part{{k, forever}}
	for _, name := range slices.Sorted(maps.Keys(until)) {
		if name != k.bed {
			parts = append(parts, part{bedKey{k.grower, name}, until[name]})
		}
	}
	return parts
}

// Former lists the names in Bed.Was: what the bed was before, from its date on.
func (d *Bed) Former() (names []string) {
	for _, n := range strings.Split(d.Was, ";") {
		if n = strings.TrimSpace(n); n != "" {
			names = append(names, n)
		}
	}
	return names
}

// BedNames lists the names of the beds that are described, former names too;
// never nil.
func (r *Records) BedNames() []string {
	names := []string{}
	for k := range bedNames(r) {
		names = append(names, k.bed)
	}
	slices.Sort(names)
	return slices.Compact(names)
}

// nameGrower names the grower of the rows whose sheet named none.
func (r *Records) nameGrower(grower string) {
	if grower == "" {
		return
	}
	for _, t := range tables() {
		t.nameGrower(r, grower)
	}
}

// bedKeys lists the beds that have any row, in (grower, bed) order.
func (r *Records) bedKeys() []bedKey {
	seen := map[bedKey]bool{}
	for _, t := range tables() {
		for i := range t.len(r) {
			if g, b := t.place(r, i); b != "" {
				seen[bedKey{g, b}] = true
			}
		}
	}
	return slices.SortedFunc(maps.Keys(seen), bedKey.compare)
}

// Beds is rec.Histories(sel).
func (b *Book) Beds(rec *Records, sel Selection) iter.Seq[*BedHistory] { return rec.Histories(sel) }

// Histories yields one bed at a time, in (grower, bed) order. The records must
// be sorted, as Book.Records returns them. A bed that became another, and of
// which nothing is recorded since, is told by that other.
func (r *Records) Histories(sel Selection) iter.Seq[*BedHistory] {
	return func(yield func(*BedHistory) bool) {
		became := map[bedKey]Date{}
		for i := range r.Beds {
			d := &r.Beds[i]
			for _, was := range d.Former() {
				k := bedKey{d.Grower, was}
				if day, ok := became[k]; was != d.Bed && (!ok || day < d.From) {
					became[k] = d.From
				}
			}
		}
		for _, k := range r.bedKeys() {
			parts := r.parts(k)
			names := make([]string, len(parts))
			for i, p := range parts {
				names[i] = p.bed
			}
			if !selects(sel.Growers, k.grower) || !selects(sel.Beds, names...) {
				continue
			}
			if day, ok := became[k]; ok && r.history(k, parts[:1]).last() < day {
				continue
			}
			if !yield(r.history(k, parts)) {
				return
			}
		}
	}
}

// KnownBed returns nil if the records name the bed (without regard to case), or
// an error that wraps ErrUnknownBed and suggests names.
func KnownBed(rec *Records, name string) error {
	var names []string
	for _, k := range rec.bedKeys() {
		if strings.EqualFold(k.bed, name) {
			return nil
		}
		names = append(names, k.bed)
	}
	return unknownBed(name, names)
}

func unknownBed(name string, names []string) error {
	text := "the book has " + listed(names)
	if near := unit.Near(name, names); len(near) > 0 {
		text = "did you mean " + quoted(near) + "?"
	}
	return &lookupError{name, text}
}

// lookupError says that a bed asked for is not in the book.
type lookupError struct{ name, hint string }

func (e *lookupError) Error() string { return "no bed " + quoted([]string{e.name}) + ": " + e.hint }
func (e *lookupError) Unwrap() error { return ErrUnknownBed }

// listed prints the first names of a list.
func listed(names []string) string {
	const most = 8
	if len(names) == 0 {
		return "no bed yet"
	}
	s := strings.Join(names[:min(most, len(names))], ", ")
	if len(names) > most {
		s += " ..."
	}
	return s
}
