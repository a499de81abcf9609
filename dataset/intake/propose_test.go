package intake

import (
	"errors"
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/xuri/excelize/v2"

	"carryover/dataset"
)

var lastQuoted = regexp.MustCompile(`"(?:[^"\\]|\\.)*"$`)

// asks counts the question marks that ParseMap finds in a map.
func asks(t *testing.T, text string) int {
	t.Helper()
	_, err := ParseMap("m.toml", []byte(text))
	if err == nil {
		return 0
	}
	var f *Faults
	if !errors.As(err, &f) {
		t.Fatal(err)
	}
	n := 0
	for _, x := range f.List {
		before, _, asks := strings.Cut(x.Text, " still asks: ")
		if !asks {
			t.Errorf("more than a question: %s\n%s", x, text)
		}
		text, err := strconv.Unquote(lastQuoted.FindString(before))
		if err != nil {
			t.Fatalf("%s: %v", before, err)
		}
		n += marks(text[strings.LastIndex(text, " = ")+1:])
	}
	return n
}

// TestProposal holds every word of one proposal.
func TestProposal(t *testing.T) {
	const sheet = "Riverbend Soil Service,,,,,,,,,,,\nDate sampled:,10/28/2026,,,,,,,,,,\n,,,,,,,,,,,\n" +
		"Lab No.,Sample ID,Soil pH,OM,Phosphorus,K,P rating,lbs N/A,Lime T/A,Grower,Magnesum,Weather\n,,1:1,LOI %,M3 ppm,M3 ppm,,,,,ppm,\n" +
		"1041,BARN,6.4,4.6,118 VH,310,VH,14,0,Ann,190,dry\n1042,Hill,5.9,N/A,12 L,190,L,ND,1.5,Ann,85,wet\n1043,Average,6.1,4.6,65,250,,14,,Ann,137,\n* as received,,,,,,,,,,,\n"
	p, err := Propose(Source{"report.csv", []byte(sheet)}, Options{Today: today, Beds: []string{"Barn", "Hill"}})
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(`# Proposed for report.csv: answer each ? and import with it.
# Left out: P rating, Grower, Weather
# column "lbs N/A": "lbs N/A" reads as pounds of N per acre, not as "not available"
format = 1
heading_rows = 2
until = "* as received" # what stands below is no sample
missing = ["N/A", "ND ?"] # cells without a value
ratings = ["VH", "L"] # words beside a figure, left out
skip = {column = "Sample ID", is = ["Average"]} # no samples
dates = "MDY" # as 10/28/2026 shows
[[rows]]
table = "soil_tests"
# Phosphorus M3 ppm: P or P2O5?
# lbs N/A: N: nitrate-N, ammonium-N or total N?
# Magnesum ppm: what was measured? "Magnesum": is it magnesium? Magnesum: not understood
columns = ["Soil pH 1:1", "OM LOI %", "Phosphorus M3 ppm = ? ppm Mehlich-3", "K M3 ppm",
  "lbs N/A = ? lb/acre", "Magnesum ppm = ? ppm"]
[rows.set]
bed = {column = "Sample ID", lookup = {"BARN" = "Barn", "Hill" = "Hill"}}
date = {after = "Date sampled:"}
lab = "?" # its name, always spelt the same way; above the headings stands "Riverbend Soil Service"
depth = "?" # as "0-6 in"; or take it out
report = {column = "Lab No."}
[[rows]]
table = "advice"
[rows.set]
bed = {column = "Sample ID", lookup = {"BARN" = "Barn", "Hill" = "Hill"}}
date = {after = "Date sampled:"}
lab = "?"
[rows.columns]
"Lime T/A" = "Lime ton/acre"
`, p.Map); d != "" {
		t.Error(d)
	}
	var got []string
	for _, c := range p.Columns {
		got = append(got, fmt.Sprintf("%d %s [%s] %s|%s", c.Pos, c.Heading, c.Example, c.As, c.Question))
	}
	if d := cmp.Diff([]string{
		"1 Lab No. [1041] report|", "2 Sample ID [BARN] bed|", "3 Soil pH 1:1 [6.4] pH water 1:1|", "4 OM LOI % [4.6] OM % LOI|",
		"5 Phosphorus M3 ppm [118 VH] ? ppm Mehlich-3|P or P2O5?", "6 K M3 ppm [310] K ppm Mehlich-3|", "7 P rating [VH] |a rating",
		"8 lbs N/A [14] ? lb/acre|N: nitrate-N, ammonium-N or total N?", "9 Lime T/A [0] advice: Lime ton/acre|", "10 Grower [Ann] |grower",
		`11 Magnesum ppm [190] ? ppm|what was measured? "Magnesum": is it magnesium? Magnesum: not understood`, "12 Weather [dry] |no figures below it",
	}, got); d != "" {
		t.Error(d)
	}
	if !slices.Equal(p.Headings, []int{4, 5}) || p.Turned || p.File != "report.csv" || p.Open != asks(t, p.Map) || p.Open != 7 {
		t.Errorf("headings %v, open %d, asked %d", p.Headings, p.Open, asks(t, p.Map))
	}
}

// TestProposalsRead answers what each proposal asks and nothing more: then the
// sheet must read as it does with its own map.
func TestProposalsRead(t *testing.T) {
	answers := map[string][]string{
		"a.csv": nil,
		"b.csv": {`"BARN-0-6in" = "?"`, `"BARN-0-6in" = "Barn"`, `"HILL-0-6in" = "?"`, `"HILL-0-6in" = "Hill"`, `method = ["?", "?"]`, `method = ["water 1:1", "Mehlich-3"]`},
		"c.csv": {`"ND ?"`, `"ND"`, `"U ?"`, `"U"`, `unit = ["?"]`, `unit = "ppm"`, `method = ["?", "?"]`, `method = ["water 1:1", "DTPA"]`,
			`"P" = true`, `"P" = "P Mehlich-3"`, `"B" = true`, `"B" = "B hot water"`, `"Mo" = true`, `"Mo" = "Mo Mehlich-3"`},
		"d.csv": {`depth = "?"`, `depth = "0-15 cm"`, `"?" #`, `"0-15 cm" #`, `method = ["?"]`, `method = "Mehlich-3"`, `"Phosphorus mg/kg" = "?`, `"Phosphorus mg/kg" = "P`, `"Potash mg/kg" = "?`, `"Potash mg/kg" = "K2O`},
		"e.csv": {"method = [\"?\"] # of NO3-N; or take it out\n", "", `"Soil Reaction (1:1)" = "?"`, `"Soil Reaction (1:1)" = "pH 1:1"`, `= "? Mehlich-3"`, `= "P Mehlich-3"`},
		"f.csv": {`unit = ["?"]`, `unit = "%"`, `method = ["?", "?"]`, `method = ["CAL", "LOI"]`},
		"i.csv": {`depth = "?"`, `depth = "0-8 in"`},
		"j.csv": nil,
		"k.csv": {`date = "?"`, `date = "autumn 2026"`, `unit = "?"`, `unit = "in"`, `"Zn"}`, `"Zn DTPA"}`, `is = "Zn"`, `is = "Zn DTPA"`, `method = ["?", "?"]`, `method = ["KCl extract"]`},
		"l.csv": {`depth = "?"`, `depth = "0-6 in"`, `unit = ["?"]`, `unit = "ppm"`, `method = ["?", "?", "?"]`, `method = "DTPA"`, `"? 0-6 in"`, `"NO3-N lb/acre KCl"`, `"? 6-24 in"`, `"NO3-N lb/acre KCl 6-24 in"`, `"Boron" = true`, `"Boron" = "B hot water"`},
	}
	for _, l := range layouts() {
		pairs, ok := answers[l.file]
		if !ok {
			continue
		}
		t.Run(l.name, func(t *testing.T) {
			opt := Options{Grower: "Ann", Today: today, Beds: []string{"Barn", "Hill", "Hang", "Hof"}}
			if l.file == "f.csv" {
				opt.Beds = nil
			}
			p, err := Propose(Source{l.file, []byte(l.sheet)}, opt)
			if err != nil {
				t.Fatal(err)
			}
			if n := asks(t, p.Map); n != p.Open || n == 0 {
				t.Errorf("%d questions, said %d\n%s", n, p.Open, p.Map)
			}
			if n := strings.Count(p.Map, "\n"); n > maxMap {
				t.Errorf("%d lines", n)
			}
			text := strings.NewReplacer(append(pairs, `lab = "?"`, `lab = "Lab A"`)...).Replace(p.Map)
			if i := strings.Index(text, `depth = "?"`); i >= 0 { // nobody knows
				text = text[:i] + text[i+strings.IndexByte(text[i:], '\n')+1:]
			}
			m, err := ParseMap("m.toml", []byte(text))
			if err != nil {
				t.Fatalf("%v\n%s", err, text)
			}
			opt.Map = m
			res, err := Read([]Source{{l.file, []byte(l.sheet)}}, opt)
			if err != nil {
				t.Fatalf("%v\n%s", err, text)
			}
			if d := cmp.Diff(l.want, told(res.Records.SoilTests)); d != "" {
				t.Errorf("%s\n%s", d, text)
			}
		})
	}
}

// What the lab's profile says is not asked.
func TestProposalWithProfile(t *testing.T) {
	opt := Options{Grower: "Ann", Today: today, Labs: map[string]dataset.Lab{"Riverbend": {Units: map[string]string{"K": "ppm", "P": "ppm"}, Methods: map[string]string{"K": "Mehlich-3", "P": "Mehlich-3", "pH": "water 1:1"}, Depth: "0-6 in"}}}
	src := Source{"r.csv", []byte("Riverbend Soil Service\nBed,Sampled,pH,P,K\nBarn,2026-10-28,6.4,118,310\n")}
	p, err := Propose(src, opt)
	if err != nil {
		t.Fatal(err)
	}
	if p.Open != 0 || !strings.Contains(p.Map, "lab = \"Riverbend\" # as it stands above the headings\n") {
		t.Fatalf("%d questions\n%s", p.Open, p.Map)
	}
	if opt.Map, err = ParseMap("m.toml", []byte(p.Map)); err != nil {
		t.Fatal(err)
	}
	res, err := Read([]Source{src}, opt)
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff([]string{"Barn 2026-10-28 day pH 0-15.24 cm [water 1:1] 6.4 pH = 6.4 pH @3", "Barn 2026-10-28 day P 0-15.24 cm [Mehlich-3] 118 ppm = 118 mg/kg @3",
		"Barn 2026-10-28 day K 0-15.24 cm [Mehlich-3] 310 ppm = 310 mg/kg @3"}, told(res.Records.SoilTests)); d != "" {
		t.Error(d)
	}
}

// A sheet of very many columns is proposed as a list, and a workbook's likeliest
// sheet is taken.
func TestProposalForms(t *testing.T) {
	var head, row []string
	for _, a := range []string{"P", "K", "Ca", "Mg", "Na", "Zn", "Mn", "Fe", "Cu", "B", "Al", "Mo", "Cl", "Pb"} {
		head, row = append(head, a+" Mehlich 3 (ppm)", a+" by total digest, ppm"), append(row, "5", "6")
	}
	data := bookWith(t, []string{"Cover", "Results", "Prices"}, func(f *excelize.File) {
		setRows(t, f, "Cover", []any{"Riverbend"})
		setRows(t, f, "Prices", []any{"Test", "Price"}, []any{"pH", 12})
		cells := []any{"Bed", "Date"}
		values := []any{"Barn", "2026-10-28"}
		for i := range head {
			cells, values = append(cells, head[i]), append(values, row[i])
		}
		setRows(t, f, "Results", cells, values)
	})
	p, err := Propose(Source{"r.xlsx", data}, Options{Today: today})
	if err != nil {
		t.Fatal(err)
	}
	if n := strings.Count(p.Map, "\n"); n > maxMap || p.File != "r.xlsx/Results" || !strings.Contains(p.Map, `sheet = "Results"`) || !strings.Contains(p.Map, "columns = [") {
		t.Errorf("%d lines of %s:\n%s", n, p.File, p.Map)
	}
	text := strings.NewReplacer(`"?"`, `"0-6 in"`).Replace(p.Map)
	m, err := ParseMap("m.toml", []byte(text))
	if err != nil {
		t.Fatalf("%v\n%s", err, text)
	}
	res, err := Read([]Source{{"r.xlsx", data}}, Options{Map: m, Grower: "Ann", Today: today})
	if err != nil || len(res.Records.SoilTests) != len(head) {
		t.Errorf("%v, %d values", err, len(res.Records.SoilTests))
	}
}

// Rows of ratings and of means between the samples are passed over.
func TestProposalSkips(t *testing.T) {
	src := Source{"x.csv", []byte("Analysis,Unit,Barn,,Hill,,Mean\n,,Result,Rating,Result,Rating,Result\nBed,,Barn,,Hill,,Mean\npH,,6.4,ok,5.9,low,6.1\nK,ppm,310,VH,190,H,250\n")}
	p, err := Propose(src, Options{Today: today, Beds: []string{"Barn", "Hill"}})
	if err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(p.Map, `skip = [{column = "Analysis", is = ["Rating"]}, {column = "Analysis Unit", is = ["Mean"]}] # ratings, no samples`) {
		t.Error(p.Map)
	}
	m, err := ParseMap("m.toml", []byte(strings.NewReplacer(`lab = "?"`, `lab = "L"`, `date = "?"`, `date = "2026-10-28"`, `depth = "?"`, `depth = "0-6 in"`, `method = ["?", "?"]`, `method = "M3"`).Replace(p.Map)))
	if err != nil {
		t.Fatal(err)
	}
	res, err := Read([]Source{src}, Options{Map: m, Grower: "Ann", Today: today})
	if err != nil || len(res.Records.SoilTests) != 4 {
		t.Errorf("%v, %d values, want 4", err, len(res.Records.SoilTests))
	}
}

func TestNoProposal(t *testing.T) {
	for _, x := range []struct{ text, want string }{
		{"a,b\n1,2\n", "x.csv: no headings of soil tests in its first 40 lines: expected a line with headings such as Sample ID, pH, P ppm: write a sheet map by hand, with headings = and the number of the line"},
		{"Bed,P ppm,K ppm\nBarn,low,high\n", "x.csv:1: headings of soil tests, but no figures below them: expected a row for each sample"},
		{"%PDF-1.7", "x.csv: a PDF: expected a sheet (CSV or XLSX): copy its figures into a sheet; carryover new writes empty ones"},
		{strings.Repeat("pH,", 9999) + "pH\n", "x.csv:1: a row of 10000 cells: expected at most 1,000 columns: save the part of the sheet that is meant as a sheet of its own"},
	} {
		p, err := Propose(Source{"x.csv", []byte(x.text)}, Options{Today: today})
		if fmt.Sprint(err) != x.want || p.Map != "" {
			t.Errorf("got  %v\nwant %s", err, x.want)
		}
	}
}

// A proposal is a map that ParseMap takes once nothing is open, and otherwise
// refuses for its questions alone.
func FuzzPropose(f *testing.F) {
	for _, l := range layouts() {
		f.Add(l.sheet)
	}
	f.Fuzz(func(t *testing.T, sheet string) {
		p, err := Propose(Source{"x.csv", []byte(sheet)}, Options{Today: today, Beds: []string{"Barn"}, Labs: labs()})
		if err != nil {
			sound(t, Result{}, err)
			return
		}
		if n := asks(t, p.Map); n != p.Open {
			t.Fatalf("%d questions, said %d:\n%s", n, p.Open, p.Map)
		}
	})
}

// TestProposalSigns holds what single signs in a sheet lead to.
func TestProposalSigns(t *testing.T) {
	for _, x := range []struct {
		name, file, sheet string
		opt               Options
		want              []string // lines of the map
	}{
		{"days show their order", "x.csv", "Bed,Date,pH,K ppm\nA,10/11/2026,6,1\nB,13/11/2026,6,1\n", Options{}, []string{`dates = "DMY" # as 13/11/2026 shows`, `date = {column = "Date"}`}},
		{"days that do not", "x.csv", "Bed,Date,pH,K ppm\nA,10/11/2026,6,1\n", Options{}, []string{`dates = "?" # 10/11/2026: MDY or DMY?`}},
		{"days that disagree", "x.csv", "Bed,Date,pH,K ppm\nA,13/11/2026,6,1\nB,11/13/2026,6,1\n", Options{Dates: "MDY"}, []string{`dates = "?" # 13/11/2026 and 11/13/2026 disagree`}},
		{"months by name, times", "x.csv", "Bed,Date,pH,K ppm\nA,28-Oct-26 14:05,6,1\n", Options{}, []string{"century = 2000 # of years such as 28-Oct-26", `date = {column = "Date", match = '^(\S+)'}`}},
		{"a day in the name", "lab 2026-10-28.csv", "Bed,pH,K ppm\nA,6,1\n", Options{}, []string{`date = "?" # perhaps {name_of = "file", match = '\d{4}-\d\d-\d\d'}: 2026-10-28`}},
		{"another day", "x.csv", "Bed,Received,pH,K ppm\nA,Thursday,6,1\n", Options{}, []string{`date = "?" # day of sampling; "Received" is another day`}},
		{"a column of labs", "x.csv", "Bed,Lab,pH,P\nA,Lab A,6,1\n", Options{Labs: labs()}, []string{`lab = {column = "Lab"}`, `"P" = true`}},
		{"a lab above", "x.csv", "Tested by: Lab A,,\nBed,pH,P\nA,6,1\n", Options{Labs: labs()}, []string{`lab = {after = "Tested by:"}`, `"P" = true`}},
		{"a depth above", "x.csv", "Depth:,0-8 in,\nBed,pH,P\nA,6,1\n", Options{}, []string{`depth = {after = "Depth:"}`}},
		{"depths in figures", "x.csv", "Bed,Layer,Depth,pH,K ppm\nA,0-6,0-6 in,6,1\n", Options{}, []string{`depth = {column = "Depth"}`}},
		{"names with quotes", "x.csv", "\"My \"\"bed\"\"\",Date,\"P, \\M3 ppm\",K ppm M3\nA,2026-10-28,6,1\n", Options{}, []string{`bed = "?" # perhaps {column = 'My "bed"'}: A`, `'P, \M3 ppm' = true`}},
		{"a short name", "x.csv", "No,Date,pH,K ppm\nA,2026-10-28,6,1\n", Options{}, []string{`bed = "?" # perhaps {column = "No"}: A`}},
		{"leaves", "x.csv", "Sample,Date,Plant Part,N %,P %,K %,Zn ppm,Nitrate ppm\nBarn,2026-07-15,youngest leaf,4.8,0.45,3.9,42,900\n", Options{},
			[]string{`table = "leaf_tests"`, `part = {column = "Plant Part"}`, `"N %" = true`, `"P %" = true`, `"K %" = true`, `"Zn ppm" = true`, `"Nitrate ppm" = "NO3-N ppm"`}},
		{"leaves, as a line above says", "x.csv", "Tissue analysis\nSample,Date,N %,P %,K %\nBarn,2026-07-15,4.8,0.45,3.9\n", Options{}, []string{`table = "leaf_tests"`, `"K %" = true`}},
		{"leaves that nobody calls so", "x.csv", "Sample,Date,N %,P %,K %,Zn ppm\nBarn,2026-07-15,4.8,0.45,3.9,42\n", Options{},
			[]string{`table = "soil_tests"`, `"N %" = "? %" # N: nitrate-N, ammonium-N or total N?`, `"P %" = "P % ?" # 0.45 P %: no soil test gives so much: what was measured?`, `"K %" = "K sat % ?" # share of the exchange sites, or K in a dry leaf?`}},
		{"a soil's own", "x.csv", "Leaf tissue and soil\nSample,Date,pH,P M3 ppm,K %\nBarn,2026-07-15,6,3.9,4\n", Options{}, []string{`table = "soil_tests"`, `"K %" = true`}},
		{"values of no soil", "x.csv", "Sample,Date,pH,Mo M3 ppm,P M3 ppm\nBarn,2026-07-15,6,510,45000\nHill,2026-07-15,6,0.1,1\n", Options{}, []string{`"Mo M3 ppm" = "Mo ppm Mehlich-3 ?" # 510 Mo ppm: no soil test gives so much: what was measured?`,
			`"P M3 ppm" = "P ppm Mehlich-3 ?" # 45000 P ppm: no soil test gives so much: what was measured?`}},
		{"French", "x.csv", "Échantillon;Date;pH eau;pH tampon;M.O. %;Phosphore M3 kg/ha;Bore M3 ppm\nGrange;2026-10-28;6,4;6,9;5,1;139;0,5\n", Options{},
			[]string{`bed = {column = "Échantillon"}`, `"pH eau" = true`, `"pH tampon" = true`, `"M.O. %" = "? %" # M.O: organic matter or molybdenum?`, `"Phosphore M3 kg/ha" = "? kg/ha Mehlich-3" # P or P2O5?`, `"Bore M3 ppm" = true`}},
		{"German", "x.csv", "Probe;Datum;Tiefe;pH-Wert (CaCl2);Kali K2O mg/100g (CAL);Humusgehalt % LOI\nHof;28.10.2026;0-30 cm;6,4;18,5;3,1\n", Options{},
			[]string{`bed = {column = "Probe"}`, `date = {column = "Datum"}`, `depth = {column = "Tiefe"}`, `"pH-Wert (CaCl2)" = true`, `"Kali K2O mg/100g (CAL)" = true`, `"Humusgehalt % LOI" = true`}},
		{"Spanish", "x.csv", "Muestra;Fecha;pH agua;Materia orgánica % LOI;Potasio M3 ppm\nHuerta;2026-10-28;6,4;3,1;210\n", Options{},
			[]string{`bed = {column = "Muestra"}`, `date = {column = "Fecha"}`, `"pH agua" = true`, `"Materia orgánica % LOI" = true`, `"Potasio M3 ppm" = true`}},
		{"gaps of both", "x.csv", "Bed,Date,pH,K ppm\nA,2026-10-28,6,1\n,,6,2\n", Options{}, []string{`bed = {column = "Bed", down = true}`, `date = {column = "Date", down = true}`}},
		{"gaps of the day alone", "x.csv", "Bed,Date,pH,K ppm\nA,2026-10-28,6,1\nB,,6,2\n", Options{}, []string{`date = {column = "Date"}`}},
		{"received above", "x.csv", "Date Received:,10/30/2026,,\nBed,pH,K ppm\nA,6,1\n", Options{}, []string{`date = "?" # perhaps {after = "Date Received:"}: 10/30/2026, not the day of sampling`, `dates = "MDY" # as 10/30/2026 shows`}},
		{"pounds of N beside ppm", "x.csv", "Bed,Date,pH,NO3-N ppm,NO3-N lbs N/A\nA,2026-10-28,6,1,22\n", Options{}, []string{`# column "NO3-N lbs N/A": "lbs N/A" reads as pounds of N per acre, not as "not available"`}},
		{"a method that is not known", "x.csv", "Bed,Date,pH,Colwell P mg/kg,K ppm\nA,2026-10-28,6,85,1\n", Options{}, []string{`"Colwell P mg/kg" = "P mg/kg ?" # Colwell: not understood (a method? then "other: Colwell")`,
			`method = ["?", "?"] # of pH; of K; or take it out`}},
		{"groups of methods", "x.csv", "Bed,Date,pH,OM %,P ppm,K ppm,B ppm,NO3-N ppm\nA,2026-10-28,6,5,85,1,1,1\n", Options{},
			[]string{`method = ["?", "?", "?", "?"] # of pH; of OM; of P, K, B; of NO3-N: one for each group; where they differ, on the column: "K ppm Olsen"; or take it out`}},
		{"advice on an area", "x.csv", "Bed,Date,pH 1:1,K M3 ppm,Lime Rec lb/1000 sq ft,N needed lb/1000\nA,2026-10-28,6,1,65,3\n", Options{}, []string{`"Lime Rec lb/1000 sq ft" = "Lime lb/1000 sq ft"`, `"N needed lb/1000" = "N ?" # its unit, as lb/1000 sq ft; or take the line out`}},
		{"a number for a name", "x.csv", "No,Date,pH,K ppm\n1,2026-10-28,6,1\n", Options{Beds: []string{"1"}}, []string{`bed = {column = "No"}`}},
	} {
		x.opt.Today = today
		p, err := Propose(Source{x.file, []byte(x.sheet)}, x.opt)
		if err != nil {
			t.Fatal(err)
		}
		lines := strings.Split(p.Map, "\n")
		for _, w := range x.want {
			if !slices.Contains(lines, w) {
				t.Errorf("%s: no line\n%s\nin\n%s", x.name, w, p.Map)
			}
		}
		if n := asks(t, p.Map); n != p.Open {
			t.Errorf("%s: %d questions, said %d\n%s", x.name, n, p.Open, p.Map)
		}
	}
}
