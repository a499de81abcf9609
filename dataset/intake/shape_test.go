package intake

import (
	"encoding/csv"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/xuri/excelize/v2"

	"carryover/dataset"
)

// told prints soil tests as the tests below expect them: bed, sample, date and
// its basis, depth, method, what was printed, what is stored, line.
func told(list []dataset.SoilTest) (out []string) {
	for _, s := range list {
		depth := ""
		if s.DepthTo != nil {
			depth = fmt.Sprintf(" %.4g-%.4g cm", *s.DepthFrom, *s.DepthTo)
		}
		of := s.Bed
		if s.Sample != "" {
			of += "/" + s.Sample
		}
		form := s.ReportedForm
		if form != "" {
			form = " " + form
		}
		out = append(out, fmt.Sprintf("%s %s %s %s%s [%s] %s%g %s%s = %.4g %s @%d", of, s.Date, s.DateBasis, s.Analyte, depth, s.Method, s.Qualifier, s.ReportedValue, s.ReportedUnit, form, s.Value, s.Unit, s.Line))
	}
	return out
}

// layout is a sheet of no lab, and the map that reads it.
type layout struct {
	name, file, sheet, text string
	want                    []string // of told
	advice                  []string
	notes                   []string
}

func (l layout) read(t *testing.T, opt Options) Result {
	t.Helper()
	if n := strings.Count(strings.TrimSpace(l.text), "\n") + 1; n > 30 {
		t.Errorf("the map has %d lines, 30 are allowed", n)
	}
	m, err := ParseMap("m.toml", []byte(l.text))
	if err != nil {
		t.Fatal(err)
	}
	opt.Map, opt.Grower, opt.Today = m, "Ann", today
	res, err := Read([]Source{{l.file, []byte(l.sheet)}}, opt)
	if err != nil {
		t.Fatal(err)
	}
	return res
}

// layouts are invented: wide and long, plain and with every trap we know.
func layouts() []layout {
	return []layout{
		{name: "single row of headings that say it all", file: "a.csv",
			sheet: "Bed,Date,Depth (in),pH 1:1,OM LOI %,P ppm M3,K ppm M3\nBarn,2026-10-28,0-6,6.4,4.6,118,310\nHill,2026-10-28,0-6,5.9,3.1,<2,190\n",
			text: `format = 1
[[rows]]
table = "soil_tests"
columns = ["pH 1:1", "OM LOI %", "P ppm M3", "K ppm M3"]
[rows.set]
bed = {column = "Bed"}
date = {column = "Date"}
depth = {column = "Depth (in)", unit = "in"}`,
			want: []string{
				"Barn 2026-10-28 day pH 0-15.24 cm [water 1:1] 6.4 pH = 6.4 pH @2", "Barn 2026-10-28 day OM 0-15.24 cm [LOI] 4.6 % = 4.6 % @2",
				"Barn 2026-10-28 day P 0-15.24 cm [Mehlich-3] 118 ppm = 118 mg/kg @2", "Barn 2026-10-28 day K 0-15.24 cm [Mehlich-3] 310 ppm = 310 mg/kg @2",
				"Hill 2026-10-28 day pH 0-15.24 cm [water 1:1] 5.9 pH = 5.9 pH @3", "Hill 2026-10-28 day OM 0-15.24 cm [LOI] 3.1 % = 3.1 % @3",
				"Hill 2026-10-28 day P 0-15.24 cm [Mehlich-3] <2 ppm = 2 mg/kg @3", "Hill 2026-10-28 day K 0-15.24 cm [Mehlich-3] 190 ppm = 190 mg/kg @3"}},

		{name: "preamble, a row of units, footer", file: "b.csv",
			sheet: "Riverbend Soil Service,,,,,\nDate sampled: 10/28/2026,,,,,\nGrower,Ann,,,,\n\n" +
				"Lab No.,Sample ID,pH,P,K,Rating\n,,,ppm,lb/acre,\n1041,BARN-0-6in,6.4,118,620,VH\n1042,HILL-0-6in,5.9,12,380,L\nComments: sampled when moist,,,,,\nSigned,,,,,\n",
			text: `format = 1
dates = "MDY"
heading_rows = 2
until = "Comments"
[[rows]]
table = "soil_tests"
[rows.set]
bed = {column = "Sample ID", match = '^(\w+)-', lookup = {BARN = "Barn", HILL = "Hill"}}
date = {after = "Date sampled:"}
depth = {column = "Sample ID", match = '(\d+-\d+) ?in$', unit = "in"}
report = {column = "Lab No."}
method = ["Mehlich-3", "water 1:1"]
[rows.columns]
pH = true
"P ppm" = true
"K lb/acre" = "K lb/acre Mehlich-3"`,
			want: []string{
				"Barn 2026-10-28 day pH 0-15.24 cm [water 1:1] 6.4 pH = 6.4 pH @7", "Barn 2026-10-28 day P 0-15.24 cm [Mehlich-3] 118 ppm = 118 mg/kg @7",
				"Barn 2026-10-28 day K 0-15.24 cm [Mehlich-3] 620 lb/acre = 310 mg/kg @7",
				"Hill 2026-10-28 day pH 0-15.24 cm [water 1:1] 5.9 pH = 5.9 pH @8", "Hill 2026-10-28 day P 0-15.24 cm [Mehlich-3] 12 ppm = 12 mg/kg @8",
				"Hill 2026-10-28 day K 0-15.24 cm [Mehlich-3] 380 lb/acre = 190 mg/kg @8"},
			notes: []string{"b.csv: columns that m.toml does not read: Rating", `b.csv: read as far as line 9, where "Comments" stands`}},

		{name: "ratings and limits in the cells", file: "c.csv",
			sheet: "Field,Sampled,Soil pH,P,B,Zn,Mo\nBarn,2026-10-28,6.4 (N),118 VH,0.4 L,0.2 U,ND\nHill,2026-10-28,M 6.9,H 64,n/a,7.1H,<0.05\n",
			text: `format = 1
missing = ["ND", "N/A"]
ratings = ["VL", "L", "M", "N", "H", "VH"]
below = ["U"]
[[rows]]
table = "soil_tests"
[rows.set]
bed = {column = "Field"}
date = {column = "Sampled"}
unit = "ppm"
method = ["water 1:1", "DTPA", "Mehlich-3"]
[rows.columns]
"Soil pH" = "pH"
P = "P Mehlich-3"
B = "B hot water"
Zn = "Zn DTPA"
Mo = "Mo Mehlich-3"`,
			want: []string{
				"Barn 2026-10-28 day pH [water 1:1] 6.4 pH = 6.4 pH @2", "Barn 2026-10-28 day P [Mehlich-3] 118 ppm = 118 mg/kg @2",
				"Barn 2026-10-28 day B [hot water] 0.4 ppm = 0.4 mg/kg @2", "Barn 2026-10-28 day Zn [DTPA] <0.2 ppm = 0.2 mg/kg @2",
				"Hill 2026-10-28 day pH [water 1:1] 6.9 pH = 6.9 pH @3", "Hill 2026-10-28 day P [Mehlich-3] 64 ppm = 64 mg/kg @3",
				"Hill 2026-10-28 day Zn [DTPA] 7.1 ppm = 7.1 mg/kg @3", "Hill 2026-10-28 day Mo [Mehlich-3] <0.05 ppm = 0.05 mg/kg @3"}},

		{name: "turned: analytes down the side", file: "d.csv",
			sheet: "Orchard Hill Analytical,,,\nAnalyte,Units,Barn,Hill\nSampled,,2026-10-28,2026-10-29\npH (1:1 water),,6.4,5.9\nPhosphorus,mg/kg,118,12\nPotash,mg/kg,310,190\n",
			text: `format = 1
turn = true
headings = [1, 2]
[[rows]]
table = "soil_tests"
[rows.set]
bed = {column = "Analyte Units"}
date = {column = "Sampled"}
depth = "0-15 cm"
method = "Mehlich-3"
[rows.columns]
"pH (1:1 water)" = true
"Phosphorus mg/kg" = "P mg/kg"
"Potash mg/kg" = "K2O mg/kg"`,
			want: []string{
				"Barn 2026-10-28 day pH 0-15 cm [water 1:1] 6.4 pH = 6.4 pH @3", "Barn 2026-10-28 day P 0-15 cm [Mehlich-3] 118 mg/kg = 118 mg/kg @3",
				"Barn 2026-10-28 day K 0-15 cm [Mehlich-3] 310 mg/kg K2O = 257.3 mg/kg @3",
				"Hill 2026-10-29 day pH 0-15 cm [water 1:1] 5.9 pH = 5.9 pH @4", "Hill 2026-10-29 day P 0-15 cm [Mehlich-3] 12 mg/kg = 12 mg/kg @4",
				"Hill 2026-10-29 day K 0-15 cm [Mehlich-3] 190 mg/kg K2O = 157.7 mg/kg @4"},
			notes: []string{"d.csv: turned: the line of a record is the number of its column in the file"}},

		{name: "long: a row for each analyte, under the lab's own names", file: "e.csv",
			sheet: "Sample,Collected,Test,Result,Units\nBarn,28 Oct 2026,Soil Reaction (1:1),6.4,\nBarn,28 Oct 2026,Phosphorus by M3,118,ppm\nBarn,28 Oct 2026,Texture,loam,\n" +
				"Barn,28 Oct 2026,Nitrate-N (0-24 in),14,lb/acre\nBarn,28 Oct 2026,B ppm hot water,,\n",
			text: `format = 1
[[rows]]
table = "soil_tests"
[rows.set]
bed = {column = "Sample"}
date = {column = "Collected"}
analyte = {column = "Test"}
value = {column = "Result"}
unit = {column = "Units"}
[rows.names]
"Soil Reaction (1:1)" = "pH 1:1"
"Phosphorus by M3" = "P Mehlich-3"
Texture = false
"Nitrate-N (0-24 in)" = "NO3-N 0-24 in no method"`,
			want: []string{
				"Barn 2026-10-28 day pH [water 1:1] 6.4 pH = 6.4 pH @2", "Barn 2026-10-28 day P [Mehlich-3] 118 ppm = 118 mg/kg @3",
				"Barn 2026-10-28 day NO3-N 0-60.96 cm [] 14 lb/acre = 1.944 mg/kg @5"},
			notes: []string{"e.csv: 1 row without a value that m.toml reads: line 6"}},

		{name: "semicolons, decimal commas and German words", file: "f.csv",
			sheet: "Schlag;Probe am;Tiefe (cm);pH (CaCl2);P2O5 mg/100g;K2O mg/100g;Humus\nHang;28.10.2026;0-30;6,4;24,5;18,0;4,6\nHof;28.10.2026;0-30;5,9;1,5;9,5;3,1\n",
			text: `format = 1
separator = ";"
decimal = "comma"
dates = "DMY"
[[rows]]
table = "soil_tests"
[rows.set]
bed = {column = "Schlag"}
date = {column = "Probe am"}
depth = {column = "Tiefe (cm)", unit = "cm"}
[rows.columns]
"pH (CaCl2)" = true
"P2O5 mg/100g" = "P2O5 mg/100 g CAL"
"K2O mg/100g" = "K2O mg/100 g CAL"
Humus = "OM % LOI"`,
			want: []string{
				"Hang 2026-10-28 day pH 0-30 cm [CaCl2] 6.4 pH = 6.4 pH @2", "Hang 2026-10-28 day P 0-30 cm [CAL] 24.5 mg/100 g P2O5 = 106.9 mg/kg @2",
				"Hang 2026-10-28 day K 0-30 cm [CAL] 18 mg/100 g K2O = 149.4 mg/kg @2", "Hang 2026-10-28 day OM 0-30 cm [LOI] 4.6 % = 4.6 % @2",
				"Hof 2026-10-28 day pH 0-30 cm [CaCl2] 5.9 pH = 5.9 pH @3", "Hof 2026-10-28 day P 0-30 cm [CAL] 1.5 mg/100 g P2O5 = 6.546 mg/kg @3",
				"Hof 2026-10-28 day K 0-30 cm [CAL] 9.5 mg/100 g K2O = 78.86 mg/kg @3", "Hof 2026-10-28 day OM 0-30 cm [LOI] 3.1 % = 3.1 % @3"}},

		{name: "columns by place: blank and equal headings", file: "g.csv",
			sheet: "ID,,Result,Result,Result,Year,Month,Day\nBarn,upper,6.4,118,310,2026,10,28\nBarn,lower,6.1,88,250,2026,10,28\n",
			text: `format = 1
[[rows]]
table = "soil_tests"
[rows.set]
bed = {column = "ID"}
sample = {column = 2}
date = {columns = ["Year", "Month", "Day"], join = "-"}
[rows.columns]
"Result #1" = "pH 1:1"
"Result #2" = "P ppm Bray P1"
"#E" = "K ppm ammonium acetate"`,
			want: []string{
				"Barn/upper 2026-10-28 day pH [water 1:1] 6.4 pH = 6.4 pH @2", "Barn/upper 2026-10-28 day P [Bray P1] 118 ppm = 118 mg/kg @2",
				"Barn/upper 2026-10-28 day K [ammonium acetate] 310 ppm = 310 mg/kg @2",
				"Barn/lower 2026-10-28 day pH [water 1:1] 6.1 pH = 6.1 pH @3", "Barn/lower 2026-10-28 day P [Bray P1] 88 ppm = 88 mg/kg @3",
				"Barn/lower 2026-10-28 day K [ammonium acetate] 250 ppm = 250 mg/kg @3"}},

		{name: "groups over the headings, pounds of N, advice", file: "soil 2026-10-28.csv",
			sheet: "#,Plot,Mehlich-3,,Nitrate,Lime,Advice,\nNo,Name,P (ppm),K (ppm),lbs N/A,T/A,P2O5 lb/1000 sq ft,Lime words\n" +
				"1,Barn,118,310,14,0,0,none needed\n2,Total,1,2,3,,,\n3,Hill,12,190,9,1.5,2.3,apply in two halves\n",
			text: `format = 1
headings = [1, 2]
merged = true
skip = {column = "Plot Name", is = ["Total"]}
[[rows]]
table = "soil_tests"
[rows.set]
bed = {column = "Plot Name"}
date = {name_of = "file", match = '\d{4}-\d\d-\d\d'}
depth = "0-6 in"
[rows.columns]
"Mehlich-3 P (ppm)" = true
"Mehlich-3 K (ppm)" = true
"Nitrate lbs N/A" = "NO3-N lb/acre no method"
[[rows]]
table = "advice"
[rows.set]
bed = {column = "Plot Name"}
date = {name_of = "file", match = '\d{4}-\d\d-\d\d'}
[rows.columns]
"Lime T/A" = "lime ton/acre"
"Advice P2O5 lb/1000 sq ft" = "P2O5 lb/1000 sq ft"
"Advice Lime words" = "lime"`,
			want: []string{
				"Barn 2026-10-28 day P 0-15.24 cm [Mehlich-3] 118 ppm = 118 mg/kg @3", "Barn 2026-10-28 day K 0-15.24 cm [Mehlich-3] 310 ppm = 310 mg/kg @3",
				"Barn 2026-10-28 day NO3-N 0-15.24 cm [] 14 lb/acre = 7 mg/kg @3",
				"Hill 2026-10-28 day P 0-15.24 cm [Mehlich-3] 12 ppm = 12 mg/kg @5", "Hill 2026-10-28 day K 0-15.24 cm [Mehlich-3] 190 ppm = 190 mg/kg @5",
				"Hill 2026-10-28 day NO3-N 0-15.24 cm [] 9 lb/acre = 4.5 mg/kg @5"},
			advice: []string{"Barn lime 0 ton/acre ", "Barn P2O5 0 lb/1000 sq ft ", "Barn lime - none needed", "Hill lime 1.5 ton/acre ", "Hill P2O5 2.3 lb/1000 sq ft ", "Hill lime - apply in two halves"},
			notes: []string{`soil 2026-10-28.csv: column "Nitrate lbs N/A": "lbs N/A" reads as pounds of N per acre, not as "not available"`,
				"soil 2026-10-28.csv: 1 row passed over, as m.toml says under skip"}},

		{name: "one report, name beside value", file: "i.csv",
			sheet: "Sample ID:,Barn\nDate sampled:,10/28/26\nSoil pH (1:1 water),6.4\n\"Calcium, M3 (ppm)\",\"1,920\"\nOrganic matter LOI %,4.6%\n",
			text: `format = 1
turn = true
dates = "MDY"
century = 2000
[[rows]]
table = "soil_tests"
columns = ["Soil pH (1:1 water)", "Calcium, M3 (ppm)", "Organic matter LOI %"]
[rows.set]
bed = {column = "Sample ID:"}
date = {column = "Date sampled:"}
depth = "0-8 in"`,
			want: []string{
				"Barn 2026-10-28 day pH 0-20.32 cm [water 1:1] 6.4 pH = 6.4 pH @2", "Barn 2026-10-28 day Ca 0-20.32 cm [Mehlich-3] 1920 ppm = 1920 mg/kg @2",
				"Barn 2026-10-28 day OM 0-20.32 cm [LOI] 4.6 % = 4.6 % @2"}},

		{name: "sections: each sample under its own name", file: "j.csv",
			sheet: "Sample: Barn,,,\nSampled,28-Oct-2026,,\n\nTest,Result,Unit,Method\npH,6.4,,1:1\nP,118,ppm,M3\nK,310,ppm,M3\n\n" +
				"Sample: Hill,,,\nSampled,29-Oct-2026,,\n\nTest,Result,Unit,Method\npH,5.9,,1:1\nP,12,ppm,M3\n",
			text: `format = 1
[[rows]]
table = "soil_tests"
[rows.set]
bed = {after = "Sample:"}
date = {after = "Sampled"}
analyte = {column = "Test"}
value = {column = "Result"}
unit = {column = "Unit"}
method = {column = "Method"}
[rows.names]`,
			want: []string{
				"Barn 2026-10-28 day pH [water 1:1] 6.4 pH = 6.4 pH @5", "Barn 2026-10-28 day P [Mehlich-3] 118 ppm = 118 mg/kg @6", "Barn 2026-10-28 day K [Mehlich-3] 310 ppm = 310 mg/kg @7",
				"Hill 2026-10-29 day pH [water 1:1] 5.9 pH = 5.9 pH @13", "Hill 2026-10-29 day P [Mehlich-3] 12 ppm = 12 mg/kg @14"},
			notes: []string{"j.csv: 3 lines between the samples taken for headings: those of m.toml stand there again"}},

		{name: "a name once for several lines, units beside the values", file: "k.csv",
			sheet: "Field\tTop depth\tBottom depth\tNitrate-N\tunit\tZn\tunit\nBarn\t0\t6\t14\tppm\t1.2\tppm\n\t6\t24\t9\tlb/acre\t\t\nHill\t0\t6\t11\tppm\t<0.3\tppm\n",
			text: `format = 1
[[rows]]
table = "soil_tests"
[rows.set]
bed = {column = "Field", down = true}
date = "autumn 2026"
depth_from = {column = "Top depth", unit = "in"}
depth_to = {column = "Bottom depth", unit = "in"}
method = ["KCl extract", "DTPA"]
[rows.columns]
"Nitrate-N" = {is = "NO3-N", unit_column = "unit #1"}
Zn = {is = "Zn DTPA", unit_column = "unit #2"}`,
			want: []string{
				"Barn 2026-10-15 season NO3-N 0-15.24 cm [KCl extract] 14 ppm = 14 mg/kg @2", "Barn 2026-10-15 season Zn 0-15.24 cm [DTPA] 1.2 ppm = 1.2 mg/kg @2",
				"Barn 2026-10-15 season NO3-N 15.24-60.96 cm [KCl extract] 9 lb/acre = 1.667 mg/kg @3",
				"Hill 2026-10-15 season NO3-N 0-15.24 cm [KCl extract] 11 ppm = 11 mg/kg @4", "Hill 2026-10-15 season Zn 0-15.24 cm [DTPA] <0.3 ppm = 0.3 mg/kg @4"}},

		{name: "many columns in a list, two depths of nitrate", file: "l.csv",
			sheet: "Sample ID,Sampled,1:1 Soil pH,WDRF Buffer pH,OM LOI %,CEC me/100g,%K Sat,%Mg Sat,%Ca Sat,Nitrate 0-6in,Nitrate 6-24in,Olsen P ppm P,Zinc,Iron,Boron\n" +
				"Barn,2026-10-28,6.4,6.8,4.6,14.2,5.6,16,70,14,30,22,1.8,38,0.7\n",
			text: `format = 1
[[rows]]
table = "soil_tests"
columns = ["1:1 Soil pH", "WDRF Buffer pH", "OM LOI %", "CEC me/100g", "%K Sat", "%Mg Sat", "%Ca Sat", "Olsen P ppm P",
  "Nitrate 0-6in = NO3-N lb/acre 0-6 in KCl", "Nitrate 6-24in = NO3-N lb/acre 6-24 in KCl", "Zinc", "Iron", "Boron = B hot water"]
[rows.set]
bed = {column = "Sample ID"}
date = {column = "Sampled"}
depth = "0-6 in"
unit = "ppm"
method = ["DTPA"]`,
			want: []string{
				"Barn 2026-10-28 day pH 0-15.24 cm [water 1:1] 6.4 pH = 6.4 pH @2", "Barn 2026-10-28 day buffer pH 0-15.24 cm [Woodruff] 6.8 pH = 6.8 pH @2",
				"Barn 2026-10-28 day OM 0-15.24 cm [LOI] 4.6 % = 4.6 % @2", "Barn 2026-10-28 day CEC 0-15.24 cm [] 14.2 meq/100 g = 14.2 cmolc/kg @2",
				"Barn 2026-10-28 day K sat 0-15.24 cm [] 5.6 % = 5.6 % @2", "Barn 2026-10-28 day Mg sat 0-15.24 cm [] 16 % = 16 % @2", "Barn 2026-10-28 day Ca sat 0-15.24 cm [] 70 % = 70 % @2",
				"Barn 2026-10-28 day NO3-N 0-15.24 cm [KCl extract] 14 lb/acre = 7 mg/kg @2", "Barn 2026-10-28 day NO3-N 15.24-60.96 cm [KCl extract] 30 lb/acre = 5.556 mg/kg @2",
				"Barn 2026-10-28 day P 0-15.24 cm [Olsen] 22 ppm = 22 mg/kg @2", "Barn 2026-10-28 day Zn 0-15.24 cm [DTPA] 1.8 ppm = 1.8 mg/kg @2",
				"Barn 2026-10-28 day Fe 0-15.24 cm [DTPA] 38 ppm = 38 mg/kg @2", "Barn 2026-10-28 day B 0-15.24 cm [hot water] 0.7 ppm = 0.7 mg/kg @2"}},
	}
}

func TestLayouts(t *testing.T) {
	for _, l := range layouts() {
		t.Run(l.name, func(t *testing.T) {
			res := l.read(t, Options{})
			got := told(res.Records.SoilTests)
			if !slices.Equal(got, l.want) {
				t.Errorf("got\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(l.want, "\n"))
			}
			var advice []string
			for _, a := range res.Records.Advice {
				amount := "-"
				if a.Amount != nil {
					amount = fmt.Sprintf("%g %s", *a.Amount, a.Unit)
				}
				advice = append(advice, fmt.Sprintf("%s %s %s %s", a.Bed, a.Item, amount, a.Text))
			}
			if !slices.Equal(advice, l.advice) {
				t.Errorf("got\n%s\nwant\n%s", strings.Join(advice, "\n"), strings.Join(l.advice, "\n"))
			}
			for _, n := range l.notes {
				if !slices.Contains(res.Notes, n) {
					t.Errorf("no note %q in\n%s", n, strings.Join(res.Notes, "\n"))
				}
			}
		})
	}
}

// TestTrapSheet reads one invented sheet with every trap, as text and as a
// workbook with merged headings: they must give the same.
func TestTrapSheet(t *testing.T) {
	const text = `format = 1
sheet = "Results"
dates = "MDY"
heading_rows = 2
until = "* "
missing = ["N/A", "-"]
ratings = ["VL", "L", "M", "H", "VH"]
below = ["U"]
skip = {column = "Your ID", is = ["Average", "Check"]}
[[rows]]
table = "soil_tests"
[rows.set]
bed = {column = "Your ID", match = '^([A-Za-z ]+?)[ -]*\d', lookup = {BARN = "Barn", "HILL TOP" = "Hill"}}
date = {after = "Date Sampled:"}
lab = {after = "Tested by"}
depth = {column = "Your ID", match = '(\d+-\d+)"?$', unit = "in"}
report = {column = "Lab #"}
method = ["Mehlich-3", "water 1:1", "LOI"]
[rows.columns]
"Soil pH" = true
"OM %" = true
"Mehlich-3 P ppm" = true
"Mehlich-3 K ppm" = true
"Nitrate lbs N/A" = "NO3-N lb/acre KCl"
"Sulfate SO4-S ppm" = true
"B ppm" = "B ppm hot water"`
	sheet := "Riverbend Soil Service,,,,,,,,,,\nDate Sampled:,,10/28/2026,,,,,,,,\nTested by,Riverbend,,,,,,,,,\n,,,,,,,,,,\n" +
		"Lab #,Your ID,Soil,OM,Mehlich-3,%[1]s,%[1]s,Nitrate,Sulfate,B,Rating\n,,pH,%%,P ppm,P,K ppm,lbs N/A,SO4-S ppm,ppm,\n" +
		"1041,\"BARN 0-6\"\"\",6.4 (M),4.6,118 VH,VH,310,14,11,0.2 U,ok\n1042,HILL TOP-0-6,5.9,N/A,<3,VL,\"1,190\",-,9 L,0.4,\n" +
		"#1043,Average,6.1,4.6,60,,250,14,10,0.3,\n1044,Check,7,1,1,,1,1,1,1,\n* values as received,,,,,,,,,,\nsigned,,,,,,,,,,\n"
	m, err := ParseMap("m.toml", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	opt := Options{Map: m, Grower: "Ann", Today: today}
	asText, err := Read([]Source{{"r.csv", []byte(fmt.Sprintf(sheet, "Mehlich-3"))}}, opt)
	if err != nil {
		t.Fatal(err)
	}
	lines, err := csv.NewReader(strings.NewReader(fmt.Sprintf(sheet, ""))).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	book := bookWith(t, []string{"Cover", "Results"}, func(f *excelize.File) {
		setRows(t, f, "Cover", []any{"Riverbend Soil Service"})
		for i, l := range lines {
			cells := make([]any, len(l))
			for k, c := range l {
				if v, err := strconv.ParseFloat(strings.ReplaceAll(c, ",", ""), 64); err == nil {
					cells[k] = v
				} else if c != "" {
					cells[k] = c
				}
			}
			must(t, f.SetSheetRow("Results", fmt.Sprintf("A%d", i+1), &cells))
		}
		must(t, f.MergeCell("Results", "E5", "G5"))
		must(t, f.MergeCell("Results", "A1", "K1"))
		must(t, f.MergeCell("Results", "A5", "A6"))
	})
	asBook, err := Read([]Source{{"r.xlsx", book}}, opt)
	if err != nil {
		t.Fatal(err)
	}
	want := []string{
		"Barn 2026-10-28 day pH 0-15.24 cm [water 1:1] 6.4 pH = 6.4 pH @7", "Barn 2026-10-28 day OM 0-15.24 cm [LOI] 4.6 % = 4.6 % @7",
		"Barn 2026-10-28 day P 0-15.24 cm [Mehlich-3] 118 ppm = 118 mg/kg @7", "Barn 2026-10-28 day K 0-15.24 cm [Mehlich-3] 310 ppm = 310 mg/kg @7",
		"Barn 2026-10-28 day NO3-N 0-15.24 cm [KCl extract] 14 lb/acre = 7 mg/kg @7", "Barn 2026-10-28 day S 0-15.24 cm [Mehlich-3] 11 ppm SO4-S = 11 mg/kg @7",
		"Barn 2026-10-28 day B 0-15.24 cm [hot water] <0.2 ppm = 0.2 mg/kg @7",
		"Hill 2026-10-28 day pH 0-15.24 cm [water 1:1] 5.9 pH = 5.9 pH @8", "Hill 2026-10-28 day P 0-15.24 cm [Mehlich-3] <3 ppm = 3 mg/kg @8",
		"Hill 2026-10-28 day K 0-15.24 cm [Mehlich-3] 1190 ppm = 1190 mg/kg @8", "Hill 2026-10-28 day S 0-15.24 cm [Mehlich-3] 9 ppm SO4-S = 9 mg/kg @8",
		"Hill 2026-10-28 day B 0-15.24 cm [hot water] 0.4 ppm = 0.4 mg/kg @8",
	}
	for name, res := range map[string]Result{"text": asText, "workbook": asBook} {
		if got := told(res.Records.SoilTests); !slices.Equal(got, want) {
			t.Errorf("%s: got\n%s\nwant\n%s", name, strings.Join(got, "\n"), strings.Join(want, "\n"))
		}
		for _, s := range res.Records.SoilTests {
			if s.Lab != "Riverbend" || s.Report != "1041" && s.Report != "1042" {
				t.Errorf("%s: lab %q, report %q", name, s.Lab, s.Report)
			}
		}
	}
}

func FuzzWideMap(f *testing.F) {
	for _, l := range layouts() {
		f.Add(l.text, l.sheet)
	}
	for _, text := range docExamples(f) {
		f.Add(text, "Sample ID,pH 1:1,P ppm\nBARN-1,6.4,118 VH\n")
	}
	f.Fuzz(func(t *testing.T, text, sheet string) {
		m, err := ParseMap("m.toml", []byte(text))
		if (m == nil) == (err == nil) {
			t.Fatalf("map %v, error %v", m, err)
		}
		if err != nil {
			sound(t, Result{}, err)
			return
		}
		res, err := Read([]Source{{"x.csv", []byte(sheet)}}, Options{Grower: "Ann", Map: m, Today: today, Labs: labs(), Explain: true, Beds: []string{"Barn"}})
		sound(t, res, err)
	})
}

// BenchmarkReadWide reads 10,000 samples of 12 analytes through a map.
func BenchmarkReadWide(b *testing.B) {
	var sheet strings.Builder
	sheet.WriteString("Riverbend\nBed,Date,pH 1:1,OM LOI %,P ppm M3,K ppm M3,Ca ppm M3,Mg ppm M3,S ppm M3,Zn ppm M3,Mn ppm M3,Cu ppm M3,B ppm M3,CEC meq/100g\n")
	for i := range 10000 {
		fmt.Fprintf(&sheet, "Bed %d,2026-%02d-%02d,6.%d,4.%d,%d VH,%d,%d,%d,%d,1.%d,%d,0.%d,0.%d,1%d\n", i%400, 1+i%9, 1+i/400, i%9, i%7, 50+i%90, 200+i%300, 1500+i%900, 150+i%80, 9+i%9, i%9, 12+i%20, i%9, i%9, i%9)
	}
	m, err := ParseMap("m.toml", []byte("format = 1\nratings = [\"VH\"]\n[[rows]]\ntable = \"soil_tests\"\ncolumns = [\"pH 1:1\", \"OM LOI %\", \"P ppm M3\", \"K ppm M3\", \"Ca ppm M3\", \"Mg ppm M3\", \"S ppm M3\", \"Zn ppm M3\", \"Mn ppm M3\", \"Cu ppm M3\", \"B ppm M3\", \"CEC meq/100g\"]\n[rows.set]\nbed = {column = \"Bed\"}\ndate = {column = \"Date\"}\ndepth = \"0-6 in\"\n"))
	if err != nil {
		b.Fatal(err)
	}
	src := []Source{{"x.csv", []byte(sheet.String())}}
	b.ReportAllocs()
	for range b.N {
		res, err := Read(src, Options{Map: m, Grower: "Ann", Today: today})
		if err != nil || len(res.Records.SoilTests) != 120000 {
			b.Fatal(len(res.Records.SoilTests), err)
		}
	}
}

// Columns of water, leaf and material reports, and of advice, read as a name and
// a unit.
func TestOtherTablesWide(t *testing.T) {
	read := func(text, sheet string) (Result, error) {
		t.Helper()
		m, err := ParseMap("m.toml", []byte("format = 1\n[[rows]]\n"+text))
		if err != nil {
			return Result{}, err
		}
		return Read([]Source{{"x.csv", []byte(sheet)}}, Options{Map: m, Grower: "Ann", Today: today})
	}
	var got []string
	res, err := read("table = \"water_tests\"\ncolumns = [\"pH\", \"alkalinity (ppm)\", \"Nitrate = NO3-N mg/L\", \"Sodium\"]\n[rows.set]\nwater = \"well\"\ndate = {column = \"Day\"}\nunit = \"mg/L\"\n",
		"Day,pH,alkalinity (ppm),Nitrate,Sodium\n2026-05-04,7.1,210,6.2,12\n")
	if err != nil {
		t.Fatal(err)
	}
	for _, w := range res.Records.WaterTests {
		got = append(got, fmt.Sprintf("%s %s %g %s", w.Water, w.Analyte, w.Value, w.Unit))
	}
	if res, err = read("table = \"leaf_tests\"\n[rows.set]\nbed = {column = \"Bed\"}\ndate = \"2026-07-20\"\n[rows.columns]\n\"N %\" = true\nBoron = \"B ppm\"\n", "Bed,N %,Boron\nBarn,4.8,38\n"); err != nil {
		t.Fatal(err)
	}
	for _, l := range res.Records.LeafTests {
		got = append(got, fmt.Sprintf("%s %s %g %s", l.Bed, l.Analyte, l.Value, l.Unit))
	}
	if res, err = read("table = \"materials\"\ncolumns = [\"moisture %\", \"P2O5 %\", \"Density = density lb/cu yd\", \"C:N\"]\n[rows.set]\nmaterial = {column = \"Heap\"}\nkind = \"compost\"\nbasis = \"as-is\"\n",
		"Heap,moisture %,P2O5 %,Density,C:N\nyard,48,0.8,950,14\n"); err != nil {
		t.Fatal(err)
	}
	for _, m := range res.Records.Materials {
		got = append(got, fmt.Sprintf("%s %s %.4g %s", m.Material, m.Component, m.Value, m.Unit))
	}
	if want := []string{"well pH 7.1 pH", "well alkalinity 210 mg/L", "well NO3-N 6.2 mg/L", "well Na 12 mg/L", "Barn N 48000 mg/kg", "Barn B 38 mg/kg",
		"yard moisture 48 %", "yard P 0.3491 %", "yard density 563.6 kg/m3", "yard C:N 14 "}; !slices.Equal(got, want) {
		t.Errorf("got  %q\nwant %q", got, want)
	}
	for _, x := range []struct{ text, sheet, want string }{
		{"table = \"water_tests\"\ncolumns = [\"flow gal\"]\n[rows.set]\nwater = \"well\"\ndate = \"2026-05-04\"\n", "", `m.toml:4: key rows.columns: "flow gal": analyte "flow gal": not known for water`},
		{"table = \"leaf_tests\"\ncolumns = [\"N\"]\n[rows.set]\nbed = \"A\"\ndate = \"2026-05-04\"\n", "N\n4\n", `x.csv:2: column N: 4 has no unit: expected the unit of N on line 4 of m.toml: write it there, as "N ppm"; or unit = "ppm" under [rows.set] for all; or units in the profile of the lab in book.toml`},
		{"table = \"advice\"\ncolumns = [\"\"]\n[rows.set]\nbed = \"A\"\ndate = \"2026-05-04\"\n", "", `m.toml:4: key rows.columns: "": an empty text: expected "lime ton/acre"`},
		{"table = \"tillage\"\ncolumns = [\"N\"]\n[rows.set]\nbed = \"A\"\ndate = \"2026-05-04\"\ntool = \"hoe\"\n", "", `m.toml:4: key rows.columns: measured columns in tillage: expected soil_tests, water_tests, leaf_tests, materials or advice: set its fields under [rows.set]`},
		{"table = \"soil_tests\"\ncolumns = 5\n[rows.set]\nbed = \"A\"\ndate = \"2026-05-04\"\nanalyte = \"P\"\nvalue = \"1\"\n", "", `m.toml:4: key rows.columns: a single value: expected a list of headings, or [rows.columns] with a line for each: "P (M3)" = "P ppm Mehlich-3"`},
		{"table = \"soil_tests\"\n[rows.set]\nbed = \"A\"\ndate = \"2026-05-04\"\n[rows.columns]\nP = false\nK = 5\n", "", "m.toml:8: key rows.columns.P: false: expected what the column means, or true where its heading says it all: leave the line out\nm.toml:9: key rows.columns.K: neither a text nor true: expected what the column means, as \"P ppm Mehlich-3\""},
		{"table = \"soil_tests\"\ncolumns = [\"P ppm\"]\n[rows.set]\nbed = \"A\"\ndate = \"2026-05-04\"\n[rows.names]\nP = 5\n", "", "m.toml:8: key rows.names: beside measured columns, or without analyte under [rows.set]: expected a sheet with a column of names and one of values: analyte = {column = \"...\"} under [rows.set]\nm.toml:9: key rows.names.P: neither a text nor false: expected what the name means, as \"P Mehlich-3\", or false to leave its rows out"},
	} {
		if _, err := read(x.text, x.sheet); fmt.Sprint(err) != x.want {
			t.Errorf("got\n%v\nwant\n%s", err, x.want)
		}
	}
}

// TestShapeKeys reads one sheet in the ways its shape can be told.
func TestShapeKeys(t *testing.T) {
	const rest = "[[rows]]\ntable = \"soil_tests\"\ncolumns = [\"P ppm\"]\n[rows.set]\nbed = {column = \"Bed\"}\ndate = {cell = \"b1\"}\n"
	const sheet = "Sampled,2026-10-28\nBed,Bed\nBed,P ppm\nA,1\n#B,2\n\nC,3\n"
	for _, x := range []struct{ top, sheet, want string }{
		{"", sheet, "A 1, C 3"},
		{"comments = false", sheet, "A 1, #B 2, C 3"},
		{`until = ""`, sheet, "A 1"},
		{`until = ["x", "c"]`, sheet, "A 1"},
		{"headings = 3", sheet, "A 1, C 3"},
		{"headings = 6", sheet, "x.csv:6: an empty line or none: expected the headings, as headings of m.toml says"},
		{`headings_with = ["bed", "P PPM"]`, sheet, "A 1, C 3"},
		{`headings_with = "Plot"`, sheet, "x.csv: no line that holds Plot: expected the headings that headings_with of m.toml names, in the first 200 lines"},
		{`skip = [{column = "Bed", match = '^C'}, {column = 2, not = ["1", "2"]}]`, sheet, "A 1"},
		{"headings = [3, 4]\nheading_rows = 2", sheet, "m.toml:2: key headings: beside headings_with or heading_rows: expected the lines, or how to find them: take one out"},
		{"", "Sampled,2026-10-28\nBed,P ppm\n#A,1\n", "x.csv: headings but no rows (1 line with # passed over): expected a row for each record below line 2: fill in the sheet"},
		{"", "Sampled,2026-10-28\nBed,P ppm,Q\nA,1\nB,2,,\n", "A 1, B 2"}, // cells missing or empty at the end
		{"", "", "x.csv: an empty file: expected a line of headings and rows below it"},
		{"turn = true", strings.Repeat("a,b\n", 1001), "x.csv:1001: a sheet too long to turn: expected at most 1000 lines, one for each column of the turned sheet"},
	} {
		m, err := ParseMap("m.toml", []byte("format = 1\n"+x.top+"\n"+rest))
		var res Result
		if err == nil {
			res, err = Read([]Source{{"x.csv", []byte(x.sheet)}}, Options{Map: m, Grower: "Ann", Today: today})
		}
		got := fmt.Sprint(err)
		if err == nil {
			var values []string
			for _, s := range res.Records.SoilTests {
				values = append(values, fmt.Sprintf("%s %g", s.Bed, s.Value))
			}
			got = strings.Join(values, ", ")
		}
		if got != x.want {
			t.Errorf("%s:\ngot  %s\nwant %s", x.top, got, x.want)
		}
	}
}

// A cell merged over several lines is an empty cell below the first where the
// map lets it be carried down; elsewhere it is refused.
func TestMergedDown(t *testing.T) {
	data := bookWith(t, []string{"Results"}, func(f *excelize.File) {
		setRows(t, f, "Results", []any{"Bed", "Depth", "P ppm"}, []any{"Barn", "0-6 in", 118}, []any{nil, "6-12 in", 64}, []any{"Hill", "0-6 in", 22})
		must(t, f.MergeCell("Results", "A2", "A3"))
	})
	for _, x := range []struct{ bed, want string }{
		{`{column = "Bed", down = true}`, "Barn 118, Barn 64, Hill 22"},
		{`{column = "Bed"}`, "r.xlsx/Results:2: column Bed: A2:A3 are merged: expected one value in each: unmerge and fill in"},
	} {
		m, err := ParseMap("m.toml", []byte("format = 1\n[[rows]]\ntable = \"soil_tests\"\ncolumns = [\"P ppm\"]\n[rows.set]\ndate = \"2026-10-28\"\ndepth = {column = \"Depth\"}\nbed = "+x.bed+"\n"))
		if err != nil {
			t.Fatal(err)
		}
		res, err := Read([]Source{{"r.xlsx", data}}, Options{Map: m, Grower: "Ann", Today: today})
		got := fmt.Sprint(err)
		if err == nil {
			var values []string
			for _, s := range res.Records.SoilTests {
				values = append(values, fmt.Sprintf("%s %g", s.Bed, s.Value))
			}
			got = strings.Join(values, ", ")
		}
		if got != x.want {
			t.Errorf("got  %s\nwant %s", got, x.want)
		}
	}
}

// What many columns and rows are passed over with is told briefly.
func TestBriefNotes(t *testing.T) {
	m, err := ParseMap("m.toml", []byte("format = 1\n[[rows]]\ntable = \"soil_tests\"\ncolumns = [\"P ppm\"]\n[rows.set]\nbed = {column = \"Bed\"}\ndate = \"2026-10-28\"\ndepth = {column = \"c0\", match = '^(\\d+)$', unit = \"in\"}\n"))
	if err != nil {
		t.Fatal(err)
	}
	head, row := "Bed,P ppm", "A,"
	for i := range 30 {
		head, row = head+fmt.Sprintf(",c%d", i), row+",x"
	}
	res, err := Read([]Source{{"x.csv", []byte(head + "\n" + strings.Repeat(row+"\n", 12) + strings.Replace(row, "A,", "A,5", 1) + "\n")}}, Options{Map: m, Grower: "Ann", Today: today})
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{
		"x.csv: columns that m.toml does not read: c1, c2, c3, c4, c5, c6, c7, c8, c9, c10, c11, c12, c13, c14, c15, c16, c17, c18, c19, c20 and 9 more",
		"x.csv: 12 rows without a value that m.toml reads: lines 2, 3, 4, 5, 6, 7, 8, 9, 10, 11 ...",
		"x.csv: depth left empty, since match on line 8 of m.toml does not fit: rows: 13",
	} {
		if !slices.Contains(res.Notes, want) {
			t.Errorf("no note %q in\n%s", want, strings.Join(res.Notes, "\n"))
		}
	}
}

// A sample whose name begins as a label does is a sample.
func TestSampleNamedAsALabel(t *testing.T) {
	m, err := ParseMap("m.toml", []byte("format = 1\n[[rows]]\ntable = \"soil_tests\"\ncolumns = [\"P ppm\"]\n[rows.set]\nbed = {column = \"Bed\"}\nlab = {after = \"Lab\"}\ndate = \"2026-10-28\"\ndepth = \"0-6 in\"\n"))
	if err != nil {
		t.Fatal(err)
	}
	res, err := Read([]Source{{"x.csv", []byte("Lab: Heron,\nBed,P ppm\nNorth,118\nLab copy,64\nLabrador,30\nLab: Sedge,\nSouth,22\n")}}, Options{Map: m, Grower: "Ann", Today: today})
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, s := range res.Records.SoilTests {
		got = append(got, fmt.Sprintf("%s %g %s", s.Bed, s.Value, s.Lab))
	}
	if want := "North 118 Heron, Lab copy 64 Heron, Labrador 30 Heron, South 22 Sedge"; strings.Join(got, ", ") != want {
		t.Errorf("got  %s\nwant %s", strings.Join(got, ", "), want)
	}
}
