package dataset

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"reflect"
	"runtime"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

func TestCreateOpenFind(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "deep", "patch")
	lat, elev := 44.25, 310.0
	b, err := Create(dir, Options{Grower: `A "B" Ö`, Units: "metric", Latitude: &lat, Elevation: &elev, Invented: true, TargetsTOML: "# own\n"})
	if err != nil {
		t.Fatal(err)
	}
	again, err := Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(b, again); diff != "" {
		t.Error(diff)
	}
	if text, err := os.ReadFile(filepath.Join(dir, "targets.toml")); err != nil || string(text) != "# own\n" {
		t.Errorf("targets.toml %q %v", text, err)
	}
	if n := records(t, b).Total(); n != 0 {
		t.Errorf("%d rows in a new book", n)
	}
	sound(t, b)

	// Upward, past another program's book.toml.
	below := filepath.Join(dir, "sheets", "2026")
	if err := os.MkdirAll(below, 0o755); err != nil {
		t.Fatal(err)
	}
	os.WriteFile(filepath.Join(dir, "sheets", "book.toml"), []byte("title = \"manual\"\n"), 0o644)
	if found, err := Find(below); err != nil || found.Dir != dir {
		t.Errorf("found %v, %v", found, err)
	}
	_, err = Find(t.TempDir())
	if !errors.Is(err, ErrNoBook) {
		t.Error(err)
	}
	if _, err = Open(below); !errors.Is(err, ErrNoBook) {
		t.Error(err)
	}
	if _, err = Open(filepath.Join(dir, "nowhere")); !errors.Is(err, ErrNoBook) {
		t.Error(err)
	}
	_, err = Create(dir, Options{})
	mustSay(t, err, "holds a record book already", "hint:")
	_, err = Create(filepath.Join(dir, "sheets"), Options{})
	if !errors.Is(err, ErrNotEmpty) {
		t.Error(err)
	}
	bad := math.NaN()
	if _, err = Create(filepath.Join(t.TempDir(), "x"), Options{Latitude: &bad}); !errors.Is(err, ErrFormat) {
		t.Error(err)
	}
}

func TestBookToml(t *testing.T) {
	b := newBook(t)
	for _, c := range []struct {
		text string
		want []string
	}{
		{"format = 3\nunits = \"us\"\nfancy = [1]\n", []string{"format 3", "newer carryover"}},
		{"format = 3\nunits = 7\n", []string{"format 3", "newer carryover"}},
		{"grower = \"x\"\n", []string{"format = 0", "expected 1 to 2"}},
		{"format = 1\nunits = \"us\"\nlattitude = 44\n", []string{"book.toml:3", `"lattitude" is not known`}},
		{"format = 1\nunits = \"us\"\n[lab.Sample]\nmethod = \"x\"\n", []string{"book.toml:4", "lab.Sample.method"}},
		{"format = 1\nunits = \"us\"\n[lab.\"Lab A\"]\npounds = \"half\"\n", []string{`lab."Lab A".pounds = "half"`, `expected "2 x ppm" or "by depth"`}},
		{"format = 1\nunits = \"acre\"\n", []string{`units = "acre"`, `expected "us" or "metric"`}},
		{"format = 1\nunits = \"us\"\nlatitude = 91\n", []string{"latitude = 91", "-90 to 90"}},
		{"format = 1\nunits = \"us\"\ndates = \"YMD\"\n", []string{`dates = "YMD"`, `expected "MDY" or "DMY"`}},
		{"format = 1\nunits = \"us\"\nelevation_m = 90000\n", []string{"elevation_m"}},
		{"format = 1\nunits = \"us\"\n[measure.barrow]\namount = -1\nunit = \"cu ft\"\n", []string{"measure.barrow"}},
		{"format = 1\nunits = us\n", []string{"book.toml:2"}},
		{"format = 1\nunits = \"us\"\nlatitude = \"north\"\n", []string{"latitude"}},
	} {
		if err := os.WriteFile(filepath.Join(b.Dir, "book.toml"), []byte(c.text), 0o644); err != nil {
			t.Fatal(err)
		}
		_, err := Open(b.Dir)
		if !errors.Is(err, ErrFormat) {
			t.Errorf("%q: %v", c.text, err)
			continue
		}
		mustSay(t, err, c.want...)
	}
	good := "format = 1\nunits = \"metric\"\ndates = \"DMY\"\n[lab.\"Lab A\"]\ndepth = \"0-6 in\"\npounds = \"by depth\"\nmethods = { P = \"P-M3\" }\nunits = { P = \"ppm\" }\n[measure.barrow]\namount = 6\nunit = \"cu ft\"\n"
	os.WriteFile(filepath.Join(b.Dir, "book.toml"), []byte(good), 0o644)
	got, err := Open(b.Dir)
	if err != nil || got.Config.Dates != "DMY" || got.Config.Lab["Lab A"].Methods["P"] != "P-M3" || got.Config.Lab["Lab A"].Pounds != "by depth" || got.Config.Measure["barrow"].Amount != 6 {
		t.Errorf("%+v %v", got, err)
	}
}

func TestCommitRoundTrip(t *testing.T) {
	b := newBook(t)
	in := filled(rand.New(rand.NewPCG(7, 7)), 40)
	in.Corrections = nil
	seen := map[bedKey]bool{}
	for i, tab := range tables() {
		rows := reflect.ValueOf(in).Elem().Field(i)
		for j := range tab.len(in) {
			tab.source(in, j).File = "sheet.csv"
			tab.source(in, j).Line = int32(i*100 + j) // no two rows alike
			if f := rows.Index(j).FieldByName("Bed"); f.IsValid() && f.String() == "" {
				f.SetString("Z")
			}
			rows.Index(j).FieldByName("Note").SetString(fmt.Sprint("n", j))
		}
	}
	// One description for each bed and day, one planting for each season and crop.
	for i := range in.Beds {
		in.Beds[i].From = Date(15000 + i)
		in.Beds[i].Was = ""
	}
	for i := range in.Plantings {
		in.Plantings[i].Season = int32(1900 + i)
	}
	for i := range in.SoilTests {
		in.SoilTests[i].Sample = fmt.Sprint(i)
	}
	for i := range in.Materials {
		in.Materials[i].Material = fmt.Sprint(i)
	}
	for i := range in.Weather {
		in.Weather[i].Date = Date(i)
	}
	for _, tab := range tables() {
		for j := range tab.len(in) {
			if g, n := tab.place(in, j); n != "" && !seen[bedKey{g, n}] {
				seen[bedKey{g, n}] = true
				in.Beds = append(in.Beds, Bed{Grower: g, Bed: n, From: 1, Source: Source{File: "beds.csv", Line: 1}})
			}
		}
	}
	before := &Records{}
	for _, tab := range tables() {
		tab.add(before, in)
	}
	res, err := b.Commit(Batch{Records: in, Sources: []SourceFile{{"sheet.csv", []byte("a,b\n")}, {"beds.csv", nil}},
		Map: []byte("[columns]\n"), MapName: "lab.toml", Program: "carryover test", Now: noon})
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(before, in); diff != "" {
		t.Error("the caller's rows were changed:", diff)
	}
	want := before
	want.nameGrower("Test Grower")
	for _, tab := range tables() {
		for j := range tab.len(want) {
			tab.source(want, j).Batch = 1
		}
		if res.Rows[tab.name()] != tab.len(want) {
			t.Errorf("%s: %d rows said", tab.name(), res.Rows[tab.name()])
		}
	}
	want.Sort()
	for range 2 { // from records/, then from the batches
		if diff := cmp.Diff(want, records(t, b)); diff != "" {
			t.Error(diff)
		}
		os.RemoveAll(filepath.Join(b.Dir, "records"))
	}
	for name, data := range map[string]string{"sheet.csv": "a,b\n", "beds.csv": ""} {
		if got, err := b.Source(1, name); err != nil || string(got) != data {
			t.Errorf("source %s: %q %v", name, got, err)
		}
	}
	if _, err := b.Source(1, "other.csv"); !errors.Is(err, ErrNoBatch) {
		t.Error(err)
	}
	list, err := b.Batches()
	if err != nil || len(list) != 1 || list[0].MapName != "lab.toml" || !slices.Equal(list[0].Files, []string{"sheet.csv", "beds.csv"}) ||
		!list[0].Time.Equal(noon) || list[0].State != "live" || list[0].Program != "carryover test" {
		t.Errorf("%+v %v", list, err)
	}
	sound(t, b)
}

func TestSameRowsAgain(t *testing.T) {
	b := newBook(t)
	first := &Records{
		Beds:       []Bed{bed("A", 17000), bed("A", 17000)},
		SoilTests:  []SoilTest{soil("A", "P", 18000, 50, 2), soil("A", "P", 18000, 50, 3)},
		Amendments: []Amendment{spread("A", "lime", 18000, 5, 2), spread("A", "lime", 18000, 5, 3)},
	}
	res, err := b.Commit(Batch{Records: first, Now: noon})
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(map[string]int{"beds": 1, "soil_tests": 1, "amendments": 2}, res.Rows); diff != "" {
		t.Error("equal events are kept, equal facts are one:", diff)
	}
	_, err = b.Commit(Batch{Records: first, Now: noon})
	if !errors.Is(err, ErrNothingNew) {
		t.Fatal(err)
	}
	mustSay(t, err, "all 6 rows are in the book already")

	// A sheet that grew: a third equal spreading, and a new test.
	grown := &Records{SoilTests: append(slices.Clone(first.SoilTests), soil("A", "P", 18200, 40, 4)),
		Amendments: append(slices.Clone(first.Amendments), spread("A", "lime", 18000, 5, 4))}
	res, err = b.Commit(Batch{Records: grown, Now: noon})
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(Result{Number: 2, Dir: res.Dir, Rows: map[string]int{"soil_tests": 1, "amendments": 1}, Skipped: map[string]int{"soil_tests": 2, "amendments": 2}}, res); diff != "" {
		t.Error(diff)
	}
	if r := records(t, b); len(r.Amendments) != 3 || len(r.SoilTests) != 2 || r.SoilTests[1].Source != (Source{2, "tests.csv", 4}) {
		t.Errorf("%+v", r)
	}
	if _, err = b.Commit(Batch{Records: &Records{}, Now: noon}); !errors.Is(err, ErrNothingNew) {
		t.Error(err)
	}
	sound(t, b)
}

func TestConflicts(t *testing.T) {
	b := newBook(t)
	commit(t, b, &Records{Beds: []Bed{bed("A", 17000)}, SoilTests: []SoilTest{soil("A", "P", 18000, 50, 2)},
		Plantings: []Planting{{Grower: "G", Bed: "A", Season: 2020, Crop: "pumpkin"}}})
	_, err := b.Commit(Batch{Records: &Records{SoilTests: []SoilTest{soil("A", "P", 18000, 60, 7)}}, Now: noon})
	if !errors.Is(err, ErrConflict) {
		t.Fatal(err)
	}
	mustSay(t, err, "1 row changed since it was imported", "tests.csv line 7: A, P, 2019-04-14: value 50 ppm -> 60 ppm; it was 1:tests.csv:2", "`sample`", "--correct")
	others := soil("A", "P", 18000, 60, 7)
	others.File = "lab.csv"
	_, err = b.Commit(Batch{Records: &Records{SoilTests: []SoilTest{others}}, Now: noon})
	mustSay(t, err, "rows contradict each other: 1 pair", "lab.csv line 7", "batch 1 (tests.csv line 2)", "A, P, 2019-04-14: value 60 ppm here, 50 ppm there", "`sample`", "`replaces`", "--correct")

	var many []SoilTest
	for i := range int32(120) {
		many = append(many, soil("A", "K", Date(18000+i/2), float64(i), i))
	}
	_, err = b.Commit(Batch{Records: &Records{SoilTests: many}, Now: noon})
	var ce *ConflictError
	if !errors.As(err, &ce) || ce.Total != 60 || len(ce.Conflicts) != 50 {
		t.Fatal(err)
	}
	mustSay(t, err, "60 pairs", "and 10 more")

	other := bed("A", 17000)
	other.Area = ptr(90.0)
	for _, r := range []*Records{
		{Beds: []Bed{other}},
		{Plantings: []Planting{{Grower: "G", Bed: "A", Season: 2020, Crop: "pumpkin", Plants: ptr(int32(2))}}},
	} {
		_, err = b.Commit(Batch{Records: r, Now: noon})
		if !errors.Is(err, ErrConflict) {
			t.Error(err)
		}
		if strings.Contains(err.Error(), "sample") {
			t.Error("only soil tests have samples:", err)
		}
	}
	two := []SoilTest{soil("A", "P", 18000, 60, 7), soil("A", "P", 18000, 70, 8)}
	two[0].Sample, two[1].Sample = "north", "south"
	commit(t, b, &Records{SoilTests: two})
	if n := len(records(t, b).SoilTests); n != 3 {
		t.Errorf("%d tests", n)
	}
}

func TestUnknownBeds(t *testing.T) {
	b := newBook(t)
	renamed := bed("Barn side", 18500)
	renamed.Was = "Old barn"
	commit(t, b, &Records{Beds: []Bed{bed("Creek", 17000), bed("Barn-1", 17000), renamed}})
	_, err := b.Commit(Batch{Records: &Records{SoilTests: []SoilTest{soil("creek ", "P", 1, 1, 2), soil("Craek", "P", 1, 1, 3), soil("Far field", "P", 1, 1, 4), soil("barn 1", "P", 1, 1, 5)}}, Now: noon})
	var ue *UnknownBedError
	if !errors.As(err, &ue) || !errors.Is(err, ErrUnknownBed) || ue.Total != 4 {
		t.Fatal(err)
	}
	near := map[string][]string{}
	for _, r := range ue.Rows {
		near[r.Bed] = r.Near
	}
	for want, name := range map[string]string{"creek ": "Creek", "Craek": "Creek", "barn 1": "Barn-1"} {
		if len(near[want]) == 0 || near[want][0] != name {
			t.Errorf("%q: near %v, want %s first", want, near[want], name)
		}
	}
	if len(near["Far field"]) != 0 {
		t.Errorf("near %v", near["Far field"])
	}
	mustSay(t, err, "tests.csv line 3", `bed "Craek"`, `did you mean "Creek"?`, "hint:")
	commit(t, b, &Records{SoilTests: []SoilTest{soil("Old barn", "P", 18000, 1, 2), soil("Creek", "P", 18000, 1, 3)}})
	if list, _ := b.Batches(); len(list) != 2 {
		t.Errorf("%d batches", len(list))
	}
	if err := KnownBed(records(t, b), "CREEK"); err != nil {
		t.Error(err)
	}
	mustSay(t, KnownBed(records(t, b), "Crek"), `did you mean "Creek"?`)
}

func TestRowsThatCannotBeKept(t *testing.T) {
	b := newBook(t)
	for want, r := range map[string]*Records{
		"column value is NaN":      {SoilTests: []SoilTest{soil("A", "P", 1, math.NaN(), 9)}},
		"column area_m2 is +Inf":   {Beds: []Bed{{Bed: "A", Area: ptr(math.Inf(1))}}},
		"column note is not valid": {Beds: []Bed{{Bed: "A", Note: "\xff"}}},
		"beds without a bed":       {Beds: []Bed{{Grower: "G"}}},
	} {
		_, err := b.Commit(Batch{Records: r, Now: noon})
		if !errors.Is(err, ErrRow) {
			t.Errorf("%s: %v", want, err)
		}
		mustSay(t, err, want)
	}
}

func replaceAt(s SoilTest, of int32, line int32) *Records {
	return &Records{SoilTests: []SoilTest{s}, Corrections: []Correction{{Table: "soil_tests", OfBatch: of, OfLine: line,
		Analyte: s.Analyte, Action: "replace", Source: s.Source}}}
}

func TestCorrections(t *testing.T) {
	b := newBook(t)
	original := &Records{Beds: []Bed{bed("A", 17000)}, SoilTests: []SoilTest{soil("A", "P", 18000, 50, 2), soil("A", "K", 18000, 200, 2), soil("A", "pH", 18000, 6, 3)},
		Amendments: []Amendment{spread("A", "lime", 18000, 5, 2)}}
	commit(t, b, original)
	values := func() (s string) {
		for _, x := range records(t, b).SoilTests {
			s += fmt.Sprintf("%s %v; ", x.Analyte, x.Value)
		}
		return s
	}
	want := func(w string) {
		t.Helper()
		if got := values(); got != w {
			t.Errorf("%s, want %s", got, w)
		}
		if diff := cmp.Diff(full(t, b), records(t, b)); diff != "" {
			t.Error(diff)
		}
		sound(t, b)
	}
	fixed := soil("A", "P", 18000, 55, 1)
	fixed.File = "fix.csv"
	commit(t, b, replaceAt(fixed, 1, 2)) // batch 2: P only
	want("K 200; P 55; pH 6; ")

	// The old sheet again: its P row is known, and known to be wrong.
	_, err := b.Commit(Batch{Records: original, Now: noon})
	mustSay(t, err, "all 5 rows are in the book already", "1 of them corrected or withdrawn since")
	// The correcting sheet again.
	if _, err = b.Commit(Batch{Records: replaceAt(fixed, 1, 2), Now: noon}); !errors.Is(err, ErrNothingNew) {
		t.Error(err)
	}
	// Back to the first value: a replacing row is not taken for the old one.
	back := soil("A", "P", 18000, 50, 1)
	back.File = "back.csv"
	commit(t, b, replaceAt(back, 2, 1)) // batch 3
	want("K 200; P 50; pH 6; ")

	commit(t, b, &Records{Corrections: []Correction{{Table: "amendments", OfBatch: 1, OfFile: "amendments.csv", OfLine: 2, Action: "withdraw", Source: Source{File: "w.csv", Line: 2}}}}) // batch 4
	if n := len(records(t, b).Amendments); n != 0 {
		t.Errorf("%d amendments", n)
	}
	for _, c := range []struct {
		c    Correction
		want string
	}{
		{Correction{Table: "soil_tests", OfBatch: 1, OfLine: 2, Analyte: "P", Action: "withdraw"}, "taken out already, by batch 2 (fix.csv line 1)"},
		{Correction{Table: "soil_tests", OfBatch: 1, OfLine: 2, Analyte: "Zn", Action: "withdraw"}, "holds no Zn, only K"},
		{Correction{Table: "soil_tests", OfBatch: 1, OfLine: 99, Action: "withdraw"}, "no row of soil_tests from line 99 of batch 1"},
		{Correction{Table: "soil_tests", OfBatch: 9, OfLine: 2, Action: "withdraw"}, "line 2 of batch 9"},
		{Correction{Table: "soil_test", OfBatch: 1, OfLine: 2, Action: "withdraw"}, `corrects table "soil_test"`},
		{Correction{Table: "corrections", OfBatch: 2, OfLine: 1, Action: "withdraw"}, "cannot be corrected"},
		{Correction{Table: "soil_tests", OfBatch: 1, OfLine: 3, Action: "mend"}, `action "mend"`},
		{Correction{Table: "soil_tests", OfBatch: 1, OfLine: 3, Action: "replace"}, "its line holds none"},
		{Correction{Table: "beds", OfBatch: 1, OfLine: 2, Analyte: "P", Action: "withdraw"}, "has no analyte"},
	} {
		_, err := b.Commit(Batch{Records: &Records{Corrections: []Correction{c.c}}, Now: noon})
		if !errors.Is(err, ErrRow) {
			t.Errorf("%v: %v", c.want, err)
		}
		mustSay(t, err, c.want)
	}
	// The bed's only description cannot go while rows rest on it.
	_, err = b.Commit(Batch{Records: &Records{Corrections: []Correction{{Table: "beds", OfBatch: 1, OfLine: 2, Action: "withdraw"}}}, Now: noon})
	if !errors.Is(err, ErrUnknownBed) {
		t.Error(err)
	}
	want("K 200; P 50; pH 6; ")
}

func TestCorrectionNamesOneFile(t *testing.T) {
	b := newBook(t)
	x, y := soil("A", "P", 18000, 1, 2), soil("A", "P", 18001, 1, 2)
	x.File, y.File = "2019/a.csv", "2019/b.csv"
	commit(t, b, &Records{Beds: []Bed{bed("A", 1)}, SoilTests: []SoilTest{x, y}})
	c := Correction{Table: "soil_tests", OfBatch: 1, OfLine: 2, Action: "withdraw"}
	_, err := b.Commit(Batch{Records: &Records{Corrections: []Correction{c}}, Now: noon})
	mustSay(t, err, "more than one file", "1:2019/a.csv:2")
	c.OfFile = "b.csv"
	commit(t, b, &Records{Corrections: []Correction{c}})
	if r := records(t, b); len(r.SoilTests) != 1 || r.SoilTests[0].File != "2019/a.csv" {
		t.Errorf("%+v", r.SoilTests)
	}
}

func TestUndo(t *testing.T) {
	b := newBook(t)
	undo := func(n int) error { _, err := b.Undo(n, "test", noon); return err }
	must := func(n int) {
		t.Helper()
		if err := undo(n); err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(full(t, b), records(t, b)); diff != "" {
			t.Error(diff)
		}
		sound(t, b)
	}
	commit(t, b, &Records{Beds: []Bed{bed("A", 17000)}})                                                                               // 1
	commit(t, b, &Records{SoilTests: []SoilTest{soil("A", "P", 18000, 50, 2)}, Amendments: []Amendment{spread("A", "lime", 1, 5, 2)}}) // 2
	commit(t, b, replaceAt(soil("A", "P", 18000, 55, 9), 2, 2))                                                                        // 3
	err := undo(2)
	if !errors.Is(err, ErrUndo) {
		t.Fatal(err)
	}
	mustSay(t, err, "batch 3 corrects rows of it: undo batch 3 first")
	err = undo(1)
	mustSay(t, err, `bed "A"`, "nothing else describes")
	for _, n := range []int{0, 4, -1} {
		if err := undo(n); !errors.Is(err, ErrNoBatch) {
			t.Error(n, err)
		}
	}
	must(3) // 4
	if r := records(t, b); r.SoilTests[0].Value != 50 {
		t.Errorf("%+v", r.SoilTests)
	}
	err = undo(3)
	mustSay(t, err, "undone already", "undo batch 4")
	must(4) // 5: back again
	if r := records(t, b); r.SoilTests[0].Value != 55 {
		t.Errorf("%+v", r.SoilTests)
	}
	must(5) // 6
	must(2) // 7
	if n := records(t, b).Total(); n != 1 {
		t.Errorf("%d rows", n)
	}
	// After an undo the same rows are new again; then the undo cannot be undone.
	commit(t, b, &Records{Amendments: []Amendment{spread("A", "lime", 1, 5, 2)}}) // 8
	err = undo(7)
	mustSay(t, err, "would both stand", "undo batch 8 first")
	must(8) // 9
	must(7) // 10
	if r := records(t, b); len(r.Amendments) != 1 || len(r.SoilTests) != 1 {
		t.Errorf("%+v", r)
	}
	// Three correcting what two does not hold any more.
	must(10) // 11: batch 2 out again
	err = undo(6)
	mustSay(t, err, "cannot be undone")
	list, err := b.Batches()
	if err != nil {
		t.Fatal(err)
	}
	var states []string
	for _, x := range list {
		states = append(states, x.State)
	}
	want := []string{"live", "undone", "undone", "undo of 3", "undone", "undo of 5", "undo of 2", "undone", "undo of 8", "undone", "undo of 10"}
	if diff := cmp.Diff(want, states); diff != "" {
		t.Error(diff)
	}
}

// Whatever is imported, corrected and undone, records/ are what the batches
// say, and two books of the same history are the same bytes.
func TestRandomHistories(t *testing.T) {
	rounds := 2
	if long() {
		rounds = 40
	}
	for seed := range rounds {
		var trees []map[string]string
		for range 2 {
			rng := rand.New(rand.NewPCG(uint64(seed), 1))
			b := newBook(t)
			commit(t, b, &Records{Beds: []Bed{bed("A", 1), bed("B", 1)}})
			done := 0
			for i := range 25 {
				r := &Records{}
				switch rng.IntN(4) {
				case 0, 1:
					for range 1 + rng.IntN(3) {
						r.SoilTests = append(r.SoilTests, soil(string(rune('A'+rng.IntN(2))), "P", Date(18000+rng.IntN(6)), float64(rng.IntN(2)), int32(i)))
						r.Amendments = append(r.Amendments, spread("A", "lime", Date(18000+rng.IntN(3)), 1, int32(i)))
					}
				case 2:
					live := records(t, b).SoilTests
					if len(live) == 0 {
						continue
					}
					of := live[rng.IntN(len(live))]
					r = replaceAt(soil(of.Bed, of.Analyte, of.Date, float64(rng.IntN(9)), int32(100+i)), of.Batch, of.Line)
				case 3:
					list, err := b.Batches()
					if err != nil {
						t.Fatal(err)
					}
					n := 1 + rng.IntN(len(list))
					if n == 1 { // the beds, on which all rests
						continue
					}
					if _, err = b.Undo(n, "test", noon); err == nil {
						done++
					} else if !errors.Is(err, ErrUndo) {
						t.Fatal(err)
					}
				}
				if r.Total() > 0 {
					_, err := b.Commit(Batch{Records: r, Program: "test", Now: noon})
					if err == nil {
						done++
					} else if !errors.Is(err, ErrConflict) && !errors.Is(err, ErrNothingNew) && !errors.Is(err, ErrRow) && !errors.Is(err, ErrUnknownBed) {
						t.Fatal(err)
					}
				}
				if diff := cmp.Diff(full(t, b), records(t, b)); diff != "" {
					t.Fatalf("seed %d step %d: %s", seed, i, diff)
				}
			}
			if done < 5 {
				t.Errorf("seed %d: only %d steps were taken", seed, done)
			}
			sound(t, b)
			trees = append(trees, tree(t, b.Dir))
		}
		if diff := cmp.Diff(trees[0], trees[1]); diff != "" {
			t.Errorf("two books of one history differ: %s", diff)
		}
	}
}

func TestBeds(t *testing.T) {
	b := newBook(t)
	was := func(name, former string, from Date) Bed { d := bed(name, from); d.Was = former; return d }
	r := &Records{
		// Z was renamed A, A split into B and C, B and C were joined in D; E kept
		// its name when half of it became F.
		Beds: []Bed{bed("Z", 10000), was("A", "Z", 11000), was("B", "A", 12000), was("C", "A", 12500), was("D", "B; C", 13000),
			bed("E", 10000), was("F", "E", 12000), bed("E", 12000), bed("Q", 1)},
		Plantings: []Planting{{Grower: "G", Bed: "Z", Season: 1999, Crop: "p"}, {Grower: "G", Bed: "D", Season: 2006, Crop: "p"}},
	}
	for name, days := range map[string][]Date{"Z": {10500, 10990}, "A": {11500, 12400}, "B": {12100}, "C": {12600}, "D": {13100}, "E": {10100, 11999, 12000, 14000}, "F": {12500}} {
		for i, d := range days {
			r.SoilTests = append(r.SoilTests, soil(name, "P", d, float64(d), int32(i)), soil(name, "K", d, float64(d), int32(i)))
			r.Amendments = append(r.Amendments, spread(name, "lime", d, 1, int32(i)))
		}
	}
	r.Weather = []Weather{{Grower: "G", Site: "home", Date: 12000, Period: "day", Rain: ptr(3.0)}, {Grower: "G", Bed: "D", Date: 13005, Period: "day", Irrigation: ptr(9.0)}}
	commit(t, b, r)
	rec := records(t, b)
	days := func(sel Selection) map[string][]Date {
		got := map[string][]Date{}
		for h := range rec.Histories(sel) {
			got[h.Name] = []Date{}
			for i, x := range h.Amendments {
				got[h.Name] = append(got[h.Name], x.Date)
				if y := h.Tests[2*i]; y.Date != x.Date || h.Tests[2*i+1].Date != x.Date {
					t.Errorf("%s: tests not by date", h.Name)
				}
			}
		}
		return got
	}
	want := map[string][]Date{"D": {10500, 10990, 11500, 12100, 12400, 12600, 13100}, "E": {10100, 11999, 12000, 14000}, "F": {10100, 11999, 12500}, "Q": {}}
	if diff := cmp.Diff(want, days(Selection{})); diff != "" {
		t.Error(diff)
	}
	for _, sel := range [][]string{{"d"}, {"Z"}, {"c"}} {
		if got := days(Selection{Beds: sel}); len(got) != 1 || len(got["D"]) != 7 {
			t.Errorf("%v: %v", sel, got)
		}
	}
	if got := days(Selection{Beds: []string{"E"}}); len(got) != 2 {
		t.Errorf("E and what was E: %v", got)
	}
	if got := days(Selection{Growers: []string{"H"}}); len(got) != 0 {
		t.Errorf("%v", got)
	}
	for h := range rec.Histories(Selection{Beds: []string{"D"}}) {
		if len(h.Plantings) != 2 || len(h.Irrigation) != 1 || len(h.Descriptions) != 5 || h.Tests[0].Bed != "Z" {
			t.Errorf("%+v", h)
		}
		break
	}
	// A circle of names ends.
	circle := &Records{Beds: []Bed{was("X", "Y", 100), was("Y", "X", 200)}, Amendments: []Amendment{spread("X", "a", 50, 1, 1), spread("Y", "a", 250, 1, 1)}}
	circle.Sort()
	n := 0
	for h := range circle.Histories(Selection{}) {
		n += len(h.Amendments)
	}
	if n == 0 {
		t.Error("no bed of the circle is told")
	}
}

// poke writes one byte of a file.
func poke(t *testing.T, path string, at int, b byte) {
	t.Helper()
	f, err := os.OpenFile(path, os.O_WRONLY, 0)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if _, err := f.WriteAt([]byte{b}, int64(at)); err != nil {
		t.Fatal(err)
	}
}

// Any wrong byte of a batch is an error, never a wrong number.
func TestEveryByteOfABatch(t *testing.T) {
	b := newBook(t)
	res, err := b.Commit(numbered(1))
	if err != nil {
		t.Fatal(err)
	}
	dir := filepath.Join(b.Dir, "batches", res.Dir)
	bits := 1
	if long() {
		bits = 8
	}
	// With the records out of the way the batches are read.
	os.RemoveAll(filepath.Join(b.Dir, "records"))
	for name, text := range tree(t, dir) {
		path := filepath.Join(dir, name)
		for i := range text {
			for k := range bits {
				poke(t, path, i, text[i]^1<<((i+k)%8))
				var err error
				if strings.HasPrefix(name, "source") {
					_, err = b.Source(1, "tests.csv")
				} else {
					_, _, err = b.rebuild()
				}
				if !errors.Is(err, ErrDamaged) {
					t.Fatalf("%s byte %d: %v", name, i, err)
				}
				if i == 100 {
					mustSay(t, err, "batch 1", "backup")
				}
			}
			if i%211 == 0 {
				if f, err := b.Verify(); err != nil || len(f) == 0 || !strings.Contains(fmt.Sprint(f), "batch 1") {
					t.Fatalf("%s byte %d: verify finds %v %v", name, i, f, err)
				}
			}
			poke(t, path, i, text[i])
		}
		for _, short := range []int{0, 1, len(text) / 2, len(text) - 1} {
			os.WriteFile(path, []byte(text[:short]), 0o644)
			if f, err := b.Verify(); err != nil || len(f) == 0 {
				t.Fatalf("%s cut to %d: verify finds nothing, %v", name, short, err)
			}
		}
		os.Remove(path)
		if f, err := b.Verify(); err != nil || len(f) == 0 {
			t.Fatalf("%s missing: %v %v", name, f, err)
		}
		if !strings.HasPrefix(name, "source") { // which an import does not need
			if _, err := b.Commit(numbered(2)); !errors.Is(err, ErrDamaged) {
				t.Fatalf("%s missing: importing: %v", name, err)
			}
		}
		os.WriteFile(path, []byte(text), 0o644)
	}
	if n := len(records(t, b).SoilTests); n != 1 {
		t.Errorf("%d tests", n)
	}
	sound(t, b)
}

// Damaged records/ are made anew from the batches.
func TestEveryByteOfRecords(t *testing.T) {
	b := newBook(t)
	commit(t, b, numbered(1).Records)
	commit(t, b, numbered(2).Records)
	want := records(t, b)
	names, _ := os.ReadDir(filepath.Join(b.Dir, "records"))
	dir := filepath.Join(b.Dir, "records", names[0].Name())
	step := 41
	if long() {
		step = 1
	}
	for _, name := range []string{"soil_tests.parquet", "harvests.parquet", "manifest.json"} {
		text := tree(t, dir)[name]
		for i := 0; i < len(text); i += step {
			poke(t, filepath.Join(dir, name), i, text[i]^1<<(i%8))
			if diff := cmp.Diff(want, records(t, b)); diff != "" {
				t.Fatalf("%s byte %d: %s", name, i, diff)
			}
		}
		os.WriteFile(filepath.Join(dir, name), []byte(text), 0o644)
	}
	sound(t, b)
}

func TestVerifyNamesWhatIsWrong(t *testing.T) {
	fresh := func() (*Book, []string) {
		b := newBook(t)
		for n := range 3 {
			if _, err := b.Commit(numbered(n + 1)); err != nil {
				t.Fatal(err)
			}
		}
		names, err := b.batchDirs()
		if err != nil {
			t.Fatal(err)
		}
		return b, names
	}
	for _, c := range []struct {
		what  string
		spoil func(b *Book, names []string) error
		want  string
		reads bool // the book can still be read
	}{
		{"gap", func(b *Book, n []string) error { return os.RemoveAll(filepath.Join(b.Dir, "batches", n[1])) }, "batch 2: missing", false},
		{"last gone", func(b *Book, n []string) error { return os.RemoveAll(filepath.Join(b.Dir, "batches", n[2])) }, "is gone", false},
		{"repeat", func(b *Book, n []string) error {
			return os.CopyFS(filepath.Join(b.Dir, "batches", n[1][:7]+"aaaaaaaaaaaa"), os.DirFS(filepath.Join(b.Dir, "batches", n[1])))
		}, "there twice", false},
		{"conflict copy", func(b *Book, n []string) error {
			return os.CopyFS(filepath.Join(b.Dir, "batches", n[1]+" (copy)"), os.DirFS(filepath.Join(b.Dir, "batches", n[1])))
		}, "not a batch of this book", true},
		{"copy of a table", func(b *Book, n []string) error {
			return os.WriteFile(filepath.Join(b.Dir, "batches", n[1], "soil_tests (1).parquet"), nil, 0o644)
		}, "not a file of this batch", true},
		{"copy of records", func(b *Book, n []string) error {
			list, err := os.ReadDir(filepath.Join(b.Dir, "records"))
			if err != nil {
				return err
			}
			return os.CopyFS(filepath.Join(b.Dir, "records", "old"), os.DirFS(filepath.Join(b.Dir, "records", list[0].Name())))
		}, "may read rows twice", true},
		{"copy at the top", func(b *Book, n []string) error {
			return os.WriteFile(filepath.Join(b.Dir, "book (conflict).toml"), nil, 0o644)
		}, "looks like a copy of book.toml", true},
	} {
		b, names := fresh()
		if err := c.spoil(b, names); err != nil {
			t.Fatal(err)
		}
		findings, err := b.Verify()
		if err != nil || !strings.Contains(fmt.Sprint(findings), c.want) {
			t.Errorf("%s: %v %v", c.what, findings, err)
		}
		_, err = b.Records()
		if c.reads != (err == nil) || err != nil && !errors.Is(err, ErrDamaged) {
			t.Errorf("%s: reading: %v", c.what, err)
		}
		if _, err = b.Commit(numbered(4)); c.reads != (err == nil) {
			t.Errorf("%s: importing: %v", c.what, err)
		}
	}
	b, _ := fresh()
	os.Mkdir(filepath.Join(b.Dir, "batches", ".new-left"), 0o700)
	os.Mkdir(filepath.Join(b.Dir, ".records-new"), 0o700)
	sound(t, b)
	if _, err := b.Commit(numbered(4)); err != nil {
		t.Fatal(err)
	}
	for name := range tree(t, b.Dir) {
		if strings.HasPrefix(name, ".") || strings.Contains(name, "/.") {
			t.Errorf("left over: %s", name)
		}
	}
	if left, _ := os.ReadDir(filepath.Join(b.Dir, "batches")); len(left) != 4 {
		t.Errorf("%d in batches", len(left))
	}
}

func TestNewerBatchIsRefused(t *testing.T) {
	b := newBook(t)
	if _, err := b.Commit(numbered(1)); err != nil {
		t.Fatal(err)
	}
	m := &manifest{Format: Format + 1, Kind: kindImport, Number: 2}
	if _, err := b.write(m, &Records{}, nil); err != nil {
		t.Fatal(err)
	}
	_, err := b.Records()
	if !errors.Is(err, ErrFormat) {
		t.Fatal(err)
	}
	mustSay(t, err, "batch 2", "format 3", "newer carryover")
}

func TestReadOnlyBook(t *testing.T) {
	if runtime.GOOS == "windows" || os.Geteuid() == 0 {
		// A folder's mode stops nobody here; a folder in place of the lock does.
		b := newBook(t)
		commit(t, b, numbered(1).Records)
		os.Remove(filepath.Join(b.Dir, ".lock"))
		os.Mkdir(filepath.Join(b.Dir, ".lock"), 0o755)
		os.RemoveAll(filepath.Join(b.Dir, "records"))
		if n := len(records(t, b).SoilTests); n != 1 {
			t.Errorf("%d tests", n)
		}
		if _, err := os.Stat(filepath.Join(b.Dir, "records")); err == nil {
			t.Error("records were written without the lock")
		}
		return
	}
	b := newBook(t)
	commit(t, b, numbered(1).Records)
	os.RemoveAll(filepath.Join(b.Dir, "records"))
	os.Remove(filepath.Join(b.Dir, ".lock"))
	os.Chmod(b.Dir, 0o555)
	defer os.Chmod(b.Dir, 0o755)
	if n := len(records(t, b).SoilTests); n != 1 {
		t.Errorf("%d tests", n)
	}
}

func TestModes(t *testing.T) {
	if runtime.GOOS == "windows" {
		return // it has none
	}
	b := newBook(t)
	res, err := b.Commit(numbered(1))
	if err != nil {
		t.Fatal(err)
	}
	for name, want := range map[string]os.FileMode{"book.toml": 0o644, "batches/" + res.Dir: 0o755, "batches/" + res.Dir + "/soil_tests.parquet": 0o644, "records": 0o755} {
		if info, err := os.Stat(filepath.Join(b.Dir, name)); err != nil || info.Mode().Perm() != want {
			t.Errorf("%s: %v %v, want %v", name, info.Mode(), err, want)
		}
	}
}

func TestSourceString(t *testing.T) {
	for want, s := range map[string]Source{"tests.csv line 7": {0, "tests.csv", 7}, "batch 3 (tests.csv line 7)": {3, "tests.csv", 7}, "entry": {}} {
		if s.String() != want {
			t.Errorf("%v, want %s", s, want)
		}
	}
	if !bytes.Contains([]byte(ErrBusy.Error()), []byte("import")) {
		t.Error(ErrBusy)
	}
}
