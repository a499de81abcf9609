package intake

import (
	"errors"
	"os"
	"slices"
	"strings"
	"testing"

	"carryover/dataset"
)

// docExample returns the map in the package comment.
func docExample(t testing.TB) string {
	t.Helper()
	text, err := os.ReadFile("doc.go")
	if err != nil {
		t.Fatal(err)
	}
	var out strings.Builder
	for _, line := range strings.Split(string(text), "\n") {
		if rest, ok := strings.CutPrefix(line, "//\t"); ok {
			out.WriteString(rest + "\n")
		} else if out.Len() > 0 && line == "//" {
			out.WriteString("\n")
		}
	}
	return out.String()
}

func TestDocumentedMap(t *testing.T) {
	m, err := ParseMap("county.toml", []byte(docExample(t)))
	if err != nil {
		t.Fatal(err)
	}
	const sheet = "plot;half;year;sampled;depth;lime_date;lime;remarks;ph_water;p_mg_kg\n" +
		"7;1;2024;28/10/2024;0-15;*;*;*;6,4;*\n" + // a decimal comma: refused
		"7;1;2024;28/10/2024;0-15;*;*;*;6.4;n/a\n"
	src := func(text string) []Source { return []Source{{"export.csv", []byte(text)}} }
	_, err = Read(src(sheet), Options{Map: m, Grower: "Ann", Today: today})
	if want := `export.csv:2: column ph_water: "6,4": expected a number: commas stand only before thousands, write 1234.5`; err == nil || err.Error() != want {
		t.Errorf("got %v\nwant %s", err, want)
	}
	res, err := Read(src("plot;half;year;sampled;depth;lime_date;lime;remarks;ph_water;p_mg_kg\n"+
		"7;1;2024;28/10/2024;0-15;*;*;*;6.4;n/a\n"+
		"7;2;2025;*;0-15;1/4/2025;2;1, 2;6.6;100\n"+
		"7;2;2025;*;15-30;1/4/2025;2;2;*;90\n"+
		"7;1;2025;*;0-15;*;*;7;6.5;120\n"), Options{Map: m, Grower: "Ann", Today: today})
	if err != nil {
		t.Fatal(err)
	}
	r := res.Records
	if len(r.Beds) != 1 || *r.Beds[0].Area < 116.12 || *r.Beds[0].Area > 116.13 || r.Beds[0].From != dataset.DateOf(2020, 4, 1) {
		t.Errorf("beds %+v", r.Beds)
	}
	if len(r.Amendments) != 1 || *r.Amendments[0].Amount != 2000 || r.Amendments[0].Date != dataset.DateOf(2025, 4, 1) || r.Amendments[0].Line != 3 || res.Collapsed != 1 {
		t.Errorf("amendments %+v, collapsed %d", r.Amendments, res.Collapsed)
	}
	type test struct {
		analyte, date, basis, timing, sample, form string
		line                                       int32
	}
	var got []test
	for _, s := range r.SoilTests {
		got = append(got, test{s.Analyte, s.Date.String(), s.DateBasis, s.Timing, s.Sample, s.ReportedForm, s.Line})
	}
	want := []test{
		{"pH", "2024-10-28", "day", "", "upper", "", 2},
		{"pH", "2025-10-15", "month", "autumn", "lower", "", 3}, {"P", "2025-10-15", "month", "autumn", "lower", "P2O5", 3},
		{"P", "2025-10-15", "month", "autumn", "lower", "P2O5", 4},
		{"pH", "2025-10-15", "season", "autumn", "upper", "", 5}, // remark 7: no P
	}
	if !slices.Equal(got, want) {
		t.Errorf("got  %v\nwant %v", got, want)
	}
}

func TestMapMessages(t *testing.T) {
	const head = "format = 1\n[[rows]]\ntable = \"tillage\"\n[rows.set]\nbed = \"A\"\ndate = \"2026-04-01\"\n"
	for _, x := range []struct{ name, text, want string }{
		{"not TOML", "format = \n", "m.toml:1: expected value but found the end of the line instead"},
		{"no format", "[[rows]]\ntable = \"tillage\"\n[rows.set]\nbed = \"A\"\ndate = \"2026-04-01\"\ntool = \"hoe\"\n",
			"m.toml: key format: missing or another number: expected format = 1: a higher number needs a newer carryover"},
		{"unknown key", "format = 1\nseperator = \";\"\n" + strings.TrimPrefix(head, "format = 1\n") + "tool = \"hoe\"\n",
			"m.toml:2: key seperator: not known: did you mean separator?"},
		{"unknown field", head + "tool = \"hoe\"\ntoll = \"hoe\"\n",
			"m.toml:8: key rows.set.toll: no field of tillage: did you mean tool?"},
		{"unknown table", "format = 1\n[[rows]]\ntable = \"soil test\"\n",
			"m.toml:3: key rows.table: table \"soil test\" is not known: did you mean soil_tests?"},
		{"needed field", head, "m.toml:2: key rows: field tool is not set: expected every field that tillage needs: add it under [rows.set]"},
		{"unknown unit", head + "tool = \"hoe\"\ndepth = {column = \"d\", unit = \"cms\"}\n",
			"m.toml:8: key rows.set.depth: unit \"cms\" is not known here: did you mean cm?"},
		{"column and value", head + "tool = {column = \"x\", value = \"y\"}\n", "m.toml:7: key rows.set.tool: neither column nor value, or both: expected one of the two"},
		{"empty condition", head + "tool = {column = \"x\", when = {column = \"y\"}}\n",
			`m.toml:7: key rows.set.tool: a condition without column, or without is, not or has: expected as {column = "...", is = ["..."]}`},
		{"analyte in tillage", head + "tool = \"hoe\"\n[[rows.analyte]]\ncolumn = \"p\"\nanalyte = \"P\"\n",
			"m.toml:8: key rows.analyte: analyte columns in tillage: expected soil_tests, water_tests or leaf_tests: set its fields under [rows.set]"},
		{"unknown analyte", "format = 1\n[[rows]]\ntable = \"soil_tests\"\n[rows.set]\nbed = \"A\"\ndate = \"2026-04-01\"\n[[rows.analyte]]\ncolumn = \"p\"\nanalyte = \"phosforus\"\nunit = \"ppm\"\n",
			`m.toml:7: key rows.analyte: analyte "phosforus": not known: did you mean phosphorus?`},
		{"unknown method", "format = 1\n[[rows]]\ntable = \"soil_tests\"\n[rows.set]\nbed = \"A\"\ndate = \"2026-04-01\"\n[[rows.analyte]]\ncolumn = \"p\"\nanalyte = \"P\"\nmethod = \"Olson\"\n",
			`m.toml:7: key rows.analyte: method "Olson": not known for P: did you mean Olsen?; a lab's own procedure is written "other: NAME"`},
		{"bad unit", "format = 1\n[[rows]]\ntable = \"soil_tests\"\n[rows.set]\nbed = \"A\"\ndate = \"2026-04-01\"\n[[rows.analyte]]\ncolumn = \"p\"\nanalyte = \"P\"\nunit = \"dS/m\"\n",
			`m.toml:7: key rows.analyte: unit "dS/m": cannot measure P: expected one of ppm, mg/kg, lb/acre, kg/ha, mg/dm3, %`},
		{"dates", "format = 1\ndates = \"MYD\"\n" + strings.TrimPrefix(head, "format = 1\n") + "tool = \"hoe\"\n", `m.toml:2: key dates: "MYD": expected YMD, DMY or MDY`},
		{"no rows", "format = 1\n", "m.toml: key rows: missing: expected one or more [[rows]] blocks"},
	} {
		t.Run(x.name, func(t *testing.T) {
			m, err := ParseMap("m.toml", []byte(x.text))
			var f *Faults
			if m != nil || !errors.As(err, &f) || err.Error() != x.want {
				t.Errorf("got:\n%v\nwant:\n%s", err, x.want)
			}
		})
	}
}

// What only a file can show.
func TestMapAgainstFile(t *testing.T) {
	m, err := ParseMap("m.toml", []byte(`format = 1
missing = ["*"]
[[rows]]
table = "tillage"
[rows.set]
bed = {column = "plot", lookup = {"1" = "A"}}
date = {column = "day"}
tool = {column = "toll"}
`))
	if err != nil {
		t.Fatal(err)
	}
	for _, x := range []struct{ text, want string }{
		{"plot,day,tool\n1,2026-04-01,hoe\n", `m.toml:8: column "toll" is not in x.csv: did you mean tool?`},
		{"plot,day,toll,Toll \n1,2026-04-01,hoe,x\n", ""},
		{"plot,day,toll,toll\n1,2026-04-01,hoe,x\n", `x.csv: column toll: named twice: expected one column of this name: rename one of them`},
		{"plot,day,toll\n2,2026-04-01,hoe\n", `x.csv:2: column plot: "2": expected one of the values under lookup: add it on line 6 of m.toml`},
		{"plot,day,toll\n1,2026-04-31,*\n", "x.csv:2: column day: \"2026-04-31\": expected a day from 1 to 30, as April 2026 has: check the day\nx.csv:2: column toll: empty: expected tiller, broadfork, subsoiler ..."},
	} {
		_, err := Read([]Source{{"x.csv", []byte(x.text)}}, Options{Map: m, Today: today})
		if got := ""; err != nil {
			got = err.Error()
			if got != x.want {
				t.Errorf("got:\n%s\nwant:\n%s", got, x.want)
			}
		} else if x.want != "" {
			t.Errorf("%q: read, want %s", x.text, x.want)
		}
	}
}

// A sheet and a map that says the same must give the same records.
func TestMapEqualsSheet(t *testing.T) {
	const sheet = "bed,date,analyte,value,unit,method\nA,2026-10-28,K,212,ppm,M3\nB,spring 2026,K,<9,ppm,M3\n"
	m, err := ParseMap("m.toml", []byte(`format = 1
[[rows]]
table = "soil_tests"
[rows.set]
bed = {column = "bed"}
date = {column = "date"}
[[rows.analyte]]
column = "value"
analyte = "K"
unit = "ppm"
method = "M3"
`))
	if err != nil {
		t.Fatal(err)
	}
	want := one(t, "soil_tests.csv", sheet)
	got, err := Read([]Source{{"soil_tests.csv", []byte(sheet)}}, Options{Grower: "Ann", Map: m, Today: today})
	if err != nil || !slices.EqualFunc(got.Records.SoilTests, want.Records.SoilTests, func(a, b dataset.SoilTest) bool { return a == b }) {
		t.Errorf("%v\ngot  %+v\nwant %+v", err, got.Records.SoilTests, want.Records.SoilTests)
	}
}
