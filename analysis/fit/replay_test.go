package fit

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"
)

func day(t testing.TB, s string) int {
	t.Helper()
	return int(must(time.Parse("2006-01-02", s))(t).Unix() / 86400)
}

// limingBook is the pH of the topsoil of 32 plots, mean of the sub-plots, with
// chalk in t/ha: Glendining, Holland, McGrath and Goulding (2023),
// doi:10.23637/rcs10-soil-01, CC BY 4.0.
func limingBook(t testing.TB) Book {
	b := make(Book, 32)
	type sums struct{ ph, n float64 }
	tests := make([]map[int]sums, len(b))
	inputs := make([]map[int]float64, len(b))
	for i := range b {
		tests[i], inputs[i] = map[int]sums{}, map[int]float64{}
	}
	for _, row := range readCSV(t, "rothamsted/liming_soil.csv") {
		plot := int(number(t, row["plot"])) - 1
		if d := row["lime_date"]; d != "*" {
			inputs[plot][day(t, d)] = number(t, row["annual_lime"])
		}
		if row["soil_pH"] == "*" || row["sample_date"] == "*" || row["soil_depth"] != "0-18" && row["soil_depth"] != "0-23" {
			continue
		}
		d := day(t, row["sample_date"])
		s := tests[plot][d]
		tests[plot][d] = sums{s.ph + number(t, row["soil_pH"]), s.n + 1}
	}
	for i := range b {
		for d, s := range tests[i] {
			b[i].Tests = append(b[i].Tests, Dated{d, s.ph / s.n})
		}
		for d, a := range inputs[i] {
			if a > 0 {
				b[i].Inputs = append(b[i].Inputs, Applied{Day: d, Amount: a})
			}
		}
		slices.SortFunc(b[i].Tests, func(a, b Dated) int { return a.Day - b.Day })
		slices.SortFunc(b[i].Inputs, func(a, b Applied) int { return a.Day - b.Day })
	}
	return b
}

// pairClass sorts the pairs as the table of forecasts does: the next test, 4-8
// years and 8 or more years ahead, without and across an input.
func pairClass(p Pair) []string {
	lime := " no lime"
	if p.Inputs > 0 {
		lime = " across lime"
	}
	var out []string
	if p.Next {
		out = append(out, "next"+lime)
	}
	switch years := float64(p.Target.Day-p.Origin.Day) / 365.25; {
	case years >= 8:
		out = append(out, "8+ y"+lime)
	case years >= 4:
		out = append(out, "4-8 y"+lime)
	}
	return out
}

func TestLimingPairs(t *testing.T) {
	book := limingBook(t)
	// The reference starts where two tests stand before the origin.
	pairs := book.Pairs(2)
	t.Run("liming_pairs/pairs", func(t *testing.T) {
		type key struct{ plot, origin, target int }
		ours := map[key]Pair{}
		for _, p := range pairs {
			ours[key{p.Series, p.Origin.Day, p.Target.Day}] = p
		}
		rows := readCSV(t, "reference/liming_pairs.csv")
		if len(rows) != len(pairs) {
			t.Errorf("%d pairs, the reference has %d", len(pairs), len(rows))
		}
		for _, row := range rows {
			k := key{int(number(t, row["plot"])) - 1, day(t, row["origin"]), day(t, row["target"])}
			p, ok := ours[k]
			if !ok {
				t.Fatalf("no pair %v", row)
			}
			if math.Abs(p.Origin.Value-number(t, row["origin_pH"])) > 1e-3 || math.Abs(p.Target.Value-number(t, row["target_pH"])) > 1e-3 ||
				math.Abs(float64(p.Target.Day-p.Origin.Day)/365.25-number(t, row["years"])) > 1e-3 ||
				p.Next != (row["next"] == "1") || (p.Inputs > 0) != (row["lime_between"] == "1") {
				t.Fatalf("%+v, the reference has %v", p, row)
			}
		}
	})

	same := func(known Book, i, day int) (Forecast, error) {
		v := Persistence(known[i], day)
		return Forecast{v, v - 0.5, v + 0.5}, nil
	}
	made := must(book.Replay(pairs, same))(t)
	// Errors of persistence and standard errors by date, worked independently from
	// the same pairs, to three decimals; those leave out the factor G/(G - 1) for G
	// dates.
	for _, c := range []struct {
		class string
		n     int
		error float64
		se    float64
		dates float64
	}{
		{"next no lime", 416, 0.284, 0.042, 16},
		{"next across lime", 96, 0.394, 0.058, 4},
		{"4-8 y no lime", 648, 0.397, 0.050, 12},
		{"4-8 y across lime", 312, 0.524, 0.100, 6},
		{"8+ y no lime", 800, 0.537, 0, 10},
		{"8+ y across lime", 1536, 0.427, 0, 7},
	} {
		t.Run("liming_pairs/persistence/"+c.class, func(t *testing.T) {
			var of []Foretold
			for _, f := range made {
				if slices.Contains(pairClass(f.Pair), c.class) {
					of = append(of, f)
				}
			}
			s := must(book.ScoreForecasts(of, Persistence, 0.9))(t)
			if s.N != c.n || math.Abs(s.BaselineError.Mean-c.error) > 0.001 || s.Error != s.BaselineError || s.Ratio != 1 {
				t.Errorf("%d pairs, error %.4f, want %d and %.3f", s.N, s.BaselineError.Mean, c.n, c.error)
			}
			if se := s.BaselineError.SE * math.Sqrt((c.dates-1)/c.dates); c.se > 0 && math.Abs(se-c.se) > 0.0005 {
				t.Errorf("SE by date %.4f, want %.3f", se, c.se)
			}
			if s.Worse.Mean != 0 || s.Warn {
				t.Errorf("persistence differs from itself by %v", s.Worse)
			}
		})
	}

	// property: no forecast sees a test after its origin. Every later test is
	// scrambled, and nothing changes.
	t.Run("scrambled", func(t *testing.T) {
		tracked := func(known Book, i, day int) (Forecast, error) { return trackForecast(known[i], day) }
		few := pairs[:0:0]
		for i := 0; i < len(pairs); i += 37 {
			few = append(few, pairs[i])
		}
		before := must(book.Replay(few, tracked))(t)
		rng := rand.New(rand.NewPCG(31, 32))
		for k, f := range before {
			other := make(Book, len(book))
			for i, s := range book {
				other[i] = Series{slices.Clone(s.Tests), s.Inputs}
				for j := range other[i].Tests {
					if other[i].Tests[j].Day > f.Origin.Day {
						other[i].Tests[j].Value = 4 + 4*rng.Float64()
					}
				}
			}
			again := must(other.Replay([]Pair{f.Pair}, tracked))(t)
			if again[0].Forecast != f.Forecast {
				t.Fatalf("forecast %d changed from %v to %v", k, f.Forecast, again[0].Forecast)
			}
		}
	})
}

// trackForecast is a plain forecaster on the Tracker: a level that wanders.
func trackForecast(s Series, day int) (Forecast, error) {
	first := s.Tests[0]
	var readings []Reading
	for _, t := range s.Tests {
		readings = append(readings, Reading{Time: float64(t.Day-first.Day) / 365.25, Value: t.Value, Var: 0.04})
	}
	var tr Tracker
	r := &Relaxation{Rate: []float64{0}, Walk: []float64{0.02}}
	if err := tr.Run(r, 1, Prior{Mean: []float64{first.Value, 0}, Cov: []float64{1, 0, 0, 0}}, readings, []float64{float64(day-first.Day) / 365.25}); err != nil {
		return Forecast{}, err
	}
	m := tr.Level(0, []float64{1})
	m.SD[0] = math.Hypot(m.SD[0], 0.2)
	v, lo, hi := m.Range(0.9)
	return Forecast{v, lo, hi}, nil
}

func TestAsOf(t *testing.T) {
	b := Book{{[]Dated{{1, 5}, {3, 6}, {9, 7}}, []Applied{{2, 1, 0}, {5, 1, 0}, {8, 1, 0}}}, {[]Dated{{4, 1}}, nil}}
	got := b.AsOf(3, 8)
	if len(got[0].Tests) != 2 || len(got[0].Inputs) != 2 || len(got[1].Tests) != 0 {
		t.Errorf("as of day 3, for day 8: %+v", got)
	}
	got[0].Tests[0].Value = 99
	if b[0].Tests[0].Value != 5 {
		t.Error("the copy shares memory with the book")
	}
}

func TestBaselines(t *testing.T) {
	s := Series{[]Dated{{0, 9}, {10, 8}, {20, 5}, {30, 4}, {40, 3}}, []Applied{{10, 1, 0}, {40, 1, 0}, {45, 1, 0}}}
	for name, c := range map[string]struct{ got, want float64 }{
		"last":                 {Persistence(s, 60), 3},
		"mean of two":          {MeanOfLastTwo(s, 60), 3.5},
		"line since the input": {LineSinceInput(s, 60), 1}, // 5, 4, 3 at 20, 30, 40
		"too short for a line": {LineSinceInput(Series{s.Tests[:2], nil}, 60), 8},
		"mean of one":          {MeanOfLastTwo(Series{s.Tests[:1], nil}, 60), 9},
	} {
		if math.Abs(c.got-c.want) > 1e-12 {
			t.Errorf("%s: %v, want %v", name, c.got, c.want)
		}
	}
}

// Scores worked by hand: two days, level 0.9, so that a miss costs 20 times its
// distance.
func TestScoreByHand(t *testing.T) {
	b := Book{{[]Dated{{0, 10}, {1, 12}, {2, 11}}, nil}}
	f := []Foretold{
		{Pair{0, Dated{0, 10}, Dated{1, 12}, true, 0}, Forecast{11, 10, 13}},
		{Pair{0, Dated{1, 12}, Dated{2, 11}, true, 0}, Forecast{13, 11.5, 14}},
	}
	s := must(b.ScoreForecasts(f, Persistence, 0.9))(t)
	near(t, "error", s.Error.Mean, 1.5, 1e-12)            // 1 and 2
	near(t, "baseline", s.BaselineError.Mean, 1.5, 1e-12) // 2 and 1
	near(t, "interval", s.Interval, (3+2.5+20*0.5)/2, 1e-12)
	near(t, "coverage", s.Coverage.Mean, 0.5, 1e-12)
	near(t, "SE", s.Error.SE, 0.5, 1e-12) // deviations -1/2 and 1/2: sqrt(2 x 1/2)/2
	if s.Warn || s.Dates != 2 {
		t.Errorf("%+v", s)
	}
	// The band of persistence: errors 2 and -1; the 5 and 95 % order statistics of
	// two values are the values.
	near(t, "baseline interval", s.BaselineInterval, 3, 1e-12)
}

// property: a warning comes only with 6 days and a range of the difference above
// zero, and counts days, not forecasts.
func TestWarning(t *testing.T) {
	book := func(days, beds int, noise float64) (Book, []Foretold) {
		rng := rand.New(rand.NewPCG(33, 34))
		b := make(Book, beds)
		var f []Foretold
		for i := range b {
			for d := range days + 1 {
				b[i].Tests = append(b[i].Tests, Dated{d, 6})
			}
		}
		for d := range days {
			off := 0.3 + noise*rng.NormFloat64() // all beds of a day err alike
			for i := range b {
				f = append(f, Foretold{Pair{i, b[i].Tests[d], b[i].Tests[d+1], true, 0}, Forecast{6 + off, 5, 7}})
			}
		}
		return b, f
	}
	for _, c := range []struct {
		days, beds int
		noise      float64
		want       bool
	}{{6, 1, 0.05, true}, {5, 40, 0.05, false}, {7, 40, 0.05, true}} {
		b, f := book(c.days, c.beds, c.noise)
		s := must(b.ScoreForecasts(f, Persistence, 0.9))(t)
		if s.Warn != c.want {
			t.Errorf("%d days, %d beds: warn %v (%.2f to %.2f), want %v", c.days, c.beds, s.Warn, s.WorseLow, s.WorseHigh, c.want)
		}
	}
	// Forty beds on one day are one observation: the SE does not fall with them.
	b1, f1 := book(8, 1, 0.2)
	b40, f40 := book(8, 40, 0.2)
	one, forty := must(b1.ScoreForecasts(f1, Persistence, 0.9))(t), must(b40.ScoreForecasts(f40, Persistence, 0.9))(t)
	near(t, "SE of 40 beds", forty.Error.SE, one.Error.SE, 1e-9)
}

func TestReplayRefuses(t *testing.T) {
	b := Book{{[]Dated{{0, 1}, {1, 2}, {1, 3}}, nil}}
	pairs := b.Pairs(0)
	if len(pairs) != 2 {
		t.Fatalf("%d pairs, want 2: tests of one day foretell nothing of each other", len(pairs))
	}
	bad := errors.New("bad")
	if _, err := b.Replay(pairs, func(Book, int, int) (Forecast, error) { return Forecast{}, bad }); !errors.Is(err, bad) {
		t.Errorf("%v", err)
	}
	for _, f := range []Forecast{{math.NaN(), 0, 1}, {2, 3, 4}, {2, 1, math.Inf(1)}} {
		if _, err := b.Replay(pairs, func(Book, int, int) (Forecast, error) { return f, nil }); !errors.Is(err, ErrNotFinite) {
			t.Errorf("%v: %v", f, err)
		}
	}
	one := []Foretold{{pairs[0], Forecast{1, 0, 2}}}
	if _, err := b.ScoreForecasts(one, Persistence, 0.9); !errors.Is(err, ErrTooFew) {
		t.Errorf("one day: %v", err)
	}
}

func BenchmarkReplay(b *testing.B) {
	book := limingBook(b)
	pairs := book.Pairs(2)
	for b.Loop() {
		if _, err := book.Replay(pairs, func(known Book, i, day int) (Forecast, error) {
			v := Persistence(known[i], day)
			return Forecast{v, v, v}, nil
		}); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(len(pairs)), "pairs")
}

func ExampleBook_Replay() {
	book := Book{{Tests: []Dated{{0, 6.4}, {365, 6.2}, {730, 6.3}}}}
	made, err := book.Replay(book.Pairs(0), func(known Book, i, day int) (Forecast, error) {
		v := Persistence(known[i], day)
		return Forecast{v, v - 0.3, v + 0.3}, nil
	})
	if err != nil {
		fmt.Println(err)
	}
	for _, f := range made {
		fmt.Printf("from day %d for day %d: %.1f, came %.1f\n", f.Origin.Day, f.Target.Day, f.Value, f.Target.Value)
	}
	// Output:
	// from day 0 for day 365: 6.4, came 6.2
	// from day 0 for day 730: 6.4, came 6.3
	// from day 365 for day 730: 6.2, came 6.3
}
