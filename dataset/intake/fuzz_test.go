package intake

import (
	"encoding/csv"
	"errors"
	"io"
	"math"
	"slices"
	"strings"
	"testing"
	"unicode"

	"carryover/dataset"
)

// sound fails on what no import may hold.
func sound(t *testing.T, res Result, err error) {
	t.Helper()
	var f *Faults
	if err != nil {
		if !errors.As(err, &f) || len(f.List) == 0 || len(f.List) > maxListed {
			t.Fatalf("%T %v", err, err)
		}
		for _, x := range f.List {
			if x.File == "" || x.Text == "" {
				t.Fatalf("fault says nothing: %+v", x)
			}
		}
		if len(res.Rows) > 0 {
			t.Fatal("rows beside faults")
		}
		return
	}
	for _, s := range res.Records.SoilTests {
		if s.Bed == "" || s.Unit == "" || s.Analyte == "" || s.Line < 1 || s.Value < 0 || math.IsNaN(s.Value) || math.IsInf(s.Value, 0) || s.Date.Year() < firstYear {
			t.Fatalf("%+v", s)
		}
	}
	for _, h := range res.Records.Harvests {
		if !(h.Weight > 0) || h.Weighed == "" || h.Bed == "" {
			t.Fatalf("%+v", h)
		}
	}
	for _, a := range res.Records.Amendments {
		if a.Amount != nil && (a.Unit == "" || !(*a.Amount >= 0)) || (a.AmountLow == nil) != (a.AmountHigh == nil) || a.AmountLow != nil && !(*a.AmountLow <= *a.Amount && *a.Amount <= *a.AmountHigh) {
			t.Fatalf("%+v", a)
		}
		if (a.Every == nil) != (a.Until == nil) || a.Every != nil && (*a.Every < 1 || *a.Until < a.Date) {
			t.Fatalf("%+v", a)
		}
	}
}

func FuzzRead(f *testing.F) {
	f.Add("soil_tests.csv", bigSheet(9))
	for _, tpl := range Templates("us") {
		f.Add(tpl.Name, strings.ReplaceAll(string(tpl.Data), "\n# ", "\n"))
	}
	f.Add("a.csv", "bed,date,analyte,value,unit\n\"A\"\"\n,2026,K,1e300,ppm\n")
	f.Add("weather.csv", "site,date,low (F),sun (h)\n~,~spring 2026,-300,1e-320\n")
	f.Add("a.csv", "bed;date\n;;\n")
	f.Add("amendments.csv", "bed,date,material,amount,unit,same day,row\nA,2026-06-20,a,about 2-3 x 50 lb weekly 20 June to 1 Sept,,after,3:a:b:7\nA,2026-06-20,b,2\u00b11,50 lb bags,,\n")
	f.Add("beds.csv", "bed,from,area (sq ft)\nA,2020-04-01,30' x 40'\n")
	f.Add("weather.csv", "bed,date,irrigation (in)\nA,2026-07-14,2 h x 5 gal/min\n")
	f.Fuzz(func(t *testing.T, name, text string) {
		res, err := Read([]Source{{name + "x", []byte(text)}}, Options{Grower: "Ann", Today: today})
		sound(t, res, err)
	})
}

func FuzzMap(f *testing.F) {
	f.Add(docExample(f), "plot;half;year;sampled;depth;lime_date;lime;remarks;ph_water;p_mg_kg\n7;1;2024;28/10/2024;0-15;*;*;*;6.4;n/a\n")
	f.Add("format = 1\n[[rows]]\ntable = \"tillage\"\nonce = true\n[rows.set]\nbed = 1\ndate = 2026-04-01\ntool = [\"a\", {column = \"b\"}]\n", "b\nx\n")
	f.Add("format = 1\nrows = [{table = \"leaf_tests\", set = {}}]", "a,b\n1,2\n")
	f.Fuzz(func(t *testing.T, text, sheet string) {
		m, err := ParseMap("m.toml", []byte(text))
		if (m == nil) == (err == nil) {
			t.Fatalf("map %v, error %v", m, err)
		}
		if err != nil {
			sound(t, Result{}, err)
			return
		}
		res, err := Read([]Source{{"x.csv", []byte(sheet)}}, Options{Grower: "Ann", Map: m, Today: today})
		sound(t, res, err)
	})
}

func FuzzDate(f *testing.F) {
	for _, s := range []string{"2026-10-28", "Oct 2026", "~fall 2026", "10/28/2026", "28. Oct 2026", "mid-season 2026", "2026", "\u0130 2026"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		for _, layout := range []string{"", "MDY", "DMY"} {
			w, err := dates{layout, false, 2027}.read(text)
			if err != nil {
				continue
			}
			if y := w.day.Year(); y < firstYear || y > 2027 || w.basis == "" {
				t.Fatalf("%q: %s %s", text, w.day, w.basis)
			}
			if w.basis == dataset.ByDay { // a day read once reads the same again
				if again, err := (dates{layout, false, 2027}).read(w.day.String()); err != nil || again != w {
					t.Fatalf("%q: %v, again %v %v", text, w, again, err)
				}
			}
		}
	})
}

// FuzzScan holds the scanner against encoding/csv on text that both call well
// formed.
func FuzzScan(f *testing.F) {
	f.Add("a,b\r\n\"c,\"\"d\ne\",f\n\n#x\n")
	f.Add("a\n,\n\"\",b")
	f.Fuzz(func(t *testing.T, text string) {
		if strings.Contains(strings.ReplaceAll(text, "\r\n", ""), "\r") || strings.ContainsFunc(text, func(r rune) bool { return unicode.IsSpace(r) && !strings.ContainsRune(" \t\r\n", r) }) {
			return // bare carriage returns and odd spaces: the two differ in what they trim
		}
		std := csv.NewReader(strings.NewReader(text))
		std.FieldsPerRecord, std.TrimLeadingSpace, std.Comment = -1, true, '#'
		var want [][]string
		for {
			rec, err := std.Read()
			if err == io.EOF {
				break
			}
			if err != nil {
				return
			}
			for i := range rec {
				rec[i] = strings.TrimSpace(rec[i])
			}
			if slices.ContainsFunc(rec, func(s string) bool { return s != "" }) && !strings.HasPrefix(rec[0], "#") {
				want = append(want, rec)
			}
		}
		s := scanner{text: text, sep: ',', nextLine: 1}
		var got [][]string
		for {
			ok, err := s.row()
			if err != nil {
				t.Fatalf("%q: %+v", text, err)
			}
			if !ok {
				break
			}
			row := slices.Clone(s.cells)
			for i := range row {
				row[i] = strings.ReplaceAll(row[i], "\r\n", "\n")
			}
			got = append(got, row)
		}
		if !slices.EqualFunc(got, want, slices.Equal[[]string]) {
			t.Fatalf("%q:\ngot  %q\nwant %q", text, got, want)
		}
	})
}
