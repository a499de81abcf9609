package intake

import (
	"errors"
	"fmt"
	"os"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/xuri/excelize/v2"

	"carryover/dataset"
)

// docExamples returns the texts of maps in the package comment.
func docExamples(t testing.TB) (out []string) {
	t.Helper()
	text, err := os.ReadFile("doc.go")
	if err != nil {
		t.Fatal(err)
	}
	open := false
	for _, line := range strings.Split(string(text), "\n") {
		rest, code := strings.CutPrefix(line, "//\t")
		switch {
		case code && !open:
			open, out = true, append(out, rest+"\n")
		case code:
			out[len(out)-1] += rest + "\n"
		case line == "//" && open:
			out[len(out)-1] += "\n"
		default:
			open = false
		}
	}
	return out
}

// docExample returns the one with the whole grammar.
func docExample(t testing.TB) string { return docExamples(t)[2] }

func TestDocumentedMap(t *testing.T) {
	m, err := ParseMap("county.toml", []byte(docExample(t)))
	if err != nil {
		t.Fatal(err)
	}
	const sheet = "plot;half;year;sampled;depth;lime_date;lime;remarks;ph_water;p_mg_kg\n" +
		"7;1;2024;28/10/2024;0-15;*;*;*;6,4;*\n" +
		"7;1;2024;28/10/2024;0-15;*;*;*;6.4;n/a\n" // a decimal comma and a point
	src := func(text string) []Source { return []Source{{"export.csv", []byte(text)}} }
	_, err = Read(src(sheet), Options{Map: m, Grower: "Ann", Today: today})
	if want := `export.csv:3: "6.4" has a decimal point, "6,4" in line 2 a decimal comma: expected one way in the whole sheet: mend one of them, or say --decimal comma or --decimal point`; err == nil || err.Error() != want {
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
		{"column and value", head + "tool = {column = \"x\", value = \"y\"}\n", "m.toml:7: key rows.set.tool: neither column nor value, or several of their kind: expected one of column, columns, value, cell, after, name_of"},
		{"empty condition", head + "tool = {column = \"x\", when = {column = \"y\"}}\n",
			`m.toml:7: key rows.set.tool: a condition without column, or without is, not, has or match: expected as {column = "...", is = ["..."]}`},
		{"analyte in tillage", head + "tool = \"hoe\"\n[[rows.analyte]]\ncolumn = \"p\"\nanalyte = \"P\"\n",
			"m.toml:8: key rows.analyte: measured columns in tillage: expected soil_tests, water_tests, leaf_tests, materials or advice: set its fields under [rows.set]"},
		{"unknown analyte", "format = 1\n[[rows]]\ntable = \"soil_tests\"\n[rows.set]\nbed = \"A\"\ndate = \"2026-04-01\"\n[[rows.analyte]]\ncolumn = \"p\"\nanalyte = \"phosforus\"\nunit = \"ppm\"\n",
			`m.toml:7: key rows.analyte: column "p": analyte "phosforus": not known: did you mean phosphorus?`},
		{"unknown method", "format = 1\n[[rows]]\ntable = \"soil_tests\"\n[rows.set]\nbed = \"A\"\ndate = \"2026-04-01\"\n[[rows.analyte]]\ncolumn = \"p\"\nanalyte = \"P\"\nmethod = \"Olson\"\n",
			`m.toml:7: key rows.analyte: column "p": method "Olson": not known for P: did you mean Olsen?; a lab's own procedure is written "other: NAME"`},
		{"bad unit", "format = 1\n[[rows]]\ntable = \"soil_tests\"\n[rows.set]\nbed = \"A\"\ndate = \"2026-04-01\"\n[[rows.analyte]]\ncolumn = \"p\"\nanalyte = \"P\"\nunit = \"dS/m\"\n",
			`m.toml:7: key rows.analyte: column "p": unit "dS/m": cannot measure P: expected one of ppm, mg/kg, lb/acre, kg/ha, mg/dm3, %`},
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
		{"plot,day,toll,toll\n1,2026-04-01,hoe,x\n", `x.csv:1: column toll: named twice: expected one column of this name: rename one of them, or name them by order in m.toml, as "toll #2"`},
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

// TestWideMessages holds the words of what is refused in wide sheets.
func TestWideMessages(t *testing.T) {
	const top = "format = 1\n[[rows]]\ntable = \"soil_tests\"\n"
	const set = "[rows.set]\nbed = {column = \"Bed\"}\ndate = \"2026-10-28\"\ndepth = \"0-6 in\"\n"
	for _, x := range []struct{ name, text, sheet, want string }{
		{"two values", top + set + "[rows.columns]\n\"P ppm\" = \"P ppm M3\"\n\"P lb\" = \"P lb/acre M3\"\n", "Bed,P ppm,P lb\nBarn,118,236\nHill,,20\n",
			"x.csv:2: column P lb: a second value of P in one report, 236: column P ppm has 118: expected one: take one of the columns out of m.toml"},
		{"a cell against its column", top + set + "[rows.columns]\n\"P ppm\" = \"P ppm M3\"\n", "Bed,P ppm\nBarn,118 lb/acre\n",
			`x.csv:2: column P ppm: "118 lb/acre" is in lb/acre: expected ppm, as the column P ppm says: write the figure in one of them, and that unit alone`},
		{"a map against the headings", top + set + "[rows.columns]\n\"P ppm\" = \"P lb/acre M3\"\n\"K2O ppm M3\" = \"K ppm M3\"\n\"Ca ppm Olsen\" = \"Ca ppm Mehlich-3\"\n\"Mg ppm M3\" = \"Zn ppm M3\"\n",
			"Bed,P ppm,K2O ppm M3,Ca ppm Olsen,Mg ppm M3\nBarn,118,1,2,3\n",
			`m.toml:9: column "P ppm": unit lb/acre in the map, ppm in the heading: expected the same in both: mend the map; [[rows.analyte]] takes a column as the map says
m.toml:10: column "K2O ppm M3": form K in the map, K2O in the heading: expected the same in both: mend the map; [[rows.analyte]] takes a column as the map says
m.toml:11: column "Ca ppm Olsen": method Mehlich-3 in the map, Olsen in the heading: expected the same in both: mend the map; [[rows.analyte]] takes a column as the map says
m.toml:12: column "Mg ppm M3": analyte Zn in the map, Mg in the heading: expected the same in both: mend the map; [[rows.analyte]] takes a column as the map says`},
		{"a unit column against the map", top + set + "[rows.columns]\nP = {is = \"P ppm M3\", unit_column = \"u\"}\n", "Bed,P,u\nBarn,118,lb/acre\n",
			`x.csv:2: column u: "lb/acre": expected ppm, as the heading or the map says of P: mend one of them`},
		{"no unit, said once", top + "columns = [\"P\", \"Zn\"]\n" + set, "Bed,P,Zn\nBarn,118,4 ppm\nHill,12,3\n",
			`x.csv:2: column P: 118 has no unit: expected the unit of P on line 4 of m.toml: write it there, as "P ppm"; or unit = "ppm" under [rows.set] for all; or units in the profile of the lab in book.toml
x.csv:3: column Zn: 3 has no unit: expected the unit of Zn on line 4 of m.toml: write it there, as "Zn ppm"; or unit = "ppm" under [rows.set] for all; or units in the profile of the lab in book.toml`},
		{"columns below the settings", top + set + "columns = [\"P ppm\"]\nanalyte = \"P\"\nvalue = \"1\"\n", "",
			"m.toml:8: key rows.set.columns: no field of soil_tests: did you mean the key of [[rows]]? It stands above [rows.set]"},
		{"open questions", top + "columns = [\"P ? ?\", \"K (x) = K ? M3\"]\n[rows.set]\nbed = \"?\"\ndate = {value = \"?\"}\nunit = [\"?\"]\n", "",
			`m.toml:4: key rows.columns: "P ? ?" still asks: expected analyte, unit and method, as "P ppm Mehlich-3" or "P ppm no method": write it in place of the question mark
m.toml:4: key rows.columns: "K (x) = K ? M3" still asks: expected analyte, unit and method, as "P ppm Mehlich-3" or "P ppm no method": write it in place of the question mark
m.toml:6: key rows.set.bed: "?" still asks: expected the name of the bed, spelt the same way everywhere: write it in place of the question mark
m.toml:7: key rows.set.date: "?" still asks: expected day of sampling: 2026-10-28; or 2026-10, or autumn 2026, if no more is known: write it in place of the question mark
m.toml:8: key rows.set.unit: "?" still asks: expected as printed: ppm, lb/acre, %, meq/100 g ...; empty only for pH: write it in place of the question mark`},
		{"headings that do not say it all", top + "columns = [\"Phosphorus ppm\", \"Nitrate ppm\", \"P rating\", \"P ppm M3 foo\", \"lbs N/A\"]\n" + set, "",
			`m.toml:4: key rows.columns: "Phosphorus ppm": P or P2O5?: write analyte, unit and method, as "P ppm Mehlich-3" or "P ppm no method"
m.toml:4: key rows.columns: "Nitrate ppm": NO3-N or NO3?: write analyte, unit and method, as "P ppm Mehlich-3" or "P ppm no method"
m.toml:4: key rows.columns: "P rating": a rating: expected the name of what was measured: leave the column out
m.toml:4: key rows.columns: "P ppm M3 foo": foo: not understood: write analyte, unit and method, as "P ppm Mehlich-3" or "P ppm no method"
m.toml:4: key rows.columns: "lbs N/A": N: nitrate-N, ammonium-N or total N?: write analyte, unit and method, as "P ppm Mehlich-3" or "P ppm no method"`},
		{"a method that fits nothing", top + "columns = [\"P ppm\"]\n" + set + "method = \"Olson\"\n", "",
			`m.toml:9: key rows.set.method: "Olson" fits no column; of column "P ppm": method "Olson": not known for P: did you mean Olsen?; a lab's own procedure is written "other: NAME"`},
		{"several methods for one column", top + "columns = [\"K ppm\", \"B ppm\", \"pH\"]\n" + set + "method = [\"Mehlich-3\", \"water 1:1\", \"ammonium acetate\", \"hot water\", \"CaCl2\"]\n", "Bed,K ppm,B ppm,pH\nBarn,1,1,6\n",
			`m.toml:4: column "K ppm": several methods under [rows.set] measure K: Mehlich-3, ammonium acetate: write its own on the column, as "K ppm" = "K ppm ammonium acetate"
m.toml:4: column "pH": several methods under [rows.set] measure pH: water 1:1, CaCl2: write its own on the column, as "pH" = "pH CaCl2"`},
		{"several methods for one block", top + set + "method = [\"Olsen\", \"CAL\"]\n[[rows.analyte]]\ncolumn = \"P\"\nanalyte = \"P\"\nunit = \"ppm\"\n", "Bed,P\nBarn,1\n",
			`m.toml:9: column "P": several methods under [rows.set] measure P: Olsen, CAL: write its own in its block, as method = "CAL"`},
		{"several methods for one name", top + set + "analyte = {column = \"T\"}\nvalue = {column = \"V\"}\nmethod = [\"Olsen\", \"Mehlich-3\"]\n[rows.names]\n\"Soil K\" = \"K ppm\"\n", "Bed,T,V\nBarn,Soil K,1\nHill,Soil K,2\n",
			`x.csv:2: column T: "Soil K": several methods under [rows.set] measure K: Olsen, Mehlich-3: write its own on the column, as "Soil K" = "K ppm Mehlich-3", under [rows.names] in m.toml`},
		{"a lab's own method for all", top + "columns = [\"K ppm\", \"P ppm\"]\n" + set + "method = [\"Olsen\", \"other: ammonium nitrate\"]\n", "",
			`m.toml:9: key rows.set.method: "other: ammonium nitrate" belongs to no column by itself: expected a method known by name: write a lab's own on its column, as "K ppm" = "K ppm other: ammonium nitrate"`},
		{"a method in the heading that nobody knows", top + set + "method = \"Olsen\"\n[rows.columns]\n\"Colwell P mg/kg\" = \"P mg/kg\"\n\"Riverbend K ppm\" = \"K ppm\"\n", "Bed,Colwell P mg/kg,Riverbend K ppm\nBarn,1,2\n",
			`m.toml:10: column "Colwell P mg/kg": "Colwell" is not understood, and the map names no method: if Colwell is the method, write "Colwell P mg/kg" = "P mg/kg other: Colwell"; else write its method there, or "no method"
m.toml:11: column "Riverbend K ppm": "Riverbend" is not understood, and the map names no method: if Riverbend is the method, write "Riverbend K ppm" = "K ppm other: Riverbend"; else write its method there, or "no method"`},
		{"another method in the map", top + set + "[rows.columns]\n\"Colwell P mg/kg\" = \"P mg/kg Olsen\"\n", "Bed,Colwell P mg/kg\nBarn,1\n",
			`m.toml:9: column "Colwell P mg/kg": method Olsen in the map, Colwell in the heading: if Colwell is the method, write "Colwell P mg/kg" = "P mg/kg other: Colwell"; else write its method there, or "no method"`},
		{"such a method among names", top + set + "analyte = {column = \"T\"}\nvalue = {column = \"V\"}\nmethod = \"Olsen\"\n[rows.names]\n\"Colwell P\" = \"P ppm\"\n", "Bed,T,V\nBarn,Colwell P,1\n",
			`x.csv:2: column T: "Colwell P": "Colwell" is not understood, and the map names no method: if Colwell is the method, write "Colwell P" = "P ppm other: Colwell"; else write its method there, or "no method", on line 12 of m.toml`},
		{"such a method, true", top + set + "method = \"Olsen\"\n[rows.columns]\n\"Colwell P mg/kg\" = true\n", "",
			`m.toml:10: key rows.columns.Colwell P mg/kg: "Colwell P mg/kg": Colwell: not understood: write analyte, unit and method, as "P ppm Mehlich-3" or "P ppm no method"; if Colwell is the method, as "P mg/kg other: Colwell"`},
		{"two methods in a meaning", top + "columns = [\"P = P ppm Olsen other: Colwell\"]\n" + set, "",
			`m.toml:4: key rows.columns: "P = P ppm Olsen other: Colwell": two methods, Olsen and other: Colwell: expected one`},
		{"a method that is not the analyte's", top + set + "method = \"Olsen\"\n[[rows.analyte]]\ncolumn = \"a\"\nanalyte = \"pH\"\nmethod = \"wather\"\n", "",
			`m.toml:9: key rows.analyte: column "a": method "wather": not known for pH: did you mean water?; a lab's own procedure is written "other: NAME"`},
		{"matière organique", top + "columns = [\"M.O. %\"]\n" + set, "",
			`m.toml:4: key rows.columns: "M.O. %": M.O: organic matter or molybdenum?: write analyte, unit and method, as "P ppm Mehlich-3" or "P ppm no method"`},
		{"advice on two areas", "format = 1\n[[rows]]\ntable = \"advice\"\ncolumns = [\"Lime lb/1000 sq ft sq ft\", \"Lime ft\", \"Lime per 1000 ft\", \"Lime tons/ha\", \"lb/acre\"]\n" + strings.Replace(set, "depth = \"0-6 in\"\n", "", 1), "",
			`m.toml:4: key rows.columns: "Lime lb/1000 sq ft sq ft": its unit is not understood: expected what is advised and one unit, as "lime ton/acre"
m.toml:4: key rows.columns: "Lime per 1000 ft": its unit is not understood: expected what is advised and one unit, as "lime ton/acre"
m.toml:4: key rows.columns: "Lime tons/ha": its unit is not understood: expected what is advised and one unit, as "lime ton/acre"
m.toml:4: key rows.columns: "lb/acre": its unit is not understood: expected what is advised and one unit, as "lime ton/acre"`},
		{"equal headings", top + "columns = [\"P ppm\"]\n" + set, "Bed,P ppm,P ppm\nBarn,1,2\n",
			`x.csv:1: column P ppm: named twice: expected one column of this name: rename one of them, or name them by order in m.toml, as "P ppm #2"`},
		{"two rows of headings", top + "columns = [\"P ppm\"]\n" + set, "Bed,P,K\n,ppm,ppm\nBarn,1,2\n",
			`m.toml:4: column "P ppm" is not in x.csv: lines 1 and 2 together have it: headings = [1, 2]`},
		{"a word for nothing", top + "columns = [\"P ppm\"]\n" + set, "Bed,P ppm\nBarn,ND\n",
			`x.csv:2: column P ppm: "ND": expected a number: if it means that there is no value, add it to missing in m.toml; where the lab found too little to measure, it prints its limit, as <0.2`},
		{"no match", top + "columns = [\"P ppm\"]\n" + strings.Replace(set, `"Bed"}`, `"Bed", match = '^X(.)'}`, 1), "Bed,P ppm\nBarn,1\nXY,2\n",
			"x.csv:2: column Bed: \"Barn\": expected a text that fits ^X(.): mend match on line 6 of m.toml"},
		{"rows that end", top + "columns = [\"P ppm\"]\n" + set, "Bed,P ppm,Note\nBarn,1\nthe end of it\nHill,1,2,3\n",
			`x.csv:3: 1 cell: expected 3, one for each heading on line 1: where the rows end here, say so in m.toml: until = "the end of it"
x.csv:4: 4 cells: expected 3, one for each heading on line 1: add or take out commas; a cell that holds a comma stands in quotes`},
		{"nothing above", top + "columns = [\"P ppm\"]\n" + strings.Replace(set, `"2026-10-28"`, `{after = "Sampled:"}`, 1), "Received: 1,\nSampled:,\nBed,P ppm\nBarn,1\n",
			`m.toml:7: "Sampled:" stands nowhere above the headings of x.csv, or nothing behind it`},
		{"two texts above", top + "columns = [\"P ppm\"]\n" + strings.Replace(set, `"2026-10-28"`, `{after = "Sampled"}`, 1), "Sampled 2026-10-28,\nSampled,2026-10-29\nBed,P ppm\nBarn,1\n",
			`m.toml:7: "Sampled" stands several times above the headings of x.csv, with different texts behind it: expected one place: name the cell, as {cell = "B4"}`},
		{"a cell that is not above", top + "columns = [\"P ppm\"]\n" + strings.Replace(set, `"2026-10-28"`, `{cell = "B9"}`, 1), "x,\nBed,P ppm\nBarn,1\n",
			"m.toml:7: cell B9 is not above the headings of x.csv: expected a cell above line 2"},
		{"a name of an analyte", top + set + "analyte = {column = \"T\"}\nvalue = {column = \"V\"}\n[rows.names]\n", "Bed,T,V\nBarn,Phosphorus,1\nBarn,Phosphorus,2\nHill,K ppm,2\n",
			`x.csv:2: column T: "Phosphorus": P or P2O5?: write analyte, unit and method, as "P ppm Mehlich-3" or "P ppm no method": say what it is under [rows.names] in m.toml, or false to leave it out`},
		{"a turned sheet", "format = 1\nturn = true\n[[rows]]\ntable = \"soil_tests\"\ncolumns = [\"P ppm\"]\n" + set, "Bed,Barn,Hill\nP ppm,1,x\n",
			`x.csv:2: column C (P ppm): "x": expected a number: if it means that there is no value, add it to missing in m.toml; where the lab found too little to measure, it prints its limit, as <0.2`},
		{"too many columns", top + "columns = [\"P ppm\"]\n" + set, "Bed,P ppm" + strings.Repeat(",x", 9998) + "\nBarn,1\n",
			"x.csv:1: a row of 10000 cells: expected at most 1,000 columns: save the part of the sheet that is meant as a sheet of its own"},
		{"shape", "format = 1\nheadings = [4, 3]\nheading_rows = 9\ncentury = 20\nratings = [\"H2\"]\nencoding = \"ebcdic\"\n[[rows]]\ntable = \"tillage\"\n[rows.set]\nbed = {column = \"a\", match = '(a)(b)'}\ndate = {column = \"b\", match = '('}\ntool = {cell = \"4B\"}\n", "",
			`m.toml:2: key headings: 3: expected a number from 5 to 200
m.toml:3: key heading_rows: 9: expected a number from 1 to 5
m.toml:4: key century: 20: expected a round hundred, as 2000: 26 is then 2026
m.toml:5: key ratings: "H2": expected words or letters without figures
m.toml:6: key encoding: "ebcdic": expected utf-8, windows-1252, utf-16le or utf-16be
m.toml:10: key rows.set.bed.match: "(a)(b)" has several groups: expected one, round what is taken: write (?: for the others
m.toml:11: key rows.set.date.match: "(" (missing closing ): ` + "`(`" + `): expected a regular expression in single quotes, as '^(\w+)-'
m.toml:12: key rows.set.tool: "4B": expected a cell such as B4`},
	} {
		t.Run(x.name, func(t *testing.T) {
			m, err := ParseMap("m.toml", []byte(x.text))
			if err == nil {
				_, err = Read([]Source{{"x.csv", []byte(x.sheet)}}, Options{Map: m, Grower: "Ann", Today: today})
			}
			if fmt.Sprint(err) != x.want {
				t.Errorf("got:\n%v\nwant:\n%s", err, x.want)
			}
		})
	}
}

// Each method stands for the columns it can measure; a lab's own stands on its
// column, and of equal headings each says it all.
func TestMethodsOfColumns(t *testing.T) {
	const text = `format = 1
[[rows]]
table = "soil_tests"
[rows.set]
bed = {column = "Bed"}
date = "20261028"
method = ["water 1:1", "LOI", "Mehlich-3", "hot water", "KCl extract", "calcium phosphate"]
[rows.columns]
pH = true
"OM %" = true
"Humus %" = "OM % Walkley-Black"
"B ppm" = true
"Zn ppm" = true
"NO3-N ppm" = true
"S ppm" = true
"Colwell P mg/kg" = "P mg/kg other: Colwell"
"K ppm #1" = "K ppm ammonium acetate"
"K ppm #2" = true
"Riverbend Mg ppm" = "Mg ppm no method"
`
	m, err := ParseMap("m.toml", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	res, err := Read([]Source{{"x.csv", []byte("Bed,pH,OM %,Humus %,B ppm,Zn ppm,NO3-N ppm,S ppm,Colwell P mg/kg,K ppm,K ppm,Riverbend Mg ppm\nBarn,6,5,5,1,2,3,4,85,210,190,99\n")}}, Options{Map: m, Grower: "Ann", Today: today})
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, s := range res.Records.SoilTests {
		got = append(got, fmt.Sprintf("%s %g %s", s.Analyte, s.ReportedValue, s.Method))
	}
	if d := cmp.Diff([]string{"pH 6 water 1:1", "OM 5 LOI", "OM 5 Walkley-Black", "B 1 hot water", "Zn 2 Mehlich-3", "NO3-N 3 KCl extract", "S 4 calcium phosphate",
		"P 85 other: Colwell", "K 210 ammonium acetate", "K 190 Mehlich-3", "Mg 99 "}, got); d != "" {
		t.Error(d)
	}
}

// A heading of advice says its unit.
func TestAdviceHeadings(t *testing.T) {
	for _, x := range []struct{ heading, item, unit string }{
		{"Lime Rec lb/1000 sq ft", "Lime", "lb/1000 sq ft"}, {"Lime Rec (lbs/1000ft2)", "Lime", "lb/1000 sq ft"}, {"Lime, lb/1,000 sq. ft.", "Lime", "lb/1000 sq ft"},
		{"Gypsum pounds per 1000 sq ft", "Gypsum", "lb/1000 sq ft"}, {"N lb/M", "N", "lb/1000 sq ft"}, {"Lime Requirement (tons/acre)", "Lime", "ton/acre"},
		{"Recommended lime T/A", "lime", "ton/acre"}, {"Nitrogen Rec. (lbs N/acre)", "Nitrogen", "lb/acre"}, {"P (lb P2O5/acre)", "P2O5", "lb/acre"},
		{"K2O to apply kg/ha", "K2O", "kg/ha"}, {"Lime t/ha", "Lime", "t/ha"}, {"Kalk kg/m\u00b2", "Kalk", "kg/m2"},
		{"Compost yd3/1000 sq ft", "Compost", "cu yd/1000 sq ft"}, {"Compost rec. cu. yds per 1,000 sq ft", "Compost", "cu yd/1000 sq ft"},
		{"Gypsum lb", "Gypsum", "lb"}, {"Sulfur for beds lb/100 sq ft", "Sulfur beds", "lb/100 sq ft"}, {"lime ft", "lime", "ft"},
	} {
		m, err := ParseMap("m.toml", []byte("format = 1\n[[rows]]\ntable = \"advice\"\n[rows.set]\nbed = {column = \"Bed\"}\ndate = \"2026-10-28\"\n[rows.columns]\n"+tomlText(x.heading)+" = true\n"))
		if err != nil {
			t.Errorf("%s: %v", x.heading, err)
			continue
		}
		if got := m.blocks[0].measured[0].meaning; got.name != x.item || got.unit != x.unit {
			t.Errorf("%s: %q in %q", x.heading, got.name, got.unit)
		}
		res, err := Read([]Source{{"x.csv", []byte("Bed;" + x.heading + "\nBarn;65\n")}}, Options{Map: m, Grower: "Ann", Today: today})
		if err != nil || len(res.Records.Advice) != 1 || res.Records.Advice[0].Item != x.item || res.Records.Advice[0].Unit != x.unit {
			t.Errorf("%s: %v, %+v", x.heading, err, res.Records.Advice)
		}
	}
}

// A map may be given every way there is to name a sheet of a workbook; a book
// without any such sheet says so.
func TestSheetsOfABook(t *testing.T) {
	const rows = "[[rows]]\ntable = \"soil_tests\"\ncolumns = [\"P ppm\", \"K ppm\"]\n[rows.set]\nbed = {column = \"Bed\"}\ndate = {name_of = \"sheet\", match = '\\d{4}-\\d\\d-\\d\\d'}\n"
	data := bookWith(t, []string{"Cover", "2026-04-12", "2026-10-28", "Half"}, func(f *excelize.File) {
		setRows(t, f, "Cover", []any{"Riverbend"})
		setRows(t, f, "2026-04-12", []any{"Riverbend"}, []any{"Bed", "P ppm", "K ppm"}, []any{"Barn", 118, 310})
		setRows(t, f, "2026-10-28", []any{"Bed", "P ppm", "K ppm"}, []any{"Barn", 101, 260})
		setRows(t, f, "Half", []any{"Bed", "P ppm"}, []any{"Barn", 9})
	})
	for _, x := range []struct{ top, want string }{
		{"", "2026-04-12 118, 2026-04-12 310, 2026-10-28 101, 2026-10-28 260; lab.xlsx: sheets passed over, since they lack columns of m.toml: Cover, Half"},
		{`sheet = "2026-10-28"`, "2026-10-28 101, 2026-10-28 260; "},
		{`sheet = ["2026-10-28", "2026-04-12"]`, "2026-10-28 101, 2026-10-28 260, 2026-04-12 118, 2026-04-12 310; "},
		{`sheet = "2026-10-29"`, `lab.xlsx: no sheet "2026-10-29", which m.toml names: did you mean 2026-10-28?`},
		{`sheet = "Half"`, `m.toml:5: column "K ppm" is not in lab.xlsx/Half: did you mean P ppm?`},
		{`headings_with = "Plot"`, `lab.xlsx: no sheet that m.toml can read: expected one with the headings it names: name it in the map: sheet = "..."`},
	} {
		m, err := ParseMap("m.toml", []byte("format = 1\n"+x.top+"\n"+rows))
		if err != nil {
			t.Fatal(err)
		}
		res, err := Read([]Source{{"lab.xlsx", data}}, Options{Map: m, Grower: "Ann", Today: today})
		got := fmt.Sprint(err)
		if err == nil {
			var values []string
			for _, s := range res.Records.SoilTests {
				values = append(values, fmt.Sprintf("%s %g", s.Date, s.Value))
			}
			got = strings.Join(values, ", ") + "; "
			for _, n := range res.Notes {
				if strings.Contains(n, "passed over") {
					got += n
				}
			}
		}
		if got != x.want {
			t.Errorf("%s:\ngot  %s\nwant %s", x.top, got, x.want)
		}
	}
}

// The maps of the package comment read what they say they read.
func TestDocumentedWideMap(t *testing.T) {
	all := docExamples(t)
	text := all[0]
	if _, err := ParseMap("wide.toml", []byte(text+all[1])); err == nil {
		t.Error("names beside columns: no fault")
	}
	m, err := ParseMap("wide.toml", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	res, err := Read([]Source{{"r.csv", []byte("Date sampled: 10/28/2026,,,,\nSample ID,pH,OM,P,Avail. K\n,1:1,%,ppm,ppm\nBARN-1,6.4,4.6,118 VH,0.5 U\nComments,,,,\n")}}, Options{Map: m, Grower: "Ann", Today: today})
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff([]string{"Barn 2026-10-28 day pH 0-15.24 cm [water 1:1] 6.4 pH = 6.4 pH @4", "Barn 2026-10-28 day OM 0-15.24 cm [LOI] 4.6 % = 4.6 % @4",
		"Barn 2026-10-28 day P 0-15.24 cm [Mehlich-3] 118 ppm = 118 mg/kg @4", "Barn 2026-10-28 day K 0-15.24 cm [ammonium acetate] <0.5 ppm = 0.5 mg/kg @4"}, told(res.Records.SoilTests)); d != "" {
		t.Error(d)
	}
}
