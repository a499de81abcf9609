package intake

import (
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"carryover/dataset"
)

// enterOptions are those of a book with two beds and an autumn report of Lab A.
func enterOptions() Options {
	six, none, cores := 15.24, 0.0, int32(15)
	test := func(line int32, analyte string, value float64, unit, form, method string) dataset.SoilTest {
		return dataset.SoilTest{Grower: "Ada", Bed: "Long bed", Analyte: analyte, Date: dataset.DateOf(2025, 10, 30), DateBasis: dataset.ByDay, Lab: "Lab A", Report: "77",
			DepthFrom: &none, DepthTo: &six, Cores: &cores, Value: value, ReportedValue: value, ReportedUnit: unit, ReportedForm: form, ReportedMethod: method, Method: method,
			Source: dataset.Source{Batch: 3, File: "tests.csv", Line: line}}
	}
	rec := &dataset.Records{
		SoilTests: []dataset.SoilTest{
			test(2, "pH", 6.2, "pH", "", "water 1:1"), test(3, "OM", 4.4, "%", "", "LOI"), test(4, "K", 295, "ppm", "", "Mehlich-3"),
			test(5, "P", 104, "ppm", "", "Mehlich-3"), test(6, "NO3-N", 40, "ppm", "NO3", "KCl extract")},
		Amendments: []dataset.Amendment{{Grower: "Ada", Bed: "Long bed", Date: dataset.DateOf(2026, 5, 4), DateBasis: dataset.ByDay, Material: "potash 0-0-50", Source: dataset.Source{Batch: 3, File: "spread.csv", Line: 2}}},
		Harvests: []dataset.Harvest{
			{Grower: "Ada", Bed: "Long bed", Date: dataset.DateOf(2026, 10, 3), DateBasis: dataset.ByDay, Crop: "pumpkin", Plant: "1", Weight: 500, Weighed: "scale", ReportedWeight: 500, ReportedUnit: "kg", Note: "best yet", Source: dataset.Source{Batch: 3, File: "weights.csv", Line: 2}},
			{Grower: "Ada", Bed: "Long bed", Date: dataset.DateOf(2026, 10, 3), DateBasis: dataset.ByDay, Crop: "pumpkin", Plant: "2", Weight: 400, Weighed: "taped", ReportedWeight: 400, ReportedUnit: "kg", Source: dataset.Source{Batch: 3, File: "weights.csv", Line: 3}}},
	}
	return Options{Units: "us", Today: dataset.DateOf(2026, 11, 25), Beds: []string{"Hill", "Long bed"}, Book: rec,
		Labs: map[string]dataset.Lab{"Lab B": {Order: []string{"pH", "buffer pH", "OM", "nitrate as NO3"}, Units: map[string]string{"OM": "%", "NO3-N": "ppm"}, Methods: map[string]string{"pH": "water 1:1"}, Depth: "0-6 in"}}}
}

// typedEntry parses a line whose words are parted by spaces; a word in quotes may
// hold spaces, and words such as --lab name a column.
func typedEntry(t testing.TB, table, line string, opt Options) (*Entry, error) {
	t.Helper()
	var words []string
	given := map[string]string{}
	name := ""
	for i, part := range strings.Split(line, `"`) {
		list := strings.Fields(part)
		if i%2 == 1 {
			list = []string{part}
		}
		for _, w := range list {
			switch {
			case name != "":
				given[name], name = w, ""
			case strings.HasPrefix(w, "--"):
				name = strings.ReplaceAll(w[2:], "-", " ")
			default:
				words = append(words, w)
			}
		}
	}
	return ParseEntry(table, words, given, opt)
}

func TestParseEntry(t *testing.T) {
	for _, c := range []struct {
		table, line string
		cells       string // "column=text; ..." in the order of the names
		values      string // "analyte|form|figure|unit|method; ..."
	}{
		// Figures behind their analytes: units glued or apart, methods before or behind.
		{"soil_tests", `Hill 2026-10-28 pH 6.4 OM 4.6% P 118ppm K 310 Ca 1900`, "bed=Hill; date=2026-10-28", "pH||6.4||; OM||4.6|%|; P||118|ppm|; K||310||; Ca||1900||"},
		{"soil_tests", `long bed 28 Oct 2026 pH 6.4 water 1:1 buffer pH 6.7 Sikora OM 4.6 % LOI CEC 9.8 meq/100 g sum of cations P 118 ppm Mehlich-3 total N 0.2 %`,
			"bed=Long bed; date=28 Oct 2026", "pH||6.4||water 1:1; buffer pH||6.7||Sikora; OM||4.6|%|LOI; CEC||9.8|meq/100 g|sum of cations; P||118|ppm|Mehlich-3; total N||0.2|%|"},
		{"soil_tests", `Hill autumn 2026 P (Mehlich-3) 118 ppm, K M3: 310 ppm, nitrate as NO3 43ppm, pH=6.4 --lab "lab a"`,
			"bed=Hill; date=autumn 2026; lab=Lab A", "P||118|ppm|Mehlich-3; K||310|ppm|M3; nitrate|NO3|43|ppm|; pH||6.4||"},
		{"soil_tests", `Hill yesterday B <0.2ppm Zn below 1.5 ppm DTPA Cu > 3 ppm Mn - Fe 40 ppm`, "bed=Hill; date=2026-11-24", "B||<0.2|ppm|; Zn||<1.5|ppm|DTPA; Cu||>3|ppm|; Fe||40|ppm|"},
		{"soil_tests", `Hill 2026-10 Pottasium 310 ppm NO3-N 12 lb/1000 sq ft KCl K2O 9`, "bed=Hill; date=2026-10", "Pottasium||310|ppm|; NO3-N||12|lb/1000 sq ft|KCl; K2O||9||"},
		{"soil_tests", `Hill 2026-10-28 OM 4.6 % K 310 ppm % K 3.1 % base sat K 4 pH 6.4`, "bed=Hill; date=2026-10-28", "OM||4.6|%|; K||310|ppm|; % K||3.1|%|; base sat K||4||; pH||6.4||"},
		{"soil_tests", `Hill 2026-10-28 P 118 ppm other: our own way; K: 310 ppm M3 , pH 6.4`, "bed=Hill; date=2026-10-28", "P||118|ppm|other: our own way; K||310|ppm|M3; pH||6.4||"},
		{"soil_tests", `Hill 2026-10-28 P 118 furlong K 310`, "bed=Hill; date=2026-10-28", "P||118|furlong|; K||310||"},
		{"soil_tests", `Hill 2026-10-28 P 118 ppm Melich K 310`, "bed=Hill; date=2026-10-28", "P||118|ppm|Melich; K||310||"},
		// Bare figures in the order of the profile.
		{"soil_tests", `Hill 2026-10-28 --lab "Lab B" 6.4 - 4.6 43`, "bed=Hill; date=2026-10-28; lab=Lab B", "pH||6.4||; OM||4.6||; nitrate|NO3|43||"},
		{"soil_tests", `Hill 2026-10-28 6.4 6.7 4.6% 43 mg/kg --lab "lab b"`, "bed=Hill; date=2026-10-28; lab=Lab B", "pH||6.4||; buffer pH||6.7||; OM||4.6|%|; nitrate|NO3|43|mg/kg|"},
		// Amendments.
		{"amendments", `Hill 2026-10-30 "calcitic lime" 40 lb --placed "worked in" --mixed-depth 6in`, "amount=40 lb; bed=Hill; date=2026-10-30; material=calcitic lime; mixed depth=6in; placed=worked in", ""},
		{"amendments", `Hill 2026-10-30 calcitic lime 40 lb worked in to 6 in deep before test`, "amount=40 lb; bed=Hill; date=2026-10-30; material=calcitic lime; mixed depth=6 in; placed=worked in; same day=before test", ""},
		{"amendments", `Hill 2026-06-20 fish feed 2 lb weekly to 2026-09-01`, "amount=2 lb; bed=Hill; date=2026-06-20; every days=7; material=fish feed; until=2026-09-01", ""},
		{"amendments", `Hill 2026 fish feed 2 gal every 10 days 20 June to 1 Sept watered in`, "amount=2 gal; bed=Hill; date=2026-06-20; every days=10; material=fish feed; placed=watered in; until=2026-09-01", ""},
		{"amendments", `long bed 2026-05-04 POTASH 0-0-50 about 5.5 lb`, "amount=about 5.5 lb; bed=Long bed; date=2026-05-04; material=potash 0-0-50", ""},
		{"amendments", `Hill 2026-05-04 feather meal 12-0-0 8-10 lb`, "amount=8-10 lb; bed=Hill; date=2026-05-04; material=feather meal 12-0-0", ""},
		{"amendments", `Hill 2026-05-04 "Mix 20" 2 x 50 lb`, "amount=2 x 50 lb; bed=Hill; date=2026-05-04; material=Mix 20", ""},
		{"amendments", `Hill 2026-05-04 leaf mould`, "bed=Hill; date=2026-05-04; material=leaf mould", ""},
		{"amendments", `Hill 2026-05-04 leaf mould 1/2 cu yd surface --note "from the oak"`, "amount=1/2 cu yd; bed=Hill; date=2026-05-04; material=leaf mould; note=from the oak; placed=surface", ""},
		// The rest.
		{"harvests", `Hill 2026-10-03 1,240.5 lb scale`, "bed=Hill; date=2026-10-03; weighed=scale; weight=1,240.5 lb", ""},
		{"harvests", `Hill Oct 3, 2026 summer squash 12lb guessed`, "bed=Hill; crop=summer squash; date=Oct 3, 2026; weighed=guessed; weight=12lb", ""},
		{"plantings", `Hill 2026 --set-out 2026-05-20 --plants 1`, "bed=Hill; plants=1; season=2026; set out=2026-05-20", ""},
		{"plantings", `Hill 2026 field pumpkin --note -`, "bed=Hill; crop=field pumpkin; note=; season=2026", ""},
		{"covers", `Long bed 2026-10-15 winter rye`, "bed=Long bed; sown=2026-10-15; species=winter rye", ""},
		// Columns may be named among the words, behind what the line ends in.
		{"covers", `Hill 2024-10-20 winter rye ended 2025-04-20`, "bed=Hill; ended=2025-04-20; sown=2024-10-20; species=winter rye", ""},
		{"covers", `Hill 2024-10-20 oats, peas 14 in tall, ended on 20 Apr 2025, biomass 4000 lb/acre note thin 2 in stand`,
			"bed=Hill; biomass=4000 lb/acre; ended=20 Apr 2025; height=14 in; note=thin 2 in stand; sown=2024-10-20; species=oats, peas", ""},
		{"covers", `Hill 2024-10-20 winter rye height 35cm ended yesterday`, "bed=Hill; ended=2026-11-24; height=35cm; sown=2024-10-20; species=winter rye", ""},
		{"covers", `Hill 2024-10-20 winter rye ended 2025-04-20 14in`, "bed=Hill; ended=2025-04-20; height=14 in; sown=2024-10-20; species=winter rye", ""},
		{"covers", `Hill 2024-10-20 "mix ended 2025-04-20"`, "bed=Hill; sown=2024-10-20; species=mix ended 2025-04-20", ""}, // one name, in quotes
		{"covers", `Hill 2024-10-20 high ended rye`, "bed=Hill; sown=2024-10-20; species=high ended rye", ""},
		{"plantings", `Hill 2024 pumpkin 1`, "bed=Hill; crop=pumpkin; plants=1; season=2024", ""},
		{"plantings", `Hill 2024 1`, "bed=Hill; plants=1; season=2024", ""},
		{"plantings", `Hill 2024 field pumpkin 2 plants set out 20 May 2024 pollinated 2024-07-02`, "bed=Hill; crop=field pumpkin; plants=2; pollinated=2024-07-02; season=2024; set out=20 May 2024", ""},
		{"plantings", `Hill 2024 set out 2024-05-20 feeds complete yes vines hauled 80 % lost how split by rain fruit lost 2024-08-19 1 plant`,
			"bed=Hill; feeds complete=yes; fruit lost=2024-08-19; lost how=split by rain; plants=1; season=2024; set out=2024-05-20; vines hauled=80 %", ""},
		{"plantings", `Hill 2024 egg plant`, "bed=Hill; crop=egg plant; season=2024", ""},
		{"plantings", `Hill 2024 "pumpkin 1"`, "bed=Hill; crop=pumpkin 1; season=2024", ""},
		{"harvests", `Hill 2026-10-03 1240.5 lb scale plant 2`, "bed=Hill; date=2026-10-03; plant=2; weighed=scale; weight=1240.5 lb", ""},
		{"harvests", `Hill 2026-10-03 squash plant 2 12 lb weighed guessed note soft at the stem`, "bed=Hill; crop=squash; date=2026-10-03; note=soft at the stem; plant=2; weighed=guessed; weight=12 lb", ""},
		// A bed that is not known ends where the day begins.
		{"harvests", `Hill top 2026-10-03 12 lb scale`, "bed=Hill top; date=2026-10-03; weighed=scale; weight=12 lb", ""},
		{"harvests", `Far away bed 2026-10-03 12 lb scale`, "bed=Far away bed; date=2026-10-03; weighed=scale; weight=12 lb", ""},
	} {
		e, err := typedEntry(t, c.table, c.line, enterOptions())
		if err != nil {
			t.Errorf("%s: %v", c.line, err)
			continue
		}
		var cells, values []string
		for _, k := range slices.Sorted(maps.Keys(e.Cells)) {
			cells = append(cells, k+"="+e.Cells[k])
		}
		for _, v := range e.Values {
			values = append(values, strings.Join([]string{v.Analyte, v.Form, v.Figure, v.Unit, v.Method}, "|"))
		}
		if d := cmp.Diff([]string{c.cells, c.values}, []string{strings.Join(cells, "; "), strings.Join(values, "; ")}); d != "" {
			t.Errorf("%s (-want +got):\n%s", c.line, d)
		}
	}
}

func TestEntryFaults(t *testing.T) {
	for _, c := range []struct{ table, line, want string }{
		{"soil_tests", `Hil 2026-10-28 pH 6.4`, `entry: column bed: "Hil": not described in this book: did you mean Hill? (or add it to beds.csv)`},
		{"soil_tests", `Hill 2026-13-28 pH 6.4`, `entry: column date: "2026-13-28": expected a month from 1 to 12: write year, month, day, as 2026-10-28`},
		{"soil_tests", `Hill 2026-10-28 K 310 --lab "Lab C"`, `entry: column unit: K has no unit: expected ppm, mg/kg, lb/acre, kg/ha, mg/dm3, %, meq/100 g: copy the unit from the lab's sheet (ppm and lb/acre differ by a factor of 2)`},
		{"soil_tests", `Hill 2026-10-28 Pottasium 310 ppm`, `entry: column analyte: analyte "Pottasium": not known: did you mean potassium?`},
		{"soil_tests", `Hill 2026-10-28 K 310 lb/acre`, `entry: column depth: K in lb/acre: expected the sampled depth beside it: say --depth`},
		{"soil_tests", `Hill 2026-10-28 nitrate 12 ppm`, `entry: column form: "nitrate" leaves the form open: expected NO3-N, NO3: add "as" and the form (NO3 reads 4.43 times NO3-N)`},
		{"soil_tests", `Hill 2026-10-28 pH`, `entry: column value: "pH": expected an analyte and its figure, as P 118ppm`},
		{"soil_tests", `Hill 2026-10-28 6.4 6.7`, `entry: column analyte: figures without their analytes: expected pH 6.4 P 118ppm ..., or bare figures in the order of a lab: say --lab`},
		{"soil_tests", `Hill 2026-10-28 6.4 6.7 --lab "Lab A"`, `entry: column analyte: bare figures, and book.toml does not say in which order Lab A lists its analytes: write the analytes, as pH 6.4 P 118ppm, or add to book.toml, in the order of its report: [lab."Lab A"] order = ["pH", "OM", "K", "P", "NO3-N as NO3"]`},
		{"soil_tests", `Hill 2026-10-28 6.4 6.7 4.6 --lab "Lab B"`, `entry: column value: 3 figures: expected 4, in the order that book.toml gives for Lab B (pH, buffer pH, OM, nitrate as NO3): none is left for nitrate as NO3: write - for what was not given`},
		{"soil_tests", `Hill 2026-10-28 6.4 6.7 4.6 12 1.1 0.4 --lab "Lab B"`, `entry: column value: 6 figures: expected 4, in the order that book.toml gives for Lab B (pH, buffer pH, OM, nitrate as NO3): "1.1 0.4" is too much`},
		{"soil_tests", `Hill 2026-10-28 6.4 OM 4.6 --lab "Lab B"`, `entry: column value: "OM": expected bare figures only, or each with its analyte`},
		{"amendments", `Hill 2026-10-30 lime 40`, `entry: column unit: 40 has no unit: expected one of lb, kg, lb/1000 sq ft, kg/ha, gal, L, L/ha, cu yd, m3, in, cm ...: write it behind the figure`},
		{"amendments", `Hill 2026-06-20 fish feed 2 lb biweekly to 1 Sept`, `entry: column every days: "biweekly": expected every 2 weeks, or every 3 or 4 days: it is read both ways`},
		{"amendments", `Hill 2026-06-19 fish feed 2 lb weekly 20 June to 1 Sept`, `entry: column date: "2026-06-19": expected the day on which the run begins, 2026-06-20: mend one of the two`},
		{"amendments", `Hill 2026-06-20 fish feed 2 lb weekly`, `entry: column until: empty: expected the last day of the run: fill it in, or write 2 lb weekly to 1 Sept`},
		{"soil_tests", `Hill 2026-10-28 pH 6.4 OM 4 % pH 6.5`, `entry: column value: a second value of pH in one report, 6.5: the entry has 6.4: expected one: take one out, or tell them apart by sample, report, depth or method`},
		{"harvests", `Hill 2026-10-03 1240 scale`, `entry: column weight: 1240 has no unit: expected one of lb, oz, g, kg, ton, t: write it behind the figure`},
		{"harvests", `Hill 2026-10-03 1240 lb`, `entry: column weighed: empty: expected scale, taped or guessed`},
		{"harvests", `Hill 2026-10-03 squash 12 lb scale --crop marrow`, `entry: column crop: "squash": expected one, and "marrow" is said too: leave one out`},
		{"harvests", `Hill 2027-10-03 12 lb scale`, `entry: column date: "2027-10-03": in the future: check the year`},
		{"plantings", `Hill`, `entry: column season: empty: expected harvest year`},
		{"plantings", `Hill 2026 pumpkin fruit lost 2026-08-19 split`, `entry: column crop: "split": expected nothing more behind the columns that are named: the crop stands before them`},
		{"plantings", `Hill 2026 pumpkin 1 plants 2`, `entry: column plants: "1": expected one, and "2" is said too: leave one out`},
		{"covers", `Hill 2025-10-15 rye ended 2025-04-20`, `entry: column ended: "2025-04-20": expected a day after 2025-10-15`},
		{"covers", `Hill 2025-10-15 rye ended 2026-04-20 ended 2026-04-21`, `entry: column ended: "2026-04-21": expected one, and "2026-04-20" is said too: leave one out`},
		{"covers", `Hill 2025-10-15 rye height 14`, `entry: column height: 14 has no unit: expected one of in, ft, cm, mm, m: write it behind the figure`},
		{"covers", `Hill 2026-10-15`, `entry: column species: empty: expected winter rye, oats and peas ...`},
	} {
		opt := enterOptions()
		e, err := typedEntry(t, c.table, c.line, opt)
		if err == nil {
			_, err = e.Read(opt)
		}
		if got := fmt.Sprint(err); got != c.want {
			t.Errorf("%s:\n got %s\nwant %s", c.line, got, c.want)
		}
		var faults *Faults
		if !errors.As(err, &faults) {
			t.Errorf("%s: %T is no *Faults", c.line, err)
		}
	}
}

// Units and methods that a line leaves out are those of the lab: of its profile,
// else of its last report; and that is said. Other labs lend nothing.
func TestEntryFills(t *testing.T) {
	opt := enterOptions()
	read := func(line string) Result {
		t.Helper()
		e, err := typedEntry(t, "soil_tests", line, opt)
		if err != nil {
			t.Fatal(err)
		}
		res, err := e.Read(opt)
		if err != nil {
			t.Fatal(err)
		}
		return res
	}
	say := func(rec *dataset.Records) (out []string) {
		for _, x := range rec.SoilTests {
			out = append(out, fmt.Sprintf("%s %s %.4g %s %s, as %g %s %s", x.Bed, x.Analyte, x.Value, x.Unit, x.Method, x.ReportedValue, x.ReportedUnit, x.ReportedForm))
		}
		return out
	}
	res := read(`Hill 2026-10-28 pH 6.4 OM 4.6% LOI K 310 nitrate as NO3 43 --lab "Lab A"`)
	if d := cmp.Diff([]string{"Hill pH 6.4 pH water 1:1, as 6.4 pH ", "Hill OM 4.6 % LOI, as 4.6 % ", "Hill K 310 mg/kg Mehlich-3, as 310 ppm ", "Hill NO3-N 9.714 mg/kg KCl extract, as 43 ppm NO3"}, say(&res.Records)); d != "" {
		t.Error(d)
	}
	if d := cmp.Diff([]string{"values printed as NO3, stored as NO3-N (times 0.2259): 1",
		"method of pH, K, nitrate as in the report of Lab A of 2025-10-30", "unit of K, nitrate as in the report of Lab A of 2025-10-30"}, res.Notes); d != "" {
		t.Error(d)
	}
	res = read(`Hill 2026-10-28 6.4 - 4.6 43 --lab "Lab B"`)
	if d := cmp.Diff([]string{"Hill pH 6.4 pH water 1:1, as 6.4 pH ", "Hill OM 4.6 % , as 4.6 % ", "Hill NO3-N 9.714 mg/kg , as 43 ppm NO3"}, say(&res.Records)); d != "" {
		t.Error(d)
	}
	if x := res.Records.SoilTests[0]; x.DepthTo == nil || *x.DepthTo != 15.24 {
		t.Errorf("the profile's depth is not taken: %v", x.DepthTo)
	}
	if n := strings.Join(res.Notes, "\n"); !strings.Contains(n, "from the profile of Lab B in book.toml") || strings.Contains(n, "as in the report") {
		t.Error(n)
	}
}

// A row of an entry stands on line 1 of a file that no other entry has.
func TestEntryNames(t *testing.T) {
	opt := enterOptions()
	names := map[string]string{}
	for _, line := range []string{
		`Hill 2026-06-20 fish feed 2 lb`, `Hill 2026-06-21 fish feed 2 lb`, `Hill 2026-06-20 fish feed 3 lb`, `Long bed 2026-06-20 fish feed 2 lb`, `Hill 2026-06-20 fish feed 2 lb surface`,
	} {
		e, err := typedEntry(t, "amendments", line, opt)
		if err != nil {
			t.Fatal(err)
		}
		res, err := e.Read(opt)
		if err != nil {
			t.Fatal(err)
		}
		if s := res.Records.Amendments[0].Source; s != (dataset.Source{File: e.Name(), Line: 1}) || !strings.HasPrefix(s.File, "entry-") {
			t.Errorf("%s: %v", line, s)
		}
		if was := names[e.Name()]; was != "" {
			t.Errorf("%s and %s are both called %s", was, line, e.Name())
		}
		names[e.Name()] = line
	}
	again, err := typedEntry(t, "amendments", `hill  2026-06-20 fish feed 2 lb`, opt)
	if err != nil || names[again.Name()] != `Hill 2026-06-20 fish feed 2 lb` {
		t.Errorf("the same facts again are called %s: %v", again.Name(), err)
	}
}

// What is corrected keeps all that the entry does not say.
func TestEntryCorrects(t *testing.T) {
	opt := enterOptions()
	correct := func(table, line string) (*Entry, *dataset.Records, []dataset.Claim, error) {
		t.Helper()
		e, err := typedEntry(t, table, line, opt)
		if err != nil {
			t.Fatal(err)
		}
		old, claims, err := e.Correct(opt, "Ada")
		return e, old, claims, err
	}

	e, old, claims, err := correct("soil_tests", `Long bed 2025-10-30 K 259 Mg 300 ppm`)
	if err != nil {
		t.Fatal(err)
	}
	if len(old.SoilTests) != 1 || old.SoilTests[0].ReportedValue != 295 {
		t.Errorf("takes the place of %v", old.SoilTests)
	}
	at := dataset.Source{File: e.Name(), Line: 1}
	if d := cmp.Diff([]dataset.Claim{{Table: "soil_tests", At: at, OfBatch: 3, OfFile: "tests.csv", OfLine: 4, Analyte: "K"}}, claims); d != "" {
		t.Error(d)
	}
	res, err := e.Read(opt)
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []string{"K 259 ppm Mehlich-3", "Mg 300 ppm "} { // Mg, which the report lacked, is of it now
		x := res.Records.SoilTests[i]
		got := fmt.Sprintf("%s %g %s %s", x.Analyte, x.ReportedValue, x.ReportedUnit, x.Method)
		if got != want || x.Lab != "Lab A" || x.Report != "77" || *x.DepthTo != 15.24 || *x.Cores != 15 || x.Source != at {
			t.Errorf("got %s, %+v, want %s", got, x, want)
		}
	}

	e, old, claims, err = correct("harvests", `Long bed 2026-10-03 501 kg --plant 1 --note -`)
	if err != nil || len(old.Harvests) != 1 || len(claims) != 1 || claims[0].OfLine != 2 || claims[0].Analyte != "" {
		t.Fatalf("%v %v %v", old, claims, err)
	}
	if res, err = e.Read(opt); err != nil {
		t.Fatal(err)
	}
	if h := res.Records.Harvests[0]; h.Weight != 501 || h.Weighed != "scale" || h.Plant != "1" || h.Note != "" || h.Grower != "" {
		t.Errorf("%+v", h)
	}

	// By its address a row is found whatever is wrong with it.
	e, _, claims, err = correct("harvests", `Hill 2026-10-04 --replaces 3:weights.csv:3`)
	if err != nil || len(claims) != 1 || claims[0].OfLine != 3 {
		t.Fatalf("%v %v", claims, err)
	}
	if res, err = e.Read(opt); err != nil || res.Records.Harvests[0].Bed != "Hill" || res.Records.Harvests[0].Weight != 400 || res.Records.Harvests[0].Date != dataset.DateOf(2026, 10, 4) {
		t.Errorf("%+v %v", res.Records.Harvests, err)
	}

	for _, c := range []struct{ table, line, want string }{
		{"harvests", `Long bed 2026-10-03 501 kg`, `entry: 2 rows of the book may be meant (3:weights.csv:2, 500 kg, pumpkin, 1; 3:weights.csv:3, 400 kg, pumpkin, 2): expected one: name it, as --replaces 3:weights.csv:2`},
		{"harvests", `Long bed 2026-10-05 501 kg`, `entry: no harvest of Long bed at 2026-10-05 to correct: the book has 2026-10-03; leave out --correct to add it, or name its row with --replaces`},
		{"plantings", `Hill 2026 --plants 1`, `entry: no planting of Hill at 2026 to correct: leave out --correct to add it`},
		{"soil_tests", `Long bed 2025-10-30 Cu 1 ppm`, `entry: no such value of a soil test of Long bed at 2025-10-30 to correct: the book has 2025-10-30; leave out --correct to add it, or name its row with --replaces`},
		{"harvests", `Hill --replaces 9:1`, `entry: column replaces: "9:1": the book holds no harvest from there: carryover export shows every row with its address`},
		{"harvests", `Hill --replaces 9`, `entry: column replaces: "9": expected batch:file:line such as 3:tests.csv:7`},
	} {
		if _, _, _, err := correct(c.table, c.line); fmt.Sprint(err) != c.want {
			t.Errorf("%s:\n got %v\nwant %s", c.line, err, c.want)
		}
	}
}

// A second spreading or fruit of one day may be the first one said again.
func TestAgain(t *testing.T) {
	opt := enterOptions()
	every, until := int32(7), dataset.DateOf(2026, 9, 1)
	opt.Book.Amendments[0].Amount, opt.Book.Amendments[0].ReportedAmount, opt.Book.Amendments[0].ReportedUnit = ptr(2.0), ptr(4.5), "lb"
	opt.Book.Amendments = append(opt.Book.Amendments, dataset.Amendment{Grower: "Ada", Bed: "Hill", Date: dataset.DateOf(2026, 6, 20), DateBasis: dataset.ByDay, Material: "fish feed", Every: &every, Until: &until,
		Source: dataset.Source{Batch: 5, File: "feeds.csv", Line: 2}})
	for _, c := range []struct{ table, line, want string }{
		{"amendments", `Long bed 2026-05-04 "Potash 0-0-50" 5 lb`, "4.5 lb potash 0-0-50 (batch 3)"},
		{"amendments", `Long bed 2026-05-05 "potash 0-0-50" 5 lb`, ""},
		{"amendments", `Hill 2026-05-04 "potash 0-0-50" 5 lb`, ""},
		{"amendments", `Long bed 2026-05-04 "potash 0-0-60" 5 lb`, ""},
		{"amendments", `Long bed 2026-05-04 "potash 0-0-50" 5 lb --grower Ben`, ""},
		{"amendments", `Long bed 2026-04-27 "potash 0-0-50" 5 lb weekly to 1 June`, "4.5 lb potash 0-0-50 (batch 3)"},
		{"amendments", `Hill 2026-06-27 fish feed 2 gal`, "fish feed (batch 5)"}, // a day of the run
		{"amendments", `Hill 2026-06-28 fish feed 2 gal`, ""},
		{"harvests", `Long bed 2026-10-03 500.5 kg scale`, "500 kg pumpkin of plant 1 (batch 3); 400 kg pumpkin of plant 2 (batch 3)"},
		{"harvests", `Long bed 2026-10-03 500.5 kg scale --plant 1`, "500 kg pumpkin of plant 1 (batch 3)"},
		{"harvests", `Long bed 2026-10-03 500.5 kg scale --plant 3`, ""},
		{"harvests", `Long bed 2026-10-03 squash 5 kg scale`, ""},
		{"covers", `Long bed 2026-10-03 rye`, ""},
	} {
		e, err := typedEntry(t, c.table, c.line, opt)
		if err != nil {
			t.Fatal(err)
		}
		res, err := e.Read(opt)
		if err != nil {
			t.Fatal(err)
		}
		opt := opt
		opt.Units = "metric"
		same, says, err := Again(&res.Records, opt, "Ada")
		if got := strings.Join(says, "; "); err != nil || got != c.want || same.Total() != len(says) {
			t.Errorf("%s: %q, %v, want %q", c.line, got, err, c.want)
		}
	}
}

func ptr[T any](v T) *T { return &v }

// property: an entry written as a line reads as the same entry.
func TestEntryLine(t *testing.T) {
	opt := enterOptions()
	for _, c := range [][2]string{
		{"soil_tests", `Long bed 2026-10-28 pH 6.4 water 1:1 buffer pH 6.7 Sikora OM 4.6 % LOI CEC 9.8 meq/100 g sum of cations P M3 118 ppm nitrate as NO3 <12 ppm --lab "Lab C" --depth 0-6in --note "it's \ wet"`},
		{"amendments", `Hill 2026-06-20 fish feed 2 lb weekly to 2026-09-01 watered in`},
		{"amendments", `Hill 2026-10-30 "Mix 20" ~40 lb worked in 6in`},
		{"harvests", `Hill 2026-10-03 1,240.5 lb scale --plant 2`},
		{"plantings", `Hill 2026 --set-out 2026-05-20`},
		{"covers", `Hill 15 Oct 2026 winter rye --height "14 in"`},
	} {
		e, err := typedEntry(t, c[0], c[1], opt)
		if err != nil {
			t.Fatal(err)
		}
		again, err := typedEntry(t, c[0], e.Line(), opt)
		if err != nil {
			t.Fatalf("%s: %v", e.Line(), err)
		}
		if d := cmp.Diff(string(e.csv(e.Values)), string(again.csv(again.Values))); d != "" {
			t.Errorf("%s\nwritten as %s (-first +again):\n%s", c[1], e.Line(), d)
		}
	}
}

// Whatever is typed, it is refused in words or it makes rows of its table.
func FuzzEntry(f *testing.F) {
	tables := []string{"soil_tests", "amendments", "harvests", "plantings", "covers"}
	for i, line := range []string{
		"Hill 2026-10-28 pH 6.4 P 118ppm M3 K below 3 ppm", "Hill 2026 fish feed 2 lb weekly 20 June to 1 Sept", "Hill 2026-10-03 squash 1,240.5 lb scale", "Hill 2026 pumpkin", "Hill 2026-10-15 winter rye",
		"Hill 2026-10-28 - = < > , P as", "# 2026 worked in", "\" \x00 1/2 in", "", "Long bed",
	} {
		f.Add(uint(i), line)
	}
	opt := enterOptions()
	f.Fuzz(func(t *testing.T, which uint, line string) {
		table := tables[which%uint(len(tables))]
		e, err := ParseEntry(table, strings.Split(line, " "), map[string]string{}, opt)
		var faults *Faults
		if err != nil {
			if !errors.As(err, &faults) {
				t.Fatalf("%q: %v", line, err)
			}
			return
		}
		res, err := e.Read(opt)
		if err != nil {
			if !errors.As(err, &faults) || len(faults.List) == 0 {
				t.Fatalf("%q: %v", line, err)
			}
			return
		}
		if n := res.Records.Len(table); n != max(1, len(e.Values)) || n != res.Records.Total() {
			t.Fatalf("%q: %d rows", line, n)
		}
	})
}

// Many words between two figures are refused at once, whatever they are.
func TestEntryOfManyWords(t *testing.T) {
	words := append([]string{"Barn", "2026-10-28", "pH", "6.4"}, strings.Fields(strings.Repeat("water over the bed ", 50))...)
	_, err := ParseEntry("soil_tests", append(words, "P", "118ppm"), map[string]string{"lab": "Lab A"}, Options{Today: today, Beds: []string{"Barn"}})
	if err == nil || !strings.Contains(err.Error(), "between two figures") || len(err.Error()) > 400 {
		t.Errorf("%v", err)
	}
}
