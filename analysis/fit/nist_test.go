package fit

import (
	"fmt"
	"os"
	"strings"
	"testing"
)

// The NIST Statistical Reference Datasets (StRD), National Institute of
// Standards and Technology, public domain: data and certified values.

// nistData reads the numbers of a data set: y, then the predictors.
func nistData(t testing.TB, name string) (y []float64, x [][]float64) {
	t.Helper()
	text, err := os.ReadFile(openData(t, "nist/"+name+".dat"))
	if err != nil {
		t.Fatal(err)
	}
	started := false
	for line := range strings.Lines(string(text)) {
		f := strings.Fields(line)
		if len(f) > 1 && f[0] == "Data:" && (f[1] == "y" || f[1] == "x") {
			started = true
			continue
		}
		if !started || len(f) < 2 {
			continue
		}
		y = append(y, number(t, f[0]))
		for j, s := range f[1:] {
			if j == len(x) {
				x = append(x, nil)
			}
			x[j] = append(x[j], number(t, s))
		}
	}
	return y, x
}

func TestNISTLinear(t *testing.T) {
	certified := map[string]map[string][2]float64{}
	for _, row := range readCSV(t, "nist/certified_linear.csv") {
		v := [2]float64{}
		if row["certified_value"] != "Infinity" {
			v[0] = number(t, row["certified_value"])
		}
		if s := row["certified_sd_of_estimate"]; s != "" {
			v[1] = number(t, s)
		}
		if certified[row["dataset"]] == nil {
			certified[row["dataset"]] = map[string][2]float64{}
		}
		certified[row["dataset"]][row["quantity"]] = v
	}
	for _, c := range []struct {
		name   string
		fit    func(y []float64, x [][]float64) (*Linear, error)
		first  int     // the first coefficient's number
		digits float64 // at least, of every certified value
	}{
		{"Norris", func(y []float64, x [][]float64) (*Linear, error) { return Line(x[0], y, nil, 0.9) }, 0, 9},
		{"NoInt1", func(y []float64, x [][]float64) (*Linear, error) { return Origin(x[0], y, nil, 0.9) }, 1, 9},
		{"Pontius", func(y []float64, x [][]float64) (*Linear, error) { return Polynomial(x[0], y, nil, 2, 0.9) }, 0, 9},
		{"Wampler1", func(y []float64, x [][]float64) (*Linear, error) { return Polynomial(x[0], y, nil, 5, 0.9) }, 0, 9},
		{"Wampler4", func(y []float64, x [][]float64) (*Linear, error) { return Polynomial(x[0], y, nil, 5, 0.9) }, 0, 9},
		{"Filip", func(y []float64, x [][]float64) (*Linear, error) { return Polynomial(x[0], y, nil, 10, 0.9) }, 0, 7},
		{"Longley", func(y []float64, x [][]float64) (*Linear, error) { return Columns(x, true, y, nil, 0.9) }, 0, 9},
	} {
		t.Run("NIST/"+c.name, func(t *testing.T) {
			y, x := nistData(t, c.name)
			m := must(c.fit(y, x))(t)
			want, worst := certified[c.name], 16.0
			check := func(what string, got, certain float64) {
				d := digits(got, certain)
				worst = min(worst, d)
				if d < c.digits {
					t.Errorf("%s: got %.15g, certified %.15g: %.1f digits, want %v", what, got, certain, d, c.digits)
				}
			}
			for i, b := range m.Coef {
				key := fmt.Sprintf("B%d", i+c.first)
				if _, ok := want[key]; !ok {
					t.Fatalf("no certified %s", key)
				}
				check(key, b.Value, want[key][0])
				check(key+" SD", b.SE, want[key][1])
			}
			check("residual SD", m.ResidualSD, want["residual_sd"][0])
			check("R2", m.R2, want["r_squared"][0])
			check("RSS", m.RSS, want["residual_ss"][0])
			if f := want["F_statistic"][0]; f != 0 { // infinite for an exact fit
				check("F", m.F, f)
			}
			if m.DF != int(want["residual_df"][0]) {
				t.Errorf("%d degrees of freedom, want %v", m.DF, want["residual_df"][0])
			}
			t.Logf("at least %.1f digits", worst)
		})
	}
}
