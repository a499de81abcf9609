package intake

import (
	"fmt"
	"math"
	"math/rand/v2"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"carryover/dataset"
	"carryover/dataset/unit"
)

// TestRowMessages holds the exact words for rows that say too much, too little
// or two things.
func TestRowMessages(t *testing.T) {
	const tests = "bed,date,depth (in),analyte,value,unit,method\nA,2026-10-28,0-6,"
	const feeds = "bed,date,material,amount,unit,every days,until\nA,2026-06-20,feed,"
	for _, x := range []struct{ name, file, text, want string }{
		{"a unit beside another", "amendments.csv", "bed,date,material,amount,unit\nA,2026-04-20,lime,40 lb,kg\nA,2026-04-20,feed,40 gal,lb/acre\n",
			"amendments.csv:2: column amount: \"40 lb\" is in lb: expected kg, as the column unit says: write the figure in one of them, and that unit alone\n" +
				`amendments.csv:3: column amount: "40 gal" is in gal: expected lb/acre, as the column unit says: write the figure in one of them, and that unit alone`},
		{"a unit of another kind than the heading's", "amendments.csv", "bed,date,material,amount (lb)\nA,2026-04-20,lime,40 gal\n",
			`amendments.csv:2: column amount (lb): "40 gal" is in gal: expected lb, as its heading says: write the figure in one of them, and that unit alone`},
		{"a unit that the heading cannot mean", "harvests.csv", "bed,date,weight (lb),weighed\nA,2026-10-03,40 gal,scale\n",
			`harvests.csv:2: column weight (lb): unit "gal": not known here: expected one of lb, oz, g, kg, ton, t`},
		{"a soil test in two units", "soil_tests.csv", tests + "P,118 lb/acre,ppm,\n",
			`soil_tests.csv:2: column value: "118 lb/acre" is in lb/acre: expected ppm, as the column unit says: write the figure in one of them, and that unit alone`},
		{"a rating beside the figure", "soil_tests.csv", tests + "P,118 VH,ppm,\n",
			`soil_tests.csv:2: column value: "118 VH": expected a number such as 12.5`},
		{"a rating in place of the unit", "soil_tests.csv", tests + "P,118 VH,,\n",
			`soil_tests.csv:2: column value: "118 VH": unit "VH": cannot measure P: expected one of ppm, mg/kg, lb/acre, kg/ha, mg/dm3, %`},
		{"a share in two units", "materials.csv", "material,component,value,unit\nmeal,N,12%,ppm\n",
			`materials.csv:2: column value: "12%" is in %: expected ppm, as the column unit says: write the figure in one of them, and that unit alone`},
		{"a limit on a label", "materials.csv", "material,component,value,unit\nmeal,N,<12,%\n",
			`materials.csv:2: column value: "<12": expected a bare number: write what you know in the column note`},
		{"a leaf in two units", "leaf_tests.csv", "bed,date,analyte,value,unit\nA,2026-07-20,N,4.8 %,ppm\n",
			`leaf_tests.csv:2: column value: "4.8 %" is in %: expected ppm, as the column unit says: write the figure in one of them, and that unit alone`},
		{"water in two units", "water_tests.csv", "water,date,analyte,value,unit\nwell,2026-05-04,Ca,6 meq/L,mg/L\n",
			`water_tests.csv:2: column value: "6 meq/L" is in meq/L: expected mg/L, as the column unit says: write the figure in one of them, and that unit alone`},

		{"no amount", "amendments.csv", "bed,date,material,amount,unit\nA,2026-04-20,lime,some,lb\nA,2026-04-20,feed,a few handfuls,\n",
			"amendments.csv:2: column amount: \"some\": expected an amount such as 40 lb, about 40 lb or 40-50 lb: weigh or measure it, or write a range that is sure to hold it\n" +
				`amendments.csv:3: column amount: "a few handfuls": expected an amount such as 40 lb, about 40 lb or 40-50 lb: weigh or measure it, or write a range that is sure to hold it`},
		{"a limit", "amendments.csv", "bed,date,material,amount,unit\nA,2026-04-20,lime,>5,lb\n",
			`amendments.csv:2: column amount: ">5": expected a number: write "about" before a guess`},
		{"own measure of another kind", "amendments.csv", "bed,date,material,amount,unit\nA,2026-04-20,lime,2 barrows,lb\n",
			`amendments.csv:2: column amount: "2 barrows" is in barrows: expected lb, as the column unit says: write the figure in one of them, and that unit alone`},
		{"an amount that became a day", "amendments.csv", "bed,date,material,amount,unit\nA,2026-04-20,lime,8-Jun,lb\nA,2026-04-20,lime,2026-06-08,lb\n",
			"amendments.csv:2: column amount: \"8-Jun\": expected an amount such as 6-8 or 1/2: a spreadsheet took it for a day: make the cell a text, and write it again\n" +
				`amendments.csv:3: column amount: "2026-06-08": expected an amount such as 6-8 or 1/2: a spreadsheet took it for a day: make the cell a text, and write it again`},
		{"a depth that became a day", "tillage.csv", "bed,date,tool,depth (in)\nA,2026-04-20,hoe,8-Jun\n",
			`tillage.csv:2: column depth (in): "8-Jun": expected an amount such as 6-8 or 1/2: a spreadsheet took it for a day: make the cell a text, and write it again`},
		{"a sampled depth that became a day", "soil_tests.csv", "bed,date,depth (in),analyte,value\nA,2026-10-28,Jun-8,pH,6\n",
			`soil_tests.csv:2: column depth (in): "Jun-8": expected a depth such as 0-6: a spreadsheet took it for a day: make the cell a text, and write it again`},

		{"biweekly", "amendments.csv", feeds + "2 lb biweekly,,,\n",
			`amendments.csv:2: column amount: "biweekly": expected every 2 weeks, or every 3 or 4 days: it is read both ways`},
		{"monthly", "amendments.csv", feeds + "2 lb,,monthly,2026-09-01\n",
			`amendments.csv:2: column every days: "monthly": expected days or weeks, such as every 30 days or every 4 weeks: months are not alike`},
		{"twice a week", "amendments.csv", feeds + "2 lb,,twice a week,2026-09-01\n",
			`amendments.csv:2: column every days: "twice a week": expected whole days from one to the next, such as every 3 days: or a row for each day of the week, every 7 days`},
		{"often", "amendments.csv", feeds + "2 lb,,often,2026-09-01\n",
			`amendments.csv:2: column every days: "often": expected a whole number from 1 to 366, or weekly, every 10 days ...`},
		{"never", "amendments.csv", feeds + "2 lb,,0,2026-09-01\n",
			`amendments.csv:2: column every days: "0": expected a whole number from 1 to 366, or weekly, every 10 days ...`},
		{"a run twice", "amendments.csv", feeds + "2 lb weekly,,7,2026-09-01\n",
			`amendments.csv:2: column amount: "2 lb weekly" beside every days 7: expected one or the other: clear one of them`},
		{"a run without end", "amendments.csv", feeds + "2 lb weekly,,,\n",
			`amendments.csv:2: column until: empty: expected the last day of the run: fill it in, or write 2 lb weekly to 1 Sept`},
		{"a run of two ends", "amendments.csv", feeds + "2 lb weekly to 1 Sept,,,2026-09-02\n",
			`amendments.csv:2: column amount: "2 lb weekly to 1 Sept" ends on 2026-09-01: expected the day in the column until, 2026-09-02: mend one of the two`},
		{"a run of two beginnings", "amendments.csv", feeds + "2 lb weekly 21 June to 1 Sept,,,\n",
			`amendments.csv:2: column amount: "2 lb weekly 21 June to 1 Sept" begins on 2026-06-21: expected the date of the row, 2026-06-20: mend one of the two`},
		{"a run to no day", "amendments.csv", feeds + "2 lb weekly to autumn,,,\n",
			`amendments.csv:2: column amount: "autumn": expected a day such as 20 June, as in weekly 20 June to 1 Sept`},

		{"gallons on no bed", "weather.csv", "site,bed,date,irrigation (in)\nHome,,2026-07-15,200 gal\n",
			`weather.csv:2: column bed: empty: expected the bed that was watered: without it write a depth, such as 0.5 in`},
		{"a watering of no flow", "weather.csv", "bed,date,irrigation (in)\nA,2026-07-15,2 h\n",
			`weather.csv:2: column irrigation (in): "2 h": says how long and not how much: add the flow, as 2 h x 5 gal/min`},
		{"a guess at a watering", "weather.csv", "bed,date,irrigation (in)\nA,2026-07-15,about 200 gal\n",
			`weather.csv:2: column irrigation (in): "about 200 gal": expected a bare number: write what you know in the column note`},
		{"a flood", "weather.csv", "bed,date,irrigation (in)\nA,2026-07-15,30 h x 10 in/h\n",
			`weather.csv:2: column irrigation (in): "30 h x 10 in/h": expected 0 to 5000 mm: check the time and the flow`},

		{"a second value", "soil_tests.csv", tests + "P,118,ppm,Mehlich-3\nA,2026-10-28,0-6,K,300,ppm,Mehlich-3\nA,2026-10-28,0-6,P,181,ppm,M3\n",
			`soil_tests.csv:4: column value: a second value of P in one report, 181: line 2 has 118: expected one: take one out, or tell them apart by sample, report, depth or method`},
		{"a second value of a leaf", "leaf_tests.csv", "bed,date,part,analyte,value,unit\nA,2026-07-20,blade,N,4.8,%\nA,2026-07-20,stalk,N,2.1,%\nA,2026-07-20,blade,N,<4.8,%\n",
			`leaf_tests.csv:4: column value: a second value of N in one report, <4.8: line 2 has 4.8: expected one: take one out, or tell them apart by part`},
		{"a second value of a water", "water_tests.csv", "water,date,analyte,value,unit\nwell,2026-05-04,Na,12,mg/L\npond,2026-05-04,Na,30,mg/L\nwell,2026-05-04,Na,14,mg/L\n",
			`water_tests.csv:4: column value: a second value of Na in one report, 14: line 2 has 12: expected one: take one out, or give each water its name`},

		{"an address that is none", "harvests.csv", "bed,date,weight (lb),weighed,row\nA,2026-10-03,900,scale,7\n",
			`harvests.csv:2: column row: "7": expected batch:line such as 3:7, or 3:tests.csv:7`},
		{"which row it is and which it replaces", "harvests.csv", "bed,date,weight (lb),weighed,row,replaces\nA,2026-10-03,900,scale,3:7,3:8\n",
			`harvests.csv:2: column replaces: "3:8" beside row 3:7: expected one of the two: clear replaces: a row that says which it is takes its place when it has changed`},
		{"which came first", "amendments.csv", "bed,date,material,same day\nA,2026-04-20,lime,beforetests\n",
			`amendments.csv:2: column same day: "beforetests": did you mean before test?`},
	} {
		t.Run(x.name, func(t *testing.T) {
			_, err := Read([]Source{{x.file, []byte(x.text)}}, Options{Today: today, Measures: barrow()})
			if err == nil || err.Error() != x.want {
				t.Errorf("got:\n%v\nwant:\n%s", err, x.want)
			}
		})
	}
}

func barrow() unit.Measures { return unit.Measures{"barrow": {Amount: 6, Unit: "cu ft"}} }

func TestAmounts(t *testing.T) {
	const lb = unit.KgPerPound
	for _, x := range []struct {
		amount, unit     string
		want, low, high  float64 // low 0: none
		si, qualifier    string
		reported         float64
		as, note, passed string
	}{
		{"40", "lb", 40 * lb, 0, 0, "kg", "", 40, "lb", "", ""},
		{"about 40", "lb", 40 * lb, 30 * lb, 50 * lb, "kg", "about", 40, "lb", "", "amounts given as about: where no range stands, taken as right within 25 %: 1"},
		{"~40 lb", "", 40 * lb, 30 * lb, 50 * lb, "kg", "about", 40, "lb", "", "amounts given as about: where no range stands, taken as right within 25 %: 1"},
		{"40-50 lb", "", 45 * lb, 40 * lb, 50 * lb, "kg", "", 45, "lb", "", "amounts given as a range: its middle and both ends: 1"},
		{"40 to 50", "lbs", 45 * lb, 40 * lb, 50 * lb, "kg", "", 45, "lbs", "", "amounts given as a range: its middle and both ends: 1"},
		{"40\u00b15", "lb", 40 * lb, 35 * lb, 45 * lb, "kg", "", 40, "lb", "", "amounts given as a range: its middle and both ends: 1"},
		{"about 40-60 lb", "", 50 * lb, 40 * lb, 60 * lb, "kg", "about", 50, "lb", "", "amounts given as about: where no range stands, taken as right within 25 %: 1"},
		{"2 x 50 lb", "", 100 * lb, 0, 0, "kg", "", 100, "lb", "amount 2 x 50 lb", `amendments.csv:2: column amount: "2 x 50 lb" stands as 100 lb; the words are kept in the note`},
		{"2", "50 lb bags", 100 * lb, 0, 0, "kg", "", 100, "lb", "amount 2 x 50 lb bags", `amendments.csv:2: column amount: "2 x 50 lb bags" stands as 100 lb; the words are kept in the note`},
		{"3 bags of 50 lb", "", 150 * lb, 0, 0, "kg", "", 150, "lb", "amount 3 bags of 50 lb", `amendments.csv:2: column amount: "3 bags of 50 lb" stands as 150 lb; the words are kept in the note`},
		{"4 lb 8 oz", "", 4.5 * lb, 0, 0, "kg", "", 4.5, "lb", "amount 4 lb 8 oz", `amendments.csv:2: column amount: "4 lb 8 oz" stands as 4.5 lb; the words are kept in the note`},
		{"1/2", "gal", unit.LPerGallon / 2, 0, 0, "L", "", 0.5, "gal", "", ""},
		{"6\u00bd", "oz", 6.5 / 16 * lb, 0, 0, "kg", "", 6.5, "oz", "", ""},
		{"1 1/2 in", "", 1.5 * 2.54, 0, 0, "cm", "", 1.5, "in", "", ""},
		{"2 yards", "", 54 * unit.M3PerCuFt, 0, 0, "m3", "", 2, "yards", "", ""}, // of compost: common practice, no source
		{"3 barrows", "", 18 * unit.M3PerCuFt, 0, 0, "m3", "", 3, "barrows", "", ""},
		{"about 3", "barrow", 18 * unit.M3PerCuFt, 13.5 * unit.M3PerCuFt, 22.5 * unit.M3PerCuFt, "m3", "about", 3, "barrow", "", "amounts given as about: where no range stands, taken as right within 25 %: 1"},
		{"40 pounds", "lb", 40 * lb, 0, 0, "kg", "", 40, "pounds", "", ""}, // one unit in two words is no contradiction
		{"30", "lb/1000 sq ft", 30 * 43.56 * unit.KgHaPerLbAc, 0, 0, "kg/ha", "", 30, "lb/1000 sq ft", "", ""},
		{"30-40 lb/1000 sq ft", "", 35 * 43.56 * unit.KgHaPerLbAc, 30 * 43.56 * unit.KgHaPerLbAc, 40 * 43.56 * unit.KgHaPerLbAc, "kg/ha", "", 35, "lb/1000 sq ft", "", "amounts given as a range: its middle and both ends: 1"},
	} {
		res, err := Read([]Source{{"amendments.csv", []byte("bed,date,material,amount,unit\nA,2026-04-20,lime," + x.amount + "," + x.unit + "\n")}}, Options{Today: today, Measures: barrow()})
		if err != nil {
			t.Errorf("%s %s: %v", x.amount, x.unit, err)
			continue
		}
		a := res.Records.Amendments[0]
		near := func(what string, got *float64, want float64) {
			if (got == nil) != (want == 0) || got != nil && math.Abs(*got-want) > 1e-12*want {
				t.Errorf("%s %s: %s %v, want %v", x.amount, x.unit, what, got, want)
			}
		}
		near("amount", a.Amount, x.want)
		near("low", a.AmountLow, x.low)
		near("high", a.AmountHigh, x.high)
		near("reported", a.ReportedAmount, x.reported)
		if a.Unit != x.si || a.Qualifier != x.qualifier || a.ReportedUnit != x.as || a.Note != x.note {
			t.Errorf("%s %s: %+v", x.amount, x.unit, a)
		}
		if got := strings.Join(res.Notes, "\n"); got != x.passed {
			t.Errorf("%s %s: notes %q, want %q", x.amount, x.unit, got, x.passed)
		}
	}
}

func TestUnitOfItsOwn(t *testing.T) {
	res := one(t, "harvests.csv", "bed,date,weight (lb),weighed\nA,2026-10-03,500 kg,scale\nA,2026-10-04,900,scale\nA,2026-10-05,900 lbs,scale\nA,2026-10-06,35 oz,scale\n")
	if h := res.Records.Harvests; h[0].Weight != 500 || h[2].ReportedUnit != "lbs" || math.Abs(h[3].Weight-35*unit.KgPerPound/16) > 1e-12 {
		t.Errorf("%+v", h)
	}
	if want := []string{"harvests.csv: column weight (lb): cells with a unit of their own, read in that: 2"}; !slices.Equal(res.Notes, want) {
		t.Errorf("%q", res.Notes)
	}
	res = one(t, "soil_tests.csv", "bed,date,depth (in),analyte,value,unit,method\nA,2026-10-28,0-6,OM,4.6%,%,LOI\nA,2026-10-28,0-6,Ca,1900 ppm,mg/kg,M3\nA,2026-10-28,0-6,K,300 lb/acre,,M3\nA,2026-10-28,0-6,B,<0.2 ppm,,M3\n")
	if s := res.Records.SoilTests; s[0].Value != 4.6 || s[1].Value != 1900 || s[1].ReportedUnit != "mg/kg" || s[2].ReportedUnit != "lb/acre" || s[3].Qualifier != "<" || s[3].Value != 0.2 {
		t.Errorf("%+v", s)
	}
	res = one(t, "materials.csv", "material,component,value,unit\nmeal,N,12%,\nmeal,P2O5,1 %,%\n")
	if m := res.Records.Materials; m[0].Value != 12 || m[0].ReportedUnit != "%" || m[1].ReportedUnit != "%" {
		t.Errorf("%+v", m)
	}
}

func TestAreasAndLengths(t *testing.T) {
	res := one(t, "beds.csv", "bed,from,area (sq ft),depth (in)\n"+
		"A,2020-04-01,30x40,0-6\nB,2020-04-01,30' \u00d7 40.5 ft,0 to 1 ft 6 in\nC,2020-04-01,circle 20 ft across,6 1/2\nD,2020-04-01,9 m by 12 m,0-15 cm\nE,2020-04-01,\"1,250\",\n")
	for i, want := range []struct {
		area, depth float64
		note        string
	}{
		{1200 * unit.M2PerSqFt, 15.24, "area 30x40"}, {1215 * unit.M2PerSqFt, 45.72, "area 30' \u00d7 40.5 ft"}, {math.Pi * 100 * unit.M2PerSqFt, 16.51, "area circle 20 ft across"},
		{108, 15, "area 9 m by 12 m"}, {1250 * unit.M2PerSqFt, 0, ""},
	} {
		b := res.Records.Beds[i]
		if math.Abs(*b.Area-want.area) > 1e-9 || b.Note != want.note || want.depth > 0 && math.Abs(*b.DepthTo-want.depth) > 1e-9 || want.depth == 0 && b.DepthTo != nil {
			t.Errorf("%+v, want %+v", b, want)
		}
	}
	if want := []string{
		`beds.csv:2: column area (sq ft): "30x40" stands as 1200 sq ft; the words are kept in the note`,
		"beds.csv:3: column area (sq ft): \"30' \u00d7 40.5 ft\" stands as 1215 sq ft; the words are kept in the note",
		`beds.csv:4: column area (sq ft): "circle 20 ft across" stands as 314.159 sq ft; the words are kept in the note`,
		`beds.csv:5: column area (sq ft): "9 m by 12 m" stands as 1162.5 sq ft; the words are kept in the note`,
	}; !slices.Equal(res.Notes, want) {
		t.Errorf("%q", res.Notes)
	}
	if b := one(t, "beds.csv", "bed,from,area (m2)\nA,2020-04-01,9x12\n").Records.Beds[0]; math.Abs(*b.Area-108) > 1e-9 {
		t.Errorf("%+v", b)
	}
}

func TestWaterings(t *testing.T) {
	res := one(t, "weather.csv", "bed,date,irrigation (in),note\nA,2026-07-14,0.75,\nA,2026-07-15,200 gal,\nA,2026-07-16,2 h x 5 gal/min,hot\nA,2026-07-17,25 mm,\nA,2026-07-18,1.2 m3,\nA,2026-07-19,3 h at 0.2 in/h,\n")
	for i, want := range []struct {
		mm, litres float64
		note       string
	}{{19.05, 0, ""}, {0, 200 * unit.LPerGallon, ""}, {0, 600 * unit.LPerGallon, "hot; irrigation 2 h x 5 gal/min"}, {25, 0, ""}, {0, 1200, "irrigation 1.2 m3"}, {15.24, 0, "irrigation 3 h at 0.2 in/h"}} {
		w := res.Records.Weather[i]
		same := func(p *float64, v float64) bool {
			return p == nil && v == 0 || p != nil && math.Abs(*p-v) < 1e-9
		}
		if !same(w.Irrigation, want.mm) || !same(w.IrrigationL, want.litres) || w.Note != want.note || w.Period != "day" {
			t.Errorf("%+v, want %+v", w, want)
		}
	}
	if w := one(t, "weather.csv", "bed,date,irrigation (gal)\nA,2026-07-14,200\n").Records.Weather[0]; w.Irrigation != nil || *w.IrrigationL != 200*unit.LPerGallon {
		t.Errorf("%+v", w)
	}
	cans, err := Read([]Source{{"weather.csv", []byte("bed,date,irrigation (in)\nA,2026-07-14,3 cans\n")}}, Options{Today: today, Measures: unit.Measures{"can": {Amount: 2, Unit: "gal"}}})
	if err != nil || math.Abs(*cans.Records.Weather[0].IrrigationL-6*unit.LPerGallon) > 1e-9 {
		t.Errorf("%+v %v", cans.Records.Weather, err)
	}
}

func TestRepeats(t *testing.T) {
	day := func(s string) *dataset.Date {
		if s == "" {
			return nil
		}
		d, err := dataset.ParseISO(s)
		if err != nil {
			t.Fatal(err)
		}
		return &d
	}
	for _, x := range []struct {
		text, rest  string
		every       int32
		from, until string
	}{
		{"2 lb weekly 20 June to 1 Sept", "2 lb", 7, "2026-06-20", "2026-09-01"},
		{"fish feed 2 lb weekly to 2026-09-01", "fish feed 2 lb", 7, "", "2026-09-01"},
		{"2 lb, every 10 days, June 20 until Sept 1", "2 lb", 10, "2026-06-20", "2026-09-01"},
		{"every other day from 20 June through 1 Sept", "", 2, "2026-06-20", "2026-09-01"},
		{"2 gal every two weeks", "2 gal", 14, "", ""}, {"daily", "", 1, "", ""}, {"Every Week", "", 7, "", ""}, {"fortnightly", "", 14, "", ""},
		{"2 lb a week", "2 lb", 7, "", ""}, {"1 gal once per week", "1 gal", 7, "", ""}, {"every second week till 5 Jan", "", 14, "", "2026-01-05"},
		{"weekly 1 Nov to 5 Jan", "", 7, "2026-11-01", "2027-01-05"}, {"weekly 1 Nov 2025 \u2013 5 Jan", "", 7, "2025-11-01", "2026-01-05"},
		{"2 lb", "2 lb", 0, "", ""}, {"weeklyish", "weeklyish", 0, "", ""}, {"", "", 0, "", ""},
	} {
		got, err := ParseRepeat(x.text, 2026)
		want := Repeat{x.rest, x.every, day(x.from), day(x.until)}
		if err != nil || !reflect.DeepEqual(got, want) {
			t.Errorf("%q: %+v %v, want %+v", x.text, got, err, want)
		}
	}
	for text, want := range map[string]string{
		"2 lb bi-weekly":        `"bi-weekly": expected every 2 weeks, or every 3 or 4 days: it is read both ways`,
		"3 times a week":        `"3 times a week": expected whole days from one to the next, such as every 3 days: or a row for each day of the week, every 7 days`,
		"every 2 months":        `"every 2 months": expected days or weeks, such as every 30 days or every 4 weeks: months are not alike`,
		"every few days":        `"every few days": expected a whole number of days or weeks, such as every 10 days`,
		"every 60 weeks":        `"every 60 weeks": expected 1 to 366 days`,
		"weekly June to Sept":   `"June": expected a day such as 20 June, as in weekly 20 June to 1 Sept`,
		"weekly 31 June":        `"31 June": expected a day such as 20 June, as in weekly 20 June to 1 Sept`,
		"weekly to the last":    `"the last": expected a day such as 20 June, as in weekly 20 June to 1 Sept`,
		"weekly 1 May to 1/9":   `"1/9": expected a day such as 20 June, as in weekly 20 June to 1 Sept`,
		"weekly for ten rounds": `"for ten rounds": expected a day such as 20 June, as in weekly 20 June to 1 Sept`,
	} {
		if got, err := ParseRepeat(text, 2026); err == nil || err.Error() != want {
			t.Errorf("%q: %+v %v\nwant %s", text, got, err, want)
		}
	}
	res := one(t, "amendments.csv", "bed,date,material,amount,unit,every days,until\nA,2026-06-20,a,2 lb weekly 20 June to 1 Sept,,,\nA,2026-06-20,b,about 2 weekly,gal,,2026-09-01\n"+
		"A,2026-06-20,c,2 lb,,every 10 days,2026-09-01\nA,2026-06-20,d,2 lb,,every 2 weeks until 1 Sept,\nA,2025-12-20,e,2 lb weekly to 1 Feb,,,\n")
	end := dataset.DateOf(2026, time.September, 1)
	for i, every := range []int32{7, 7, 10, 14, 7} {
		a := res.Records.Amendments[i]
		if i == 4 {
			end = dataset.DateOf(2026, time.February, 1)
		}
		if a.Every == nil || *a.Every != every || a.Until == nil || *a.Until != end || *a.ReportedAmount != 2 || a.Note != "" {
			t.Errorf("%+v", a)
		}
	}
}

func TestSameDay(t *testing.T) {
	const spread = "bed,date,material,every days,until,same day\n"
	const sampled = "bed,date,analyte,value\n"
	at := func(batch int32, file string, line int32) dataset.Source {
		return dataset.Source{Batch: batch, File: file, Line: line}
	}
	day := dataset.DateOf(2026, 10, 28)
	tested := dataset.SoilTest{Grower: "Ann", Bed: "A", Date: day, DateBasis: dataset.ByDay, Analyte: "pH", Source: at(3, "tests.csv", 2)}
	limed := dataset.Amendment{Grower: "Ann", Bed: "A", Date: day, DateBasis: dataset.ByDay, Material: "lime", Source: at(3, "book.xlsx/amendments", 5)}
	const ask = ": which came first is not said, so the test is doubted: write before test or after test under same day"
	for _, x := range []struct {
		name, spread, tests string
		book                *dataset.Records
		want                []string
	}{
		{"within the sheets", "A,2026-10-28,lime,,,\n", "A,2026-10-28,pH,6\nA,2026-10-28,OM,6%\n", nil,
			[]string{"amendments.csv:2: lime on A, on the day of a soil test (2026-10-28, tests.csv:2)" + ask}},
		{"said", "A,2026-10-28,lime,,,before test\nA,2026-10-28,feed,,,after\n", "A,2026-10-28,pH,6\n", nil, nil},
		{"another day, another bed, no day", "A,2026-10-27,lime,,,\nB,2026-10-28,lime,,,\nA,2026-10,lime,,,\n", "A,2026-10-28,pH,6\nA,2026-10,OM,6%\n", nil, nil},
		{"a run over the day", "A,2026-10-14,feed,7,2026-11-04,\nA,2026-10-15,feed,7,2026-11-04,\nA,2026-10-07,feed,7,2026-10-27,\nA,2026-11-04,feed,7,2026-11-25,\n", "A,2026-10-28,pH,6\n", nil,
			[]string{"amendments.csv:2: feed on A, on the day of a soil test (2026-10-28, tests.csv:2)" + ask}},
		{"a test of the book", "A,2026-10-28,lime,,,\n", "", &dataset.Records{SoilTests: []dataset.SoilTest{tested}},
			[]string{"amendments.csv:2: lime on A, on the day of a soil test (2026-10-28, in the book)" + ask}},
		{"a spreading of the book", "", "A,2026-10-28,pH,6\n", &dataset.Records{Amendments: []dataset.Amendment{limed}},
			[]string{"tests.csv:2: soil test of A on the day of a spreading (lime, 2026-10-28, in the book as row 3:book.xlsx/amendments:5)" + ask + " of that row, and import it with --correct"}},
		{"both asked before", "A,2026-10-28,lime,,,\n", "A,2026-10-28,pH,6\n", &dataset.Records{SoilTests: []dataset.SoilTest{tested}, Amendments: []dataset.Amendment{limed}}, nil},
		{"another spreading on the day", "A,2026-10-28,feed,,,\n", "A,2026-10-28,pH,6\n", &dataset.Records{SoilTests: []dataset.SoilTest{tested}, Amendments: []dataset.Amendment{limed}},
			[]string{"amendments.csv:2: feed on A, on the day of a soil test (2026-10-28, tests.csv:2)" + ask}},
		{"another grower's", "A,2026-10-28,lime,,,\n", "", &dataset.Records{SoilTests: []dataset.SoilTest{{Grower: "Bob", Bed: "A", Date: day, DateBasis: dataset.ByDay}}}, nil},
	} {
		var src []Source
		if x.spread != "" {
			src = append(src, Source{"amendments.csv", []byte(spread + x.spread)})
		}
		if x.tests != "" {
			src = append(src, Source{"tests.csv", []byte(sampled + x.tests)})
		}
		res, err := Read(src, Options{Grower: "Ann", Today: dataset.DateOf(2026, 12, 31), Book: x.book})
		if err != nil {
			t.Errorf("%s: %v", x.name, err)
			continue
		}
		notes := slices.DeleteFunc(res.Notes, func(n string) bool { return strings.Contains(n, "without a method") })
		if !slices.Equal(notes, x.want) {
			t.Errorf("%s:\ngot  %q\nwant %q", x.name, notes, x.want)
		}
	}
	a := one(t, "amendments.csv", spread+"A,2026-10-28,lime,,,Before\n").Records.Amendments[0]
	if a.SameDay != "before test" {
		t.Errorf("%+v", a)
	}
}

func TestClaims(t *testing.T) {
	res, err := Read([]Source{
		{"soil_tests.csv", []byte("bed,date,analyte,value,row\nA,2026-10-28,pH,6,3:tests.csv:7\nA,2026-10-28,buffer pH,6.6,3:old: a/b.xlsx/tests:12\nA,2026-10-29,pH,6,\n")},
		{"materials.csv", []byte("material,component,value,unit,row\nmeal,N,12,%,3:7\n")},
		{"advice.csv", []byte("bed,date,item,text,row\nA,2026-10-28,lime,none needed,3:lab.csv:2\n")},
		{"amendments.csv", []byte("bed,date,material,row\nA,2026-04-20,lime,4:amendments.csv:2\n")},
	}, Options{Today: today})
	if err != nil {
		t.Fatal(err)
	}
	at := func(file string, line int32) dataset.Source { return dataset.Source{File: file, Line: line} }
	want := []dataset.Claim{
		{Table: "advice", At: at("advice.csv", 2), OfBatch: 3, OfFile: "lab.csv", OfLine: 2, Analyte: "lime"},
		{Table: "amendments", At: at("amendments.csv", 2), OfBatch: 4, OfFile: "amendments.csv", OfLine: 2},
		{Table: "materials", At: at("materials.csv", 2), OfBatch: 3, OfLine: 7, Analyte: "N"},
		{Table: "soil_tests", At: at("soil_tests.csv", 2), OfBatch: 3, OfFile: "tests.csv", OfLine: 7, Analyte: "pH"},
		{Table: "soil_tests", At: at("soil_tests.csv", 3), OfBatch: 3, OfFile: "old: a/b.xlsx/tests", OfLine: 12, Analyte: "buffer pH"},
	}
	if !slices.Equal(res.Claims, want) || len(res.Records.Corrections) > 0 {
		t.Errorf("%+v\n%+v", res.Claims, res.Records.Corrections)
	}
}

// A paste's extract stays one, and so does its unit. Na weighs 22.990 g/mol: Prohaska
// et al. 2022, Standard atomic weights of the elements 2021 (IUPAC).
func TestSaturatedPaste(t *testing.T) {
	res := one(t, "soil_tests.csv", "bed,date,depth (in),analyte,value,unit,method\nA,2026-07-28,0-6,Ca,60,mg/L,saturated paste\nA,2026-07-28,0-6,Na,3,meq/L,saturated paste\nA,2026-07-28,0-6,EC,1.4,mmho/cm,saturated paste\n")
	s := res.Records.SoilTests
	if s[0].Unit != "mg/L" || s[0].Basis != "extract" || s[1].Unit != "mg/L" || math.Abs(s[1].Value-3*22.990) > 1e-9 || s[2].Method != "EC paste" || s[2].Value != 1.4 || s[2].Unit != "dS/m" {
		t.Errorf("%+v", s)
	}
	if want := []string{"values in mg/L of an extract, a scale of its own: never turned into an amount of the soil: 2"}; !slices.Equal(res.Notes, want) {
		t.Errorf("%q", res.Notes)
	}
}

// Values that one report may well have twice, or prints again.
func TestTwoValuesThatAreFine(t *testing.T) {
	res := one(t, "soil_tests.csv", "bed,date,timing,lab,report,sample,depth (in),analyte,value,unit,method\n"+
		"A,2026-10-28,,L,1,,0-6,P,118,ppm,M3\nA,2026-10-28,,L,1,,0-6,P,118,ppm,M3\n"+ // the same again
		"A,2026-10-28,,L,1,,0-6,P,40,ppm,Olsen\nA,2026-10-28,,L,1,,6-12,P,60,ppm,M3\nA,2026-10-28,,L,1,west,0-6,P,90,ppm,M3\n"+
		"A,2026-10-28,,L,2,,0-6,P,91,ppm,M3\nA,2026-10-28,,M,1,,0-6,P,92,ppm,M3\nB,2026-10-28,,L,1,,0-6,P,93,ppm,M3\nA,2026-10-29,,L,1,,0-6,P,94,ppm,M3\nA,2026-10-28,autumn,L,1,,0-6,P,95,ppm,M3\n")
	if len(res.Records.SoilTests) != 10 {
		t.Errorf("%d rows", len(res.Records.SoilTests))
	}
}

// A second value is found wherever it stands.
func TestTwoValuesFarApart(t *testing.T) {
	text := bigSheet(3000)
	lines := strings.SplitAfter(text, "\n")
	for _, from := range []int{1, 700, 2999} {
		cells := strings.Split(lines[from], ",")
		was := cells[8]
		cells[8] = "5.55"
		_, err := read(text+strings.Join(cells, ","), "soil_tests.csv")
		want := fmt.Sprintf("soil_tests.csv:3002: column value: a second value of %s in one report, 5.55: line %d has %s: expected one: take one out, or tell them apart by sample, report, depth or method", cells[7], from+1, strings.TrimSuffix(was, ".0"))
		if err == nil || err.Error() != want {
			t.Errorf("got %v\nwant %s", err, want)
		}
	}
}

// What many rows have in common is told of the first and counted for the rest.
func TestManyNotesAreCounted(t *testing.T) {
	rows := "bed,date,material,amount\n"
	for i := range 80 {
		rows += fmt.Sprintf("A,2026-10-28,material %d,2 x 50 lb\n", i)
	}
	res, err := Read([]Source{{"amendments.csv", []byte(rows)}, {"tests.csv", []byte("bed,date,analyte,value\nA,2026-10-28,pH,6\n")}}, Options{Today: today})
	if err != nil || len(res.Notes) != 13 || !slices.Contains(res.Notes, "amendments.csv: column amount: more cells whose words are kept in the note: 75") ||
		!slices.Contains(res.Notes, "more spreadings on the day of a soil test that do not say which came first: 75") {
		t.Errorf("%v %q", err, res.Notes)
	}
}

func TestOwnMeasureInAHeading(t *testing.T) {
	res, err := Read([]Source{{"amendments.csv", []byte("bed,date,material,amount (barrows)\nA,2026-04-20,compost,3\n")}}, Options{Today: today, Measures: barrow()})
	if err != nil || math.Abs(*res.Records.Amendments[0].Amount-18*unit.M3PerCuFt) > 1e-12 {
		t.Errorf("%+v %v", res.Records.Amendments, err)
	}
}

func TestAdviceInWords(t *testing.T) {
	res := one(t, "advice.csv", "bed,date,item,amount,unit,text\nA,2026-11-05,lime,30-40,lb/1000 sq ft,\nA,2026-11-05,K,about 3 lb/acre,,by spring\nA,2026-11-05,N,2,lb/1000 sq ft,\n")
	a := res.Records.Advice
	if a[0].Amount != nil || a[0].Text != "30-40 lb/1000 sq ft" || a[1].Text != "about 3 lb/acre; by spring" || a[1].Unit != "" || *a[2].Amount != 2 || a[2].Unit != "lb/1000 sq ft" {
		t.Errorf("%+v", a)
	}
	if !slices.Equal(res.Notes, []string{"recommendations that are no single figure, kept as text: 2"}) {
		t.Errorf("%q", res.Notes)
	}
}

// TestDecimalCommas: the sheet's writing holds for the numbers of every field.
func TestDecimalCommas(t *testing.T) {
	for _, x := range [][3]string{
		{"soil_tests.csv", "bed,date,cores,depth (cm),analyte,value,unit,method\nA,2026-10-28,12,0-15.5,pH,6.4,,\nA,2026-10-28,12,0-15.5,B,<0.2,ppm,\nA,2026-10-28,12,0-15.5,Ca,\"1,234.5\",ppm,\nA,2026-10-28,12,0-15.5,OM,4.6%,%,\n",
			"bed;date;cores;depth (cm);analyte;value;unit;method\nA;2026-10-28;12;0-15,5;pH;6,4;;\nA;2026-10-28;12;0-15,5;B;<0,2;ppm;\nA;2026-10-28;12;0-15,5;Ca;1.234,5;ppm;\nA;2026-10-28;12;0-15,5;OM;4,6%;%;\n"},
		{"amendments.csv", "bed,date,material,amount,unit,mixed depth (cm)\nA,2026-04-20,a,40.5-50.5,kg,15.5\nA,2026-04-20,b,2 x 22.7 kg,,\nA,2026-04-20,c,about 1.5,t/ha,\n",
			"bed;date;material;amount;unit;mixed depth (cm)\nA;2026-04-20;a;40,5-50,5;kg;15,5\nA;2026-04-20;b;2 x 22,7 kg;;\nA;2026-04-20;c;about 1,5;t/ha;\n"},
		{"beds.csv", "bed,from,area (m2),bulk density (g/cm3),native ph\nA,2020-04-01,9.5x12.25,1.15,5.8\nB,2020-04-01,116.5,1.1,\n",
			"bed;from;area (m2);bulk density (g/cm3);native ph\nA;2020-04-01;9,5x12,25;1,15;5,8\nB;2020-04-01;116,5;1,1;\n"},
		{"weather.csv", "bed,date,irrigation (mm),high (C),low (C),sun (h)\nA,2026-07-14,12.5,31.5,-0.5,8.5\nA,2026-07-15,1.5 h x 2.5 L/min,,,\n",
			"bed;date;irrigation (mm);high (C);low (C);sun (h)\nA;2026-07-14;12,5;31,5;-0,5;8,5\nA;2026-07-15;1,5 h x 2,5 L/min;;;\n"},
		{"forecasts.csv", "bed,analyte,made on,season,timing,value,low,high,level,unit\nA,pH,2026-11-07,2027,spring,6.5,6.2,6.8,0.9,pH\n", "bed;analyte;made on;season;timing;value;low;high;level;unit\nA;pH;2026-11-07;2027;spring;6,5;6,2;6,8;0,9;pH\n"},
		{"materials.csv", "material,component,value,unit\nmeal,N,12.5,%\n", "material;component;value;unit\nmeal;N;12,5;%\n"},
	} {
		point, comma := one(t, x[0], x[1]), one(t, x[0], x[2])
		strip := func(r *dataset.Records) { // notes keep the words as written
			for i := range r.Amendments {
				r.Amendments[i].Note = ""
			}
			for i := range r.Beds {
				r.Beds[i].Note = ""
			}
			for i := range r.Weather {
				r.Weather[i].Note = ""
			}
		}
		strip(&point.Records)
		strip(&comma.Records)
		if !reflect.DeepEqual(point.Records, comma.Records) {
			t.Errorf("%s:\n%+v\n%+v", x[0], point.Records, comma.Records)
		}
	}
}

// Property: what was read is written by Back and read again as the same facts,
// in either unit system.
func TestRowsComeBack(t *testing.T) {
	rnd := rand.New(rand.NewPCG(7, 11))
	pick := func(list ...string) string { return list[rnd.IntN(len(list))] }
	number := func() string {
		return pick("40", "12.5", "0.75", "1/2", "6 1/2", "1250", fmt.Sprint(1+rnd.IntN(90)), fmt.Sprintf("%.2f", 1+100*rnd.Float64()))
	}
	var spread, weather, beds, advice strings.Builder
	spread.WriteString("bed,date,material,amount,unit,placed,mixed depth (in),every days,until,same day,note\n")
	weather.WriteString("bed,date,irrigation (in)\n")
	beds.WriteString("bed,from,area (sq ft),depth (in)\n")
	advice.WriteString("bed,date,item,amount,unit\n")
	for i := range 400 {
		amount := number()
		u := pick("lb", "kg", "lb/1000 sq ft", "t/ha", "gal", "L", "cu yd", "barrows", "in", "oz", "bushel")
		switch rnd.IntN(6) {
		case 0:
			amount = "about " + amount
		case 1:
			lo := 1 + rnd.IntN(50)
			amount = fmt.Sprintf("%d-%d", lo, lo+1+rnd.IntN(30))
		case 2:
			lo := 1 + rnd.IntN(50)
			amount = fmt.Sprintf("about %d-%d %s", lo, lo+1+rnd.IntN(30), u)
		case 3:
			amount = fmt.Sprintf("%d x %d lb", 1+rnd.IntN(9), 10*(1+rnd.IntN(8)))
			u = ""
		}
		run := pick(",", ",", "7,2026-09-01", "every 10 days,2026-09-02")
		fmt.Fprintf(&spread, "bed %d,%s,material %d,%s,%s,%s,%s,%s,%s,%s\n", i, pick("2026-04-20", "2026-05", "spring 2026", "~2026-05-02"), i%7, amount, u,
			pick("", "surface", "worked in"), pick("", "6", "1 ft", "12 cm"), run, pick("", "before test", "after test"), pick("", "wet"))
		fmt.Fprintf(&weather, "bed %d,2026-07-14,%s\n", i, pick("0.75", "25 mm", "200 gal", "90 min at 18 L/min", "1.5"))
		fmt.Fprintf(&beds, "bed %d,2020-04-01,%s,%s\n", i, pick("30x40", "1250", "9x12 m", "circle 20 ft across", "0.25 acre"), pick("0-6", "0-15 cm", "6", "2-8", ""))
		fmt.Fprintf(&advice, "bed %d,2026-11-05,lime,%s,lb/1000 sq ft\n", i, pick("30", "30-40", "12.5"))
	}
	src := []Source{{"amendments.csv", []byte(spread.String())}, {"weather.csv", []byte(weather.String())}, {"beds.csv", []byte(beds.String())}, {"advice.csv", []byte(advice.String())}}
	opt := Options{Grower: "Ann", Today: today, Measures: barrow()}
	first, err := Read(src, opt)
	if err != nil {
		t.Fatal(err)
	}
	for _, units := range []string{"us", "metric"} {
		var again []Source
		for _, name := range []string{"amendments", "weather", "beds", "advice"} {
			page, err := Back(name, &first.Records, nil, units, false)
			if err != nil {
				t.Fatal(err)
			}
			for i, h := range page.Head { // no book stands behind these addresses
				if h == "row" {
					page.Head[i] = "# row"
				}
			}
			again = append(again, Source{name + ".csv", pageText(page)})
		}
		second, err := Read(again, opt)
		if err != nil {
			t.Fatalf("%s:\n%v", units, err)
		}
		if d := firstDifference(&first.Records, &second.Records); d != "" {
			t.Errorf("%s: %s", units, d)
		}
	}
}

// pageText writes a page as CSV.
func pageText(p Page) []byte {
	var b strings.Builder
	line := func(cells []string) {
		for i, c := range cells {
			if i > 0 {
				b.WriteByte(',')
			}
			if strings.ContainsAny(c, ",\"\n") {
				c = `"` + strings.ReplaceAll(c, `"`, `""`) + `"`
			}
			b.WriteString(c)
		}
		b.WriteByte('\n')
	}
	line(p.Head)
	for _, row := range p.Rows {
		cells := make([]string, len(row))
		for i, c := range row {
			switch c := c.(type) {
			case nil:
			case float64:
				cells[i] = trim(c)
			default:
				cells[i] = fmt.Sprint(c)
			}
		}
		line(cells)
	}
	return []byte(b.String())
}

// firstDifference compares two sets of rows but for where they came from.
func firstDifference(a, b *dataset.Records) string {
	va, vb := reflect.ValueOf(a).Elem(), reflect.ValueOf(b).Elem()
	for i := range va.NumField() {
		x, y := va.Field(i), vb.Field(i)
		if x.Len() != y.Len() {
			return fmt.Sprintf("%s: %d and %d rows", va.Type().Field(i).Name, x.Len(), y.Len())
		}
		for k := range x.Len() {
			for f := range x.Index(k).NumField() {
				if name := x.Index(k).Type().Field(f).Name; name != "Source" {
					p, q := reflect.Indirect(x.Index(k).Field(f)), reflect.Indirect(y.Index(k).Field(f))
					if p.IsValid() != q.IsValid() || p.IsValid() && !reflect.DeepEqual(p.Interface(), q.Interface()) {
						return fmt.Sprintf("%s row %d, %s: %v and %v", va.Type().Field(i).Name, k, name, p, q)
					}
				}
			}
		}
	}
	return ""
}
