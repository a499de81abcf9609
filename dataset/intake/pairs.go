package intake

import (
	"cmp"
	"fmt"
	"hash/maphash"
	"math/bits"

	"carryover/dataset"
)

// What two rows say together: two values where a report has one, and a
// spreading on the day of a soil test.

// reports finds the rows read before that may be of one report: those of one
// thing, day and number.
type reports struct {
	seed   maphash.Seed
	ends   map[uint64]int32 // the last entry of each
	list   []entry          // the first is none
	expect int              // about how many rows will come
}

// entry is a row, and the entry before it in the same report.
type entry struct{ row, before int32 }

// maxBefore bounds the look back in one report. The book's own check has none.
const maxBefore = 1000

// earlier returns the earlier row that is the same, or -1 and keeps n as a row
// to come back to.
func (x *reports) earlier(of string, day dataset.Date, number string, n int, same func(row int) bool) int {
	if x.ends == nil {
		x.seed, x.ends, x.list = maphash.MakeSeed(), make(map[uint64]int32, x.expect), make([]entry, 1, x.expect+1)
	}
	h := maphash.String(x.seed, of) ^ uint64(day)*0x9e3779b97f4a7c15 // the golden ratio, as in Fibonacci hashing
	if number != "" {
		h = bits.RotateLeft64(h, 23) ^ maphash.String(x.seed, number)
	}
	end := x.ends[h]
	for i, k := end, 0; i > 0 && k < maxBefore; i, k = x.list[i].before, k+1 {
		if row := int(x.list[i].row); same(row) {
			return row
		}
	}
	x.ends[h] = int32(len(x.list))
	x.list = append(x.list, entry{int32(n), end})
	return -1
}

// twice refuses a second value of what a report has once.
func (r *row) twice(was dataset.Source, value, tell string) {
	place := fmt.Sprintf("line %d", was.Line)
	switch {
	case was.File != r.file:
		place = was.File + " " + place
	case int(was.Line) == r.line:
		place = "the same line"
	}
	r.fault(r.at("value"), fmt.Sprintf("a second value of %s in one report, %s: %s has %s", r.at("analyte").text, r.at("value").text, place, value), "one", tell)
}

// bedDay is a day on a bed.
type bedDay struct {
	bed string
	day dataset.Date
}

// testDays are the days of soil tests, each by its first row.
type testDays struct {
	rows map[bedDay]*dataset.SoilTest
	days map[string][]dataset.Date // by bed
}

func testDaysOf(rows []dataset.SoilTest, beds map[string]bool) testDays {
	t := testDays{map[bedDay]*dataset.SoilTest{}, map[string][]dataset.Date{}}
	for i := range rows {
		x := &rows[i]
		k := bedDay{x.Bed, x.Date}
		if x.DateBasis != dataset.ByDay || !beds[x.Bed] || t.rows[k] != nil {
			continue
		}
		t.rows[k] = x
		t.days[k.bed] = append(t.days[k.bed], k.day)
	}
	return t
}

// meet calls f with each test on a day of the spreading or of its run.
func (t testDays) meet(a *dataset.Amendment, f func(*dataset.SoilTest)) {
	days := []dataset.Date{a.Date}
	if a.Every != nil && a.Until != nil {
		days = t.days[a.Bed]
	}
	for _, day := range days {
		x := t.rows[bedDay{a.Bed, day}]
		if x == nil || a.Grower != "" && x.Grower != "" && a.Grower != x.Grower || day < a.Date {
			continue
		}
		if day > a.Date && (day > *a.Until || int32(day-a.Date)%*a.Every != 0) {
			continue
		}
		f(x)
	}
}

// askSameDay notes each spreading on the day of a soil test of its bed that does
// not say which came first. Where the book holds both already, it was asked when
// they came.
func (r *reader) askSameDay() {
	book := cmp.Or(r.opt.Book, &dataset.Records{})
	type spreading struct {
		bedDay
		material string
	}
	open := func(rows []dataset.Amendment) (out []*dataset.Amendment) {
		for i := range rows {
			if a := &rows[i]; a.SameDay == "" && a.DateBasis == dataset.ByDay {
				out = append(out, a)
			}
		}
		return out
	}
	ours, theirs := open(r.rec.Amendments), open(book.Amendments)
	if len(ours)+len(theirs) == 0 {
		return
	}
	beds, here, there := map[string]bool{}, map[spreading]bool{}, map[spreading]bool{}
	for i, list := range [][]*dataset.Amendment{ours, theirs} {
		for _, a := range list {
			beds[a.Bed] = true
			[]map[spreading]bool{here, there}[i][spreading{bedDay{a.Bed, a.Date}, a.Material}] = true
		}
	}
	fresh, kept := testDaysOf(r.rec.SoilTests, beds), testDaysOf(book.SoilTests, beds)
	const more = "more spreadings on the day of a soil test that do not say which came first"
	const ask = "which came first is not said, so the test is doubted: write before test or after test under same day"
	for _, a := range ours {
		say := func(x *dataset.SoilTest, where string) {
			r.few(more, "%s:%d: %s on %s, on the day of a soil test (%s, %s): %s", a.File, a.Line, a.Material, a.Bed, x.Date, where, ask)
		}
		again := there[spreading{bedDay{a.Bed, a.Date}, a.Material}]
		fresh.meet(a, func(x *dataset.SoilTest) {
			if !again || kept.rows[bedDay{x.Bed, x.Date}] == nil {
				say(x, fmt.Sprintf("%s:%d", x.File, x.Line))
			}
		})
		kept.meet(a, func(x *dataset.SoilTest) {
			if !again && fresh.rows[bedDay{x.Bed, x.Date}] == nil {
				say(x, "in the book")
			}
		})
	}
	for _, a := range theirs {
		fresh.meet(a, func(x *dataset.SoilTest) {
			if kept.rows[bedDay{x.Bed, x.Date}] == nil && !here[spreading{bedDay{a.Bed, a.Date}, a.Material}] {
				r.few(more, "%s:%d: soil test of %s on the day of a spreading (%s, %s, in the book as row %s): %s of that row, and import it with --correct", x.File, x.Line, x.Bed,
					a.Material, x.Date, a.Address(), ask)
			}
		})
	}
}
