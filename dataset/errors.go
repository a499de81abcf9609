package dataset

import (
	"cmp"
	"errors"
	"fmt"
	"strconv"
	"strings"
)

// Messages follow one form: lower case, no full stop, the place first, then
// what was found and what was expected; where the next step is known it
// stands last, on a line of its own that begins with "hint:".

// The reasons for which the record book refuses; each error wraps one of them.
var (
	ErrNoBook     = errors.New("no record book here")
	ErrNotEmpty   = errors.New("folder is not empty")
	ErrFormat     = errors.New("record book cannot be read")            // book.toml is wrong, or written by a newer version
	ErrDamaged    = errors.New("record book is damaged")                // bytes differ from what was written
	ErrBusy       = errors.New("another import is writing to the book") // the lock is held
	ErrRow        = errors.New("row cannot be kept")
	ErrNothingNew = errors.New("nothing new")
	ErrConflict   = errors.New("rows contradict each other")
	ErrUnknownBed = errors.New("bed is not described")
	ErrNoBatch    = errors.New("no such batch")
	ErrUndo       = errors.New("batch cannot be undone")
)

// maxListed is how many rows an error message lists before it only counts.
const maxListed = 50

// hint ends a message with the next step.
func hint(err error, format string, args ...any) error {
	return fmt.Errorf("%w\nhint: "+format, append([]any{err}, args...)...)
}

// at names a row's origin; with a batch number if the row is in the book.
func (s Source) at() string {
	place := s.File
	if place == "" {
		place = "entry"
	}
	if s.Line > 0 {
		place += fmt.Sprintf(" line %d", s.Line)
	}
	if s.Batch > 0 {
		return fmt.Sprintf("batch %d (%s)", s.Batch, place)
	}
	return place
}

// String names the place for a reader: "tests.csv line 7", or
// "batch 3 (tests.csv line 7)" for a row of the book.
func (s Source) String() string { return s.at() }

// Address is what a sheet's columns row and replaces say to name a row of the
// book: "3:tests.csv:7".
func (s Source) Address() string { return fmt.Sprintf("%d:%s:%d", s.Batch, s.File, s.Line) }

// ParseAddress reads an address, in which the file's name may hold colons,
// slashes and spaces, or be left out with its colon: "3:7" is line 7 of any file
// of batch 3.
func ParseAddress(text string) (Source, error) {
	first, last := strings.IndexByte(text, ':'), strings.LastIndexByte(text, ':')
	if first > 0 {
		batch, berr := strconv.ParseInt(strings.TrimSpace(text[:first]), 10, 32)
		line, lerr := strconv.ParseInt(strings.TrimSpace(text[last+1:]), 10, 32)
		if berr == nil && lerr == nil && batch > 0 && line >= 0 {
			return Source{int32(batch), text[min(first+1, last):last], int32(line)}, nil
		}
	}
	return Source{}, fmt.Errorf("%q: expected batch:file:line such as 3:tests.csv:7", text)
}

// Cell is one column in which two rows differ, as a sheet has it: "value",
// "50 ppm", "60 ppm". An empty text is an empty cell.
type Cell struct {
	Column, Old, New string
}

// Change is a row of the book and the row that a sheet has in its place now.
type Change struct {
	Table   string
	Subject string // what the old row describes: "A, P, 2024-04-12"
	Here    Source // the new row; without batch until it is in the book
	There   Source // the old row
	Cells   []Cell
}

// ChangedError lists rows of the book that a sheet has changed, where the batch
// does not say that it corrects.
type ChangedError struct {
	Changes []Change // the first 50
	Total   int
}

func (e *ChangedError) Error() string {
	var b strings.Builder
	fmt.Fprintf(&b, "%d %s changed since %s imported", e.Total, plural(e.Total, "row", "rows"), plural(e.Total, "it was", "they were"))
	sampled := false
	for _, c := range e.Changes {
		fmt.Fprintf(&b, "\n  %v: %s: %s; it was %s", c.Here, c.Subject, c.Differs(), c.There.Address())
		sampled = sampled || c.Table == "soil_tests"
	}
	more(&b, e.Total-len(e.Changes))
	b.WriteString("\nhint: --correct keeps the new ones; the old ones stay in history; ")
	if sampled {
		b.WriteString(bothTrue)
	}
	b.WriteString("a row that is new stands on a line of its own, or in a sheet of another name")
	return b.String()
}

// bothTrue is the hint for two tests of one bed, day and analyte.
const bothTrue = "if both are true, name the two samples in a column `sample`; "

// Unwrap lets errors.Is find ErrConflict.
func (e *ChangedError) Unwrap() error { return ErrConflict }

// Differs prints the cells: "value 50 ppm -> 60 ppm; lab empty -> Lab A".
func (c Change) Differs() string {
	var list []string
	for _, x := range c.Cells {
		list = append(list, fmt.Sprintf("%s %s -> %s", x.Column, cmp.Or(x.Old, "empty"), cmp.Or(x.New, "empty")))
	}
	return strings.Join(list, "; ")
}

// Conflict is one pair of rows that cannot both stand.
type Conflict struct {
	Table   string
	Subject string // what both rows describe: "A, P, 2024-04-12"
	Here    Source // the new row, without batch
	There   Source // the other: in the book, or of the same batch (Batch 0)
	Differs string // "value 50 ppm here, 60 ppm there"
}

// Replaces is what the column replaces of a sheet says to correct the row
// There: "3:tests.csv:7". It is empty for a row that is not in the book.
func (c Conflict) Replaces() string {
	if c.There.Batch == 0 {
		return ""
	}
	return c.There.Address()
}

// ConflictError lists rows that contradict each other, or rows of the book that
// another sheet brought.
type ConflictError struct {
	Conflicts []Conflict // the first 50
	Total     int
}

func (e *ConflictError) Error() string {
	var b strings.Builder
	fmt.Fprintf(&b, "%v: %d %s", ErrConflict, e.Total, plural(e.Total, "pair", "pairs"))
	sampled, inBook := false, false
	for _, c := range e.Conflicts {
		fmt.Fprintf(&b, "\n  %v and %v: %s: %s", c.Here, c.There, c.Subject, c.Differs)
		if r := c.Replaces(); r != "" {
			b.WriteString("; replaces: " + r)
		}
		sampled, inBook = sampled || c.Table == "soil_tests", inBook || c.There.Batch > 0
	}
	more(&b, e.Total-len(e.Conflicts))
	b.WriteString("\nhint: ")
	if sampled {
		b.WriteString(bothTrue)
	}
	if inBook {
		b.WriteString("to correct an earlier row, name its batch and line in a column `replaces`, or all of them by --correct")
	} else {
		b.WriteString("leave out what is wrong")
	}
	return b.String()
}

// Unwrap lets errors.Is find ErrConflict.
func (e *ConflictError) Unwrap() error { return ErrConflict }

// UnknownBed is one row of a bed that no row of beds describes.
type UnknownBed struct {
	Table, Grower, Bed string
	At                 Source
	Near               []string // described beds of that grower with a like name
}

// UnknownBedError lists rows whose bed is not described.
type UnknownBedError struct {
	Rows  []UnknownBed // the first 50
	Total int
}

func (e *UnknownBedError) Error() string {
	var b strings.Builder
	fmt.Fprintf(&b, "%v: %d %s", ErrUnknownBed, e.Total, plural(e.Total, "row", "rows"))
	for _, r := range e.Rows {
		fmt.Fprintf(&b, "\n  %v: bed %q", r.At, r.Bed)
		if r.Grower != "" {
			fmt.Fprintf(&b, " of %s", r.Grower)
		}
		if len(r.Near) > 0 {
			fmt.Fprintf(&b, "; did you mean %s?", quoted(r.Near))
		}
	}
	more(&b, e.Total-len(e.Rows))
	b.WriteString("\nhint: mend the name, or describe the bed first in a beds sheet (bed, from, area)")
	return b.String()
}

// Unwrap lets errors.Is find ErrUnknownBed.
func (e *UnknownBedError) Unwrap() error { return ErrUnknownBed }

func more(b *strings.Builder, n int) {
	if n > 0 {
		fmt.Fprintf(b, "\n  and %d more", n)
	}
}

func plural(n int, one, many string) string {
	if n == 1 {
		return one
	}
	return many
}

func quoted(names []string) string {
	q := make([]string, len(names))
	for i, n := range names {
		q[i] = fmt.Sprintf("%q", n)
	}
	return strings.Join(q, " or ")
}
