package dataset

import (
	"cmp"
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
	Claims  []Claim
	Correct bool   // rows that changed since they were imported take the place of the old ones
	Program string // and its version
	Now     time.Time
}

// Claim says that a row of a batch is one that the book has, or had before it
// was corrected: a sheet that was exported carries the address of each row.
type Claim struct {
	Table   string
	At      Source // file and line of the row in the batch
	OfBatch int32
	OfFile  string // empty: any file of that batch
	OfLine  int32
	Analyte string // tells rows of one line apart; empty: it has one
}

// Result is what a commit did, or would do.
type Result struct {
	Number    int
	Dir       string         // in batches/
	Rows      map[string]int // written, by table
	Skipped   map[string]int // in the book already, by table
	Corrected map[string]int // of Rows, those that took the place of rows of the book
	Gone      map[string]int // rows of the book that are no longer in their sheet; they stay
	Changes   []Change       // what the batch changed in the book, by table, file and line
	Warning   string         // what went wrong after the batch stood; empty: nothing
}

// Commit adds a batch to the book: all of it or nothing. Rows that the book
// holds already (alike in all columns but the source) are left out and
// counted; of amendments, harvests, covers, tillage, lists and waterings, where
// two equal rows can be two events, as many are added as the batch has beyond
// the book. A row that was corrected or withdrawn since counts as one the book
// holds, unless its own sheet went back to it. A row whose sheet names no
// grower is kept so, and is compared as one of the grower in book.toml.
//
// A row that says something else than the book of one subject (bed, day,
// analyte, sample ...), or that took the place of a row of an earlier import of
// its sheet, is a change. If the batch says Correct, the old row goes out of the
// records by a correction and stays in its batch; else the batch is refused.
//
// The error wraps ErrNothingNew, ErrRow (a value, a correction or a claim that
// cannot be kept), ErrConflict (*ConflictError, *ChangedError or both joined),
// ErrUnknownBed (*UnknownBedError), ErrBusy, ErrFormat or ErrDamaged.
func (b *Book) Commit(batch Batch) (Result, error) {
	unlock, err := b.lock(lockWait)
	if err != nil {
		return Result{}, err
	}
	defer unlock()
	if err := b.sweep(); err != nil {
		return Result{}, err
	}
	live, names, _, err := b.live()
	if err != nil {
		return Result{}, err
	}
	in, named, res, err := b.admit(names, live, batch)
	if err != nil {
		return Result{}, err
	}
	now := batch.Now.UTC().Truncate(time.Second)
	m := &manifest{Format: Format, Kind: kindImport, Number: res.Number, Program: batch.Program, Time: &now, Skipped: res.Skipped}
	if batch.Map != nil {
		m.Map = &mapEntry{batch.MapName, string(batch.Map)}
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

// Preview says what Commit would do with the batch, or how it would refuse it.
// Nothing is written and nobody is held up; Dir is empty.
func (b *Book) Preview(batch Batch) (Result, error) {
	live, names, _, err := b.live()
	if err != nil {
		return Result{}, err
	}
	_, _, res, err := b.admit(names, live, batch)
	return res, err
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

// admit returns the rows of a batch that are new to the book and its
// corrections, as their sheets have them and with their grower named, or why
// they cannot be taken. live is what the book holds.
func (b *Book) admit(names []string, live *Records, batch Batch) (own, fresh *Records, res Result, err error) {
	refuse := func(err error) (*Records, *Records, Result, error) { return nil, nil, Result{}, err }
	own, fresh = &Records{}, &Records{}
	if batch.Records != nil {
		for _, t := range tables() { // copies: the caller's rows stay as they are
			t.add(own, batch.Records)
			t.add(fresh, batch.Records)
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
	gone, err := b.superseded(names, live)
	if err != nil {
		return refuse(err)
	}
	res = Result{Number: len(names) + 1, Rows: map[string]int{}, Skipped: map[string]int{}, Corrected: map[string]int{}, Gone: map[string]int{}}
	nameSheets(own, fresh, live, gone)
	if n := dropCorrections(own, fresh, live, gone); n > 0 {
		res.Skipped["corrections"] = n
	}
	if err := checkCorrections(fresh, live); err != nil {
		return refuse(err)
	}
	less := *live // rows are taken out of it, never changed
	rest := &less
	replacing := map[line]bool{}
	if len(fresh.Corrections) > 0 {
		addCorrected(gone, rest, fresh.Corrections)
		takeOut(rest, fresh.Corrections)
		for _, c := range fresh.Corrections {
			replacing[line{c.Table, c.File, c.Line}] = true
		}
	}
	claims := map[string][]Claim{}
	for _, c := range batch.Claims {
		claims[c.Table] = append(claims[c.Table], c)
	}
	var faults []string
	var conflicts ConflictError
	var changed ChangedError
	var made []Correction
	goneAgain := 0
	for _, t := range tables() {
		if t.name() == "corrections" || t.len(fresh) == 0 {
			continue
		}
		m := newMatcher(t, fresh, rest, func(i int) bool {
			s := t.source(fresh, i)
			return replacing[line{t.name(), s.File, s.Line}]
		})
		l := newLineage(t, rest, gone, live.Corrections)
		faults = append(faults, m.claims(claims[t.name()], l)...)
		m.same()
		m.back(l)
		m.contradictions(batch.Correct, func(i int, rec *Records, j int) {
			if conflicts.Total++; len(conflicts.Conflicts) < maxListed {
				conflicts.Conflicts = append(conflicts.Conflicts, Conflict{t.name(), t.say(fresh, i), *t.source(fresh, i), *t.source(rec, j), clash(t.differs(fresh, i, rec, j))})
			}
		})
		continued := map[int32]bool{} // each manifest is read once
		m.edits(func(batch int32) bool {
			again, told := continued[batch]
			if !told {
				again = b.continued(names, batch, t.name())
				continued[batch] = again
			}
			return again
		})
		made = append(made, m.corrections()...)

		changed.Total += len(m.pairs)
		for _, p := range m.pairs {
			if batch.Correct || len(changed.Changes) < maxListed {
				changed.Changes = append(changed.Changes, Change{t.name(), t.say(rest, p.book), *t.source(fresh, p.in), *t.source(rest, p.book), t.differs(rest, p.book, fresh, p.in)})
			}
		}
		for _, f := range m.fate {
			switch f {
			case isKnown:
				res.Skipped[t.name()]++
			case isChange:
				res.Corrected[t.name()]++
			}
		}
		if len(m.lost) > 0 {
			res.Gone[t.name()] = len(m.lost)
		}
		goneAgain += m.goneAgain
		for _, rec := range []*Records{own, fresh} {
			t.keep(rec, func(i int) bool { return m.fate[i] != isKnown })
		}
	}
	switch {
	case len(faults) > 0:
		more := ""
		if n := len(faults) - maxListed; n > 0 {
			faults, more = faults[:maxListed], fmt.Sprintf("\n  and %d more", n)
		}
		return refuse(hint(fmt.Errorf("%w: %s%s", ErrRow, strings.Join(faults, "\n  "), more), "a row that is new names none; a sheet exported from another book cannot be taken"))
	case fresh.Total() == 0 && len(made) == 0:
		return refuse(nothingNew(total, goneAgain, res.Gone))
	case conflicts.Total > 0 && changed.Total > 0 && !batch.Correct:
		return refuse(errors.Join(&conflicts, &changed))
	case conflicts.Total > 0:
		return refuse(&conflicts)
	case changed.Total > 0 && !batch.Correct:
		return refuse(&changed)
	}
	own.Corrections, fresh.Corrections = append(own.Corrections, made...), append(fresh.Corrections, made...)
	takeOut(rest, made)
	known := bedNames(rest, fresh)
	unknown := &UnknownBedError{}
	findUnknownBeds(fresh, known, unknown)
	if slices.ContainsFunc(fresh.Corrections, func(c Correction) bool { return c.Table == "beds" }) {
		findUnknownBeds(rest, known, unknown) // a bed's only description may have gone
	}
	if unknown.Total > 0 {
		return refuse(unknown)
	}
	res.Changes = changed.Changes
	for i := range res.Changes {
		res.Changes[i].Here.Batch = int32(res.Number)
	}
	for _, t := range tables() {
		for i := range t.len(fresh) {
			t.source(own, i).Batch, t.source(fresh, i).Batch = int32(res.Number), int32(res.Number)
		}
		if n := t.len(fresh); n > 0 {
			res.Rows[t.name()] = n
		}
	}
	for _, counts := range []*map[string]int{&res.Skipped, &res.Corrected, &res.Gone} {
		if len(*counts) == 0 {
			*counts = nil
		}
	}
	return own, fresh, res, nil
}

// nothingNew says of how many rows why none is taken.
func nothingNew(total, goneAgain int, gone map[string]int) error {
	err := fmt.Errorf("%w: all %d %s are in the book already", ErrNothingNew, total, plural(total, "row", "rows"))
	if total == 1 {
		err = fmt.Errorf("%w: the row is in the book already", ErrNothingNew)
	}
	if goneAgain > 0 {
		err = hint(fmt.Errorf("%w, %d of them corrected or withdrawn since", err, goneAgain),
			"carryover undo with the number of the correcting batch brings them back")
	}
	n := 0
	for _, k := range gone {
		n += k
	}
	if n > 0 {
		err = hint(err, "%d %s of an earlier import, no longer in the sheet, %s in the book: a withdraw sheet takes rows out", n, plural(n, "row", "rows"), plural(n, "stays", "stay"))
	}
	return err
}

// continued tells whether the sheets of a batch held rows of a table that the
// book had already.
func (b *Book) continued(names []string, batch int32, table string) bool {
	m, err := b.readManifest(names[batch-1])
	return err == nil && m.Skipped[table] > 0
}

// clash prints the first cells of a pair of rows that cannot both stand.
func clash(cells []Cell) string {
	var list []string
	for _, c := range cells[:min(3, len(cells))] {
		list = append(list, fmt.Sprintf("%s %s here, %s there", c.Column, cmp.Or(c.Old, "empty"), cmp.Or(c.New, "empty")))
	}
	return strings.Join(list, "; ")
}

// nameSheets completes the name of a workbook, in corrections, by the sheet of
// it that their row is of, if there is one: "sheets.xlsx" to
// "sheets.xlsx/harvests".
func nameSheets(own, fresh, live, gone *Records) {
	for n := range fresh.Corrections {
		c := &fresh.Corrections[n]
		t := tableNamed(c.Table)
		if t == nil || !strings.Contains(c.OfFile, ".") {
			continue
		}
		found := map[string]bool{}
		for _, rec := range []*Records{live, gone} {
			for i := range t.len(rec) {
				s := t.source(rec, i)
				if s.Batch != c.OfBatch || s.Line != c.OfLine {
					continue
				}
				if c.names(s.File, false) {
					found[c.OfFile] = true
				} else if c.ofBook(s.File) {
					found[s.File] = true
				}
			}
		}
		if len(found) == 1 {
			for file := range found {
				c.OfFile, own.Corrections[n].OfFile = file, file
			}
		}
	}
}

// ofBook tells whether the correction names the workbook of a sheet.
func (c *Correction) ofBook(sheet string) bool {
	n := strings.LastIndexByte(sheet, '/')
	return n > 0 && c.OfFile != "" && c.names(sheet[:n], false)
}

// dropCorrections leaves out the corrections that the book has, from these
// sheets or with an equal row in the place of the old one, and counts them.
func dropCorrections(own, fresh, live, gone *Records) (n int) {
	if len(fresh.Corrections) == 0 || len(live.Corrections) == 0 {
		return 0
	}
	t := tableNamed("corrections")
	key := t.identity()
	have := map[rowKey]*Correction{}
	for i := range live.Corrections {
		have[key(live, i)] = &live.Corrections[i]
	}
	lines, rowsOn := map[string]*lineage{}, onLines(fresh)
	known := func(i int) bool {
		c, o := &fresh.Corrections[i], have[key(fresh, i)]
		if o == nil || c.Action != "replace" || o.File == c.File {
			return o != nil
		}
		rows := tableNamed(c.Table)
		if lines[c.Table] == nil {
			lines[c.Table] = newLineage(rows, live, gone, nil)
		}
		same := rows.identity()
		for _, i := range rowsOn[line{c.Table, c.File, c.Line}] {
			if a, _ := rows.analyte(fresh, i); (c.Analyte == "" || a == c.Analyte) &&
				!slices.ContainsFunc(lines[c.Table].rows(o.Batch, o.File, o.Line), func(r ref) bool { return same(r.rec, r.i) == same(fresh, i) }) {
				return false
			}
		}
		return true
	}
	drop := make([]bool, len(fresh.Corrections))
	for i := range drop {
		if drop[i] = known(i); drop[i] {
			n++
		}
	}
	for _, rec := range []*Records{own, fresh} {
		t.keep(rec, func(i int) bool { return !drop[i] })
	}
	return n
}

// onLines lists the rows of each line of the sheets.
func onLines(rec *Records) map[line][]int {
	rows := map[line][]int{}
	for _, t := range tables() {
		for i := range t.len(rec) {
			s := t.source(rec, i)
			rows[line{t.name(), s.File, s.Line}] = append(rows[line{t.name(), s.File, s.Line}], i)
		}
	}
	return rows
}

// checkCorrections wants each correction to name rows that stand in live, and
// a replacing row beside it.
func checkCorrections(fresh, live *Records) error {
	if len(fresh.Corrections) == 0 {
		return nil
	}
	rows, standing := onLines(fresh), map[string]*lineage{}
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
		case c.Action == "replace" && rows[line{c.Table, c.File, c.Line}] == nil:
			return bad("it replaces a row of %s, but its line holds none", c.Table)
		}
		found := map[string]bool{} // files
		var analytes, sheets []string
		if standing[c.Table] == nil {
			standing[c.Table] = newLineage(t, live, &Records{}, nil)
		}
		at := standing[c.Table].rows(c.OfBatch, "", c.OfLine)
		exact := slices.ContainsFunc(at, func(r ref) bool { return t.source(live, r.i).File == c.OfFile })
		for _, r := range at {
			j, s := r.i, t.source(live, r.i)
			if !c.names(s.File, exact) {
				if c.ofBook(s.File) {
					sheets = append(sheets, s.File)
				}
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
			if o.Table == c.Table && o.OfBatch == c.OfBatch && o.OfLine == c.OfLine && (c.Analyte == "" || o.Analyte == "" || o.Analyte == c.Analyte) &&
				(o.OfFile == "" || c.names(o.OfFile, false)) {
				return bad("%s was taken out already, by %v: name the row that replaced it", what, o.Source)
			}
		}
		if len(sheets) > 0 {
			slices.Sort(sheets)
			return hint(bad("%s stands in more than one sheet", what), "name the sheet: %s", quoted(slices.Compact(sheets)))
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
		one := &Records{}
		t.add(one, rec)
		hit := correcting(t, list, one)
		t.keep(one, func(i int) bool { return len(hit(i)) > 0 })
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
