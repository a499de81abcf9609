package analysis

import (
	"math"
	"slices"
	"testing"

	"github.com/apache/arrow/go/v17/arrow"
	"github.com/apache/arrow/go/v17/arrow/array"
	"github.com/apache/arrow/go/v17/arrow/memory"

	"carryover/dataset/unit"
)

func plainScale() Scale {
	same := func(v float64) float64 { return v }
	return Scale{SoilUnit: func(u string) string { return u }, WeightUnit: "kg", Weight: same, Length: same, LengthUnit: "cm"}
}

// table returns the record of a table, and its cells as text by column name
// ("-": null).
func (r *Review) cells(t *testing.T, name string, s Scale) (arrow.Record, map[string][]string) {
	t.Helper()
	rec, err := r.Table(name, s)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(rec.Release)
	cells := map[string][]string{}
	for i, f := range rec.Schema().Fields() {
		if id := f.Type.ID(); id != arrow.STRING && id != arrow.FLOAT64 || !f.Nullable {
			t.Errorf("%s: type %s, nullable %v", f.Name, f.Type, f.Nullable)
		}
		for j := range int(rec.NumRows()) {
			v := rec.Column(i).ValueStr(j)
			if rec.Column(i).IsNull(j) {
				v = "-"
			}
			cells[f.Name] = append(cells[f.Name], v)
		}
	}
	return rec, cells
}

func meta(t *testing.T, rec arrow.Record, field, key string) string {
	t.Helper()
	i := rec.Schema().FieldIndices(field)
	if len(i) != 1 {
		t.Fatalf("no field %q in %v", field, rec.Schema())
	}
	m := rec.Schema().Field(i[0]).Metadata
	if k := m.FindKey(key); k >= 0 {
		return m.Values()[k]
	}
	return "none"
}

func TestLevelsTable(t *testing.T) {
	var b book
	b.test("1", "2024-04-20", "P", 60.26, lab(""))
	b.test("1", "2024-04-20", "Zn", 0.4, below, lab(""))
	b.test("1", "2024-10-20", "Zn", 2.449)
	b.test("1", "2024-10-20", "P", 0.4, below)
	b.test("1", "2024-10-20", "P", 30, layer(15.24, 30)) // not of the worked layer
	b.test("2", "2024-10-20", "K", 120, noDepth, method(""))
	b.test("2", "2024-10-20", "K sat", 4.26, noDepth)
	r := b.review(t, Options{Invented: true})
	s := plainScale()
	s.Length, s.LengthUnit = func(cm float64) float64 { return cm / unit.CmPerInch }, "in"
	rec, cells := r.cells(t, "levels", s)
	for name, want := range map[string][]string{
		"bed": {"1", "1", "2"}, "season": {"2024", "2024", "2024"}, "timing": {"spring", "autumn", "autumn"}, "date": {"2024-04-20", "2024-10-20", "2024-10-20"},
		"depth from (in)": {"0", "0", "-"}, "depth to (in)": {"6", "6", "-"}, "lab": {"-", "Lab 1", "Lab 1"},
		"P (mg/kg, Mehlich-3)": {"60", "-", "-"}, "Zn (mg/kg, Mehlich-3)": {"-", "2.4", "-"}, "beyond limit": {"Zn <0.4", "P <0.4", "-"},
		"K (mg/kg, method not stated)": {"-", "-", "120"}, "K sat (%)": {"-", "-", "4.3"},
	} {
		if !slices.Equal(cells[name], want) {
			t.Errorf("%s: %q, want %q", name, cells[name], want)
		}
	}
	if u, m, d := meta(t, rec, "P (mg/kg, Mehlich-3)", "unit"), meta(t, rec, "P (mg/kg, Mehlich-3)", "method"), meta(t, rec, "Zn (mg/kg, Mehlich-3)", "decimals"); u != "mg/kg" || m != "Mehlich-3" || d != "1" {
		t.Errorf("metadata %s, %s, %s", u, m, d)
	}
	m := rec.Schema().Metadata()
	for key, want := range map[string]string{"table": "levels", "as_of": "2024-10-20", "invented": "yes"} {
		if v, ok := m.GetValue(key); !ok || v != want {
			t.Errorf("metadata %s: %q, want %q", key, v, want)
		}
	}
	s.Only = []string{"Zn"}
	if _, cells := r.cells(t, "levels", s); len(cells["bed"]) != 2 || cells["P (mg/kg, Mehlich-3)"] != nil {
		t.Errorf("of Zn only: %v", cells)
	}
}

func TestDrawdownTable(t *testing.T) {
	var b book
	for _, x := range []struct {
		date, analyte string
		v             float64
	}{
		{"2024-04-20", "P", 60}, {"2024-10-20", "P", 60.4}, {"2024-04-20", "Zn", 3}, {"2024-10-20", "Zn", 2},
		{"2024-05-10", "K", 200}, {"2024-10-20", "K", 150}, // sampled again, for K alone
		{"2025-04-20", "P", 80}, {"2025-10-20", "P", 50},
	} {
		b.test("1", x.date, x.analyte, x.v)
	}
	rec, cells := b.review(t, Options{}).cells(t, "drawdown", plainScale())
	for name, want := range map[string][]string{
		"season": {"2024", "2024", "2025"}, "spring test": {"2024-04-20", "2024-05-10", "2025-04-20"}, "autumn test": {"2024-10-20", "2024-10-20", "2025-10-20"},
		"P (mg/kg, Mehlich-3)": {"0", "-", "30"}, "Zn (mg/kg, Mehlich-3)": {"1", "-", "-"}, "K (mg/kg, Mehlich-3)": {"-", "50", "-"},
	} {
		if !slices.Equal(cells[name], want) {
			t.Errorf("%s: %q, want %q", name, cells[name], want)
		}
	}
	p := rec.Column(rec.Schema().FieldIndices("P (mg/kg, Mehlich-3)")[0]).(*array.Float64)
	if math.Signbit(p.Value(0)) {
		t.Error("a change that rounds to nothing reads -0")
	}
	low := "P (mg/kg, Mehlich-3) low"
	if of, bound, level := meta(t, rec, low, "of"), meta(t, rec, low, "range"), meta(t, rec, low, "level"); of != "P (mg/kg, Mehlich-3)" || bound != "low" || level != "0.9" {
		t.Errorf("metadata of the bound: %s, %s, %s", of, bound, level)
	}
	for j, v := range cells[low] {
		if (v == "-") != (cells["P (mg/kg, Mehlich-3)"][j] == "-") {
			t.Errorf("row %d: value %s, low %s", j, cells["P (mg/kg, Mehlich-3)"][j], v)
		}
	}
}

func TestHarvestsTable(t *testing.T) {
	var b book
	b.harvest("1", "2024-10-05", 700)
	b.harvest("1", "2024-10-05", 650)
	b.Harvests[1].Weighed, b.Harvests[1].Plant = "taped", "2"
	b.planting("1", 2024, "2024-05-20")
	b.Plantings[0].FruitLost, b.Plantings[0].LostHow = ptr(day("2024-08-30")), "split"
	s := plainScale()
	s.Weight, s.WeightUnit = func(kg float64) float64 { return kg / unit.KgPerPound }, "lb"
	_, cells := b.review(t, Options{}).cells(t, "harvests", s)
	for name, want := range map[string][]string{
		"date": {"2024-08-30", "2024-10-05", "2024-10-05"}, "weight (lb)": {"-", "1543", "1433"},
		"weighed": {"lost", "scale", "taped"}, "note": {"split", "-", "-"}, "plant": {"-", "-", "2"},
	} {
		if !slices.Equal(cells[name], want) {
			t.Errorf("%s: %q, want %q", name, cells[name], want)
		}
	}
}

func TestUnknownTable(t *testing.T) {
	var b book
	b.test("1", "2024-04-20", "P", 60)
	r := b.review(t, Options{})
	if _, err := r.Table("leaves", plainScale()); err == nil {
		t.Error("no such table, and no error")
	} else {
		contains(t, err.Error(), "[levels drawdown harvests]")
	}
	for _, name := range Tables() { // no pair, no harvest: columns and no row
		if rec, _ := r.cells(t, name, plainScale()); name != "levels" && rec.NumRows() != 0 {
			t.Errorf("%s: %d rows", name, rec.NumRows())
		}
	}
}

func TestTablesLeakNothing(t *testing.T) {
	usual := memory.DefaultAllocator
	defer func() { memory.DefaultAllocator = usual }()
	checked := memory.NewCheckedAllocator(memory.NewGoAllocator())
	memory.DefaultAllocator = checked
	r := unlikeBook().review(t, Options{})
	for _, name := range Tables() {
		rec, err := r.Table(name, plainScale())
		if err != nil {
			t.Fatal(err)
		}
		if name == "levels" && checked.CurrentAlloc() == 0 {
			t.Fatal("the record does not come from this allocator: nothing is checked")
		}
		rec.Release()
	}
	checked.AssertSize(t, 0)
}
