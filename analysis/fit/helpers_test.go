package fit

import (
	"encoding/csv"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

// openData returns the path of an open data set, or skips.
func openData(t testing.TB, name string) string {
	t.Helper()
	dir := os.Getenv("CARRYOVER_OPENDATA")
	if dir == "" {
		dir = filepath.Join("..", "..", "..", "shared", "opendata")
	}
	path := filepath.Join(dir, filepath.FromSlash(name))
	if _, err := os.Stat(path); err != nil {
		t.Skipf("open data absent: set CARRYOVER_OPENDATA to the folder that holds %s", name)
	}
	return path
}

// readCSV reads a CSV file of open data: its rows by column name.
func readCSV(t testing.TB, name string) []map[string]string {
	t.Helper()
	f, err := os.Open(openData(t, name))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	lines, err := csv.NewReader(f).ReadAll()
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
	return rows
}

func number(t testing.TB, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// digits returns how many digits of got agree with want, or, where want is 0,
// how many zeros follow the point of got.
func digits(got, want float64) float64 {
	d := math.Abs(got - want)
	if want != 0 {
		d /= math.Abs(want)
	}
	if d == 0 {
		return 16
	}
	return -math.Log10(d)
}

// near complains unless got is within tol of want, relative to want unless
// that is 0.
func near(t testing.TB, what string, got, want, tol float64) {
	t.Helper()
	d := math.Abs(got - want)
	if want != 0 {
		d /= math.Abs(want)
	}
	if !(d <= tol) {
		t.Errorf("%s: got %.12g, want %.12g within %.0e", what, got, want, tol)
	}
}

// must returns v or stops the test.
func must[T any](v T, err error) func(testing.TB) T {
	return func(t testing.TB) T {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
}
