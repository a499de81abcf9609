package main

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/klauspost/compress/zstd"

	"carryover/dataset"
)

// enterBook makes a book of two beds with one report.
func enterBook(t testing.TB) *dataset.Book {
	t.Helper()
	folder := t.TempDir()
	dir := filepath.Join(folder, "patch")
	sheet := func(name, text string) string {
		file := filepath.Join(folder, name)
		if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		return file
	}
	must(t, "new", dir, "--grower", "Ada Marrow")
	must(t, "import", "--book", dir,
		sheet("beds.csv", "bed,from,area (sq ft)\nLong bed,2020-04-01,1000\nHill,2020-04-01,800\n"),
		sheet("soil_tests.csv", `bed,date,lab,report,depth (in),cores,analyte,value,unit,method
Long bed,2025-10-30,Lab A,77,0-6,15,pH,6.2,,water 1:1
Long bed,2025-10-30,Lab A,77,0-6,15,OM,4.4,%,LOI
Long bed,2025-10-30,Lab A,77,0-6,15,P,104,ppm,Mehlich-3
`))
	book, err := dataset.Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	return book
}

// answer enters one record with somebody at the terminal who gives these
// answers, on 25 November 2026.
func answer(t testing.TB, book *dataset.Book, kind string, words []string, answers ...string) (out, note string, err error) {
	t.Helper()
	var o, n bytes.Buffer
	for _, k := range entryKinds() {
		if k.name == kind {
			e := &entering{kind: k, asks: true, in: bufio.NewReader(strings.NewReader(strings.Join(answers, "\n"))), out: &o, note: &n, width: 80}
			e.opt.Today = dataset.DateOf(2026, 11, 25)
			err = e.run(book, words, map[string]string{})
		}
	}
	return o.String(), n.String(), err
}

// Without words the questions come one by one, in the order of the lab's last
// report; the answers are checked as they come. (What is typed does not stand in
// this transcript.)
func TestEnterAsksForTest(t *testing.T) {
	book := enterBook(t)
	out, note, err := answer(t, book, "test", nil,
		"long bad", "long bed", "?", "2026-13-01", "today", "", "81", "", "12",
		"64", "6.4", "", "?", "118", "Cu 1.2", "Cu 1.2 ppm DTPA", "", "y", "")
	if err != nil {
		t.Fatal(err)
	}
	want := `Enter takes what stands in [brackets], and skips where nothing does; - is no
value, ? explains, Ctrl-C keeps nothing.
bed (Hill, Long bed):   "long bad": not described in this book: did you mean Long bed? (or add it to
  beds.csv)
bed (Hill, Long bed): date (2026-11-25, autumn 2026, today ...):   day of sampling: 2026-10-28; or 2026-10, or autumn 2026, if no more is known
date (2026-11-25, autumn 2026, today ...):   "2026-13-01": expected a month from 1 to 12: write year, month, day, as
  2026-10-28
date (2026-11-25, autumn 2026, today ...): lab [Lab A]: report: depth (in) [0-6 in]: cores [15]: pH, water 1:1 (last 6.2 on 2025-10-30):   pH 64: expected 3.0 to 10.5: check the decimal point
pH, water 1:1 (last 6.2 on 2025-10-30): OM, %, LOI (last 4.4 on 2025-10-30): P, ppm, Mehlich-3 (last 104 on 2025-10-30):   phosphorus: the figure as printed; < and > may stand before it, unit and
  method behind it: 118 ppm Mehlich-3
P, ppm, Mehlich-3 (last 104 on 2025-10-30): another, as Cu 1.2 ppm DTPA:   Cu has no unit: expected ppm, mg/kg, lb/acre, kg/ha, mg/dm3, %: copy the unit
  from the lab's sheet (ppm and lb/acre differ by a factor of 2)
another, as Cu 1.2 ppm DTPA: another, as Cu 1.2 ppm DTPA: Long bed, 2026-11-25, autumn test of season 2026, Lab A, report 81, 0-6 in, 12
cores
         last (2025-10-30)  now  change  method
pH       6.2                6.4  +0.2    water 1:1
P, ppm   104                118  +14     Mehlich-3
Cu, ppm                     1.2          DTPA

keep it? [y/N] batch 2: 3 rows soil_tests
`
	if d := cmp.Diff(strings.Split(want, "\n"), strings.Split(out, "\n")); d != "" {
		t.Errorf("(-want +got):\n%s", d)
	}
	wantNote := `note: method of pH, P as in the report of Lab A of 2025-10-30
note: unit of P as in the report of Lab A of 2025-10-30
`
	if d := cmp.Diff(wantNote, note); d != "" {
		t.Error(d)
	}
	rec, err := book.Records()
	if err != nil {
		t.Fatal(err)
	}
	n := 0
	for _, x := range rec.SoilTests {
		if x.Batch == 2 {
			n++
			if x.Bed != "Long bed" || x.Lab != "Lab A" || x.Report != "81" || *x.Cores != 12 || x.DepthTo == nil || x.Line != 1 || x.File == "" {
				t.Errorf("%+v", x)
			}
		}
	}
	if n != 3 {
		t.Errorf("%d rows kept", n)
	}
	// The line that would have said it all is the batch's source.
	if got := source(t, book, 2); got != `enter test "Long bed" 2026-11-25 pH 6.4 P 118 Cu 1.2 ppm DTPA --lab "Lab A" --report 81 --depth "0-6 in" --cores 12`+"\n" {
		t.Error(got)
	}
}

// The profile in book.toml says in which order the analytes are asked for.
func TestEnterAsksInOrder(t *testing.T) {
	book := enterBook(t)
	text, err := os.ReadFile(filepath.Join(book.Dir, "book.toml"))
	if err != nil {
		t.Fatal(err)
	}
	profile := "\n[lab.\"Lab A\"]\norder = [\"P as P2O5\", \"pH\"]\nunits = {P = \"ppm\"}\nmethods = {P = \"Mehlich-3 ICP\"}\n"
	if err := os.WriteFile(filepath.Join(book.Dir, "book.toml"), append(text, profile...), 0o600); err != nil {
		t.Fatal(err)
	}
	if book, err = dataset.Open(book.Dir); err != nil {
		t.Fatal(err)
	}
	out, _, err := answer(t, book, "test", []string{"Hill", "2026-10-28"}, "lab a", "", "0-6", "", "270", "6.6", "", "n")
	if !errors.Is(err, errKeptNothing) {
		t.Fatal(err)
	}
	for _, want := range []string{"P as P2O5, ppm, Mehlich-3 ICP: pH, water 1:1: another, ", "P, ppm  118  Mehlich-3 ICP  270 ppm P2O5\n", "keep it? [y/N] "} {
		if !strings.Contains(out, want) {
			t.Errorf("no %q in\n%s", want, out)
		}
	}
}

// Of a lab that nobody knows yet the common analytes are asked for, and a figure
// needs its unit.
func TestEnterAsksOfNewLab(t *testing.T) {
	book := enterBook(t)
	out, note, err := answer(t, book, "test", []string{"Hill", "2026-10-28"}, "Lab C", "", "0-6", "", "6.6 water 1:1", "", "5", "5 % LOI", "", "118 ppm M3", "", "", "", "", "", "", "", "", "", "", "y", "")
	if err != nil {
		t.Fatal(err, out)
	}
	for _, want := range []string{"depth (in): cores: pH: buffer pH: OM:   OM has no unit: expected %, g/kg: copy the unit from the lab's sheet\nOM: CEC: P: K: Ca: ",
		"P, ppm  118  Mehlich-3\n", "The book has no earlier test of Hill by this lab, method and depth to set beside\nit.\n", "batch 2: 3 rows soil_tests\n"} {
		if !strings.Contains(out, want) {
			t.Errorf("no %q in\n%s", want, out)
		}
	}
	if note != "note: Lab C is new in this book: did you mean Lab A?\n" {
		t.Error(note)
	}
}

// Other records are asked for in the same way.
func TestEnterAsksForOthers(t *testing.T) {
	book := enterBook(t)
	for _, c := range []struct {
		kind    string
		words   []string
		answers []string
		want    string // the batch's source
		says    []string
	}{
		{"amendment", nil, []string{"hill", "yesterday", "calcitic lime", "40", "40 lb", "dug in", "worked in", "6", "", "", "y"},
			`enter amendment Hill 2026-11-24 "calcitic lime" "40 lb" --placed "worked in" --mixed-depth "6 in"`,
			[]string{"40 has no unit: expected one of lb, kg,", `"dug in": expected one of surface,`, "mixed depth (in): every days: note: ", "caution: lime and ash are caustic dusts"}},
		{"amendment", []string{"Hill", "2026-06-01", "fish", "feed"}, []string{"2 gal", "", "7", "2026-08-24", "", "y"},
			`enter amendment Hill 2026-06-01 "fish feed" "2 gal" --every-days 7 --until 2026-08-24`, []string{"every days: until: note: "}},
		{"harvest", []string{"Hill"}, []string{"2026-10-03", "", "", "", "1,240.5", "weighed", "scale", "", "y"},
			`enter harvest Hill 2026-10-03 "1,240.5 lb" scale`, []string{"weight (lb):   it is needed: of the fruit, or of all that was taken off\n"}},
		{"planting", []string{"Hill", "2026"}, []string{"", "1", "2026-05-20", "", "", "", "", "", "", "", "", "y"}, `enter planting Hill 2026 --plants 1 --set-out 2026-05-20`, nil},
		{"cover", nil, []string{"Hill", "2026-10-15", "winter rye", "", "", "", "", "y"}, `enter cover Hill 2026-10-15 "winter rye"`, []string{"height (in): biomass (lb/acre): "}},
	} {
		out, note, err := answer(t, book, c.kind, c.words, c.answers...)
		if err != nil {
			t.Errorf("%s: %v\n%s%s", c.want, err, out, note)
			continue
		}
		list, err := book.Batches()
		if err != nil {
			t.Fatal(err)
		}
		if got := source(t, book, len(list)); got != c.want+"\n" {
			t.Errorf("got %swant %s", got, c.want)
		}
		for _, s := range c.says {
			if !strings.Contains(out, s) {
				t.Errorf("%s: no %q in\n%s", c.want, s, out)
			}
		}
	}
}

// Where the book has one of that bed and day, the question is which it is.
func TestEnterAsksForSecond(t *testing.T) {
	book := enterBook(t)
	lime := func(amount string, answers ...string) (string, error) {
		out, _, err := answer(t, book, "amendment", []string{"Hill", "2026-10-30", "lime", amount, "lb"}, append(answers, "")...)
		return out, err
	}
	weights := func() (out []float64) {
		rec, err := book.Records()
		if err != nil {
			t.Fatal(err)
		}
		for _, a := range rec.Amendments {
			out = append(out, *a.ReportedAmount)
		}
		return out
	}
	if _, err := lime("40", "y"); err != nil {
		t.Fatal(err)
	}
	for _, no := range []string{"", "n"} {
		if _, err := lime("41", no); !errors.Is(err, errKeptNothing) {
			t.Errorf("%q: %v", no, err)
		}
	}
	out, err := lime("42", "y", "correct", "y")
	if err != nil || !strings.Contains(out, "Enter keeps nothing):   write again or correct; Enter keeps nothing\n") || !strings.Contains(out, "amount    40 lb") || !strings.Contains(out, "keep it? [y/N] ") {
		t.Errorf("%v\n%s", err, out)
	}
	if d := cmp.Diff([]float64{42}, weights()); d != "" {
		t.Error(d)
	}
	if got := source(t, book, 3); got != "enter amendment Hill 2026-10-30 lime 42 lb --correct\n" {
		t.Error(got)
	}
	if out, err = lime("43", "again"); err != nil || strings.Contains(out, "keep it? ") {
		t.Errorf("%v\n%s", err, out)
	}
	if d := cmp.Diff([]float64{42, 43}, weights()); d != "" {
		t.Error(d)
	}
	if got := source(t, book, 4); got != "enter amendment Hill 2026-10-30 lime 43 lb --again\n" {
		t.Error(got)
	}
}

// An answer that is not yes, and the end of the answers wherever it comes, keep
// nothing.
func TestEnterKeepsNothing(t *testing.T) {
	book := enterBook(t)
	whole := []string{"Hill", "2026-10-03", "", "", "12 lb", "scale", "", "y"}
	for n := range len(whole) + 1 {
		answers := append(append([]string{}, whole[:n]...), "")
		if n == len(whole) {
			answers[n-1] = "perhaps"
		}
		if _, _, err := answer(t, book, "harvest", nil, answers...); !errors.Is(err, errKeptNothing) {
			t.Errorf("after %d answers: %v", n, err)
		}
	}
	list, err := book.Batches()
	if err != nil || len(list) != 1 {
		t.Fatalf("%d batches, %v", len(list), err)
	}
	if _, _, err := answer(t, book, "harvest", nil, whole...); err != nil {
		t.Errorf("with all answers: %v", err)
	}
}

// Steps that a slip would make are pointed out, steps that a season makes are
// not. Factors: from the standard atomic weights (Prohaska et al. 2022).
func TestSlips(t *testing.T) {
	for _, c := range []struct {
		jumps []jump
		want  string
	}{
		{[]jump{{"P", 118, 270}}, "P 270 is 2.29 times the 118 before: P2O5 reads 2.29 times P: is the form right?"},
		{[]jump{{"P", 270, 118}}, "P 118 is 1/2.29 of the 270 before: P2O5 reads 2.29 times P: is the form right?"},
		{[]jump{{"K", 300, 361}}, "K 361 is 1.2 times the 300 before: K2O reads 1.2 times K: is the form right?"},
		{[]jump{{"K", 300, 345}}, ""},
		{[]jump{{"NO3-N", 10, 44.3}}, "NO3-N 44 is 4.43 times the 10 before: NO3 reads 4.43 times NO3-N: is the form right?"},
		{[]jump{{"NO3-N", 5, 40}}, ""}, // a feed does that
		{[]jump{{"NO3-N", 10, 20}}, ""},
		{[]jump{{"Mg", 150, 300}}, "Mg 300 is 2 times the 150 before: lb/acre reads about 2 times ppm: is the unit right?"},
		{[]jump{{"P", 100, 205}, {"K", 200, 410}, {"Ca", 1500, 2800}, {"S", 10, 11}}, "P, K, Ca are about twice what they were; lb/acre reads about 2 times ppm: is the unit right?"},
		{[]jump{{"P", 200, 100}, {"K", 400, 210}, {"Ca", 3000, 1500}}, "P, K, Ca are about half what they were; lb/acre reads about 2 times ppm: is the unit right?"},
		{[]jump{{"OM", 4.6, 46}}, "OM 46.0 is 10 times the 4.6 before: is the decimal point right?"},
		{[]jump{{"Zn", 2, 0.2}}, "Zn 0.2 is 1/10 of the 2.0 before: is the decimal point right?"},
		{[]jump{{"Zn", 2, 12}}, "Zn 12.0 is 6 times the 2.0 before: are unit, form and decimal point right?"},
		{[]jump{{"pH", 6.4, 3.2}}, ""},
		{[]jump{{"Cu", 0, 3}}, ""},
		{[]jump{{"P", 118, 150}, {"K", 300, 210}, {"Ca", 1900, 2400}}, ""},
	} {
		if got := strings.Join(slips(c.jumps), "\n"); got != c.want {
			t.Errorf("%v:\n got %s\nwant %s", c.jumps, got, c.want)
		}
	}
}

// No line of what is shown is wider than 80 columns, whatever is entered.
func TestEnterNarrow(t *testing.T) {
	demo, long := demoFolder(t), longNames(t)
	bed := "The long bed by the old wall behind the second barn of the lower meadow"
	for _, c := range [][]string{
		{"test", "Barn", "2026-10-10", "--correct", "--book", demo, "P2O5", "1341.25", "lb/1000", "sq", "ft", "other:", "the", "long", "way", "of", "the", "valley", "lab", "K2O", "2000", "lb/acre", "buffer", "pH", "6.55",
			"--lab", "Lab Sedge", "--depth", "0-6in"},
		{"test", bed, "2024-10-28", "--book", long, "pH", "6.4", "P2O5", "12345.6", "lb/acre", "K", "99999", "mg/kg", "Ca", "123456", "mg/kg", "ammonium", "acetate", "--depth", "0-20cm",
			"--lab", "The laboratory of the united growers of the upper valley"},
		{"amendment", bed, "2024-10-28", "dolomitic limestone from the quarry beyond the upper village", "123456.7", "kg", "worked in", "15cm", "--book", long, "--note", strings.Repeat("a long note ", 20)},
		{"harvest", bed, "2023-10-01", "1234.6", "kg", "--correct", "--book", long, "--note", strings.Repeat("a long note ", 20)},
	} {
		code, out, note := call(append([]string{"enter"}, append(c, "--dry-run")...)...)
		if code != exitDone {
			t.Errorf("%v: %s", c, note)
		}
		if err := errors.Join(narrow(out), narrow(note)); err != nil || !strings.Contains(out, "now") {
			t.Errorf("%v: %v\n%s%s", c, err, out, note)
		}
	}
}

// What can harm whoever spreads it bears a caution; what only sounds like it
// does not.
func TestEnterCautions(t *testing.T) {
	book := enterBook(t)
	for _, c := range []struct{ material, want string }{
		{"calcitic lime", "caustic dusts"}, {"wood ash", "caustic dusts"}, {"potash 0-0-60", ""}, {"elemental sulfur", "catch fire"}, {"potassium sulfate", ""},
		{"raw horse manure", "germs"}, {"composted manure", ""}, {"gypsum", ""},
	} {
		out, _, err := answer(t, book, "amendment", append([]string{"Hill", "2026-10-30", c.material}, "1", "lb"), "n")
		if !errors.Is(err, errKeptNothing) {
			t.Fatal(err)
		}
		if got := strings.Contains(out, "caution: "); got != (c.want != "") || !strings.Contains(strings.Join(strings.Fields(out), " "), c.want) {
			t.Errorf("%s:\n%s", c.material, out)
		}
	}
}

// source returns the one source of a batch.
func source(t testing.TB, book *dataset.Book, batch int) string {
	t.Helper()
	found, err := filepath.Glob(filepath.Join(book.Dir, "batches", fmt.Sprintf("%06d-*", batch), "source-*.zst"))
	if err != nil || len(found) != 1 {
		t.Fatalf("%v %v", found, err)
	}
	data, err := os.ReadFile(found[0])
	if err != nil {
		t.Fatal(err)
	}
	z, err := zstd.NewReader(nil)
	if err != nil {
		t.Fatal(err)
	}
	defer z.Close()
	text, err := z.DecodeAll(data, nil)
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}
