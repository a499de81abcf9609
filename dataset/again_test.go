package dataset

import (
	"encoding/json"
	"errors"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"testing"
)

// TestNewerManifests: what this program does not know of a newer manifest is no
// damage.
func TestNewerManifests(t *testing.T) {
	b := newBook(t)
	if _, err := b.Commit(numbered(1)); err != nil {
		t.Fatal(err)
	}
	newer := `{"format": 3, "kind": "import", "number": [2], "signed": "x"}`
	name := "000002-" + sha([]byte(newer))[:12]
	dir := filepath.Join(b.Dir, "batches", name)
	if err := os.Mkdir(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, manifestName), []byte(newer), 0o644); err != nil {
		t.Fatal(err)
	}
	_, err := b.Records()
	if !errors.Is(err, ErrFormat) || errors.Is(err, ErrDamaged) {
		t.Error(err)
	}
	mustSay(t, err, "batch 2: record book cannot be read: it has format 3, this program reads up to 2", "use a newer carryover")
	findings, err := b.Verify()
	if err != nil || len(findings) != 1 || findings[0].String() != "batch 2: it has format 3, this program reads up to 2" {
		t.Errorf("%v %v", findings, err)
	}
	if err := os.RemoveAll(dir); err != nil {
		t.Fatal(err)
	}

	names, err := b.batchDirs()
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(b.Dir, recordsDir, recordsName(names, b.Config.Grower), manifestName)
	if err := os.WriteFile(path, []byte(`{"format": 3, "kind": "records", "cut": true}`), 0o644); err != nil {
		t.Fatal(err)
	}
	if _, err = b.readRecords(names); !errors.Is(err, ErrFormat) || errors.Is(err, ErrDamaged) {
		t.Error(err)
	}
	// Damage that is not newer stays damage.
	if err := os.WriteFile(path, []byte(`{"format": 1, "cut": true}`), 0o644); err != nil {
		t.Fatal(err)
	}
	if _, err = b.readRecords(names); !errors.Is(err, ErrDamaged) {
		t.Error(err)
	}
}

func fruit(bed string, day Date, kg float64, line int32) Harvest {
	return Harvest{Grower: "G", Bed: bed, Date: day, DateBasis: ByDay, Crop: "pumpkin", Weight: kg, Weighed: "scale",
		ReportedWeight: kg, ReportedUnit: "kg", Source: Source{File: "harvests.csv", Line: line}}
}

// TestEditedInPlace: a line that was changed in a sheet imported before is not
// a second fact; a row that is new is.
func TestEditedInPlace(t *testing.T) {
	season := []Harvest{fruit("A", 18000, 450, 2), fruit("A", 18001, 500, 3), fruit("B", 18001, 500, 4)}
	at := func(h Harvest, line int32) Harvest { h.Line = line; return h }
	for _, x := range []struct {
		name   string
		before [][]Harvest
		sheet  []Harvest
		edits  int // 0: taken
		says   string
	}{
		{"a weight", [][]Harvest{season}, []Harvest{season[0], fruit("A", 18001, 510, 3), season[2]}, 1,
			"harvests.csv line 3: A, 2019-04-15, pumpkin: weight 500 kg -> 510 kg; it was 2:harvests.csv:3"},
		{"a date", [][]Harvest{season}, []Harvest{season[0], fruit("A", 18051, 500, 3), season[2]}, 1, "it was 2:harvests.csv:3"},
		{"two of three", [][]Harvest{season}, []Harvest{fruit("A", 18000, 1, 2), fruit("A", 18001, 2, 3), season[2]}, 2, "it was 2:harvests.csv:2"},
		{"all of one day each", [][]Harvest{season}, []Harvest{fruit("A", 18000, 1, 2), fruit("A", 18001, 2, 3), fruit("B", 18001, 3, 4)}, 3, "it was 2:harvests.csv:4"},
		{"the only row", [][]Harvest{season[:1]}, []Harvest{fruit("A", 18000, 451, 2)}, 1, "it was 2:harvests.csv:2"},
		{"one of two equal rows", [][]Harvest{{season[0], at(season[0], 3)}}, []Harvest{season[0], fruit("A", 18000, 9, 3)}, 1, "it was 2:harvests.csv:3"},
		{"a row of a later import", [][]Harvest{season, append(slices.Clone(season), fruit("A", 18009, 20, 5))},
			append(slices.Clone(season), fruit("A", 18009, 21, 5)), 1, "it was 3:harvests.csv:5"},
		{"the later of two seasons", [][]Harvest{season, {fruit("A", 18360, 1, 2), fruit("A", 18361, 2, 3)}}, []Harvest{fruit("A", 18360, 1, 2), fruit("A", 18362, 2, 3)}, 1,
			"it was 3:harvests.csv:3"},

		{"a row above", [][]Harvest{season}, []Harvest{fruit("B", 17999, 7, 2), at(season[0], 3), at(season[1], 4), at(season[2], 5)}, 0, ""},
		{"a row below", [][]Harvest{season}, append(slices.Clone(season), fruit("B", 18002, 7, 5)), 0, ""},
		{"a row left out and one below", [][]Harvest{season}, []Harvest{season[0], at(season[2], 3), fruit("B", 18002, 7, 5)}, 0, ""},
		{"sorted another way, one new", [][]Harvest{season}, []Harvest{at(season[2], 2), fruit("B", 18002, 7, 3), at(season[0], 4), at(season[1], 5)}, 0, ""},
		{"another season", [][]Harvest{season}, []Harvest{fruit("A", 18360, 450, 2), fruit("A", 18361, 510, 3)}, 0, ""},
		{"another season of one row", [][]Harvest{season[:1]}, []Harvest{fruit("A", 18360, 450, 2)}, 0, ""},
		{"the later of two seasons grew", [][]Harvest{season, {fruit("A", 18360, 1, 2)}}, []Harvest{fruit("A", 18360, 1, 2), fruit("A", 18362, 2, 3)}, 0, ""},
		{"entries of no sheet", [][]Harvest{{at(season[0], 0)}}, []Harvest{fruit("A", 18000, 30, 0)}, 0, ""},
		{"another sheet", [][]Harvest{season}, []Harvest{{Grower: "G", Bed: "A", Date: 18001, DateBasis: ByDay, Crop: "pumpkin", Weight: 1, Weighed: "scale", ReportedUnit: "kg",
			Source: Source{File: "county fair.csv", Line: 3}}}, 0, ""},
	} {
		t.Run(x.name, func(t *testing.T) {
			b := newBook(t)
			commit(t, b, &Records{Beds: []Bed{bed("A", 1), bed("B", 1)}})
			for _, h := range x.before {
				commit(t, b, &Records{Harvests: h})
			}
			_, err := b.Commit(Batch{Records: &Records{Harvests: x.sheet}, Now: noon})
			var ce *ChangedError
			switch {
			case x.edits == 0 && err != nil:
				t.Error(err)
			case x.edits > 0 && (!errors.As(err, &ce) || ce.Total != x.edits || !errors.Is(err, ErrConflict)):
				t.Fatal(err)
			case x.edits > 0:
				mustSay(t, err, x.says, "hint: --correct keeps the new ones; the old ones stay in history", "a row that is new stands on a line of its own")
			}
		})
	}
}

// TestEditIsTakenAsCorrection follows the advice of the message.
func TestEditIsTakenAsCorrection(t *testing.T) {
	b := newBook(t)
	commit(t, b, &Records{Beds: []Bed{bed("A", 1)}})
	without := soil("A", "P", 18000, 50, 2)
	commit(t, b, &Records{SoilTests: []SoilTest{without, soil("A", "K", 18000, 90, 3)}})
	with := without
	with.Method, with.ReportedMethod = "Mehlich-3", "M3"
	sheet := &Records{SoilTests: []SoilTest{with, soil("A", "K", 18000, 90, 3)}}
	_, err := b.Commit(Batch{Records: sheet, Now: noon})
	if !errors.Is(err, ErrConflict) {
		t.Fatal(err)
	}
	mustSay(t, err, "method empty -> M3; it was 2:tests.csv:2")
	sheet.Corrections = []Correction{{Table: "soil_tests", OfBatch: 2, OfFile: "tests.csv", OfLine: 2, Analyte: "P", Action: "replace", Source: with.Source}}
	commit(t, b, sheet)
	if got := records(t, b).SoilTests; len(got) != 2 || got[1].Method != "Mehlich-3" {
		t.Errorf("%+v", got)
	}
	if _, err := b.Commit(Batch{Records: sheet, Now: noon}); !errors.Is(err, ErrNothingNew) {
		t.Error(err)
	}
	sound(t, b)
}

// TestEditOnALineOfManyAnalytes: an analyte filled in is no edit of another.
func TestEditOnALineOfManyAnalytes(t *testing.T) {
	b := newBook(t)
	commit(t, b, &Records{Beds: []Bed{bed("A", 1)}})
	commit(t, b, &Records{SoilTests: []SoilTest{soil("A", "P", 18000, 50, 2), soil("A", "K", 18000, 90, 2)}})
	p := soil("A", "P", 18000, 50, 2)
	p.Lab = "Lab A"
	_, err := b.Commit(Batch{Records: &Records{SoilTests: []SoilTest{p, soil("A", "K", 18000, 90, 2), soil("A", "Mg", 18000, 9, 2)}}, Now: noon})
	var ce *ChangedError
	if !errors.As(err, &ce) || ce.Total != 1 || !strings.HasPrefix(ce.Changes[0].Subject, "A, P") {
		t.Error(err)
	}
}

// TestGrowerNamedLater: rows without a grower are those of the grower that
// book.toml names, whenever it came to name one.
func TestGrowerNamedLater(t *testing.T) {
	b, err := Create(filepath.Join(t.TempDir(), "book"), Options{})
	if err != nil {
		t.Fatal(err)
	}
	sheet := func(grower string) *Records {
		r := &Records{Beds: []Bed{bed("A", 1)}, SoilTests: []SoilTest{soil("A", "P", 18000, 50, 2)}}
		r.Beds[0].Grower, r.SoilTests[0].Grower = grower, grower
		return r
	}
	commit(t, b, sheet(""))
	name := func(grower string) {
		path := filepath.Join(b.Dir, "book.toml")
		c := b.Config
		c.Grower = grower
		if err := os.WriteFile(path, []byte(c.text()), 0o644); err != nil {
			t.Fatal(err)
		}
		if b, err = Open(b.Dir); err != nil {
			t.Fatal(err)
		}
	}
	for _, grower := range []string{"Ann", "Anna B."} {
		name(grower)
		for _, r := range []*Records{sheet(""), sheet(grower)} {
			if _, err := b.Commit(Batch{Records: r, Now: noon}); !errors.Is(err, ErrNothingNew) {
				t.Errorf("%s: the rows are in the book: %v", grower, err)
			}
		}
		r := records(t, b)
		if len(r.Beds) != 1 || len(r.SoilTests) != 1 || r.SoilTests[0].Grower != grower || r.Beds[0].Grower != grower {
			t.Errorf("%s: %+v", grower, r)
		}
		sound(t, b)
	}
	commit(t, b, &Records{SoilTests: []SoilTest{soilOf("", 18400), soilOf("Anna B.", 18401)}})
	name("C")
	got := records(t, b).SoilTests
	if len(got) != 3 || got[0].Grower != "Anna B." || got[1].Grower != "C" || got[2].Grower != "C" {
		t.Errorf("a named grower stays, an unnamed one follows book.toml: %+v", got)
	}
}

func soilOf(grower string, day Date) SoilTest {
	s := soil("A", "P", day, 40, 2)
	s.Grower = grower
	return s
}

func TestContradictingWeatherAndMaterials(t *testing.T) {
	for name, rows := range map[string][2]*Records{
		"weather": {{Weather: []Weather{{Grower: "G", Site: "Home", Date: 18000, Period: "day", Rain: ptr(3.9)}}},
			{Weather: []Weather{{Grower: "G", Site: "Home", Date: 18000, Period: "day", Rain: ptr(3.8)}}}},
		"materials": {{Materials: []Material{{Grower: "G", Material: "meal", Component: "N", Value: 10, Unit: "%"}}},
			{Materials: []Material{{Grower: "G", Material: "meal", Component: "N", Value: 12, Unit: "%"}}}},
	} {
		b := newBook(t)
		commit(t, b, rows[0])
		if _, err := b.Commit(Batch{Records: rows[1], Now: noon}); !errors.Is(err, ErrConflict) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func TestBedNames(t *testing.T) {
	b := newBook(t)
	if names := records(t, b).BedNames(); names == nil || len(names) > 0 {
		t.Errorf("%#v", names)
	}
	renamed := bed("Barn side", 18500)
	renamed.Was = "Old barn; Hill"
	other := bed("Hill", 17000)
	other.Grower = "H"
	commit(t, b, &Records{Beds: []Bed{renamed, bed("Creek", 17000), bed("Creek", 17100), other}})
	if got := strings.Join(records(t, b).BedNames(), ", "); got != "Barn side, Creek, Hill, Old barn" {
		t.Error(got)
	}
}

// TestRecordsThatCannotBeReplaced: the batch stands, and the result says what
// does not.
func TestRecordsThatCannotBeReplaced(t *testing.T) {
	if runtime.GOOS == "windows" {
		return // links ask for a right there
	}
	b := newBook(t)
	dir := filepath.Join(b.Dir, recordsDir)
	lost := func() { // as on a drive that is not there
		t.Helper()
		if err := os.RemoveAll(dir); err != nil {
			t.Fatal(err)
		}
		if err := os.Symlink(filepath.Join(b.Dir, "unplugged", "records"), dir); err != nil {
			t.Fatal(err)
		}
	}
	lost()
	res, err := b.Commit(numbered(1))
	if err != nil || res.Number != 1 || !strings.HasPrefix(res.Warning, "records/ could not be replaced: other programs that read it see the old rows until the next command (") {
		t.Fatalf("%+v %v", res, err)
	}
	if res, err = b.Commit(numbered(2)); err != nil || res.Warning == "" {
		t.Fatalf("%+v %v", res, err)
	}
	if res, err = b.Undo(2, "test", noon); err != nil || res.Number != 3 || res.Warning == "" {
		t.Fatalf("%+v %v", res, err)
	}
	if n := len(records(t, b).SoilTests); n != 1 {
		t.Errorf("%d tests", n)
	}
	if err := os.Remove(dir); err != nil {
		t.Fatal(err)
	}
	if res, err = b.Undo(3, "test", noon); err != nil || res.Number != 4 || res.Warning != "" {
		t.Errorf("%+v %v", res, err)
	}
	if n := len(records(t, b).SoilTests); n != 2 {
		t.Errorf("%d tests", n)
	}
}

// TestBatchKeepsTheSheetsGrower looks into the batch itself.
func TestBatchKeepsTheSheetsGrower(t *testing.T) {
	b := newBook(t)
	unnamed := bed("A", 1)
	unnamed.Grower = ""
	res, err := b.Commit(Batch{Records: &Records{Beds: []Bed{unnamed, bed("B", 1)}}, Now: noon})
	if err != nil {
		t.Fatal(err)
	}
	data, err := os.ReadFile(filepath.Join(b.Dir, "batches", res.Dir, manifestName))
	if err != nil {
		t.Fatal(err)
	}
	var m manifest
	if err := json.Unmarshal(data, &m); err != nil {
		t.Fatal(err)
	}
	raw := &Records{}
	if err := readTables(filepath.Join(b.Dir, "batches", res.Dir), "batch 1", m.Format, m.Tables, raw); err != nil {
		t.Fatal(err)
	}
	if raw.Beds[0].Grower != "" || raw.Beds[1].Grower != "G" {
		t.Errorf("%+v", raw.Beds)
	}
}
