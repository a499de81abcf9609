package dataset

import (
	"encoding/json"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// take commits a batch and returns the result; what it cannot be is fatal.
func take(t testing.TB, b *Book, batch Batch) Result {
	t.Helper()
	batch.Program, batch.Now = "test", noon
	would, perr := b.Preview(batch)
	res, err := b.Commit(batch)
	if err != nil {
		t.Fatal(err)
	}
	would.Dir = res.Dir
	if diff := cmp.Diff(res, would); perr != nil || diff != "" {
		t.Errorf("the preview says otherwise: %v %s", perr, diff)
	}
	if diff := cmp.Diff(full(t, b), records(t, b)); diff != "" {
		t.Error(diff)
	}
	sound(t, b)
	return res
}

// told prints the changes of a result.
func told(changes []Change) (lines []string) {
	for _, c := range changes {
		lines = append(lines, fmt.Sprintf("%v: %s: %s; it was %s", c.Here, c.Subject, c.Differs(), c.There.Address()))
	}
	return lines
}

// raw reads the rows of every batch as they were written.
func raw(t testing.TB, b *Book) *Records {
	t.Helper()
	rec := &Records{}
	names, err := b.batchDirs()
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range names {
		m, err := b.readManifest(name)
		if err != nil {
			t.Fatal(err)
		}
		if err := readTables(filepath.Join(b.Dir, "batches", name), name, m.Format, m.Tables, rec); err != nil {
			t.Fatal(err)
		}
	}
	return rec
}

func oldBook(t *testing.T) *Book {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "book")
	if err := os.CopyFS(dir, os.DirFS(filepath.Join("testdata", "format1", "book"))); err != nil {
		t.Fatal(err)
	}
	b, err := Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// TestFormat1 opens a book that a program of format 1 wrote: every table, an
// undone batch, a row corrected and one withdrawn.
func TestFormat1(t *testing.T) {
	text, err := os.ReadFile(filepath.Join("testdata", "format1", "records.json"))
	if err != nil {
		t.Fatal(err)
	}
	want := &Records{}
	if err := json.Unmarshal(text, want); err != nil {
		t.Fatal(err)
	}
	b := oldBook(t)
	before := tree(t, b.Dir)
	for range 2 { // from records/, then from the batches
		if diff := cmp.Diff(want, records(t, b)); diff != "" {
			t.Error(diff)
		}
		if diff := cmp.Diff(want, full(t, b)); diff != "" {
			t.Error(diff)
		}
		sound(t, b)
		if diff := cmp.Diff(before, tree(t, b.Dir)); diff != "" {
			t.Error("reading changed the book:", diff)
		}
	}
	for _, tab := range tables() {
		if tab.len(want) == 0 {
			t.Errorf("the fixture has no %s", tab.name())
		}
	}
	// The same sheets again; then what format 2 knows.
	again := &Records{Amendments: slices.Clone(want.Amendments)}
	if _, err := b.Commit(Batch{Records: again, Now: noon}); !errors.Is(err, ErrNothingNew) {
		t.Error(err)
	}
	ranged := want.Amendments[0]
	ranged.Date, ranged.AmountLow, ranged.AmountHigh, ranged.SameDay, ranged.Line = ranged.Date+9, ptr(0.5), ptr(1.0), "after test", 5
	watered := Weather{Grower: want.Beds[0].Grower, Bed: "North", Date: 20000, Period: "day", IrrigationL: ptr(38.0), Source: Source{File: "weather.csv", Line: 4}}
	again.Amendments = append(again.Amendments, ranged)
	again.Weather = []Weather{watered}
	take(t, b, Batch{Records: again})
	got := records(t, b)
	if n := len(got.Amendments); n != len(want.Amendments)+1 || len(got.Weather) != len(want.Weather)+1 {
		t.Fatalf("%d amendments, %d of weather", n, len(got.Weather))
	}
	ranged.Batch, watered.Batch = 5, 5
	if !slices.ContainsFunc(got.Amendments, func(a Amendment) bool { return cmp.Equal(a, ranged) }) ||
		!slices.ContainsFunc(got.Weather, func(w Weather) bool { return cmp.Equal(w, watered) }) {
		t.Errorf("%+v", got)
	}
	after := tree(t, b.Dir)
	for name, text := range before {
		if strings.HasPrefix(name, "batches/") && after[name] != text || name == "book.toml" && after[name] != text {
			t.Errorf("%s was written again", name)
		}
	}
	// A correction of an old batch, and its undo.
	k := want.SoilTests[0]
	k.ReportedValue, k.Value = 210, 210
	res := take(t, b, Batch{Records: &Records{SoilTests: []SoilTest{k}}, Correct: true})
	if _, err := b.Undo(res.Number, "test", noon); err != nil {
		t.Error(err)
	}
	if diff := cmp.Diff(want.SoilTests, records(t, b).SoilTests); diff != "" {
		t.Error(diff)
	}
}

// season is a book with a sheet of three spreadings and one of three tests.
func season(t *testing.T) (*Book, *Records) {
	b := newBook(t)
	commit(t, b, &Records{Beds: []Bed{bed("A", 1), bed("B", 1)}})
	r := &Records{
		Amendments: []Amendment{spread("A", "lime", 18000, 5, 2), spread("A", "compost", 18001, 40, 3), spread("B", "lime", 18001, 6, 4)},
		SoilTests:  []SoilTest{soil("A", "P", 18000, 50, 2), soil("A", "K", 18000, 90, 3), soil("B", "P", 18000, 70, 4)},
	}
	commit(t, b, r)
	return b, r
}

func with[T any](rows []T, i int, change func(*T)) []T {
	rows = slices.Clone(rows)
	change(&rows[i])
	return rows
}

func kg(v float64) func(*Amendment) { return func(a *Amendment) { a.Amount = &v } }

func TestCorrect(t *testing.T) {
	for _, x := range []struct {
		name  string
		sheet func(r *Records) *Records
		told  []string
		rows  map[string]int // but corrections
		gone  map[string]int
		left  int // rows that stand
	}{
		{"a value", func(r *Records) *Records {
			return &Records{SoilTests: with(r.SoilTests, 1, func(s *SoilTest) { s.Value, s.ReportedValue = 95, 95 })}
		}, []string{"batch 3 (tests.csv line 3): A, K, 2019-04-14: value 90 ppm -> 95 ppm; it was 2:tests.csv:3"}, map[string]int{"soil_tests": 1}, nil, 3},
		{"a value, sorted the other way and a row above", func(r *Records) *Records {
			s := with(r.SoilTests, 1, func(s *SoilTest) { s.Value, s.ReportedValue = 95, 95 })
			slices.Reverse(s)
			s = append([]SoilTest{soil("B", "K", 18000, 1, 0)}, s...)
			for i := range s {
				s[i].Line = int32(2 + i)
			}
			return &Records{SoilTests: s}
		}, []string{"batch 3 (tests.csv line 4): A, K, 2019-04-14: value 90 ppm -> 95 ppm; it was 2:tests.csv:3"}, map[string]int{"soil_tests": 2}, nil, 4},
		{"an analyte", func(r *Records) *Records {
			return &Records{SoilTests: with(r.SoilTests, 1, func(s *SoilTest) { s.Analyte = "Mg" })}
		}, []string{"batch 3 (tests.csv line 3): A, K, 2019-04-14: analyte K -> Mg; it was 2:tests.csv:3"}, map[string]int{"soil_tests": 1}, nil, 3},
		{"a lab and its method", func(r *Records) *Records {
			return &Records{SoilTests: with(r.SoilTests, 0, func(s *SoilTest) { s.Lab, s.Method, s.ReportedMethod = "Lab A", "Mehlich-3", "M3" })}
		}, []string{"batch 3 (tests.csv line 2): A, P, 2019-04-14: method empty -> M3; lab empty -> Lab A; it was 2:tests.csv:2"}, map[string]int{"soil_tests": 1}, nil, 3},
		{"an amount", func(r *Records) *Records {
			return &Records{Amendments: with(r.Amendments, 1, kg(44))}
		}, []string{"batch 3 (amendments.csv line 3): A, 2019-04-15, compost: amount 40 kg -> 44 kg; it was 2:amendments.csv:3"}, map[string]int{"amendments": 1}, nil, 3},
		{"an amount and a range for it", func(r *Records) *Records {
			return &Records{Amendments: with(r.Amendments, 1, func(a *Amendment) { a.Qualifier, a.AmountLow, a.AmountHigh = "about", ptr(30.0), ptr(50.0) })}
		}, []string{"batch 3 (amendments.csv line 3): A, 2019-04-15, compost: amount 40 kg -> about 40 kg; it was 2:amendments.csv:3"}, map[string]int{"amendments": 1}, nil, 3},
		{"an amount, moved by rows above", func(r *Records) *Records {
			a := with(r.Amendments, 1, kg(44))
			a[0].Line, a[1].Line, a[2].Line = 4, 5, 6
			return &Records{Amendments: append([]Amendment{spread("B", "ash", 18009, 1, 2), spread("B", "ash", 18010, 1, 3)}, a...)}
		}, []string{"batch 3 (amendments.csv line 5): A, 2019-04-15, compost: amount 40 kg -> 44 kg; it was 2:amendments.csv:3"}, map[string]int{"amendments": 3}, nil, 5},
		{"a day, moved by rows above", func(r *Records) *Records {
			a := with(r.Amendments, 1, func(a *Amendment) { a.Date = 18031 })
			a[0].Line, a[1].Line, a[2].Line = 4, 5, 6
			return &Records{Amendments: append([]Amendment{spread("B", "ash", 18009, 1, 2), spread("B", "ash", 18010, 1, 3)}, a...)}
		}, []string{"batch 3 (amendments.csv line 5): A, 2019-04-15, compost: date 2019-04-15 -> 2019-05-15; it was 2:amendments.csv:3"}, map[string]int{"amendments": 3}, nil, 5},
		{"a bed", func(r *Records) *Records {
			return &Records{Amendments: with(r.Amendments, 1, func(a *Amendment) { a.Bed = "B" })}
		}, []string{"batch 3 (amendments.csv line 3): A, 2019-04-15, compost: bed A -> B; it was 2:amendments.csv:3"}, map[string]int{"amendments": 1}, nil, 3},
		{"a row gone, one new", func(r *Records) *Records {
			return &Records{Amendments: []Amendment{r.Amendments[0], r.Amendments[2], spread("B", "ash", 18009, 1, 9)}}
		}, nil, map[string]int{"amendments": 1}, map[string]int{"amendments": 1}, 4},
		{"the first of two seasons in a sheet of the name", func(r *Records) *Records {
			return &Records{Amendments: []Amendment{spread("A", "lime", 18400, 5, 2), spread("A", "compost", 18401, 40, 3)}}
		}, nil, map[string]int{"amendments": 2}, nil, 5},
	} {
		t.Run(x.name, func(t *testing.T) {
			b, first := season(t)
			sheet := x.sheet(first)
			_, err := b.Commit(Batch{Records: sheet, Now: noon})
			var ce *ChangedError
			if x.told == nil && err != nil || x.told != nil && (!errors.As(err, &ce) || ce.Total != len(x.told)) {
				t.Fatal(err)
			}
			if x.told == nil {
				if _, err := b.Undo(3, "test", noon); err != nil {
					t.Fatal(err)
				}
			} else if n := len(raw(t, b).Corrections); n > 0 {
				t.Error("something was kept")
			}
			res := take(t, b, Batch{Records: sheet, Correct: true})
			said := told(res.Changes)
			for i := range said {
				said[i] = strings.Replace(said[i], fmt.Sprintf("batch %d", res.Number), "batch 3", 1)
			}
			if diff := cmp.Diff(x.told, said); diff != "" {
				t.Error(diff)
			}
			if n := res.Rows["corrections"]; n != len(x.told) {
				t.Errorf("%d corrections", n)
			}
			delete(res.Rows, "corrections")
			if diff := cmp.Diff(x.rows, res.Rows) + cmp.Diff(x.gone, res.Gone); diff != "" {
				t.Error(diff)
			}
			corrected := 0
			for _, n := range res.Corrected {
				corrected += n
			}
			got := records(t, b)
			left := len(got.Amendments)
			if sheet.SoilTests != nil {
				left = len(got.SoilTests)
			}
			if corrected != len(x.told) || left != x.left {
				t.Errorf("%d corrected, %d stand", corrected, left)
			}
			if _, err := b.Commit(Batch{Records: sheet, Correct: true, Now: noon}); !errors.Is(err, ErrNothingNew) {
				t.Error("once more:", err)
			}
			// The old rows stay in their batch, and an undo brings them back.
			if r := raw(t, b); len(r.Amendments) < 3 || len(r.SoilTests) < 3 {
				t.Error("an old row is lost")
			}
			if _, err := b.Undo(res.Number, "test", noon); err != nil {
				t.Fatal(err)
			}
			if got = records(t, b); len(got.Amendments) != 3 || len(got.SoilTests) != 3 {
				t.Errorf("%+v", got)
			}
		})
	}
}

// TestOtherSheets: two sheets that contradict each other are a conflict, and a
// change if the batch says so; events of two sheets never meet.
func TestOtherSheets(t *testing.T) {
	b, r := season(t)
	s := r.SoilTests[0]
	s.File, s.Line, s.Value, s.ReportedValue = "lab.csv", 9, 51, 51
	sheet := &Records{SoilTests: []SoilTest{s}}
	_, err := b.Commit(Batch{Records: sheet, Now: noon})
	var ce *ConflictError
	if !errors.As(err, &ce) || ce.Total != 1 || ce.Conflicts[0].Replaces() != "2:tests.csv:2" {
		t.Fatal(err)
	}
	res := take(t, b, Batch{Records: sheet, Correct: true})
	if diff := cmp.Diff([]string{"batch 3 (lab.csv line 9): A, P, 2019-04-14: value 50 ppm -> 51 ppm; it was 2:tests.csv:2"}, told(res.Changes)); diff != "" {
		t.Error(diff)
	}
	// The first sheet is an old one now, and no change back, whatever is said.
	for _, correct := range []bool{false, true} {
		_, err = b.Commit(Batch{Records: r, Correct: correct, Now: noon})
		mustSay(t, err, "all 6 rows are in the book already, 1 of them corrected or withdrawn since")
	}
	a := r.Amendments[0]
	a.File, a.Amount = "more.csv", ptr(7.0)
	res = take(t, b, Batch{Records: &Records{Amendments: []Amendment{a}}, Correct: true})
	if len(res.Changes) > 0 || len(records(t, b).Amendments) != 4 {
		t.Errorf("%+v", res)
	}
	// What contradicts itself is never taken.
	s.Value, s.ReportedValue, s.Line = 52, 52, 10
	for _, correct := range []bool{false, true} {
		_, err = b.Commit(Batch{Records: &Records{SoilTests: []SoilTest{sheet.SoilTests[0], s}}, Correct: correct, Now: noon})
		if !errors.As(err, &ce) || ce.Total != 1 {
			t.Fatal(err)
		}
		mustSay(t, err, "lab.csv line 10 and lab.csv line 9: A, P, 2019-04-14: value 52 ppm here, 51 ppm there", "leave out what is wrong")
	}
}

// TestBothKindsAtOnce: what changed and what contradicts are told together.
func TestBothKindsAtOnce(t *testing.T) {
	b, r := season(t)
	s := r.SoilTests[0]
	s.File, s.Value, s.ReportedValue = "lab.csv", 51, 51
	_, err := b.Commit(Batch{Records: &Records{SoilTests: []SoilTest{s}, Amendments: with(r.Amendments, 0, kg(9))}, Now: noon})
	var conflict *ConflictError
	var changed *ChangedError
	if !errors.As(err, &conflict) || !errors.As(err, &changed) || conflict.Total != 1 || changed.Total != 1 {
		t.Error(err)
	}
}

// TestThereAndBack: a line set back to an earlier value.
func TestThereAndBack(t *testing.T) {
	value := func(v float64) func(*SoilTest) { return func(s *SoilTest) { s.Value, s.ReportedValue = v, v } }
	now := func(t *testing.T, b *Book, p, lime float64) {
		t.Helper()
		got := records(t, b)
		if len(got.SoilTests) != 3 || len(got.Amendments) != 3 {
			t.Fatalf("%+v", got)
		}
		for _, s := range got.SoilTests {
			if s.Bed == "A" && s.Analyte == "P" && s.Value != p {
				t.Errorf("P %v, want %v", s.Value, p)
			}
		}
		for _, a := range got.Amendments {
			if a.Bed == "A" && a.Material == "lime" && *a.Amount != lime {
				t.Errorf("lime %v, want %v", *a.Amount, lime)
			}
		}
	}
	t.Run("in the sheet", func(t *testing.T) {
		b, a := season(t)
		sheets := []*Records{a, {SoilTests: with(a.SoilTests, 0, value(55)), Amendments: with(a.Amendments, 0, kg(8))},
			{SoilTests: with(a.SoilTests, 0, value(57)), Amendments: with(a.Amendments, 0, func(x *Amendment) { x.Date = 18010 })}}
		for _, n := range []int{1, 0, 1, 0, 2, 0, 2, 1} {
			if _, err := b.Commit(Batch{Records: sheets[n], Now: noon}); !errors.As(err, new(*ChangedError)) {
				t.Fatal(n, err)
			}
			res := take(t, b, Batch{Records: sheets[n], Correct: true})
			if len(res.Changes) != 2 {
				t.Fatal(told(res.Changes))
			}
			now(t, b, []float64{50, 55, 57}[n], []float64{5, 8, 5}[n])
			if _, err := b.Commit(Batch{Records: sheets[n], Now: noon}); !errors.Is(err, ErrNothingNew) {
				t.Error(err)
			}
		}
		list, err := b.History("soil_tests", Source{10, "tests.csv", 2}, "P")
		if err != nil || len(list) != 8 || list[0].Cells[0] != (Cell{"value", "57 ppm", "55 ppm"}) || list[7].There != (Source{2, "tests.csv", 2}) {
			t.Errorf("%v %v", told(list), err)
		}
	})
	t.Run("by claims", func(t *testing.T) {
		b, a := season(t)
		at := Source{2, "tests.csv", 2}
		for n, v := range []float64{55, 50, 55, 50} {
			s := a.SoilTests[0]
			s.File, s.Line, s.Value, s.ReportedValue = "export.xlsx/soil tests", int32(7+n), v, v
			res := take(t, b, Batch{Records: &Records{SoilTests: []SoilTest{s}}, Correct: true,
				Claims: []Claim{{Table: "soil_tests", At: s.Source, OfBatch: at.Batch, OfFile: at.File, OfLine: at.Line, Analyte: "P"}}})
			if len(res.Changes) != 1 {
				t.Fatal(told(res.Changes))
			}
			now(t, b, v, 5)
			at = res.Changes[0].Here
		}
	})
	t.Run("by replaces", func(t *testing.T) {
		b, a := season(t)
		of := int32(2)
		for _, v := range []float64{55, 50, 55, 50} {
			r := replaceAt(with(a.SoilTests, 0, value(v))[0], of, 2)
			of = int32(take(t, b, Batch{Records: r}).Number)
			now(t, b, v, 5)
			if _, err := b.Commit(Batch{Records: r, Now: noon}); !errors.Is(err, ErrNothingNew) {
				t.Error(err)
			}
		}
	})
}

// TestReplacesTwice: the second sheet that replaces a row is told what replaced
// it; the same sheet may say more of it.
func TestReplacesTwice(t *testing.T) {
	b, r := season(t)
	mend := func(file string, v float64) Batch {
		a := r.Amendments[0]
		a.File, a.Line, a.Amount = file, 3, &v
		return Batch{Records: &Records{Amendments: []Amendment{a}, Corrections: []Correction{{Table: "amendments", OfBatch: 2, OfFile: "amendments.csv", OfLine: 2, Action: "replace", Source: a.Source}}}, Now: noon}
	}
	take(t, b, mend("fix.csv", 7))
	_, err := b.Commit(mend("again.csv", 8))
	if !errors.Is(err, ErrRow) {
		t.Fatal(err)
	}
	mustSay(t, err, "was taken out already, by batch 3 (fix.csv line 3): name the row that replaced it")
	for _, same := range []string{"fix.csv", "again.csv"} {
		if _, err = b.Commit(mend(same, 7)); !errors.Is(err, ErrNothingNew) {
			t.Error(err)
		}
	}
	if _, err = b.Commit(mend("fix.csv", 9)); !errors.As(err, new(*ChangedError)) {
		t.Error(err)
	}
	batch := mend("fix.csv", 9)
	batch.Correct = true
	take(t, b, batch)
	if a := records(t, b).Amendments; len(a) != 3 || *a[0].Amount != 9 {
		t.Error(a)
	}
}

// claim makes a claim of each test of a sheet to the row of the book that said.
func claim(s SoilTest, of Source) Claim {
	return Claim{Table: "soil_tests", At: s.Source, OfBatch: of.Batch, OfFile: of.File, OfLine: of.Line, Analyte: s.Analyte}
}

func TestClaims(t *testing.T) {
	b, _ := season(t)
	wide := &Records{}
	for i, a := range []string{"Ca", "Mg", "S"} { // one line of a wide sheet
		s := soil("A", a, 18100, float64(i), 2)
		s.File = "my lab/2019 wide.csv"
		wide.SoilTests = append(wide.SoilTests, s)
	}
	commit(t, b, wide)
	export := func() *Records {
		r := &Records{SoilTests: slices.Clone(records(t, b).SoilTests)}
		for i := range r.SoilTests {
			r.SoilTests[i].Source = Source{File: "tests.xlsx/soil_tests", Line: int32(2 + i)}
		}
		return r
	}
	claims := func(r *Records) (list []Claim) {
		for i, of := range records(t, b).SoilTests {
			list = append(list, claim(r.SoilTests[i], of.Source))
		}
		return list
	}
	r := export()
	if _, err := b.Commit(Batch{Records: r, Claims: claims(r), Now: noon}); !errors.Is(err, ErrNothingNew) {
		t.Error(err)
	}
	// Bed, day, analyte and value mended, one of them on the wide line, in rows
	// that moved; a new row without a claim.
	list := claims(r)
	find := func(bed, analyte string) *SoilTest {
		i := slices.IndexFunc(r.SoilTests, func(s SoilTest) bool { return s.Bed == bed && s.Analyte == analyte })
		return &r.SoilTests[i]
	}
	find("A", "K").Date = 18005
	find("B", "P").Bed = "A"
	find("A", "Mg").Analyte = "Zn"
	find("A", "Ca").Value, find("A", "Ca").ReportedValue = 900, 900
	extra := soil("B", "OM", 18000, 3, 40)
	extra.File = "tests.xlsx/soil_tests"
	r.SoilTests = append(r.SoilTests[2:], append(r.SoilTests[:2:2], extra)...)
	_, err := b.Commit(Batch{Records: r, Claims: list, Now: noon})
	var ce *ChangedError
	if !errors.As(err, &ce) || ce.Total != 4 {
		t.Fatal(err)
	}
	// B's P of that day is A's now, and A has one: both make way for it.
	if _, err = b.Preview(Batch{Records: r, Claims: list, Correct: true, Now: noon}); !errors.As(err, new(*ConflictError)) {
		t.Fatal(err)
	}
	find("A", "P").Sample = "north" // the first of the two
	res := take(t, b, Batch{Records: r, Claims: list, Correct: true})
	want := []string{
		"batch 4 (tests.xlsx/soil_tests line 2): A, Ca, 2019-07-23: value 0 ppm -> 900 ppm; it was 3:my lab/2019 wide.csv:2",
		"batch 4 (tests.xlsx/soil_tests line 3): A, K, 2019-04-14: date 2019-04-14 -> 2019-04-19; it was 2:tests.csv:3",
		"batch 4 (tests.xlsx/soil_tests line 4): A, Mg, 2019-07-23: analyte Mg -> Zn; it was 3:my lab/2019 wide.csv:2",
		"batch 4 (tests.xlsx/soil_tests line 5): A, P, 2019-04-14: sample empty -> north; it was 2:tests.csv:2",
		"batch 4 (tests.xlsx/soil_tests line 7): B, P, 2019-04-14: bed B -> A; it was 2:tests.csv:4",
	}
	if diff := cmp.Diff(want, told(res.Changes)); diff != "" {
		t.Error(diff)
	}
	if diff := cmp.Diff(map[string]int{"soil_tests": 6, "corrections": 5}, res.Rows); diff != "" || res.Skipped["soil_tests"] != 1 || res.Gone != nil {
		t.Errorf("%s %+v", diff, res)
	}
	for _, s := range res.Changes {
		if at, err := ParseAddress(s.There.Address()); err != nil || at != s.There {
			t.Errorf("%v %v", at, err)
		}
	}
	if n := len(records(t, b).SoilTests); n != 7 {
		t.Errorf("%d tests", n)
	}
	// The sheet once more: it names rows that were replaced by these very rows.
	if _, err := b.Commit(Batch{Records: r, Claims: list, Now: noon}); !errors.Is(err, ErrNothingNew) {
		t.Error(err)
	}
	// An older export, one row of it edited: what was corrected since and is as it
	// was exported stays corrected.
	stale := &Records{SoilTests: []SoilTest{soil("A", "K", 18000, 90, 3), soil("A", "S", 18100, 2.5, 4)}}
	stale.SoilTests[0].File, stale.SoilTests[1].File = "tests.xlsx/soil_tests", "tests.xlsx/soil_tests"
	if res := take(t, b, Batch{Records: stale, Claims: []Claim{claim(stale.SoilTests[0], Source{2, "tests.csv", 3}), claim(stale.SoilTests[1], Source{3, "my lab/2019 wide.csv", 2})}, Correct: true}); len(res.Changes) != 1 || res.Skipped["soil_tests"] != 1 {
		t.Errorf("%+v", res)
	}
	// Edited, it changes the row that stands now.
	stale.SoilTests = stale.SoilTests[:1]
	stale.SoilTests[0].Value, stale.SoilTests[0].ReportedValue = 92, 92
	res = take(t, b, Batch{Records: stale, Claims: []Claim{claim(stale.SoilTests[0], Source{2, "tests.csv", 3})}, Correct: true})
	if diff := cmp.Diff([]string{"batch 6 (tests.xlsx/soil_tests line 3): A, K, 2019-04-19: value 90 ppm -> 92 ppm; date 2019-04-19 -> 2019-04-14; it was 4:tests.xlsx/soil_tests:3"}, told(res.Changes)); diff != "" {
		t.Error(diff)
	}
	// A part of the book exported says nothing of the rest.
	r = &Records{SoilTests: export().SoilTests[:1]}
	first := records(t, b).SoilTests[0]
	r.SoilTests[0].Note = "seen"
	if res := take(t, b, Batch{Records: r, Claims: []Claim{claim(r.SoilTests[0], first.Source)}, Correct: true}); res.Gone != nil || len(res.Changes) != 1 {
		t.Errorf("%+v", res)
	}

	take(t, b, Batch{Records: &Records{Corrections: []Correction{{Table: "soil_tests", OfBatch: 5, OfLine: 4, Analyte: "S", Action: "withdraw", Source: Source{File: "w.csv", Line: 4}}}}})
	for _, x := range []struct {
		of   Source
		a    string
		says string
	}{
		{Source{3, "my lab/2019 wide.csv", 2}, "S", "tests.xlsx/soil_tests line 2: it says it is row 3:my lab/2019 wide.csv:2 of soil_tests, which was taken out by batch 8 (w.csv line 4)"},
		{Source{2, "tests.csv", 44}, "P", "row 2:tests.csv:44 of soil_tests, which no batch of the book holds"},
		{Source{2, "other.csv", 2}, "P", "row 2:other.csv:2 of soil_tests, which no batch of the book holds"},
		{Source{77, "tests.csv", 2}, "P", "which no batch of the book holds"},
	} {
		s := soil("A", "S", 18100, 7, 2)
		s.File = "tests.xlsx/soil_tests"
		_, err := b.Commit(Batch{Records: &Records{SoilTests: []SoilTest{s}}, Correct: true, Now: noon,
			Claims: []Claim{{Table: "soil_tests", At: s.Source, OfBatch: x.of.Batch, OfFile: x.of.File, OfLine: x.of.Line, Analyte: x.a}}})
		if !errors.Is(err, ErrRow) {
			t.Error(err)
		}
		mustSay(t, err, x.says, "hint: a row that is new names none")
	}
	mine := soil("A", "K", 18000, 7, 2)
	mine.File = "tests.xlsx/soil_tests"
	_, err = b.Commit(Batch{Records: &Records{SoilTests: []SoilTest{mine}, Corrections: []Correction{{Table: "soil_tests", OfBatch: 2, OfLine: 2, Action: "withdraw", Source: Source{File: "w.csv", Line: 9}}}},
		Claims: []Claim{claim(mine, Source{2, "tests.csv", 2})}, Correct: true, Now: noon})
	mustSay(t, err, "line 2 of batch 2 was taken out already, by batch 4 (tests.xlsx/soil_tests line 5)")
	k := slices.IndexFunc(records(t, b).SoilTests, func(s SoilTest) bool { return s.Analyte == "K" })
	of := records(t, b).SoilTests[k].Source
	_, err = b.Commit(Batch{Records: &Records{SoilTests: []SoilTest{mine}, Corrections: []Correction{{Table: "soil_tests", OfBatch: of.Batch, OfLine: of.Line, OfFile: of.File, Action: "withdraw", Source: Source{File: "w.csv", Line: 9}}}},
		Claims: []Claim{claim(mine, of)}, Correct: true, Now: noon})
	mustSay(t, err, "which was taken out by this import")
	two := export()
	two.SoilTests = two.SoilTests[:2]
	of = records(t, b).SoilTests[0].Source
	two.SoilTests[0].Note, two.SoilTests[1].Note = "x", "y"
	_, err = b.Commit(Batch{Records: two, Claims: []Claim{claim(two.SoilTests[0], of), claim(two.SoilTests[1], of)}, Correct: true, Now: noon})
	mustSay(t, err, "as another row says already")
}

// TestClaimOfAWideLine: an analyte that the line never held.
func TestClaimOfAWideLine(t *testing.T) {
	b := newBook(t)
	commit(t, b, &Records{Beds: []Bed{bed("A", 1)}, SoilTests: []SoilTest{soil("A", "P", 18000, 1, 2), soil("A", "K", 18000, 2, 2)}})
	s := soil("A", "Zn", 18000, 3, 9)
	s.File = "export.csv"
	_, err := b.Commit(Batch{Records: &Records{SoilTests: []SoilTest{s}}, Claims: []Claim{claim(s, Source{1, "tests.csv", 2})}, Correct: true, Now: noon})
	mustSay(t, err, "export.csv line 9: it says it is row 1:tests.csv:2 of soil_tests, and does not tell which of its line: A, K, 2019-04-14; A, P, 2019-04-14")
	// Named by its old analyte, it is told from its neighbour.
	c := claim(s, Source{1, "tests.csv", 2})
	c.Analyte = "K"
	res := take(t, b, Batch{Records: &Records{SoilTests: []SoilTest{s}}, Claims: []Claim{c}, Correct: true})
	if diff := cmp.Diff([]string{"batch 2 (export.csv line 9): A, K, 2019-04-14: analyte K -> Zn; value 2 ppm -> 3 ppm; it was 1:tests.csv:2"}, told(res.Changes)); diff != "" && len(res.Changes) != 1 {
		t.Error(diff)
	}
	if got := records(t, b).SoilTests; len(got) != 2 || got[0].Analyte != "P" || got[1].Analyte != "Zn" {
		t.Errorf("%+v", got)
	}
}

// TestClaimOfOneOfAlike: of two rows alike on one line a part cannot be told.
func TestClaimOfOneOfAlike(t *testing.T) {
	b := newBook(t)
	commit(t, b, &Records{Beds: []Bed{bed("A", 1)}, Amendments: []Amendment{spread("A", "lime", 18000, 1, 2), spread("A", "lime", 18000, 2, 2), spread("A", "ash", 18000, 3, 2)}})
	sheet := &Records{}
	var claims []Claim
	for i, a := range records(t, b).Amendments[1:] {
		a.Amount, a.Source = ptr(float64(8+i)), Source{File: "export.csv", Line: int32(2 + i)}
		sheet.Amendments = append(sheet.Amendments, a)
		claims = append(claims, Claim{Table: "amendments", At: a.Source, OfBatch: 1, OfFile: "amendments.csv", OfLine: 2})
	}
	_, err := b.Commit(Batch{Records: &Records{Amendments: sheet.Amendments[:1]}, Claims: claims, Correct: true, Now: noon})
	if !errors.Is(err, ErrRow) {
		t.Fatal(err)
	}
	mustSay(t, err, "export.csv line 2: it says it is row 1:amendments.csv:2 of amendments, and does not tell which of its line: A, 2019-04-14, ash; A, 2019-04-14, lime; A, 2019-04-14, lime")
	ash := records(t, b).Amendments[0]
	ash.Source = Source{File: "export.csv", Line: 9}
	claims = append(claims, Claim{Table: "amendments", At: ash.Source, OfBatch: 1, OfFile: "amendments.csv", OfLine: 2})
	sheet.Amendments = append(sheet.Amendments, ash)
	if res := take(t, b, Batch{Records: sheet, Claims: claims, Correct: true}); len(res.Changes) != 2 || len(records(t, b).Amendments) != 3 {
		t.Errorf("%+v", res)
	}
}

// TestClaimThatBecomesAnotherRow: what two rows say now is said once.
func TestClaimThatBecomesAnotherRow(t *testing.T) {
	b, r := season(t)
	p := r.SoilTests[2] // B's becomes A's
	p.Bed, p.Value, p.ReportedValue, p.File = "A", 50, 50, "export.csv"
	res := take(t, b, Batch{Records: &Records{SoilTests: []SoilTest{p}}, Claims: []Claim{claim(p, r.SoilTests[2].source2())}, Correct: true})
	if len(res.Changes) != 1 || res.Rows["soil_tests"] != 0 || res.Rows["corrections"] != 1 {
		t.Errorf("%+v", res)
	}
	if got := records(t, b); len(got.SoilTests) != 2 || got.Corrections[0].Action != "withdraw" {
		t.Errorf("%+v", got)
	}
}

// source2 is where a row of the season's sheets stands in the book.
func (t SoilTest) source2() Source { return Source{2, t.File, t.Line} }

// TestLinesOfSeveralEvents: of a wide sheet only the rows that changed make way,
// and their neighbours stay.
func TestLinesOfSeveralEvents(t *testing.T) {
	b := newBook(t)
	commit(t, b, &Records{Beds: []Bed{bed("A", 1), bed("B", 1)}})
	row := func(bed, what string, day Date, v float64) Amendment { return spread(bed, what, day, v, 2) }
	first := []Amendment{row("A", "lime", 18000, 5), row("A", "compost", 18000, 40), row("B", "lime", 18000, 6), row("A", "lime", 18020, 1), row("A", "lime", 18020, 2), spread("B", "ash", 18000, 1, 3)}
	commit(t, b, &Records{Amendments: first})
	amounts := func() string {
		var s []string
		for _, a := range records(t, b).Amendments {
			s = append(s, fmt.Sprintf("%s %d %s %v", a.Bed, int(a.Date)-18000, a.Material, *a.Amount))
		}
		return strings.Join(s, ", ")
	}
	res := take(t, b, Batch{Records: &Records{Amendments: with(first, 0, kg(7))}, Correct: true})
	if got := amounts(); got != "A 0 compost 40, A 0 lime 7, A 20 lime 1, A 20 lime 2, B 0 ash 1, B 0 lime 6" || len(res.Changes) != 1 {
		t.Error(got, told(res.Changes))
	}
	// Of two rows of one bed, day and material on the line, both are written.
	res = take(t, b, Batch{Records: &Records{Amendments: with(with(first, 0, kg(7)), 4, kg(3))}, Correct: true})
	if got := amounts(); got != "A 0 compost 40, A 0 lime 7, A 20 lime 1, A 20 lime 3, B 0 ash 1, B 0 lime 6" || len(res.Changes) != 1 {
		t.Error(got, told(res.Changes))
	}
	// The day of the whole line.
	all := with(with(first, 0, kg(7)), 4, kg(3))
	for i := range all[:5] {
		all[i].Date += 3
	}
	res = take(t, b, Batch{Records: &Records{Amendments: all}, Correct: true})
	if got := amounts(); got != "A 3 compost 40, A 3 lime 7, A 23 lime 1, A 23 lime 3, B 0 ash 1, B 3 lime 6" || len(res.Changes) != 5 ||
		slices.ContainsFunc(res.Changes, func(c Change) bool { return len(c.Cells) != 1 || c.Cells[0].Column != "date" }) {
		t.Error(got, told(res.Changes))
	}
	// Of two alike that cannot be named apart, one left and one edited: both go.
	all = append(all[:3:3], all[4:]...)
	all[3].Amount = ptr(4.0)
	res = take(t, b, Batch{Records: &Records{Amendments: all}, Correct: true})
	if got := amounts(); got != "A 3 compost 40, A 3 lime 7, A 23 lime 4, B 0 ash 1, B 3 lime 6" || len(res.Changes) != 2 || res.Rows["corrections"] != 1 || res.Gone != nil {
		t.Error(got, told(res.Changes))
	}
	// Each row of a line has a history of its own.
	for what, want := range map[string]int{"lime": 3, "compost": 1} {
		n := 0
		for _, a := range records(t, b).Amendments {
			if a.Bed == "A" && a.Material == what && a.Date == 18003 {
				list, err := b.History("amendments", a.Source, "")
				if err != nil {
					t.Fatal(err)
				}
				for _, c := range list {
					if strings.HasSuffix(c.Subject, what) && strings.HasPrefix(c.Subject, "A") {
						n++
					}
				}
			}
		}
		if n < want {
			t.Errorf("%s: %d changes, want %d", what, n, want)
		}
	}
}

// TestWaterings: two waterings of a bed and day are two, two rows of a site's
// day are one fact.
func TestWaterings(t *testing.T) {
	b := newBook(t)
	commit(t, b, &Records{Beds: []Bed{bed("A", 1)}})
	water := func(line int32, litres float64) Weather {
		return Weather{Grower: "G", Bed: "A", Date: 18000, Period: "day", IrrigationL: &litres, Source: Source{File: "weather.csv", Line: line}}
	}
	rain := func(line int32, mm float64) Weather {
		return Weather{Grower: "G", Site: "home", Date: 18000, Period: "day", Rain: &mm, Source: Source{File: "weather.csv", Line: line}}
	}
	sheet := []Weather{water(2, 40), water(3, 40), water(4, 60), rain(5, 3), rain(6, 3)}
	res := take(t, b, Batch{Records: &Records{Weather: sheet}})
	if res.Rows["weather"] != 4 || res.Skipped["weather"] != 1 {
		t.Errorf("%+v", res)
	}
	if _, err := b.Commit(Batch{Records: &Records{Weather: sheet}, Now: noon}); !errors.Is(err, ErrNothingNew) {
		t.Error(err)
	}
	res = take(t, b, Batch{Records: &Records{Weather: append(slices.Clone(sheet), water(7, 40))}})
	if res.Rows["weather"] != 1 || len(records(t, b).Weather) != 5 {
		t.Errorf("%+v", res)
	}
	if _, err := b.Commit(Batch{Records: &Records{Weather: []Weather{rain(2, 3), rain(3, 4)}}, Now: noon}); !errors.As(err, new(*ConflictError)) {
		t.Error(err)
	}
	res = take(t, b, Batch{Records: &Records{Weather: append(with(sheet, 2, func(w *Weather) { w.IrrigationL = ptr(65.0) }), water(7, 40))}, Correct: true})
	if diff := cmp.Diff([]string{"batch 4 (weather.csv line 4): A, 2019-04-14, day: irrigation_l 60 -> 65; it was 2:weather.csv:4"}, told(res.Changes)); diff != "" {
		t.Error(diff)
	}
}

// TestEqualToAnOldEvent: an event like one that was corrected is another one,
// if its sheet has what corrected it; in a sheet that was never mended it is the
// old one.
func TestEqualToAnOldEvent(t *testing.T) {
	b, r := season(t)
	mended := with(r.Amendments, 0, kg(8))
	take(t, b, Batch{Records: &Records{Amendments: mended}, Correct: true})
	res := take(t, b, Batch{Records: &Records{Amendments: append(mended, spread("A", "lime", 18000, 5, 5))}})
	if res.Rows["amendments"] != 1 || len(records(t, b).Amendments) != 4 {
		t.Errorf("%+v", res)
	}
	// Withdrawn, the first stays out however often its sheet comes; a second like
	// it is another.
	take(t, b, Batch{Records: &Records{Corrections: []Correction{{Table: "amendments", OfBatch: 2, OfLine: 3, Action: "withdraw", Source: Source{File: "w.csv", Line: 2}}}}})
	if _, err := b.Commit(Batch{Records: &Records{Amendments: mended}, Now: noon}); !errors.Is(err, ErrNothingNew) {
		t.Error(err)
	}
	res = take(t, b, Batch{Records: &Records{Amendments: append(mended, spread("A", "compost", 18001, 40, 6))}})
	if res.Rows["amendments"] != 1 || len(records(t, b).Amendments) != 4 {
		t.Errorf("%+v", res)
	}
}

// TestEqualEventsOfTwoSheets: a row is first the one of its own place.
func TestEqualEventsOfTwoSheets(t *testing.T) {
	b, r := season(t)
	other := func(line int32, v float64) Amendment {
		a := spread("A", "lime", 18000, v, line)
		a.File = "other.csv"
		return a
	}
	res := take(t, b, Batch{Records: &Records{Amendments: []Amendment{other(2, 5), other(3, 5)}}})
	if res.Rows["amendments"] != 1 || res.Skipped["amendments"] != 1 {
		t.Errorf("%+v", res)
	}
	res = take(t, b, Batch{Records: &Records{Amendments: []Amendment{other(2, 9), other(3, 5)}}, Correct: true})
	if len(res.Changes) > 0 || res.Rows["amendments"] != 1 {
		t.Error(told(res.Changes))
	}
	res = take(t, b, Batch{Records: &Records{Amendments: append(slices.Clone(r.Amendments[1:]), spread("B", "ash", 18000, 1, 9))}})
	if diff := cmp.Diff(map[string]int{"amendments": 1}, res.Gone); diff != "" {
		t.Error(diff)
	}
}

// TestBedRenamedByCorrection: rows that rest on a description that goes hold it.
func TestBedRenamedByCorrection(t *testing.T) {
	b := newBook(t)
	north := bed("Nroth", 1)
	south := bed("South", 1)
	south.Line = 3
	commit(t, b, &Records{Beds: []Bed{north, south}, SoilTests: []SoilTest{soil("Nroth", "P", 18000, 1, 2), soil("South", "P", 18000, 1, 3)}})
	north.Bed = "North"
	_, err := b.Commit(Batch{Records: &Records{Beds: []Bed{north, south}}, Correct: true, Now: noon})
	var ue *UnknownBedError
	if !errors.As(err, &ue) || ue.Total != 1 {
		t.Fatal(err)
	}
	mustSay(t, err, `bed "Nroth"`, `did you mean "North"?`)
	res := take(t, b, Batch{Records: &Records{Beds: []Bed{north, south}, SoilTests: []SoilTest{soil("North", "P", 18000, 1, 2), soil("South", "P", 18000, 1, 3)}}, Correct: true})
	if len(res.Changes) != 2 || strings.Join(records(t, b).BedNames(), " ") != "North South" {
		t.Errorf("%+v", res)
	}
}

// TestKeyOfALaterImport: the only row that an import added is found by its line,
// since its sheet held rows of the book as well.
func TestKeyOfALaterImport(t *testing.T) {
	b, r := season(t)
	grown := append(slices.Clone(r.Amendments), spread("B", "ash", 18009, 1, 5))
	commit(t, b, &Records{Amendments: grown})
	res := take(t, b, Batch{Records: &Records{Amendments: with(grown, 3, func(a *Amendment) { a.Date = 18010 })}, Correct: true})
	if diff := cmp.Diff([]string{"batch 4 (amendments.csv line 5): B, 2019-04-23, ash: date 2019-04-23 -> 2019-04-24; it was 3:amendments.csv:5"}, told(res.Changes)); diff != "" {
		t.Error(diff)
	}
}

func TestNothingNewNamesWhatIsGone(t *testing.T) {
	b, r := season(t)
	_, err := b.Commit(Batch{Records: &Records{Amendments: r.Amendments[:2]}, Now: noon})
	mustSay(t, err, "nothing new: all 2 rows are in the book already", "hint: 1 row of an earlier import, no longer in the sheet, stays in the book: a withdraw sheet takes rows out")
}

// twoBeds is a book with a sheet of three tests a day of two beds, and that sheet.
func twoBeds(t *testing.T) (*Book, []SoilTest) {
	b := newBook(t)
	commit(t, b, &Records{Beds: []Bed{bed("Barn", 1), bed("Creek", 1)}})
	var sheet []SoilTest
	for n, day := range []Date{18000, 18180, 18365} {
		for m, name := range []string{"Barn", "Creek"} {
			for k, analyte := range []string{"P", "K", "OM"} {
				sheet = append(sheet, soil(name, analyte, day, float64(100*n+10*m+k+1), int32(2+len(sheet))))
			}
		}
	}
	commit(t, b, &Records{SoilTests: sheet})
	return b, slices.Clone(sheet)
}

func lined(sheet []SoilTest) *Records {
	for i := range sheet {
		sheet[i].Line = int32(2 + i)
	}
	return &Records{SoilTests: sheet}
}

// TestSortedSheet: in a sheet that was sorted, a place tells nothing.
func TestSortedSheet(t *testing.T) {
	t.Run("a date", func(t *testing.T) {
		b, s := twoBeds(t)
		s[4].Date = 18190 // Creek, K
		slices.SortStableFunc(s, func(x, y SoilTest) int { return int(y.Date - x.Date) })
		res := take(t, b, Batch{Records: lined(s), Correct: true})
		want := []string{"batch 3 (tests.csv line 8): Creek, K, 2019-04-14: date 2019-04-14 -> 2019-10-21; it was 2:tests.csv:6"}
		if diff := cmp.Diff(want, told(res.Changes)); diff != "" || res.Gone != nil {
			t.Error(diff, res.Gone)
		}
	})
	t.Run("a date and its value, by a month", func(t *testing.T) {
		b, s := twoBeds(t)
		s[4].Date, s[4].Value, s[4].ReportedValue = 18030, 7, 7
		slices.Reverse(s)
		res := take(t, b, Batch{Records: lined(s), Correct: true})
		want := []string{"batch 3 (tests.csv line 15): Creek, K, 2019-04-14: value 12 ppm -> 7 ppm; date 2019-04-14 -> 2019-05-14; it was 2:tests.csv:6"}
		if diff := cmp.Diff(want, told(res.Changes)); diff != "" || res.Gone != nil {
			t.Error(diff, res.Gone)
		}
	})
	t.Run("a row gone, one new, a date", func(t *testing.T) {
		// The place of the new row is each in turn: none makes it another's edit.
		for at := range 18 {
			b, s := twoBeds(t)
			s[4].Date = 18190
			s = slices.Delete(s, 2, 3) // Barn, OM
			slices.Reverse(s)
			s = slices.Insert(s, at, soil("Creek", "pH", 18365, 5.6, 0))
			res := take(t, b, Batch{Records: lined(s), Correct: true})
			if len(res.Changes) != 1 || res.Changes[0].Differs() != "date 2019-04-14 -> 2019-10-21" || res.Rows["soil_tests"] != 2 {
				t.Errorf("at %d: %v", at, told(res.Changes))
			}
			if diff := cmp.Diff(map[string]int{"soil_tests": 1}, res.Gone); diff != "" {
				t.Error(diff)
			}
		}
	})
	t.Run("a row in the place of another bed's and analyte's", func(t *testing.T) {
		b, s := twoBeds(t)
		s[8] = soil("Creek", "pH", 18370, 5.6, 0) // it was Barn's OM
		res := take(t, b, Batch{Records: lined(s)})
		if diff := cmp.Diff(map[string]int{"soil_tests": 1}, res.Gone); diff != "" || len(res.Changes) > 0 || res.Rows["soil_tests"] != 1 {
			t.Error(diff, told(res.Changes))
		}
	})
	t.Run("two that are like it", func(t *testing.T) {
		b, s := twoBeds(t)
		s[3].Date, s[3].Value, s[3].ReportedValue = 18010, 8, 8
		s = append(s, soil("Creek", "P", 18020, 9, 0))
		slices.Reverse(s)
		res := take(t, b, Batch{Records: lined(s)})
		if diff := cmp.Diff(map[string]int{"soil_tests": 1}, res.Gone); diff != "" || len(res.Changes) > 0 || res.Rows["soil_tests"] != 2 {
			t.Error(diff, told(res.Changes))
		}
	})
	t.Run("the date of an event", func(t *testing.T) {
		b, r := season(t)
		a := append(with(r.Amendments, 1, func(a *Amendment) { a.Date = 18020 }), spread("B", "ash", 18300, 2, 0))
		slices.Reverse(a)
		for i := range a {
			a[i].Line = int32(2 + i)
		}
		res := take(t, b, Batch{Records: &Records{Amendments: a}, Correct: true})
		want := []string{"batch 3 (amendments.csv line 4): A, 2019-04-15, compost: date 2019-04-15 -> 2019-05-04; it was 2:amendments.csv:3"}
		if diff := cmp.Diff(want, told(res.Changes)); diff != "" || res.Gone != nil {
			t.Error(diff, res.Gone)
		}
	})
}

// TestRollingWeather: a sheet of the last days drops days and gains others, and
// dry days are alike.
func TestRollingWeather(t *testing.T) {
	b := newBook(t)
	days := func(from, n int) *Records {
		r := &Records{}
		for i := range n {
			rain := float64(from + i)
			if from+i == 0 || from+i == 7 {
				rain = 0
			}
			r.Weather = append(r.Weather, Weather{Grower: "G", Site: "home", Date: Date(18000 + from + i), Period: "day", Rain: &rain, Source: Source{File: "weather.csv", Line: int32(2 + i)}})
		}
		return r
	}
	commit(t, b, days(0, 6))
	res := take(t, b, Batch{Records: days(2, 6)})
	if len(res.Changes) > 0 || res.Rows["weather"] != 2 || res.Gone["weather"] != 2 {
		t.Errorf("%+v", res)
	}
}

// TestSpelledAnotherWay: a fact is one however its method is spelled.
func TestSpelledAnotherWay(t *testing.T) {
	ph := func(file, method string, value float64, line int32) SoilTest {
		s := soil("A", "pH", 18000, value, line)
		s.File, s.Method, s.ReportedMethod = file, "water 1:1", method
		return s
	}
	b := newBook(t)
	res := take(t, b, Batch{Records: &Records{Beds: []Bed{bed("A", 1)}, SoilTests: []SoilTest{ph("a.csv", "water 1:1", 6, 2), ph("a.csv", "1:1 water", 6, 3)}}})
	if res.Rows["soil_tests"] != 1 || res.Skipped["soil_tests"] != 1 {
		t.Errorf("%+v", res)
	}
	for _, file := range []string{"a.csv", "b.csv"} { // beside the one that the book has
		_, err := b.Commit(Batch{Records: &Records{SoilTests: []SoilTest{ph(file, "1:1 water", 6, 3), ph(file, "water 1:1", 6, 2)}}, Now: noon})
		if !errors.Is(err, ErrNothingNew) {
			t.Error(err)
		}
	}
	for _, correct := range []bool{false, true} { // instead of it, in another sheet
		if _, err := b.Commit(Batch{Records: &Records{SoilTests: []SoilTest{ph("b.csv", "1:1 water", 6, 3)}}, Correct: correct, Now: noon}); !errors.Is(err, ErrNothingNew) {
			t.Error(err)
		}
	}
	// Its own sheet may mend how it is spelled.
	if res := take(t, b, Batch{Records: &Records{SoilTests: []SoilTest{ph("a.csv", "1:1 water", 6, 2)}}, Correct: true}); len(res.Changes) != 1 {
		t.Errorf("%+v", res)
	}
	if _, err := b.Commit(Batch{Records: &Records{SoilTests: []SoilTest{ph("c.csv", "1:1 water", 6, 2), ph("c.csv", "water 1:1", 6.1, 3)}}, Now: noon}); !errors.As(err, new(*ConflictError)) {
		t.Error(err)
	}
}

// TestWithdrawFromAWorkbook: its name is enough where one sheet has the row.
func TestWithdrawFromAWorkbook(t *testing.T) {
	b := newBook(t)
	x, y, z := soil("A", "P", 18000, 1, 2), spread("A", "lime", 18000, 1, 2), spread("A", "ash", 18000, 1, 3)
	x.File, y.File, z.File = "sheets.xlsx/soil tests", "sheets.xlsx/amendments", "sheets.xlsx/amendments"
	z2 := z
	z2.File, z2.Material = "sheets.xlsx/more amendments", "compost"
	commit(t, b, &Records{Beds: []Bed{bed("A", 1)}, SoilTests: []SoilTest{x}, Amendments: []Amendment{y, z, z2}})
	out := func(file string, line int32) Batch {
		return Batch{Records: &Records{Corrections: []Correction{{Table: "amendments", OfBatch: 1, OfFile: file, OfLine: line, Action: "withdraw", Source: Source{File: "w.csv", Line: 2}}}}, Now: noon}
	}
	take(t, b, out("sheets.xlsx", 2))
	if r := records(t, b); len(r.Amendments) != 2 || len(r.SoilTests) != 1 || r.Corrections[0].OfFile != "sheets.xlsx/amendments" {
		t.Errorf("%+v", r)
	}
	if _, err := b.Commit(out("sheets.xlsx", 2)); !errors.Is(err, ErrNothingNew) {
		t.Error(err)
	}
	_, err := b.Commit(out("sheets.xlsx", 3))
	mustSay(t, err, "sheets.xlsx line 3 of batch 1 stands in more than one sheet", `hint: name the sheet: "sheets.xlsx/amendments" or "sheets.xlsx/more amendments"`)
	_, err = b.Commit(out("other.xlsx", 2))
	mustSay(t, err, "the book has no row of amendments from other.xlsx line 2 of batch 1")
	take(t, b, out("sheets.xlsx/more amendments", 3))
}

// TestChangesInWords: a change is told as its sheet has it.
func TestChangesInWords(t *testing.T) {
	yard := func(low, v, high float64, qualifier string) *Records {
		a := spread("A", "compost", 18000, v*0.764554857984, 2)
		a.Unit, a.ReportedAmount, a.ReportedUnit, a.Qualifier = "m3", &v, "cu yd", qualifier
		if low > 0 {
			a.AmountLow, a.AmountHigh = ptr(low*0.764554857984), ptr(high*0.764554857984)
		}
		return &Records{Amendments: []Amendment{a}}
	}
	deep := func(form string, value, reported float64) *Records {
		s := soil("A", "P", 18000, value, 2)
		s.DepthFrom, s.DepthTo, s.Basis, s.Lab, s.Method, s.Report, s.ReportedForm, s.ReportedValue = ptr(0.0), ptr(15.24), "mass", "Lab A", "Mehlich-3", "77", form, reported
		return &Records{SoilTests: []SoilTest{s}}
	}
	for _, x := range []struct {
		was, is *Records
		said    string
	}{
		{yard(0, 2, 0, ""), yard(2, 2.5, 3, ""), "A, 2019-04-14, compost: amount 2 cu yd -> 2-3 cu yd"},
		{yard(2, 2.5, 3, ""), yard(2, 2.5, 3, "about"), "A, 2019-04-14, compost: amount 2-3 cu yd -> about 2-3 cu yd"},
		{yard(1.5, 2, 2.5, "about"), yard(0, 2, 0, ""), "A, 2019-04-14, compost: amount about 2 cu yd -> 2 cu yd"},
		{yard(0, 2, 0, "about"), yard(1.5, 2, 2.5, "about"), "A, 2019-04-14, compost: amount range empty -> 1.5-2.5 cu yd"},
		{deep("P", 50, 50), deep("P2O5", 21.8, 50), "A, P, 2019-04-14, Lab A, 0-15 cm: form P -> P2O5"},
		{deep("", 50, 50), deep("P2O5", 26.2, 60), "A, P, 2019-04-14, Lab A, 0-15 cm: value 50 ppm -> 60 ppm P2O5"},
	} {
		b := newBook(t)
		commit(t, b, &Records{Beds: []Bed{bed("A", 1)}})
		commit(t, b, x.was)
		res := take(t, b, Batch{Records: x.is, Correct: true})
		if len(res.Changes) != 1 || res.Changes[0].Subject+": "+res.Changes[0].Differs() != x.said {
			t.Errorf("%v, want %s", told(res.Changes), x.said)
		}
	}
}

func TestAddress(t *testing.T) {
	for _, s := range []Source{{3, "tests.csv", 7}, {12, "my patch.xlsx/soil tests", 100}, {1, `C:\sheets\a:b.csv`, 2}, {4, "", 0}, {2, " x ", 1}} {
		if got, err := ParseAddress(s.Address()); err != nil || got != s {
			t.Errorf("%q: %+v %v", s.Address(), got, err)
		}
	}
	if got, err := ParseAddress("3:7"); err != nil || got != (Source{3, "", 7}) {
		t.Errorf("%+v %v", got, err)
	}
	for _, bad := range []string{"", "7", ":", "x:tests.csv:7", "3:tests.csv", "0:a:1", "3:a:-1", "-1:a:1", "3::", "99999999999:a:1"} {
		if got, err := ParseAddress(bad); err == nil {
			t.Errorf("%q: %+v", bad, got)
		}
	}
	_, err := ParseAddress("tests.csv")
	mustSay(t, err, `"tests.csv": expected batch:file:line such as 3:tests.csv:7`)
}

// TestNamesOfFiles: a correction means the file of its full name before one that
// ends so.
func TestNamesOfFiles(t *testing.T) {
	b := newBook(t)
	x, y := soil("A", "P", 18000, 1, 2), soil("A", "P", 18001, 1, 2)
	x.File, y.File = "a.csv", "2019/a.csv"
	commit(t, b, &Records{Beds: []Bed{bed("A", 1)}, SoilTests: []SoilTest{x, y}})
	take(t, b, Batch{Records: &Records{Corrections: []Correction{{Table: "soil_tests", OfBatch: 1, OfFile: "a.csv", OfLine: 2, Action: "withdraw", Source: Source{File: "w.csv", Line: 2}}}}})
	if r := records(t, b); len(r.SoilTests) != 1 || r.SoilTests[0].File != "2019/a.csv" {
		t.Errorf("%+v", r.SoilTests)
	}
}

func TestHistoryOf(t *testing.T) {
	b, r := season(t)
	for _, x := range []struct {
		table string
		at    Source
	}{{"soil_test", Source{2, "tests.csv", 2}}, {"soil_tests", Source{2, "tests.csv", 9}}, {"soil_tests", Source{9, "tests.csv", 2}}} {
		if _, err := b.History(x.table, x.at, ""); !errors.Is(err, ErrNoBatch) {
			t.Error(err)
		}
	}
	if list, err := b.History("soil_tests", Source{2, "tests.csv", 2}, ""); err != nil || list != nil {
		t.Errorf("%v %v", list, err)
	}
	wide := []SoilTest{soil("A", "Ca", 18100, 1, 2), soil("A", "Mg", 18100, 2, 2), soil("B", "Ca", 18100, 3, 3)}
	for i := range wide {
		wide[i].File = "wide.csv"
	}
	commit(t, b, &Records{SoilTests: slices.Clone(wide)})
	for n := range 2 {
		for i := range wide[:2] {
			wide[i].Value += 10
			wide[i].ReportedValue = wide[i].Value
		}
		take(t, b, Batch{Records: &Records{SoilTests: slices.Clone(wide)}, Correct: true})
		list, err := b.History("soil_tests", Source{int32(4 + n), "wide.csv", 2}, "Mg")
		if err != nil || len(list) != n+1 || slices.ContainsFunc(list, func(c Change) bool { return c.Subject != "A, Mg, 2019-07-23" }) {
			t.Errorf("%v %v", told(list), err)
		}
	}
	wide[0].Value, wide[0].ReportedValue = 1, 1 // one of the two back to the first
	res := take(t, b, Batch{Records: &Records{SoilTests: slices.Clone(wide)}, Correct: true})
	if len(res.Changes) != 1 || res.Changes[0].Subject != "A, Ca, 2019-07-23" {
		t.Error(told(res.Changes))
	}
	fix := r.SoilTests[0]
	fix.Value, fix.ReportedValue = 5, 5
	fix.File = "fix.csv"
	take(t, b, Batch{Records: replaceAt(fix, 2, 2)})
	list, err := b.History("soil_tests", Source{7, "fix.csv", 2}, "P")
	if want := []string{"batch 7 (fix.csv line 2): A, P, 2019-04-14: value 50 ppm -> 5 ppm; it was 2:tests.csv:2"}; err != nil || !slices.Equal(told(list), want) {
		t.Errorf("%v %v", told(list), err)
	}
}

// A sheet that is edited, sorted, cut and grown at random and imported again
// with Correct leaves what it says and what it no longer says (property). Every
// row that it ever held stays in some batch.
func TestAnySheetAgain(t *testing.T) {
	rounds := 6
	if long() {
		rounds = 150
	}
	for seed := range rounds {
		rng := rand.New(rand.NewPCG(uint64(seed), 3))
		b := newBook(t)
		commit(t, b, &Records{Beds: []Bed{bed("A", 1), bed("B", 1), bed("C", 1)}})
		beds, what := []string{"A", "B", "C"}, []string{"lime", "compost", "ash"}
		event := func() Amendment {
			return spread(beds[rng.IntN(3)], what[rng.IntN(3)], Date(18000+rng.IntN(4)), float64(rng.IntN(4)), 0)
		}
		test := func() SoilTest {
			return soil(beds[rng.IntN(3)], []string{"P", "K", "pH"}[rng.IntN(3)], Date(18000+rng.IntN(3)), float64(rng.IntN(6)), 0)
		}
		// The first rows never change, so that the sheet is known again.
		sheet := &Records{SoilTests: []SoilTest{soil("A", "OM", 17000, 4, 0)}, Amendments: []Amendment{spread("A", "manure", 17000, 4, 0)}}
		stand := func(r *Records) map[rowKey]int {
			has := map[rowKey]int{}
			for _, name := range []string{"amendments", "soil_tests"} {
				for _, k := range keys(tableNamed(name), r) {
					has[k]++
				}
			}
			return has
		}
		ever := map[rowKey]bool{}
		for step := range 12 {
			for range 1 + rng.IntN(4) {
				n, k := len(sheet.Amendments), len(sheet.SoilTests)
				switch op := rng.IntN(6); {
				case op == 0 || n < 3:
					sheet.Amendments = slices.Insert(sheet.Amendments, 1+rng.IntN(n), event())
					sheet.SoilTests = slices.Insert(sheet.SoilTests, 1+rng.IntN(k), test())
				case op == 1 && n > 2 && k > 2:
					i, j := 1+rng.IntN(n-1), 1+rng.IntN(k-1)
					sheet.Amendments = slices.Delete(sheet.Amendments, i, i+1)
					sheet.SoilTests = slices.Delete(sheet.SoilTests, j, j+1)
				case op == 2:
					rng.Shuffle(n-1, func(i, j int) {
						sheet.Amendments[i+1], sheet.Amendments[j+1] = sheet.Amendments[j+1], sheet.Amendments[i+1]
					})
					rng.Shuffle(k-1, func(i, j int) {
						sheet.SoilTests[i+1], sheet.SoilTests[j+1] = sheet.SoilTests[j+1], sheet.SoilTests[i+1]
					})
				case op == 3:
					sheet.Amendments[1+rng.IntN(n-1)] = event() // a key or more
					if k > 1 {
						sheet.SoilTests[1+rng.IntN(k-1)] = test()
					}
				default:
					sheet.Amendments[1+rng.IntN(n-1)].Amount = ptr(float64(rng.IntN(4)))
					if k > 1 {
						s := &sheet.SoilTests[1+rng.IntN(k-1)]
						s.Value = float64(rng.IntN(6))
						s.ReportedValue = s.Value
					}
				}
			}
			seen := map[string]bool{} // one test of a bed, day and analyte
			sheet.SoilTests = slices.DeleteFunc(sheet.SoilTests, func(s SoilTest) bool {
				k := fmt.Sprint(s.Bed, s.Date, s.Analyte)
				again := seen[k]
				seen[k] = true
				return again
			})
			for i := range sheet.Amendments {
				sheet.Amendments[i].Line = int32(2 + i)
			}
			for i := range sheet.SoilTests {
				sheet.SoilTests[i].Line = int32(2 + i)
			}
			says := stand(sheet)
			for k := range says {
				ever[k] = true
			}
			sheets := &Records{Amendments: slices.Clone(sheet.Amendments), SoilTests: slices.Clone(sheet.SoilTests)}
			res, err := b.Commit(Batch{Records: sheets, Correct: true, Now: noon})
			if err != nil && !errors.Is(err, ErrNothingNew) {
				t.Fatalf("seed %d step %d: %v", seed, step, err)
			}
			left := 0
			has := stand(records(t, b))
			for k, n := range says {
				if has[k] < n {
					t.Fatalf("seed %d step %d: the sheet has %d of %x, the book %d", seed, step, n, k, has[k])
				}
			}
			for k, n := range has {
				left += n - says[k]
				if !ever[k] {
					t.Fatalf("seed %d step %d: %x was never in the sheet", seed, step, k)
				}
			}
			if gone := res.Gone["amendments"] + res.Gone["soil_tests"]; err == nil && gone != left {
				t.Fatalf("seed %d step %d: %d rows more than the sheet, %d said to be gone", seed, step, left, gone)
			}
			if diff := cmp.Diff(full(t, b), records(t, b)); diff != "" {
				t.Fatalf("seed %d step %d: %s", seed, step, diff)
			}
			kept := stand(raw(t, b))
			for k := range ever {
				if kept[k] == 0 {
					t.Fatalf("seed %d step %d: %x is in no batch", seed, step, k)
				}
			}
		}
		sound(t, b)
	}
}

// A part of the book, exported, edited in any cell, sorted, with rows added and
// left out: the book then holds what it says, and what it says nothing of
// (property).
func TestAnyExportAgain(t *testing.T) {
	rounds := 5
	if long() {
		rounds = 200
	}
	tab := tableNamed("amendments")
	for seed := range rounds {
		rng := rand.New(rand.NewPCG(uint64(seed), 4))
		b := newBook(t)
		event := func(line int) Amendment {
			return spread([]string{"A", "B"}[rng.IntN(2)], []string{"lime", "ash"}[rng.IntN(2)], Date(18000+rng.IntN(3)), float64(rng.IntN(4)), int32(line))
		}
		first := &Records{Beds: []Bed{bed("A", 1), bed("B", 1)}}
		for i := range 8 {
			a := event(2 + i/2)                                                      // two on a line
			a.Material, a.Amount = []string{"lime", "ash"}[i%2], ptr(float64(100+i)) // as no edit makes them
			first.Amendments = append(first.Amendments, a)
		}
		commit(t, b, first)
		for step := range 6 {
			want := map[rowKey]int{}
			sheet := &Records{}
			var claims []Claim
			live := records(t, b)
			on, out := map[Source]int{}, map[int]bool{}
			for i, a := range live.Amendments {
				if out[i] = rng.IntN(4) > 0; !out[i] {
					on[a.Source]++
				}
			}
			for _, i := range rng.Perm(len(live.Amendments)) {
				a := live.Amendments[i]
				of := a.Source
				if out[i] {
					switch rng.IntN(6) {
					case 0:
						a.Amount = ptr(float64(rng.IntN(4)))
					case 1:
						if on[of] == 0 { // all of its line is in the sheet
							a = event(0)
						}
					}
					a.Source = Source{File: fmt.Sprintf("out %d.xlsx/amendments", step%2), Line: int32(2 + len(claims))}
					claims = append(claims, Claim{Table: "amendments", At: a.Source, OfBatch: of.Batch, OfFile: of.File, OfLine: of.Line})
					sheet.Amendments = append(sheet.Amendments, a)
				}
				want[keys(tab, &Records{Amendments: []Amendment{a}})[0]]++
			}
			grown := rng.IntN(2)
			for i := range grown { // of a kind that the book has not
				a := event(100 + i)
				a.File, a.Material = fmt.Sprintf("out %d.xlsx/amendments", step%2), fmt.Sprint("new ", step)
				sheet.Amendments = append(sheet.Amendments, a)
				want[keys(tab, &Records{Amendments: []Amendment{a}})[0]]++
			}
			if _, err := b.Commit(Batch{Records: sheet, Claims: claims, Correct: true, Now: noon}); err != nil && !errors.Is(err, ErrNothingNew) {
				t.Fatalf("seed %d step %d: %v", seed, step, err)
			}
			got := map[rowKey]int{}
			for _, k := range keys(tab, records(t, b)) {
				got[k]++
			}
			if diff := cmp.Diff(want, got); diff != "" {
				t.Fatalf("seed %d step %d: %s", seed, step, diff)
			}
			if diff := cmp.Diff(full(t, b), records(t, b)); diff != "" {
				t.Fatalf("seed %d step %d: %s", seed, step, diff)
			}
		}
		sound(t, b)
	}
}
