package intake

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
)

// A message has one form: place, then what was found, what was expected, and
// how to mend it, parted by colons; lower case, no full stop.

// Fault is one thing wrong in what was read.
type Fault struct {
	File   string
	Line   int    // from 1; 0: the file as a whole
	Column string // heading as the file has it; empty: the row as a whole
	Pos    int    // number of the column, from 1; orders faults of one line
	Text   string // found: expected: how to mend
}

func (f Fault) String() string {
	place := f.File
	if f.Line > 0 {
		place += fmt.Sprintf(":%d", f.Line)
	}
	if f.Column != "" {
		place += ": column " + f.Column
	}
	return place + ": " + f.Text
}

// maxListed is how many faults are listed; the rest are counted.
const maxListed = 50

// Faults is everything wrong in the files of one Read, in the order of file,
// line and column.
type Faults struct {
	List []Fault // at most 50
	More int     // how many more there are

	Unknown bool // a sheet's headings belong to no table: a sheet map may read it
}

func (f *Faults) Error() string {
	lines := make([]string, 0, len(f.List)+1)
	for _, x := range f.List {
		lines = append(lines, x.String())
	}
	if f.More > 0 {
		lines = append(lines, fmt.Sprintf("and %d more", f.More))
	}
	return strings.Join(lines, "\n")
}

func (f *Faults) add(x Fault) {
	if len(f.List) >= 4*maxListed { // a row's own faults come unordered
		f.More++
		return
	}
	f.List = append(f.List, x)
}

// err returns the faults as an error, or nil where there are none.
func (f *Faults) err() error {
	if len(f.List) == 0 {
		return nil
	}
	slices.SortStableFunc(f.List, func(a, b Fault) int {
		return cmp.Or(cmp.Compare(a.File, b.File), cmp.Compare(a.Line, b.Line), cmp.Compare(a.Pos, b.Pos))
	})
	f.List = slices.Compact(f.List)
	if extra := len(f.List) - maxListed; extra > 0 {
		f.List, f.More = f.List[:maxListed], f.More+extra
	}
	return f
}

// say joins found, expected and mend, leaving out what is empty. A near name
// says it shorter than a list of all names.
func say(found, expected, mend string) string {
	if strings.HasPrefix(mend, "did you mean") {
		expected = ""
	}
	if expected != "" {
		found += ": expected " + expected
	}
	if mend != "" {
		found += ": " + mend
	}
	return found
}
