package dataset

import (
	"errors"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"github.com/klauspost/compress/zstd"

	"carryover/dataset/unit"
)

// SourceFile is a file as the grower gave it.
type SourceFile struct {
	Name string
	Data []byte
}

// Batch is one import on its way in. Source.File and Source.Line of its rows
// are filled; Source.Batch is set by Commit, in the book only.
type Batch struct {
	Records *Records
	Sources []SourceFile
	Map     []byte // the sheet map, TOML; nil: none
	MapName string
	Program string // and its version
	Now     time.Time
}

// Result is what a commit did.
type Result struct {
	Number  int
	Dir     string         // in batches/
	Rows    map[string]int // written, by table
	Skipped map[string]int // in the book already, by table
	Warning string         // what went wrong after the batch stood; empty: nothing
}

// Commit adds a batch to the book: all of it or nothing. Rows that the book
// holds already (alike in all columns but the source) are left out and
// counted; of amendments, harvests, covers, tillage and lists, where two equal
// rows can be two events, as many are added as the batch has beyond the book.
// A row that was corrected or withdrawn since counts as one the book holds. A
// row whose sheet names no grower is kept so, and is compared as one of the
// grower in book.toml.
//
// The error wraps ErrNothingNew, ErrRow (a value or a correction that cannot
// be kept), ErrConflict (*ConflictError: also a line that was changed in place
// in a sheet imported before), ErrUnknownBed (*UnknownBedError), ErrBusy,
// ErrFormat or ErrDamaged.
func (b *Book) Commit(batch Batch) (Result, error) {
	unlock, err := b.lock(lockWait)
	if err != nil {
		return Result{}, err
	}
	defer unlock()
	if err := b.sweep(); err != nil {
		return Result{}, err
	}
	names, err := b.batchDirs()
	if err != nil {
		return Result{}, err
	}
	live, _, err := b.live()
	if err != nil {
		return Result{}, err
	}
	in, named, skipped, err := b.admit(names, live, batch.Records)
	if err != nil {
		return Result{}, err
	}
	now := batch.Now.UTC().Truncate(time.Second)
	m := &manifest{Format: Format, Kind: kindImport, Number: len(names) + 1, Program: batch.Program, Time: &now, Skipped: skipped}
	if batch.Map != nil {
		m.Map = &mapEntry{batch.MapName, string(batch.Map)}
	}
	res := Result{Number: m.Number, Rows: map[string]int{}, Skipped: skipped}
	for _, t := range tables() {
		for i := range t.len(in) {
			t.source(in, i).Batch = int32(m.Number)
			t.source(named, i).Batch = int32(m.Number)
		}
		if n := t.len(in); n > 0 {
			res.Rows[t.name()] = n
		}
	}
	in.Sort()
	if res.Dir, err = b.write(m, in, batch.Sources); err != nil {
		return Result{}, err
	}
	// The batch stands. What fails from here the next reader makes good.
	takeOut(live, named.Corrections)
	for _, t := range tables() {
		t.add(live, named)
	}
	live.Sort()
	res.Warning = b.republish(live, append(names, res.Dir))
	return res, nil
}

// republish is publish for a batch that stands: a failure is a warning.
func (b *Book) republish(rec *Records, batches []string) (warning string) {
	if err := b.publish(rec, batches); err != nil {
		return fmt.Sprintf("records/ could not be replaced: other programs that read it see the old rows until the next command (%v)", err)
	}
	return ""
}

// write makes the folder of a batch under a hidden name and shows it by one
// rename. The caller holds the lock.
func (b *Book) write(m *manifest, in *Records, sources []SourceFile) (name string, err error) {
	batches := filepath.Join(b.Dir, "batches")
	if err := os.MkdirAll(batches, 0o755); err != nil {
		return "", err
	}
	tmp, err := os.MkdirTemp(batches, ".new-")
	if err != nil {
		return "", err
	}
	defer func() {
		if err != nil && name == "" {
			err = errors.Join(fmt.Errorf("nothing was imported: %w", err), os.RemoveAll(tmp))
		}
	}()
	if m.Tables, err = writeTables(tmp, in, false, true); err != nil {
		return "", err
	}
	z, err := zstd.NewWriter(nil, zstd.WithEncoderConcurrency(1))
	if err != nil {
		return "", err
	}
	defer z.Close()
	for i, s := range sources {
		packed := z.EncodeAll(s.Data, nil)
		file := fmt.Sprintf("source-%02d.zst", i+1)
		if err := writeIn(tmp, file, packed, true); err != nil {
			return "", err
		}
		m.Sources = append(m.Sources, sourceEntry{s.Name, len(s.Data), sha(s.Data), entryOf(file, "", 0, packed)})
	}
	text, err := m.encode()
	if err != nil {
		return "", err
	}
	if err := writeIn(tmp, manifestName, text, true); err != nil {
		return "", err
	}
	if err := os.Chmod(tmp, 0o755); err != nil {
		return "", err
	}
	if err := syncDir(tmp); err != nil {
		return "", err
	}
	final := fmt.Sprintf("%06d-%s", m.Number, sha(text)[:12])
	if err := rename(tmp, filepath.Join(batches, final)); err != nil {
		return "", err
	}
	if sync := syncDir(batches); sync != nil {
		return final, fmt.Errorf("batch %d stands, but the disk does not confirm it: %w", m.Number, sync)
	}
	return final, nil
}

// line is a place in the sources of a batch.
type line struct {
	table, file string
	line        int32
}

// admit returns the rows of in that are new to the book, as their sheets have
// them and with their grower named, or why they cannot be taken. live is what
// the book holds.
func (b *Book) admit(names []string, live, in *Records) (own, fresh *Records, skipped map[string]int, err error) {
	refuse := func(err error) (*Records, *Records, map[string]int, error) { return nil, nil, nil, err }
	own, fresh = &Records{}, &Records{}
	if in != nil {
		for _, t := range tables() { // copies: the caller's rows stay as they are
			t.add(own, in)
			t.add(fresh, in)
		}
		fresh.nameGrower(b.Config.Grower)
	}
	total := fresh.Total()
	if total == 0 {
		return refuse(fmt.Errorf("%w: the sheets hold no rows", ErrNothingNew))
	}
	for _, t := range tables() {
		check := t.check()
		for i := range t.len(fresh) {
			t.source(own, i).Batch, t.source(fresh, i).Batch = 0, 0
			if err := check(fresh, i); err != nil {
				return refuse(err)
			}
		}
	}
	sheet := *fresh // all rows of the sheets: what is left out of fresh stays here
	skipped = map[string]int{}
	corrections := tableNamed("corrections")
	n := corrections.len(fresh)
	dropKnown(corrections, own, fresh, live, &Records{}, func(int) bool { return false })
	if k := n - corrections.len(fresh); k > 0 {
		skipped["corrections"] = k
	}
	if err := checkCorrections(fresh, live); err != nil {
		return refuse(err)
	}
	gone, err := b.superseded(names, live)
	if err != nil {
		return refuse(err)
	}
	rest := live
	replacing := map[line]bool{}
	if len(fresh.Corrections) > 0 {
		rest = &Records{}
		for _, t := range tables() {
			t.add(rest, live)
		}
		addCorrected(gone, rest, fresh.Corrections)
		takeOut(rest, fresh.Corrections)
		for _, c := range fresh.Corrections {
			replacing[line{c.Table, c.File, c.Line}] = true
		}
	}
	goneAgain := 0
	var conflicts ConflictError
	for _, t := range tables() {
		if t.name() == "corrections" {
			continue
		}
		n := t.len(fresh)
		goneAgain += dropKnown(t, own, fresh, rest, gone, func(i int) bool {
			s := t.source(fresh, i)
			return replacing[line{t.name(), s.File, s.Line}]
		})
		if k := n - t.len(fresh); k > 0 {
			skipped[t.name()] = k
		}
		findConflicts(t, &sheet, fresh, rest, &conflicts)
	}
	if fresh.Total() == 0 {
		err := fmt.Errorf("%w: all %d %s are in the book already", ErrNothingNew, total, plural(total, "row", "rows"))
		if total == 1 {
			err = fmt.Errorf("%w: the row is in the book already", ErrNothingNew)
		}
		if goneAgain > 0 {
			err = hint(fmt.Errorf("%w, %d of them corrected or withdrawn since", err, goneAgain),
				"carryover undo with the number of the correcting batch brings them back")
		}
		return refuse(err)
	}
	if conflicts.Total > 0 {
		return refuse(&conflicts)
	}
	known := bedNames(rest, fresh)
	unknown := &UnknownBedError{}
	findUnknownBeds(fresh, known, unknown)
	if slices.ContainsFunc(fresh.Corrections, func(c Correction) bool { return c.Table == "beds" }) {
		findUnknownBeds(rest, known, unknown) // a bed's only description may have gone
	}
	if unknown.Total > 0 {
		return refuse(unknown)
	}
	if len(skipped) == 0 {
		skipped = nil
	}
	return own, fresh, skipped, nil
}

// dropKnown leaves the rows of fresh, and those beside them of own, that
// neither live nor gone holds, and returns how many were found in gone only. A
// replacing row is not compared with gone: it may well set an earlier value
// right again.
func dropKnown(t table, own, fresh, live, gone *Records, replacing func(i int) bool) (goneAgain int) {
	if t.len(fresh) == 0 {
		return 0
	}
	key := t.identity()
	have, had := map[rowKey]int{}, map[rowKey]int{}
	for i := range t.len(live) {
		have[key(live, i)]++
	}
	for i := range t.len(gone) {
		had[key(gone, i)]++
	}
	keep := make([]bool, t.len(fresh))
	for i := range keep {
		k := key(fresh, i)
		switch {
		case have[k] > 0:
			if t.isEvents() {
				have[k]--
			}
		case had[k] > 0 && !replacing(i):
			goneAgain++
			if t.isEvents() {
				had[k]--
			}
		default:
			keep[i] = true
			if !t.isEvents() {
				have[k]++
			}
		}
	}
	for _, rec := range []*Records{own, fresh} {
		t.keep(rec, func(i int) bool { return keep[i] })
	}
	return goneAgain
}

// findConflicts looks for two rows of one subject in fresh and rest, and for
// rows of fresh that took the place of a row of rest in their sheet.
func findConflicts(t table, sheet, fresh, rest *Records, e *ConflictError) {
	if t.len(fresh) == 0 {
		return
	}
	type at struct {
		rec *Records
		i   int
	}
	add := func(i int, other at, edited bool) {
		if e.Total++; len(e.Conflicts) < maxListed {
			e.Conflicts = append(e.Conflicts, Conflict{t.name(), t.say(fresh, i), *t.source(fresh, i),
				*t.source(other.rec, other.i), t.differs(fresh, i, other.rec, other.i), edited})
		}
	}
	edits := findEdits(t, sheet, fresh, rest)
	key := t.subject()
	seen := map[rowKey]at{}
	if key != nil {
		for i := range t.len(rest) {
			seen[key(rest, i)] = at{rest, i}
		}
	}
	for i := range t.len(fresh) {
		if key != nil {
			k := key(fresh, i)
			if other, clash := seen[k]; clash {
				add(i, other, false)
				continue
			}
			seen[k] = at{fresh, i}
		}
		if j, ok := edits[i]; ok {
			add(i, at{rest, j}, true)
		}
	}
}

// findEdits returns, for rows of fresh, the row of rest that the same line of
// the same sheet held when it was imported before. That row must have gone from
// the sheet, and either old and new row are of one bed, day and thing, or the
// sheet still holds another row of that import: sheets of two seasons may share
// a name.
func findEdits(t table, sheet, fresh, rest *Records) map[int]int {
	type inFile struct {
		file string
		key  rowKey
	}
	type inBatch struct {
		file  string
		batch int32
	}
	files := map[string]bool{}
	for i := range t.len(fresh) {
		if s := t.source(fresh, i); s.Line > 0 { // an entry of no sheet has none
			files[s.File] = true
		}
	}
	var before []int // rows of rest from these files
	for i := range t.len(rest) {
		if files[t.source(rest, i).File] {
			before = append(before, i)
		}
	}
	if before == nil {
		return nil
	}
	key, like := t.identity(), t.likeness()
	left := map[inFile]int{} // rows of the sheet that stand for no row of rest yet
	lines := map[line][]rowKey{}
	lineOf := func(s *Source) line { return line{t.name(), s.File, s.Line} }
	for i := range t.len(sheet) {
		s, k := t.source(sheet, i), key(sheet, i)
		left[inFile{s.File, k}]++
		lines[lineOf(s)] = append(lines[lineOf(s)], k)
	}
	again := map[inBatch]bool{}
	missed := map[line][]int{}
	var moved []int
	for _, i := range before {
		s, k := t.source(rest, i), key(rest, i)
		if !slices.Contains(lines[lineOf(s)], k) || left[inFile{s.File, k}] == 0 {
			moved = append(moved, i)
			continue
		}
		left[inFile{s.File, k}]--
		again[inBatch{s.File, s.Batch}] = true
	}
	for _, i := range moved {
		s := t.source(rest, i)
		if k := (inFile{s.File, key(rest, i)}); left[k] > 0 {
			left[k]--
			again[inBatch{s.File, s.Batch}] = true
		} else {
			missed[lineOf(s)] = append(missed[lineOf(s)], i)
		}
	}
	edits := map[int]int{}
	for i := range t.len(fresh) {
		at := lineOf(t.source(fresh, i))
		for _, j := range missed[at] {
			was := t.source(rest, j)
			if like(rest, j) == like(fresh, i) {
				edits[i] = j
				break
			}
			// Of a line with several analytes, one is not another's edit.
			if again[inBatch{was.File, was.Batch}] && len(lines[at]) == 1 {
				edits[i] = j
			}
		}
	}
	return edits
}

// checkCorrections wants each correction to name rows that stand in live, and
// a replacing row beside it.
func checkCorrections(fresh, live *Records) error {
	if len(fresh.Corrections) == 0 {
		return nil
	}
	rows := map[line]bool{}
	for _, t := range tables() {
		for i := range t.len(fresh) {
			s := t.source(fresh, i)
			rows[line{t.name(), s.File, s.Line}] = true
		}
	}
	for i := range fresh.Corrections {
		c := &fresh.Corrections[i]
		bad := func(format string, args ...any) error {
			return fmt.Errorf("%v: %w: %s", c.Source, ErrRow, fmt.Sprintf(format, args...))
		}
		t := tableNamed(c.Table)
		switch {
		case t == nil:
			return bad("it corrects table %q, expected one of %s", c.Table, strings.Join(TableNames(), ", "))
		case c.Table == "corrections":
			return hint(bad("a correction cannot be corrected"), "carryover undo takes its batch back")
		case c.Action != "replace" && c.Action != "withdraw":
			return bad("action %q, expected replace or withdraw", c.Action)
		case c.Action == "replace" && !rows[line{c.Table, c.File, c.Line}]:
			return bad("it replaces a row of %s, but its line holds none", c.Table)
		}
		found := map[string]bool{} // files
		var analytes []string
		for j := range t.len(live) {
			s := t.source(live, j)
			if s.Batch != c.OfBatch || s.Line != c.OfLine || !c.names(s.File) {
				continue
			}
			a, has := t.analyte(live, j)
			if c.Analyte != "" && !has {
				return bad("%s has no analyte column, yet it names %s", c.Table, c.Analyte)
			}
			if c.Analyte == "" || a == c.Analyte {
				found[s.File] = true
			} else {
				analytes = append(analytes, a)
			}
		}
		what := fmt.Sprintf("line %d of batch %d", c.OfLine, c.OfBatch)
		if c.OfFile != "" {
			what = fmt.Sprintf("%s line %d of batch %d", c.OfFile, c.OfLine, c.OfBatch)
		}
		if len(found) > 1 {
			files := slices.Sorted(maps.Keys(found))
			return hint(bad("%s stands in more than one file", what), "name the file: %d:%s:%d", c.OfBatch, files[0], c.OfLine)
		}
		if len(found) == 1 {
			continue
		}
		for _, o := range live.Corrections {
			if o.Table == c.Table && o.OfBatch == c.OfBatch && o.OfLine == c.OfLine && (o.Analyte == c.Analyte || o.Analyte == "") &&
				(o.OfFile == "" || c.names(o.OfFile)) {
				return bad("%s was taken out already, by %v: name the row that replaced it", what, o.Source)
			}
		}
		if len(analytes) > 0 {
			slices.Sort(analytes)
			return bad("%s holds no %s, only %s", what, c.Analyte, strings.Join(slices.Compact(analytes), ", "))
		}
		return hint(bad("the book has no row of %s from %s", c.Table, what), "carryover batches lists the batches and their files")
	}
	return nil
}

// superseded returns the rows that corrections of the book have taken out.
func (b *Book) superseded(names []string, live *Records) (*Records, error) {
	gone := &Records{}
	of := map[int][]Correction{}
	for _, c := range live.Corrections {
		of[int(c.OfBatch)] = append(of[int(c.OfBatch)], c)
	}
	for _, n := range slices.Sorted(maps.Keys(of)) {
		where := fmt.Sprintf("batch %d", n)
		if n < 1 || n > len(names) {
			return nil, damaged(where, "a correction names it, and it is not there")
		}
		m, err := b.readManifest(names[n-1])
		if err != nil {
			return nil, err
		}
		var list []fileEntry
		for _, e := range m.Tables {
			if slices.ContainsFunc(of[n], func(c Correction) bool { return c.Table == e.Table }) {
				list = append(list, e)
			}
		}
		raw := &Records{}
		if err := readTables(filepath.Join(b.Dir, "batches", names[n-1]), where, m.Format, list, raw); err != nil {
			return nil, err
		}
		addCorrected(gone, raw, of[n])
	}
	gone.nameGrower(b.Config.Grower)
	return gone, nil
}

// addCorrected adds to gone the rows of rec that corrections name.
func addCorrected(gone, rec *Records, list []Correction) {
	for _, t := range tables() {
		hit := correcting(t, list)
		one := &Records{}
		t.add(one, rec)
		t.keep(one, func(i int) bool { return len(hit(one, i)) > 0 })
		t.add(gone, one)
	}
}

// bedNames is the set of described beds, with the names they had before.
func bedNames(list ...*Records) map[bedKey]bool {
	known := map[bedKey]bool{}
	for _, rec := range list {
		for i := range rec.Beds {
			d := &rec.Beds[i]
			known[bedKey{d.Grower, d.Bed}] = true
			for _, was := range d.Former() {
				known[bedKey{d.Grower, was}] = true
			}
		}
	}
	return known
}

// findUnknownBeds adds the rows of beds that known lacks.
func findUnknownBeds(rec *Records, known map[bedKey]bool, e *UnknownBedError) {
	for _, t := range tables() {
		for i := range t.len(rec) {
			g, bed := t.place(rec, i)
			if bed == "" || known[bedKey{g, bed}] {
				continue
			}
			if e.Total++; len(e.Rows) >= maxListed {
				continue
			}
			var names []string
			for k := range known {
				if k.grower == g {
					names = append(names, k.bed)
				}
			}
			slices.Sort(names)
			e.Rows = append(e.Rows, UnknownBed{t.name(), g, bed, *t.source(rec, i), unit.Near(bed, names)})
		}
	}
}
