package dataset

import (
	"errors"
	"io/fs"
	"iter"
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

// recordsName is the folder in records/ for a list of batch folders. The list
// alone decides, so one directory listing tells whether records are current.
func recordsName(batches []string) string { return sha([]byte(strings.Join(batches, "\n")))[:16] }

// Records returns the live rows of the book: superseded, withdrawn and undone
// rows gone, every table sorted. They are read from records/ if that is current
// and sound, else resolved from the batches, and records/ is mended if the book
// can be written.
//
// The error wraps ErrDamaged if a batch that is needed is damaged.
func (b *Book) Records() (*Records, error) {
	var last error
	for try := range 4 {
		names, err := b.batchDirs()
		if err != nil {
			return nil, err
		}
		rec, err := b.readRecords(names)
		if err == nil {
			return rec, nil
		}
		if last = err; !errors.Is(err, fs.ErrNotExist) {
			break // damaged: no use in trying again
		}
		// Another program may be swapping the folder this moment.
		time.Sleep(time.Duration(try) * 2 * time.Millisecond)
	}
	_ = last // disposable: whatever ails records/, the batches hold the truth
	l, err := b.readLog()
	if err != nil {
		return nil, err
	}
	rec, err := b.resolve(l)
	if err != nil {
		return nil, err
	}
	if unlock, err := b.lock(0); err == nil {
		if now, err := b.batchDirs(); err == nil && slices.Equal(now, l.names) {
			// A book on a read-only disk is read all the same.
			_ = b.publish(rec, l.names)
		}
		unlock()
	}
	return rec, nil
}

// readRecords reads records/ if it was resolved from exactly these batches.
func (b *Book) readRecords(batches []string) (*Records, error) {
	dir := filepath.Join(b.Dir, recordsDir, recordsName(batches))
	data, err := os.ReadFile(filepath.Join(dir, manifestName))
	if err != nil {
		return nil, err
	}
	m, err := decodeManifest(data)
	if err != nil {
		return nil, damaged(recordsDir, "its manifest cannot be understood: %v", err)
	}
	if m.Format != Format || m.Kind != recordsDir || !slices.Equal(m.Batches, batches) || len(m.Tables) != len(tables()) {
		return nil, damaged(recordsDir, "its manifest is not that of these batches")
	}
	for i, t := range tables() {
		if m.Tables[i].Table != t.name() {
			return nil, damaged(recordsDir, "table %s is not listed", t.name())
		}
	}
	rec := &Records{}
	return rec, readTables(dir, recordsDir, m.Tables, rec)
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
	in := filepath.Join(tmp, recordsName(batches))
	if err := os.MkdirAll(in, 0o755); err != nil {
		return err
	}
	list, err := writeTables(in, rec, true, false)
	if err != nil {
		return err
	}
	m := manifest{Format: Format, Kind: recordsDir, Batches: batches, Tables: list}
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
	err = exchange(tmp, dir)
	if errors.Is(err, errors.ErrUnsupported) {
		// Two steps: for a moment there is none, never two.
		if err = rename(dir, old); err == nil {
			err = rename(tmp, dir)
		}
	}
	if err != nil {
		return err
	}
	// What is left over is swept by the next writer.
	_ = os.RemoveAll(tmp)
	_ = os.RemoveAll(old)
	return nil
}

// sweep removes what a crash left: hidden folders of ours. The caller holds the
// lock.
func (b *Book) sweep() error {
	for _, pattern := range []string{filepath.Join("batches", ".new-*"), recordsNew, recordsOld} {
		found, err := filepath.Glob(filepath.Join(b.Dir, pattern))
		if err != nil {
			return err
		}
		for _, path := range found {
			if err := os.RemoveAll(path); err != nil {
				return err
			}
		}
	}
	return nil
}

// Selection names what to look at; empty lists mean all. Names match without
// regard to case.
type Selection struct {
	Growers []string
	Beds    []string
}

func selects(list []string, name string) bool {
	return len(list) == 0 || slices.ContainsFunc(list, func(s string) bool { return strings.EqualFold(s, name) })
}

// BedHistory is one bed with all that is recorded of it. A bed that was another
// before (Bed.Was) carries that one's rows up to the day it changed; such rows
// keep the name they were recorded under.
type BedHistory struct {
	Grower, Name string
	Descriptions []Bed      // by date
	Tests        []SoilTest // by analyte, then date
	Amendments   []Amendment
	Plantings    []Planting
	Harvests     []Harvest
	Covers       []Cover
	Tillage      []Tillage
	LeafTests    []LeafTest
	Advice       []Advice
	Lists        []Listed
	Forecasts    []Forecast
	Irrigation   []Weather
}

// bedKey is a bed of a grower.
type bedKey struct{ grower, bed string }

// section returns the rows of one bed, which lie together in a sorted table.
func section[T any](rows []T, key func(*T) bedKey, k bedKey) []T {
	order := func(row T, k bedKey) int {
		x := key(&row)
		if c := strings.Compare(x.grower, k.grower); c != 0 {
			return c
		}
		return strings.Compare(x.bed, k.bed)
	}
	from, _ := slices.BinarySearchFunc(rows, k, order)
	to, _ := slices.BinarySearchFunc(rows[from:], bedKey{k.grower, k.bed + "\x00"}, order)
	return rows[from : from+to : from+to]
}

// own gathers the rows recorded under the bed's own name.
func (r *Records) own(k bedKey) BedHistory {
	return BedHistory{
		Grower: k.grower, Name: k.bed,
		Descriptions: section(r.Beds, func(t *Bed) bedKey { return bedKey{t.Grower, t.Bed} }, k),
		Tests:        section(r.SoilTests, func(t *SoilTest) bedKey { return bedKey{t.Grower, t.Bed} }, k),
		Amendments:   section(r.Amendments, func(t *Amendment) bedKey { return bedKey{t.Grower, t.Bed} }, k),
		Plantings:    section(r.Plantings, func(t *Planting) bedKey { return bedKey{t.Grower, t.Bed} }, k),
		Harvests:     section(r.Harvests, func(t *Harvest) bedKey { return bedKey{t.Grower, t.Bed} }, k),
		Covers:       section(r.Covers, func(t *Cover) bedKey { return bedKey{t.Grower, t.Bed} }, k),
		Tillage:      section(r.Tillage, func(t *Tillage) bedKey { return bedKey{t.Grower, t.Bed} }, k),
		LeafTests:    section(r.LeafTests, func(t *LeafTest) bedKey { return bedKey{t.Grower, t.Bed} }, k),
		Advice:       section(r.Advice, func(t *Advice) bedKey { return bedKey{t.Grower, t.Bed} }, k),
		Lists:        section(r.Lists, func(t *Listed) bedKey { return bedKey{t.Grower, t.Bed} }, k),
		Forecasts:    section(r.Forecasts, func(t *Forecast) bedKey { return bedKey{t.Grower, t.Bed} }, k),
		Irrigation:   section(r.Weather, func(t *Weather) bedKey { return bedKey{t.Grower, t.Bed} }, k),
	}
}

// before adds the rows of an earlier bed from before a day.
func (h *BedHistory) before(o BedHistory, day Date) {
	h.Descriptions = prepend(h.Descriptions, o.Descriptions, func(t *Bed) bool { return t.From < day })
	h.Tests = prepend(h.Tests, o.Tests, func(t *SoilTest) bool { return t.Date < day })
	h.Amendments = prepend(h.Amendments, o.Amendments, func(t *Amendment) bool { return t.Date < day })
	h.Plantings = prepend(h.Plantings, o.Plantings, func(t *Planting) bool { return int(t.Season) < day.Year() })
	h.Harvests = prepend(h.Harvests, o.Harvests, func(t *Harvest) bool { return t.Date < day })
	h.Covers = prepend(h.Covers, o.Covers, func(t *Cover) bool { return t.Sown < day })
	h.Tillage = prepend(h.Tillage, o.Tillage, func(t *Tillage) bool { return t.Date < day })
	h.LeafTests = prepend(h.LeafTests, o.LeafTests, func(t *LeafTest) bool { return t.Date < day })
	h.Advice = prepend(h.Advice, o.Advice, func(t *Advice) bool { return t.Date < day })
	h.Lists = prepend(h.Lists, o.Lists, func(t *Listed) bool { return t.ListedOn < day })
	h.Forecasts = prepend(h.Forecasts, o.Forecasts, func(t *Forecast) bool { return t.MadeOn < day })
	h.Irrigation = prepend(h.Irrigation, o.Irrigation, func(t *Weather) bool { return t.Date < day })
}

// prepend copies: own rows are sections of the shared tables.
func prepend[T any](rows, earlier []T, keep func(*T) bool) []T {
	var out []T
	for i := range earlier {
		if keep(&earlier[i]) {
			out = append(out, earlier[i])
		}
	}
	return append(out, rows...)
}

// formerNames splits Bed.Was.
func formerNames(was string) (names []string) {
	for _, n := range strings.Split(was, ";") {
		if n = strings.TrimSpace(n); n != "" {
			names = append(names, n)
		}
	}
	return names
}

// bedKeys lists the beds that have any row, in (grower, bed) order.
func (r *Records) bedKeys() (keys []bedKey) {
	seen := map[bedKey]bool{}
	for _, t := range tables() {
		for i := range t.len(r) {
			if g, b := t.place(r, i); b != "" && !seen[bedKey{g, b}] {
				seen[bedKey{g, b}] = true
				keys = append(keys, bedKey{g, b})
			}
		}
	}
	slices.SortFunc(keys, func(x, y bedKey) int {
		if c := strings.Compare(x.grower, y.grower); c != 0 {
			return c
		}
		return strings.Compare(x.bed, y.bed)
	})
	return keys
}

// lastDay returns the last day on which anything is recorded under the bed's
// own name.
func (h *BedHistory) lastDay() Date {
	last := Date(-1 << 31)
	for i := range h.Tests {
		last = max(last, h.Tests[i].Date)
	}
	for i := range h.Amendments {
		last = max(last, h.Amendments[i].Date)
	}
	for i := range h.Harvests {
		last = max(last, h.Harvests[i].Date)
	}
	for i := range h.Descriptions {
		last = max(last, h.Descriptions[i].From)
	}
	return last
}

// EachBed yields one bed at a time, in (grower, bed) order. rec must be sorted, as
// Book.Records returns it. A bed that became another, and of which nothing is
// recorded since, is told by that other. The histories share the rows of rec.
func (r *Records) EachBed(sel Selection) iter.Seq[*BedHistory] {
	return func(yield func(*BedHistory) bool) {
		became := map[bedKey]Date{}
		for i := range r.Beds {
			for _, was := range formerNames(r.Beds[i].Was) {
				k := bedKey{r.Beds[i].Grower, was}
				if d, ok := became[k]; (!ok || r.Beds[i].From > d) && was != r.Beds[i].Bed {
					became[k] = r.Beds[i].From
				}
			}
		}
		for _, k := range r.bedKeys() {
			if !selects(sel.Growers, k.grower) || !selects(sel.Beds, k.bed) {
				continue
			}
			h := r.own(k)
			if day, ok := became[k]; ok && h.lastDay() < day {
				continue
			}
			r.addFormer(&h, k, map[bedKey]bool{k: true})
			if !yield(&h) {
				return
			}
		}
	}
}

// addFormer adds what the bed was before, and before that; seen ends a circle
// of names.
func (r *Records) addFormer(h *BedHistory, k bedKey, seen map[bedKey]bool) {
	for _, d := range r.own(k).Descriptions {
		for _, was := range formerNames(d.Was) {
			f := bedKey{k.grower, was}
			if seen[f] {
				continue
			}
			seen[f] = true
			o := r.own(f)
			r.addFormer(&o, f, seen)
			h.before(o, d.From)
		}
	}
}

// Beds is EachBed of rec.
func (b *Book) Beds(rec *Records, sel Selection) iter.Seq[*BedHistory] { return rec.EachBed(sel) }

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
