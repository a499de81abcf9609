package dataset

import (
	"cmp"
	"fmt"
	"slices"
	"sort"
	"strings"
)

// fate is what becomes of a row of a batch.
type fate byte

const (
	isNew    fate = iota
	isKnown       // the book holds it, or held it
	isChange      // it takes the place of a row of the book
)

// matcher tells, for one table, which row of the book each row of a batch is:
//
//  1. the row that it says it is (a claim);
//  2. an equal row, in the same place if there is one;
//  3. a row that stood once and was corrected: known, unless its sheet took its
//     own correction back;
//  4. a row of the same subject with other content;
//  5. of the same sheet, a row that is gone from it: one alike in bed, day and
//     thing; the only one that is like it but for its day or its value; else the
//     one that had its place, if bed or thing are the same.
type matcher struct {
	t       table
	in      *Records // the batch
	book    *Records // what stands, less what the batch itself takes out
	inKey   []rowKey
	bookKey []rowKey
	subject func(r *Records, i int) (rowKey, bool)
	about   map[rowKey]int // rows of the book by subject
	fate    []fate
	free    []bool          // rows of the batch that neither correct nor claim a row
	taken   []int32         // for rows of the book: the row of the batch that it is or makes way for, or -1
	pairs   []pair          // the changes
	says    map[string]bool // sheets that say which row is which

	goneAgain int   // known rows that stand no more
	lost      []int // rows of the book that are no longer in their sheet
}

// pair is a row of the batch and a row of the book that makes way for it.
type pair struct{ in, book int }

// spot is a place in a sheet, for rows of one key.
type spot struct {
	file string
	line int32
	key  rowKey
}

func newMatcher(t table, in, book *Records, replacing func(i int) bool) *matcher {
	m := &matcher{t: t, in: in, book: book, inKey: keys(t, in), bookKey: keys(t, book), says: map[string]bool{}, about: map[rowKey]int{},
		fate: make([]fate, t.len(in)), free: make([]bool, t.len(in)), taken: make([]int32, t.len(book))}
	for i := range m.free {
		m.free[i] = !replacing(i)
	}
	if m.subject = t.subject(); m.subject == nil {
		m.subject = func(*Records, int) (rowKey, bool) { return rowKey{}, false }
	}
	for j := range m.taken {
		m.taken[j] = -1
		if k, ok := m.subject(book, j); ok {
			m.about[k] = j
		}
	}
	return m
}

func keys(t table, r *Records) []rowKey {
	key, list := t.identity(), make([]rowKey, t.len(r))
	for i := range list {
		list[i] = key(r, i)
	}
	return list
}

func (m *matcher) at(i int) *Source  { return m.t.source(m.in, i) }
func (m *matcher) was(j int) *Source { return m.t.source(m.book, j) }

// known says that i is j.
func (m *matcher) known(i, j int) { m.fate[i], m.taken[j] = isKnown, int32(i) }

// change lets j make way for i. If i turns out to be known, j goes all the same.
func (m *matcher) change(i, j int) {
	m.fate[i], m.taken[j] = isChange, int32(i)
	m.pairs = append(m.pairs, pair{i, j})
}

// stays tells whether row j of the book is in the batch as it stands.
func (m *matcher) stays(j int) bool { return m.taken[j] >= 0 && m.inKey[m.taken[j]] == m.bookKey[j] }

// which lists the numbers below n for which may holds.
func which(n int, may func(i int) bool) (list []int) {
	for i := range n {
		if may(i) {
			list = append(list, i)
		}
	}
	return list
}

// join pairs the rows of both sides whose places agree, each once and in order,
// and returns what is left.
func join(ins, books []int, in, book func(int) spot, pair func(i, j int)) (restIn, restBook []int) {
	if len(ins) == 0 || len(books) == 0 {
		return ins, books
	}
	want := make(map[spot][]int, len(ins))
	for _, i := range ins {
		k := in(i)
		want[k] = append(want[k], i)
	}
	done := map[int]bool{}
	for _, j := range books {
		k := book(j)
		if list := want[k]; len(list) > 0 {
			pair(list[0], j)
			done[list[0]], want[k] = true, list[1:]
		} else {
			restBook = append(restBook, j)
		}
	}
	return slices.DeleteFunc(ins, func(i int) bool { return done[i] }), restBook
}

// claims takes the rows that say which row of the book they are, and returns
// what is wrong with what they say.
func (m *matcher) claims(list []Claim, l *lineage) (faults []string) {
	here := map[spot][]int{}
	for _, c := range list {
		here[spot{file: c.At.File, line: c.At.Line}] = []int{}
		m.says[c.At.File] = true
	}
	for i := range m.fate {
		if s := (spot{file: m.at(i).File, line: m.at(i).Line}); here[s] != nil {
			here[s] = append(here[s], i)
		}
	}
	type claim struct {
		Claim
		i    int
		rows []int // of the book: those named, or what stands in their stead
		sure bool  // they are of the analyte named
	}
	var open []claim
	same := m.t.identity()
	fault := func(c Claim, format string, args ...any) {
		there := Source{c.OfBatch, c.OfFile, c.OfLine}
		faults = append(faults, fmt.Sprintf("%v: it says it is row %s of %s, %s", c.At, there.Address(), c.Table, fmt.Sprintf(format, args...)))
	}
	for _, c := range list {
		line := here[spot{file: c.At.File, line: c.At.Line}]
		n := slices.IndexFunc(line, func(i int) bool {
			a, _ := m.t.analyte(m.in, i)
			return m.free[i] && (len(line) == 1 || a == c.Analyte)
		})
		if n < 0 { // its reader made no row of it, or it corrects a row by name
			continue
		}
		refs := l.rows(c.OfBatch, c.OfFile, c.OfLine)
		own := slices.DeleteFunc(slices.Clone(refs), func(r ref) bool { a, _ := m.t.analyte(r.rec, r.i); return a != c.Analyte })
		if len(own) > 0 {
			refs = own
		}
		x := claim{Claim: c, i: line[n], sure: len(own) > 0 || c.Analyte == ""}
		for _, r := range refs {
			if r.rec == m.book {
				x.rows = append(x.rows, r.i)
			}
		}
		if len(x.rows) == 0 {
			for _, r := range refs {
				x.rows = append(x.rows, l.standing(r.i)...)
			}
		}
		old := slices.ContainsFunc(refs, func(r ref) bool { return r.rec == l.gone && same(r.rec, r.i) == m.inKey[x.i] })
		switch {
		case old && !slices.ContainsFunc(x.rows, func(j int) bool { return m.bookKey[j] == m.inKey[x.i] }): // as exported, and corrected since
			m.free[x.i], m.fate[x.i] = false, isKnown
			m.goneAgain++
		case len(refs) == 0:
			fault(c, "which no batch of the book holds")
		case len(x.rows) == 0:
			fault(c, "which was taken out by %s", l.takenOut(refs[0].i))
		default:
			m.free[x.i] = false
			open = append(open, x)
		}
	}
	open = slices.DeleteFunc(open, func(x claim) bool {
		for _, j := range x.rows {
			if m.taken[j] < 0 && m.fate[x.i] == isNew && m.bookKey[j] == m.inKey[x.i] {
				m.known(x.i, j)
				return true
			}
		}
		return false
	})
	asks := map[Source]int{} // claims of one line
	for _, x := range open {
		asks[Source{x.OfBatch, x.OfFile, x.OfLine}]++
	}
	alike := m.t.alike()
	for _, x := range open {
		left := slices.DeleteFunc(x.rows, func(j int) bool { return m.taken[j] >= 0 })
		sure := len(left) <= asks[Source{x.OfBatch, x.OfFile, x.OfLine}] // all of the line is asked for
		best := left
		for _, key := range alike {
			if like := slices.DeleteFunc(slices.Clone(left), func(j int) bool { return key(m.book, j) != key(m.in, x.i) }); len(like) > 0 {
				best = like
				break
			}
		}
		switch {
		case len(left) == 0:
			fault(x.Claim, "as another row says already")
		case len(left) > 1 && !x.sure, len(best) > 1 && !sure:
			var names []string
			for _, j := range left {
				names = append(names, m.t.say(m.book, j))
			}
			slices.Sort(names)
			fault(x.Claim, "and does not tell which of its line: %s", strings.Join(names, "; "))
		default:
			m.change(x.i, best[0])
		}
		asks[Source{x.OfBatch, x.OfFile, x.OfLine}]--
	}
	return faults
}

// same finds equal rows. Two equal rows of a batch are one unless they are
// events.
func (m *matcher) same() {
	first := map[rowKey]bool{}
	for _, sure := range []bool{true, false} {
		for i, k := range m.inKey {
			switch {
			case (m.fate[i] == isKnown) != sure || m.t.isEvent(m.in, i):
			case first[k]:
				m.fate[i] = isKnown
			default:
				first[k] = true
			}
		}
	}
	want := map[rowKey]bool{}
	ins := which(len(m.fate), func(i int) bool {
		left := m.fate[i] == isNew || m.fate[i] == isChange && !m.t.isEvent(m.in, i)
		if left {
			want[m.inKey[i]] = true
		}
		return left
	})
	books := which(len(m.taken), func(j int) bool { return m.taken[j] < 0 && want[m.bookKey[j]] })
	for _, place := range []func(s *Source, k rowKey) spot{
		func(s *Source, k rowKey) spot { return spot{s.File, s.Line, k} },
		func(s *Source, k rowKey) spot { return spot{s.File, 0, k} },
		func(s *Source, k rowKey) spot { return spot{"", 0, k} },
	} {
		ins, books = join(ins, books, func(i int) spot { return place(m.at(i), m.inKey[i]) },
			func(j int) spot { return place(m.was(j), m.bookKey[j]) }, m.known)
	}
}

// back finds rows that stood once. A sheet that went back to such a row from the
// one that replaced it in the same sheet has changed; any other is an old sheet.
func (m *matcher) back(l *lineage) {
	had := map[rowKey][]int{}
	for g, k := range keys(m.t, l.gone) {
		had[k] = append(had[k], g)
	}
	for i, k := range m.inKey {
		if m.fate[i] != isNew || !m.free[i] || len(had[k]) == 0 {
			continue
		}
		file, to := m.at(i).File, -1
		left, still := false, false // the old row went from this sheet; what replaced it is in it now
		for _, g := range had[k] {
			for _, j := range l.standing(g) {
				if m.was(j).File != file {
					continue
				}
				if still = still || m.taken[j] >= 0; m.taken[j] < 0 {
					to = j
				}
			}
			for _, n := range l.hit(g) {
				if l.list[n].Reason == changedInSheet && m.t.source(l.gone, g).File == file {
					left, still = true, still || l.list[n].Action == "withdraw"
				}
			}
		}
		if m.t.isEvent(m.in, i) {
			had[k] = had[k][1:]
		}
		j, ok := -1, false
		if k, is := m.subject(m.in, i); is {
			j, ok = m.about[k]
		}
		switch {
		case to >= 0:
			m.change(i, to)
		case ok && m.taken[j] < 0 && m.was(j).File == file, left && still:
			// another row, or a change for others to find
		default:
			m.fate[i] = isKnown
			m.goneAgain++
		}
	}
}

// contradictions finds rows that say something else of a subject of which the
// book, or the batch itself, has a row. Such a row of the same sheet makes way;
// one of another sheet only if correct holds. One that says the same, spelled
// another way ("1:1 water" for "water 1:1"), is known.
func (m *matcher) contradictions(correct bool, clash func(i int, rec *Records, j int)) {
	first, same := map[rowKey]int{}, m.t.fact()
	for i := range m.fate {
		if m.fate[i] == isKnown {
			continue
		}
		k, ok := m.subject(m.in, i)
		if !ok {
			continue
		}
		if f, again := first[k]; again {
			if same(m.in, f) == same(m.in, i) {
				m.fate[i] = isKnown
			} else {
				clash(i, m.in, f)
			}
			continue
		}
		j, ok := m.about[k]
		if ok && same(m.book, j) == same(m.in, i) {
			switch {
			case m.stays(j):
				m.fate[i] = isKnown
				continue
			case m.taken[j] < 0 && m.was(j).File != m.at(i).File && m.fate[i] == isNew:
				m.known(i, j)
				continue
			}
		}
		first[k] = i
		switch {
		case !ok:
		case m.stays(j):
			clash(i, m.in, int(m.taken[j]))
		case m.taken[j] >= 0: // it makes way already
		case correct || m.was(j).File == m.at(i).File:
			m.change(i, j)
		default:
			clash(i, m.book, j)
		}
	}
}

// edits finds, in sheets imported before, rows of another subject that make way
// for new ones, and counts those that are gone from their sheet. A sheet is that
// of an earlier import if it holds another row of that import, or one of an
// import that it continued: sheets of two seasons may share a name.
func (m *matcher) edits(continued func(batch int32) bool) {
	if len(m.taken) == 0 {
		return
	}
	on := map[spot]int{} // rows by file, and by file and line
	for i := range m.fate {
		if s := m.at(i); s.Line > 0 && !m.says[s.File] { // an entry of no sheet has no line
			on[spot{file: s.File}]++
			on[spot{file: s.File, line: s.Line}]++
		}
	}
	books := which(len(m.taken), func(j int) bool { return m.taken[j] < 0 && on[spot{file: m.was(j).File}] > 0 })
	if len(books) == 0 {
		return
	}
	slices.SortFunc(books, func(j, k int) int {
		x, y := m.was(j), m.was(k)
		return cmp.Or(strings.Compare(x.File, y.File), cmp.Compare(x.Line, y.Line), cmp.Compare(y.Batch, x.Batch))
	})
	done := map[int]bool{} // changes within one sheet
	for _, p := range m.pairs {
		done[p.in] = done[p.in] || m.at(p.in).File == m.was(p.book).File
	}
	ins := which(len(m.fate), func(i int) bool {
		return m.fate[i] != isKnown && m.free[i] && !done[i] && on[spot{file: m.at(i).File}] > 0 && m.at(i).Line > 0
	})
	at := m.places(continued)
	for _, key := range m.t.alike() {
		for _, sameLine := range []int32{1, 0} {
			place := func(s *Source, k rowKey) spot { return spot{s.File, s.Line * sameLine, k} }
			ins, books = join(ins, books, func(i int) spot { return place(m.at(i), key(m.in, i)) }, func(j int) spot {
				// Two tests of a bed and day can be of two sheets that share a name.
				if _, ok := at(m.was(j)); !ok && sameLine == 0 && !m.t.isEvent(m.book, j) {
					return spot{line: -1}
				}
				return place(m.was(j), key(m.book, j))
			}, m.change)
		}
	}
	at = m.places(continued) // by what was found now, too
	books = slices.DeleteFunc(books, func(j int) bool { _, ok := at(m.was(j)); return !ok })
	for _, like := range m.t.likeness() {
		ins, books = m.likely(ins, books, like)
	}
	// Of a line with several rows, one is not another's edit; nor is a row of
	// another bed and another thing.
	for n, kind := range m.t.things() {
		place := func(file string, line int32, rec *Records, i int) spot {
			if n > 1 && on[spot{file: file, line: line}] > 1 {
				line = 0
			}
			return spot{file, line, kind(rec, i)}
		}
		ins, books = join(ins, books, func(i int) spot {
			s := place(m.at(i).File, m.at(i).Line, m.in, i)
			if s.line == 0 {
				s.line = -1 // no place is like it
			}
			return s
		}, func(j int) spot {
			line, _ := at(m.was(j))
			return place(m.was(j).File, line, m.book, j)
		}, m.change)
	}
	m.lost = books
}

// likely pairs rows of one sheet that are like each other, where each is the
// only one for the other, and returns what is left.
func (m *matcher) likely(ins, books []int, like likeness) (restIn, restBook []int) {
	place := func(s *Source, k rowKey) spot { return spot{file: s.File, key: k} }
	by := map[spot][]int{}
	for _, j := range books {
		if m.t.isEvent(m.book, j) == like.events {
			k := place(m.was(j), like.key(m.book, j))
			by[k] = append(by[k], j)
		}
	}
	if len(by) == 0 {
		return ins, books
	}
	of, only := map[int][]int{}, map[int]int{} // rows of the batch by row of the book, and the reverse
	for _, i := range ins {
		if m.t.isEvent(m.in, i) != like.events {
			continue
		}
		only[i] = -1
		n := 0
		for _, j := range by[place(m.at(i), like.key(m.in, i))] {
			if d := m.t.day(m.in, i) - m.t.day(m.book, j); max(d, -d) <= like.within {
				of[j] = append(of[j], i)
				only[i] = j
				n++
			}
		}
		if n > 1 {
			only[i] = -1
		}
	}
	for _, i := range ins {
		if j, ok := only[i]; ok && j >= 0 && len(of[j]) == 1 {
			m.change(i, j)
		} else {
			restIn = append(restIn, i)
		}
	}
	return restIn, slices.DeleteFunc(books, func(j int) bool { return m.taken[j] >= 0 })
}

// places tells on which line a row of the book would stand in its sheet now, by
// its neighbours; line 0: they do not tell, as they were sorted or moved apart;
// not ok: the sheet is not that of its import.
func (m *matcher) places(continued func(batch int32) bool) func(s *Source) (line int32, ok bool) {
	type sheet struct {
		file  string
		batch int32
	}
	type move struct{ from, to int32 }
	moves := map[sheet][]move{}
	oldest := map[string]int32{}
	for j, i := range m.taken {
		s := m.was(j)
		if i < 0 || m.at(int(i)).File != s.File {
			continue
		}
		k := sheet{s.File, s.Batch}
		moves[k] = append(moves[k], move{s.Line, m.at(int(i)).Line})
		if b, ok := oldest[s.File]; !ok || s.Batch < b {
			oldest[s.File] = s.Batch
		}
	}
	for _, list := range moves {
		slices.SortFunc(list, func(a, b move) int { return cmp.Or(cmp.Compare(a.from, b.from), cmp.Compare(a.to, b.to)) })
	}
	return func(s *Source) (int32, bool) {
		list := moves[sheet{s.File, s.Batch}]
		if len(list) == 0 {
			b, ok := oldest[s.File]
			return s.Line, ok && b < s.Batch && continued(s.Batch)
		}
		n := sort.Search(len(list), func(n int) bool { return list[n].from >= s.Line })
		above, below := list[max(n-1, 0)], list[min(n, len(list)-1)]
		if below.from == s.Line {
			return below.to, true // another row of its line
		}
		if shift := above.to - above.from; shift == below.to-below.from {
			return s.Line + shift, true
		}
		return 0, true
	}
}

// corrections are those that let the pairs take place, each of one line of the
// book; where a line holds other rows too, they name what goes.
func (m *matcher) corrections() (list []Correction) {
	if len(m.pairs) == 0 {
		return nil
	}
	for _, p := range m.pairs {
		s := m.was(p.book)
		c := Correction{Table: m.t.name(), OfBatch: s.Batch, OfFile: s.File, OfLine: s.Line, Action: "replace", Reason: changedInSheet, Source: *m.at(p.in)}
		if c.Analyte, _ = m.t.analyte(m.book, p.book); m.fate[p.in] == isKnown {
			c.Action = "withdraw" // another row says what it says now
		}
		list = append(list, c)
	}
	hit, hits := correcting(m.t, list, m.book), make([][]int, len(list))
	for j := range m.taken {
		for _, n := range hit(j) {
			hits[n] = append(hits[n], j)
		}
	}
	for n := range list {
		if len(hits[n]) == 1 {
			continue
		}
		p, c := m.pairs[n], &list[n]
		c.OfRow = m.t.named(m.book, p.book)
		for _, j := range hits[n] { // what is named alike goes too
			switch {
			case m.t.named(m.book, j) != c.OfRow:
			case m.stays(j):
				m.fate[m.taken[j]] = isNew
			case m.taken[j] < 0:
				m.taken[j], m.pairs = int32(p.in), append(m.pairs, pair{p.in, j})
			}
		}
	}
	m.lost = slices.DeleteFunc(m.lost, func(j int) bool { return m.taken[j] >= 0 })
	seen := map[Correction]bool{}
	return slices.DeleteFunc(list, func(c Correction) bool {
		c.Source = Source{}
		again := seen[c]
		seen[c] = true
		return again
	})
}

// changedInSheet is the reason of a correction that follows from a sheet: the
// row it takes out is no longer in that sheet.
const changedInSheet = "changed in the sheet"

// ref is a row that stands or stood.
type ref struct {
	rec *Records
	i   int
}

// lineage follows the corrections of one table from rows that stood to those
// that stand in their place.
type lineage struct {
	t          table
	book, gone *Records
	list       []Correction
	hit        func(g int) []int  // the corrections that took a row of gone out
	at         map[[2]int32][]ref // by batch and line
}

func newLineage(t table, book, gone *Records, list []Correction) *lineage {
	return &lineage{t: t, book: book, gone: gone, list: list, hit: correcting(t, list, gone)}
}

// rows lists the rows that a batch had on a line; file "": of any file.
func (l *lineage) rows(batch int32, file string, line int32) (rows []ref) {
	if l.at == nil {
		l.at = map[[2]int32][]ref{}
		for _, rec := range []*Records{l.book, l.gone} {
			for i := range l.t.len(rec) {
				s := l.t.source(rec, i)
				l.at[[2]int32{s.Batch, s.Line}] = append(l.at[[2]int32{s.Batch, s.Line}], ref{rec, i})
			}
		}
	}
	for _, r := range l.at[[2]int32{batch, line}] {
		if file == "" || l.t.source(r.rec, r.i).File == file {
			rows = append(rows, r)
		}
	}
	return rows
}

// heirs lists the rows that took the place of row g of gone: of the line that
// corrected it those of its analyte, else those most alike.
func (l *lineage) heirs(g int) (heirs []ref) {
	for _, n := range l.hit(g) {
		c := &l.list[n]
		if c.Action != "replace" {
			continue
		}
		rows := l.rows(c.Batch, c.File, c.Line)
		same := []func(*Records, int) rowKey{func(r *Records, i int) (k rowKey) { a, _ := l.t.analyte(r, i); copy(k[:], a); return k }}
		for _, key := range append(same, l.t.alike()...) {
			if len(rows) > 1 {
				if some := slices.DeleteFunc(slices.Clone(rows), func(r ref) bool { return key(r.rec, r.i) != key(l.gone, g) }); len(some) > 0 {
					rows = some
				}
			}
		}
		heirs = append(heirs, rows...)
	}
	return heirs
}

// standing lists the rows that stand in the place of row g of gone.
func (l *lineage) standing(g int) (rows []int) {
	seen := map[int]bool{g: true}
	for next := []int{g}; len(next) > 0; next = next[1:] {
		for _, r := range l.heirs(next[0]) {
			switch {
			case r.rec == l.book:
				rows = append(rows, r.i)
			case !seen[r.i]:
				seen[r.i] = true
				next = append(next, r.i)
			}
		}
	}
	return rows
}

// takenOut names what took row g of gone out, in the end.
func (l *lineage) takenOut(g int) string {
	for seen := map[int]bool{}; ; {
		seen[g] = true
		heirs := l.heirs(g)
		if len(heirs) == 0 || heirs[0].rec == l.book || seen[heirs[0].i] {
			break
		}
		g = heirs[0].i
	}
	for _, n := range l.hit(g) {
		return l.list[n].Source.String()
	}
	return "this import"
}

// History lists what a row of the book took the place of, the latest change
// first; nothing for a row as it was first imported. analyte tells rows of one
// line apart, and may be empty.
//
// The error wraps ErrNoBatch if no batch that counts has such a row, else
// ErrDamaged or ErrFormat.
func (b *Book) History(table string, at Source, analyte string) ([]Change, error) {
	live, names, _, err := b.live()
	if err != nil {
		return nil, err
	}
	gone, err := b.superseded(names, live)
	if err != nil {
		return nil, err
	}
	t := tableNamed(table)
	if t == nil {
		return nil, fmt.Errorf("%w with a table %q", ErrNoBatch, table)
	}
	l := newLineage(t, live, gone, live.Corrections)
	next := slices.DeleteFunc(l.rows(at.Batch, at.File, at.Line), func(r ref) bool {
		a, _ := t.analyte(r.rec, r.i)
		return analyte != "" && a != analyte
	})
	if len(next) == 0 {
		return nil, fmt.Errorf("%w with a row %s of %s", ErrNoBatch, at.Address(), table)
	}
	before := map[ref][]int{}
	for g := range t.len(gone) {
		for _, r := range l.heirs(g) {
			before[r] = append(before[r], g)
		}
	}
	var list []Change
	for ; len(next) > 0; next = next[1:] {
		r := next[0]
		for _, g := range before[r] {
			list = append(list, Change{table, t.say(gone, g), *t.source(r.rec, r.i), *t.source(gone, g), t.differs(gone, g, r.rec, r.i)})
			next = append(next, ref{gone, g})
		}
		delete(before, r)
	}
	return list, nil
}
