package intake

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"carryover/dataset"
)

func labs() map[string]dataset.Lab {
	return map[string]dataset.Lab{
		"Lab A": {Methods: map[string]string{"P": "Mehlich-3", "potassium": "M3", "pH": "water 1:1"}, Units: map[string]string{"P": "ppm", "K": "lb/acre", "OM": "%"}, Depth: "0-6 in"},
		"Lab B": {Methods: map[string]string{"pH": "Olsen", "Phosforus": "Olsen"}, Units: map[string]string{"P": "dS/m"}, Depth: "0-6"},
	}
}

func linesOf(list []Line) (out []string) {
	for _, l := range list {
		out = append(out, l.String())
	}
	return out
}

// Blanks are filled for the lab that a row names, what is stated stays, and the
// notes say both; a map fills the same.
func TestProfile(t *testing.T) {
	opt := Options{Grower: "Ann", Today: today, Labs: labs(), Explain: true}
	res, err := Read([]Source{{"soil_tests.csv", []byte("bed,date,lab,analyte,value,unit,method,depth (in)\n" +
		"Barn,2026-10-28,Lab A,pH,6.4,,,\nBarn,2026-10-28,lab a,P,118,,,0-8\nBarn,2026-10-28,Lab A,K,310,ppm,Olsen,\nBarn,2026-10-28,Lab C,P,12,ppm,,\nHill,2026-10-28,Lab A,K,620,,,\n")}}, opt)
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff([]string{
		"Barn 2026-10-28 day pH 0-15.24 cm [water 1:1] 6.4 pH = 6.4 pH @2", "Barn 2026-10-28 day P 0-20.32 cm [Mehlich-3] 118 ppm = 118 mg/kg @3",
		"Barn 2026-10-28 day K 0-15.24 cm [Olsen] 310 ppm = 310 mg/kg @4", "Barn 2026-10-28 day P [] 12 ppm = 12 mg/kg @5",
		"Hill 2026-10-28 day K 0-15.24 cm [Mehlich-3] 620 lb/acre = 310 mg/kg @6"}, told(res.Records.SoilTests)); d != "" {
		t.Error(d)
	}
	if d := cmp.Diff([]string{
		"method of pH, P, K filled from the profile of Lab A in book.toml: 3 values",
		"depth filled from the profile of Lab A in book.toml: 3 values",
		"unit of P, K filled from the profile of Lab A in book.toml: 2 values"}, res.Notes[:3]); d != "" {
		t.Error(d)
	}
	if d := cmp.Diff([]string{
		"soil_tests.csv:2: soil_tests: Barn 2026-10-28 pH 6.4 water 1:1, 0-6 in (method, depth from the profile of Lab A in book.toml)",
		"soil_tests.csv:3: soil_tests: Barn 2026-10-28 P 118 ppm Mehlich-3, 0-8 in -> 118 mg/kg (unit, method from the profile of Lab A in book.toml)",
		"soil_tests.csv:4: soil_tests: Barn 2026-10-28 K 310 ppm Olsen, 0-6 in -> 310 mg/kg (depth from the profile of Lab A in book.toml)",
		"soil_tests.csv:5: soil_tests: Barn 2026-10-28 P 12 ppm -> 12 mg/kg",
		"soil_tests.csv:6: soil_tests: Hill 2026-10-28 K 620 lb/acre Mehlich-3, 0-6 in -> 310 mg/kg (unit, method, depth from the profile of Lab A in book.toml)"},
		linesOf(res.Understood)); d != "" {
		t.Error(d)
	}

	if opt.Map, err = ParseMap("m.toml", []byte("format = 1\n[[rows]]\ntable = \"soil_tests\"\ncolumns = [\"pH\", \"P\", \"K ppm\", \"Zn\"]\n[rows.set]\nbed = {column = \"Bed\"}\ndate = {after = \"Sampled:\"}\nlab = \"Lab A\"\nunit = \"ppm\"\n")); err != nil {
		t.Fatal(err)
	}
	res, err = Read([]Source{{"x.csv", []byte("Sampled:,2026-10-28\nBed,pH,P,K ppm,Zn\nBarn,6.4,236 lb/acre,310,1.5\n")}}, opt)
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff([]string{
		"x.csv:3: soil_tests: Barn 2026-10-28 pH 6.4 water 1:1, 0-6 in (date from cell B1; lab from m.toml; method, depth from the profile of Lab A in book.toml)",
		"x.csv:3: soil_tests: Barn 2026-10-28 P 236 lb/acre Mehlich-3, 0-6 in -> 118 mg/kg (date from cell B1; lab from m.toml; method, depth from the profile of Lab A in book.toml)",
		"x.csv:3: soil_tests: Barn 2026-10-28 K 310 ppm Mehlich-3, 0-6 in -> 310 mg/kg (date from cell B1; lab from m.toml; method, depth from the profile of Lab A in book.toml)",
		"x.csv:3: soil_tests: Barn 2026-10-28 Zn 1.5 ppm, 0-6 in -> 1.5 mg/kg (date from cell B1; lab from m.toml; unit from [rows.set] of m.toml; depth from the profile of Lab A in book.toml)"},
		linesOf(res.Understood)); d != "" {
		t.Error(d)
	}
}

// A lab's profile may say what its lb/acre mean; the notes name the rule and
// where it was said, or where it may be.
func TestPoundsOfALab(t *testing.T) {
	read := func(rows string) ([]string, []string, error) {
		res, err := Read([]Source{{"soil_tests.csv", []byte("bed,date,lab,analyte,value,unit,method,depth (in)\n" + rows)}}, Options{Grower: "Ann", Today: today, Labs: map[string]dataset.Lab{
			"Lab A": {Pounds: "by depth"}, "Lab B": {Pounds: "2 x ppm"}, "Lab C": {Depth: "0-6 in"}, "Lab D": {Pounds: "half"}}})
		if err != nil {
			return nil, nil, err
		}
		return told(res.Records.SoilTests), res.Notes, nil
	}
	got, notes, err := read("Barn,2026-10-28,Lab A,K,300,lb/acre,M3,0-6\nBarn,2026-10-28,lab b,K,300,lb/acre,M3,\nHill,2026-10-28,Lab B,K,300,lb/acre,M3,0-12\nHill,2026-10-28,Lab B,NO3-N,72,lb/acre,KCl,0-24\n" +
		"Hill,2026-10-28,Lab C,K,300,lb/acre,M3,\nYard,2026-10-28,Lab C,K,300,kg/ha,M3,0-3\nYard,2026-10-28,,K,300,lb/acre,M3,0-8\nYard,2026-10-28,,NO3-N,72,lb/acre,KCl,0-24\n")
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff([]string{
		"Barn 2026-10-28 day K 0-15.24 cm [Mehlich-3] 300 lb/acre = 166.7 mg/kg @2", "Barn 2026-10-28 day K [Mehlich-3] 300 lb/acre = 150 mg/kg @3", "Hill 2026-10-28 day K 0-30.48 cm [Mehlich-3] 300 lb/acre = 150 mg/kg @4",
		"Hill 2026-10-28 day NO3-N 0-60.96 cm [KCl extract] 72 lb/acre = 10 mg/kg @5", "Hill 2026-10-28 day K 0-15.24 cm [Mehlich-3] 300 lb/acre = 150 mg/kg @6",
		"Yard 2026-10-28 day K 0-7.62 cm [Mehlich-3] 300 kg/ha = 297.4 mg/kg @7", "Yard 2026-10-28 day K 0-20.32 cm [Mehlich-3] 300 lb/acre = 150 mg/kg @8",
		"Yard 2026-10-28 day NO3-N 0-60.96 cm [KCl extract] 72 lb/acre = 10 mg/kg @9"}, got); d != "" {
		t.Error(d)
	}
	const layer, scaled = "stored in mg/kg by the plow-layer rule (2 lb/acre = 1 ppm whatever the exact depth)", "stored in mg/kg for their sampled depth by the laboratory convention (2,000,000 lb of soil in an acre to 6 2/3 in)"
	if d := cmp.Diff([]string{
		"depth filled from the profile of Lab C in book.toml: 1 value",
		"values in lb/acre, " + scaled + ", as the profile of Lab A in book.toml says: 1",
		"values in lb/acre, " + layer + ", as the profile of Lab B in book.toml says: 2",
		"values in lb/acre, " + scaled + ", as nitrate or ammonium of another layer is: 2",
		"values in lb/acre, " + layer + `; if the lab means it otherwise, its profile in book.toml says pounds = "by depth": 2`,
		"values in kg/ha, " + scaled + `; if the lab means it otherwise, its profile in book.toml says pounds = "2 x ppm": 1`}, notes); d != "" {
		t.Error(d)
	}
	for rows, want := range map[string]string{
		"Barn,2026-10-28,Lab A,K,300,lb/acre,M3,\n":    "soil_tests.csv:2: column depth (in): K in lb/acre: expected the sampled depth beside it: fill in the column depth",
		"Barn,2026-10-28,Lab D,K,300,lb/acre,M3,0-6\n": `book.toml: lab "Lab D": pounds: "half": expected "2 x ppm" or "by depth"`,
	} {
		if _, _, err := read(rows); fmt.Sprint(err) != want {
			t.Errorf("got  %v\nwant %s", err, want)
		}
	}
}

// Milliequivalents of a litre are read where the method says of what: in a map,
// in a sheet of our own and by a lab's profile. The figures are atomic masses.
func TestPerLitre(t *testing.T) {
	const top, columns = "format = 1\n[[rows]]\ntable = \"soil_tests\"\ncolumns = [\"Ca (meq/L)\", \"Mg, meq/liter\", \"K (me/L)\", \"Na meq Na/L\"]\n", "Bed,Ca (meq/L),\"Mg, meq/liter\",K (me/L),Na meq Na/L\nBarn,8,3,0.5,2\n"
	opt := Options{Grower: "Ann", Today: today, Labs: map[string]dataset.Lab{
		"Lab A": {Methods: map[string]string{"Ca": "saturated paste"}, Units: map[string]string{"Ca": "meq/L"}}}}
	mapped := func(set string) (Result, error) {
		o := opt
		var err error
		if o.Map, err = ParseMap("m.toml", []byte(top+"[rows.set]\nbed = {column = \"Bed\"}\ndate = \"2026-10-28\"\n"+set)); err != nil {
			t.Fatal(err)
		}
		return Read([]Source{{"x.csv", []byte(columns)}}, o)
	}
	for _, method := range []string{"saturated paste", "water extract"} {
		res, err := mapped("method = \"" + method + "\"\n")
		if err != nil {
			t.Errorf("%s: %v", method, err)
			continue
		}
		if d := cmp.Diff([]string{
			"Barn 2026-10-28 day Ca [" + method + "] 8 meq/L = 160.3 mg/L @2", "Barn 2026-10-28 day Mg [" + method + "] 3 meq/L = 36.46 mg/L @2",
			"Barn 2026-10-28 day K [" + method + "] 0.5 meq/L = 19.55 mg/L @2", "Barn 2026-10-28 day Na [" + method + "] 2 meq/L = 45.98 mg/L @2"}, told(res.Records.SoilTests)); d != "" {
			t.Errorf("%s: %s", method, d)
		}
	}
	const want = "Ca in meq/L: meq/L is of a saturated paste or water extract: write the method"
	if _, err := mapped(""); err == nil || !strings.Contains(err.Error(), want) {
		t.Errorf("no method in the map: %v", err)
	}
	own := func(row string) (Result, error) {
		return Read([]Source{{"soil_tests.csv", []byte("bed,date,lab,analyte,value,unit,method\nBarn,2026-10-28," + row + "\n")}}, opt)
	}
	for _, row := range []string{",Ca,8,meq/L,sat paste", ",Ca,8 meq/L,,saturated paste", "Lab A,Ca,8,,"} {
		if res, err := own(row); err != nil || res.Records.SoilTests[0].Value < 160.3 || res.Records.SoilTests[0].Value > 160.4 || res.Records.SoilTests[0].Basis != "extract" {
			t.Errorf("%s: %v", row, err)
		}
	}
	for row, want := range map[string]string{
		",Ca,8,meq/L,": "soil_tests.csv:2: column method: " + want, ",Ca,8 meq/L,,": "soil_tests.csv:2: column method: " + want,
		",Ca,8,meq/L,M3": `soil_tests.csv:2: column unit: unit "meq/L": cannot measure Ca: expected one of ppm, mg/kg, lb/acre, kg/ha, mg/dm3, %, meq/100 g`,
	} {
		if _, err := own(row); fmt.Sprint(err) != want {
			t.Errorf("%s:\ngot  %v\nwant %s", row, err, want)
		}
	}
}

// A profile that cannot be is told once, naming book.toml, and only where its
// lab is met.
func TestBadProfile(t *testing.T) {
	sheet := func(lab string) []Source {
		return []Source{{"soil_tests.csv", []byte("bed,date,lab,analyte,value\nBarn,2026-10-28," + lab + ",pH,6.4\nBarn,2026-10-28," + lab + ",P,118\n")}}
	}
	_, err := Read(sheet("Lab B"), Options{Grower: "Ann", Today: today, Labs: labs()})
	want := `book.toml: lab "Lab B": methods of Phosforus: analyte "Phosforus": not known: did you mean phosphorus?
book.toml: lab "Lab B": methods of pH: method Olsen: does not measure pH: methods for it are water, water 1:1, water 1:2, water 1:2.5, water 1:5, paste pH, CaCl2, KCl
book.toml: lab "Lab B": units of P: unit "dS/m": cannot measure P: expected one of ppm, mg/kg, lb/acre, kg/ha, mg/dm3, %
book.toml: lab "Lab B": depth: "0-6": expected a depth with its unit, as 0-6 in`
	if fmt.Sprint(err) != want {
		t.Errorf("got\n%v\nwant\n%s", err, want)
	}
	if _, err := Read(sheet("Lab A"), Options{Grower: "Ann", Today: today, Labs: labs()}); err != nil {
		t.Error(err)
	}
}

// What was understood is told for every table, and bounded.
func TestUnderstood(t *testing.T) {
	opt := Options{Grower: "Ann", Today: today, Explain: true}
	read := func(name, text string) []string {
		t.Helper()
		res, err := Read([]Source{{name, []byte(text)}}, opt)
		if err != nil {
			t.Fatal(err)
		}
		return linesOf(res.Understood)
	}
	for _, x := range []struct{ name, text, want string }{
		{"beds.csv", "bed,from,area (sq ft),depth (in)\nBarn,2020-04-01,1000,0-6\n", "beds.csv:2: beds: bed Barn, from 2020-04-01, area 1000 sq ft -> 92.9 m2, depth 0-6 in"},
		{"amendments.csv", "bed,date,material,amount,unit\nBarn,2026-04-20,lime,40,lb\n", "amendments.csv:2: amendments: bed Barn, date 2026-04-20, material lime, amount 40 lb -> 18.14 kg"},
		{"harvests.csv", "bed,date,weight (lb),weighed\nBarn,2026-10-03,1240.5,scale\n", "harvests.csv:2: harvests: bed Barn, date 2026-10-03, weight 1240.5 lb -> 562.7 kg, weighed scale"},
		{"soil_tests.csv", "bed,date,timing,sample,analyte,value,unit,form,method\nBarn,2026-10,,2,P,<12,ppm,P2O5,Olsen\n", "soil_tests.csv:2: soil_tests: Barn (2) 2026-10-15 (month) P <12 ppm P2O5 Olsen -> <5.237 mg/kg"},
		{"water_tests.csv", "water,date,analyte,value,unit\nwell,2026-05-04,NO3-N,6.2,mg/L\n", "water_tests.csv:2: water_tests: well 2026-05-04 NO3-N 6.2 mg/L -> 6.2 mg/L"},
		{"leaf_tests.csv", "bed,date,analyte,value,unit\nBarn,2026-07-20,N,4.8,%\n", "leaf_tests.csv:2: leaf_tests: Barn 2026-07-20 N 4.8 % -> 48000 mg/kg"},
	} {
		if got := read(x.name, x.text); !slices.Equal(got, []string{x.want}) {
			t.Errorf("got  %q\nwant %q", got, x.want)
		}
	}
	many := read("tillage.csv", "bed,date,tool\n"+strings.Repeat("Barn,2026-04-20,hoe\n", 1234))
	if len(many) != 1001 || many[1000] != "and 234 more rows" {
		t.Errorf("%d lines, the last %q", len(many), many[len(many)-1])
	}
	opt.Explain = false
	if got := read("tillage.csv", "bed,date,tool\nBarn,2026-04-20,hoe\n"); got != nil {
		t.Errorf("not asked: %q", got)
	}
}
