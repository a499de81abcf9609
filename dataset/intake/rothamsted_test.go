package intake

import (
	"encoding/csv"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"carryover/dataset"
)

// The data: Glendining, Holland, McGrath and Goulding (2023), Rothamsted
// long-term liming experiment soil chemical properties 1962-1996,
// doi:10.23637/rcs10-soil-01, CC BY 4.0.
func readRothamsted(t testing.TB) (Result, []map[string]string) {
	t.Helper()
	dir := os.Getenv("CARRYOVER_OPENDATA")
	if dir == "" {
		dir = filepath.Join("..", "..", "..", "shared", "opendata")
	}
	name := filepath.Join(dir, "rothamsted", "liming_soil.csv")
	if _, err := os.Stat(name); err != nil {
		t.Skipf("open data absent: set CARRYOVER_OPENDATA to the folder that holds rothamsted/liming_soil.csv")
	}
	text, err := os.ReadFile(filepath.Join("..", "..", "fixtures", "maps", "rothamsted-liming.toml"))
	if err != nil {
		t.Fatal(err)
	}
	m, err := ParseMap("rothamsted-liming.toml", text)
	if err != nil {
		t.Fatal(err)
	}
	src, err := ReadFiles([]string{name})
	if err != nil {
		t.Fatal(err)
	}
	res, err := Read(src, Options{Map: m, Today: today})
	if err != nil {
		t.Fatal(err)
	}
	lines, err := csv.NewReader(strings.NewReader(string(src[0].Data))).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var rows []map[string]string
	for _, cells := range lines[1:] {
		row := map[string]string{}
		for i, c := range cells {
			row[lines[0][i]] = strings.TrimSpace(c)
		}
		rows = append(rows, row)
	}
	return res, rows
}

func TestRothamstedCounts(t *testing.T) {
	res, rows := readRothamsted(t)
	if len(rows) != 1248 {
		t.Fatalf("file has %d rows, 1,248 are published", len(rows))
	}
	beds, chalk, tests := map[string]bool{}, map[string]bool{}, map[string]bool{}
	values := 0
	for _, r := range rows {
		beds[r["plot"]] = true
		if r["lime_date"] != "*" {
			chalk[r["plot"]+" "+r["lime_date"]] = true
			if strings.Contains(r["note_id"], "12") { // spread in two halves
				chalk[r["plot"]+" second half"] = true
			}
		}
		half := r["sub-plot"]
		for _, n := range strings.Split(r["note_id"], ",") {
			if strings.TrimSpace(n) == "5" {
				half = ""
			}
		}
		date := r["sample_date"]
		if date == "*" {
			date = r["sample_year"]
		}
		for _, c := range []string{"soil_pH", "olsen_p", "exch_ca", "exch_k", "exch_mg", "exch_na", "exch_mn"} {
			if r[c] != "*" {
				values++
				tests[strings.Join([]string{r["plot"], date, r["soil_depth"], half, c, r[c]}, " ")] = true
			}
		}
	}
	rec := res.Records
	for _, x := range []struct {
		what      string
		got, want int
	}{
		{"beds", len(rec.Beds), len(beds)}, {"plots, as published", len(rec.Beds), 32}, {"materials", len(rec.Materials), 1},
		{"spreadings of chalk", len(rec.Amendments), len(chalk)}, {"soil test values", len(rec.SoilTests), len(tests)},
		{"all other tables", len(res.Rows), 4},
	} {
		if x.got != x.want {
			t.Errorf("%s: got %d, counted in the file %d", x.what, x.got, x.want)
		}
	}
	if values == len(tests) || res.Collapsed == 0 {
		t.Error("no value repeats: the check of whole plots proves nothing")
	}
}

func TestRothamstedSpots(t *testing.T) {
	res, _ := readRothamsted(t)
	find := func(bed, analyte string, date string, depthTo float64, sample string) dataset.SoilTest {
		var hits []dataset.SoilTest
		for _, s := range res.Records.SoilTests {
			if s.Bed == bed && s.Analyte == analyte && s.Date.String() == date && s.DepthTo != nil && *s.DepthTo == depthTo && s.Sample == sample {
				hits = append(hits, s)
			}
		}
		if len(hits) != 1 {
			t.Fatalf("%s %s %s 0-%v sample %q: %d records, want 1", bed, analyte, date, depthTo, sample, len(hits))
		}
		return hits[0]
	}
	// Line 2 of the file: plot 1, baseline, 14 February 1962, 0-18 cm, pH 5.000.
	first := find("plot 1", "pH", "1962-02-14", 18, "")
	if first.Value != 5 || first.Line != 2 || first.DateBasis != dataset.ByDay || first.Method != "water 1:2.5" || first.Timing != "" || *first.DepthFrom != 0 {
		t.Errorf("plot 1 baseline: %+v", first)
	}
	// Plot 1, 1974, first half: date not known, so autumn; K 59.0 mg/kg, pH 4.64.
	k := find("plot 1", "K", "1974-10-15", 23, "1")
	if k.Value != 59 || k.Unit != "mg/kg" || k.Method != "ammonium acetate" || k.DateBasis != dataset.BySeason || k.Timing != "autumn" {
		t.Errorf("plot 1 in 1974: %+v", k)
	}
	if p := find("plot 1", "P", "1974-10-15", 23, "2"); p.Value != 24.6 || p.Method != "Olsen" {
		t.Errorf("plot 1 in 1974, second half: %+v", p)
	}
	for _, s := range res.Records.SoilTests {
		switch {
		case s.Date == dataset.DateOf(1967, 9, 15) && s.DateBasis != dataset.ByMonth:
			t.Fatalf("1967: only the month is known, got %s", s.DateBasis)
		case s.Date.Year() == 1990 && s.Sample != "":
			t.Fatalf("1990: whole plots only, got sample %q", s.Sample)
		}
	}
	// Line 132: plot 3, treatment H, 5 t/ha in two halves.
	var halves, total float64
	for _, a := range res.Records.Amendments {
		if a.Bed == "plot 3" {
			total += *a.Amount
			if d := a.Date.String(); d == "1962-12-04" || d == "1963-04-01" {
				halves += *a.Amount
			}
			if a.Unit != "kg/ha" {
				t.Fatalf("chalk in %s", a.Unit)
			}
		}
	}
	// The data's table of treatments gives 52.5 t CaCO3/ha for H, 1962-1996.
	if halves != 5000 || math.Abs(total-52500) > 1e-6 {
		t.Errorf("plot 3: halves %v kg/ha (want 5000), total %v (want 52500)", halves, total)
	}
}
