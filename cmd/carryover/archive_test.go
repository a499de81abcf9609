package main

import (
	"encoding/csv"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"carryover/analysis"
)

// The data: Glendining, Holland, McGrath and Goulding (2023), Rothamsted
// long-term liming experiment soil chemical properties 1962-1996,
// doi:10.23637/rcs10-soil-01, CC BY 4.0. What is asserted of the program's
// review is worked out here anew from the file, by encoding/csv alone.

// archiveFile returns the path of the data, or skips the test.
func archiveFile(t *testing.T) string {
	t.Helper()
	dir := os.Getenv("CARRYOVER_OPENDATA")
	if dir == "" {
		dir = filepath.Join("..", "..", "..", "shared", "opendata")
	}
	file := filepath.Join(dir, "rothamsted", "liming_soil.csv")
	if _, err := os.Stat(file); err != nil {
		t.Skip("open data absent: set CARRYOVER_OPENDATA to the folder that holds rothamsted/liming_soil.csv")
	}
	return file
}

// archiveRows reads the file: one map from heading to cell for each line.
func archiveRows(t *testing.T, file string) (rows []map[string]string) {
	t.Helper()
	f, err := os.Open(file)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	lines, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	for _, l := range lines[1:] {
		row := map[string]string{}
		for i, c := range l {
			row[lines[0][i]] = strings.TrimSpace(c)
		}
		rows = append(rows, row)
	}
	return rows
}

// noted reports whether a line carries a number of the data's list of notes.
func noted(row map[string]string, id string) bool {
	return slices.Contains(strings.Split(row["note_id"], ","), id)
}

var archiveAnalytes = map[string]string{
	"soil_pH": "pH", "olsen_p": "P", "exch_ca": "Ca", "exch_k": "K", "exch_mg": "Mg", "exch_na": "Na", "exch_mn": "Mn",
}

// sampled is the day of a test as the file has it, or the year if that is all.
func sampled(row map[string]string) string {
	if row["sample_date"] == "*" {
		return row["sample_year"]
	}
	return row["sample_date"]
}

// onDay is how the review's date of a level reads in the file.
func onDay(date, basis string) string {
	if basis == "season" {
		return date[:4]
	}
	return date
}

// mean is a mean in the making.
type mean struct {
	sum float64
	n   int
}

func number(t *testing.T, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func TestArchive(t *testing.T) {
	file := archiveFile(t)
	rows := archiveRows(t, file)
	book := filepath.Join(t.TempDir(), "archive")
	must(t, "new", book, "--units", "metric", "--grower", "Rothamsted")
	imported := must(t, "import", "--book", book, "--map", filepath.Join("..", "..", "fixtures", "maps", "rothamsted-liming.toml"), file)
	var r analysis.Review
	if err := json.Unmarshal([]byte(must(t, "review", "--book", book, "--format", "json")), &r); err != nil {
		t.Fatal(err)
	}

	t.Run("counts", func(t *testing.T) {
		plots, tests, spread := map[string]bool{}, map[string]bool{}, map[string]bool{}
		for _, row := range rows {
			plots[row["plot"]] = true
			half := row["sub-plot"]
			if noted(row, "5") { // the whole plot, on the lines of both halves
				half = ""
			}
			for col := range archiveAnalytes {
				if row[col] != "*" {
					tests[strings.Join([]string{row["plot"], sampled(row), row["soil_depth"], half, col, row[col]}, " ")] = true
				}
			}
			if row["lime_date"] != "*" {
				spread[row["plot"]+" "+row["lime_date"]] = true
				if noted(row, "12") {
					spread[row["plot"]+" 1963-04-01"] = true
				}
			}
		}
		want := fmt.Sprintf("batch 1: %d rows beds, %s rows soil_tests, 1 row materials, %d rows amendments\n", len(plots), commas(float64(len(tests))), len(spread))
		if !strings.HasPrefix(imported, want) {
			t.Errorf("import printed %q, counted in the file %q", imported, want)
		}
		if len(plots) != 32 || len(r.Beds) != 32 {
			t.Errorf("%d plots in the file and %d beds in the review: 32 are published", len(plots), len(r.Beds))
		}
		for i := range r.Beds {
			if want := fmt.Sprintf("plot %d", i+1); r.Beds[i].Bed != want {
				t.Errorf("bed %d of the review is %q, want %q", i, r.Beds[i].Bed, want)
			}
		}
	})

	// Topsoil means by plot, analyte, day and depth.
	top := map[string]*mean{}
	depthOf := map[string]string{} // of the topsoil, by plot and day
	for _, row := range rows {
		if !strings.HasPrefix(row["soil_depth"], "0-") {
			continue
		}
		depthOf["plot "+row["plot"]+" "+sampled(row)] = row["soil_depth"]
		for col, a := range archiveAnalytes {
			if row[col] == "*" {
				continue
			}
			k := strings.Join([]string{"plot " + row["plot"], a, sampled(row), row["soil_depth"]}, "|")
			if top[k] == nil {
				top[k] = &mean{}
			}
			top[k].sum += number(t, row[col])
			top[k].n++
		}
	}

	t.Run("levels are the means of the sub-plots", func(t *testing.T) {
		seen := 0
		for i := range r.Beds {
			for j := range r.Beds[i].Levels {
				l := &r.Beds[i].Levels[j]
				if !l.Top() {
					continue
				}
				k := strings.Join([]string{r.Beds[i].Bed, l.Analyte, onDay(l.Date.String(), l.DateBasis), fmt.Sprintf("%g-%g", *l.DepthFrom, *l.DepthTo)}, "|")
				m := top[k]
				if m == nil {
					t.Errorf("%s: the file has no such test", k)
					continue
				}
				seen++
				if want := m.sum / float64(m.n); math.Abs(l.Estimate.Value-want) > 1e-9*math.Abs(want) {
					t.Errorf("%s: %v, the file's mean is %v", k, l.Estimate.Value, want)
				}
				if l.Estimate.Low >= l.Estimate.Value || l.Estimate.High <= l.Estimate.Value {
					t.Errorf("%s: the range %v to %v does not hold %v", k, l.Estimate.Low, l.Estimate.High, l.Estimate.Value)
				}
			}
		}
		if seen != len(top) {
			t.Errorf("%d levels in the review, the file has %d", seen, len(top))
		}
	})

	t.Run("plot 3 by hand", func(t *testing.T) {
		// Read off the lines of plot 3; 1974 and 1978 are means of two halves:
		// (6.45 + 6.45)/2, (6.39 + 7.00)/2.
		want := map[string]float64{"1962-02-14": 5.1, "1962-11-09": 7.2, "1970-09-28": 7.65, "1971-10-22": 7.67, "1974-10-15": 6.45, "1978-10-15": 6.695, "1994-02-01": 8.035}
		found := 0
		for j := range r.Beds[2].Levels {
			l := &r.Beds[2].Levels[j]
			if v, ok := want[l.Date.String()]; ok && l.Analyte == "pH" && l.Top() {
				found++
				if math.Abs(l.Estimate.Value-v) > 1e-9 {
					t.Errorf("pH of %s: %v, want %v", l.Date, l.Estimate.Value, v)
				}
			}
		}
		if found != len(want) {
			t.Errorf("%d of %d days found", found, len(want))
		}
		text := must(t, "review", "--book", book, "--bed", "plot 3")
		squeezed := regexp.MustCompile(` +`).ReplaceAllString(text, " ") // the columns' widths are their content's
		for _, line := range []string{"PLOT 3", "1962 spring 02-14 5.1", "1962 autumn 11-09 7.2", "1962 no weight; 1962-03-05 chalk 15,000 kg/ha"} {
			if !strings.Contains(squeezed, "\n"+line+"\n") {
				t.Errorf("no line %q in\n%s", line, text)
			}
		}
		if err := narrow(text); err != nil {
			t.Error(err)
		}
	})

	t.Run("changes", func(t *testing.T) {
		kinds := map[string]int{}
		for i := range r.Beds {
			bed := r.Beds[i].Bed
			basis := map[string]string{}
			for j := range r.Beds[i].Levels {
				basis[r.Beds[i].Levels[j].Date.String()] = r.Beds[i].Levels[j].DateBasis
			}
			for _, c := range r.Beds[i].Changes {
				kinds[c.Kind]++
				from, to := c.From.Date.String(), c.To.Date.String()
				k := fmt.Sprintf("%s %s %s, %s to %s", bed, c.Kind, c.Analyte, from, to)
				from, to = onDay(from, basis[from]), onDay(to, basis[to])
				d := depthOf[bed+" "+from]
				if other := depthOf[bed+" "+to]; d == "" || d != other {
					t.Errorf("%s: depth %q against %q: no difference is to be taken", k, d, other)
					continue
				}
				a, b := top[strings.Join([]string{bed, c.Analyte, from, d}, "|")], top[strings.Join([]string{bed, c.Analyte, to, d}, "|")]
				if a == nil || b == nil {
					t.Errorf("%s: the file lacks a test of one of the days", k)
					continue
				}
				want := b.sum/float64(b.n) - a.sum/float64(a.n)
				if c.Kind == analysis.Drawdown {
					want = -want
					// A drawdown needs a test before the crop and one after it, in one year.
					if from[:4] != to[:4] || c.From.Date.Month() > 6 || c.To.Date.Month() < 9 {
						t.Errorf("%s is called a drawdown", k)
					}
				}
				if c.Kind == analysis.Winter && (c.From.Date.Month() < 9 || c.To.Date.Month() > 6 || c.To.Date.Year() != c.From.Date.Year()+1) {
					t.Errorf("%s is called a winter change", k)
				}
				if math.Abs(c.Estimate.Value-want) > 1e-9 {
					t.Errorf("%s: %v, the file says %v", k, c.Estimate.Value, want)
				}
			}
		}
		// Every plot has its baseline in February 1962; who was tested that autumn
		// too has a drawdown.
		want := 0
		for k := range top {
			if f := strings.Split(k, "|"); f[1] == "pH" && strings.HasPrefix(f[2], "1962-1") && top[strings.Join([]string{f[0], f[1], "1962-02-14", f[3]}, "|")] != nil {
				want++
			}
		}
		if kinds[analysis.Drawdown] < want || want == 0 || kinds[analysis.Year] == 0 {
			t.Errorf("changes by kind: %v; the file has %d pairs of 1962 alone", kinds, want)
		}
	})

	t.Run("depth break of 1971", func(t *testing.T) {
		plots := 0
		for i := range r.Beds {
			bed := r.Beds[i].Bed
			var before, after string // days of the last test to 18 cm and the first to 23 cm
			for k := range top {
				f := strings.Split(k, "|")
				if f[0] != bed || f[1] != "pH" || len(f[2]) == 4 {
					continue
				}
				if f[3] == "0-18" && f[2] < "1971" && f[2] > before {
					before = f[2]
				}
				if f[3] == "0-23" && (after == "" || f[2] < after) {
					after = f[2]
				}
			}
			if before == "" || after == "" {
				continue
			}
			plots++
			ok := false
			for _, b := range r.Beds[i].Breaks {
				ok = ok || slices.Contains(b.Analytes, "pH") && b.From.String() == before && b.To.String() == after && strings.HasPrefix(b.Reason, "depth changed from 0-18 cm to 0-23 cm")
			}
			if !ok {
				t.Errorf("%s: no break of depth from %s to %s: %+v", bed, before, after, r.Beds[i].Breaks)
			}
		}
		if plots != 32 {
			t.Errorf("%d plots have tests to both depths, 32 are published", plots)
		}
	})

	t.Run("chalk", func(t *testing.T) {
		total, level := map[string]float64{}, map[string]string{}
		for _, row := range rows {
			bed := "plot " + row["plot"]
			if row["cumulative_lime"] != "*" {
				total[bed] = max(total[bed], number(t, row["cumulative_lime"]))
				level[bed] = row["lime_factor_level"]
			}
		}
		high := 0
		for i := range r.Beds {
			bed, sum := r.Beds[i].Bed, 0.0
			for _, in := range r.Beds[i].Inputs {
				if in.Unit != "kg/ha" || in.Amount == nil || in.Times != 1 {
					t.Errorf("%s: %+v", bed, in)
					continue
				}
				sum += *in.Amount
			}
			if math.Abs(sum-1000*total[bed]) > 1e-6 {
				t.Errorf("%s (%s): %v kg/ha of chalk, the file adds up to %v t/ha", bed, level[bed], sum, total[bed])
			}
			if level[bed] == "H" {
				high++
				if sum != 52500 {
					t.Errorf("%s: %v kg/ha; 52.5 t/ha is published for H", bed, sum)
				}
			}
		}
		if high != 8 {
			t.Errorf("%d plots of treatment H, 8 are published", high)
		}
	})

	t.Run("all beds on one page", func(t *testing.T) {
		text := must(t, "review", "--book", book)
		if err := narrow(text); err != nil {
			t.Error(err)
		}
		for i := range 32 {
			if n := strings.Count(text, fmt.Sprintf("\nplot %-2d  ", i+1)); n != 1 {
				t.Errorf("plot %d stands on %d lines, want 1", i+1, n)
			}
		}
	})

	t.Run("chart", func(t *testing.T) {
		dir := t.TempDir()
		must(t, "chart", "drawdown", "--book", book, "--out", filepath.Join(dir, "drawdown.svg"))
		drawn := ""
		for n := 1; ; n++ {
			text, err := os.ReadFile(filepath.Join(dir, fmt.Sprintf("drawdown-%d.svg", n)))
			if err != nil {
				break
			}
			drawn += string(text)
		}
		for i := range 32 {
			if !strings.Contains(drawn, fmt.Sprintf("plot %d<", i+1)) {
				t.Errorf("plot %d stands on no page", i+1)
			}
		}
	})
}
