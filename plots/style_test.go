package plots

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/recorder"
	"gonum.org/v1/plot/vg/vgsvg"
)

// Record lists what drawing a figure does; for tests.
func Record(f Figure, raster bool) []recorder.Action {
	var c recorder.Canvas
	f.draw(sheet{Canvas: &c, lettercase: letters(), raster: raster})
	return c.Actions
}

func TestTicks(t *testing.T) {
	for _, c := range []struct {
		lo, hi float64
		n      int
		want   string
	}{
		{0, 1, 3, "0 0.5 1.0"},
		{0, 10, 5, "0 2 4 6 8 10"},
		{38, 92, 3, "40 60 80"},
		{-1, 1, 2, "−1 0 1"},
		{0.21, 0.29, 3, "0.22 0.24 0.26 0.28"},
		{95, 205, 5, "100 125 150 175 200"},
		{9500, 21000, 3, "10\u2009000 15\u2009000 20\u2009000"},
	} {
		at, dec := ticks(c.lo, c.hi, c.n)
		var got []string
		for _, v := range at {
			got = append(got, tickLabel(v, dec))
		}
		if s := strings.Join(got, " "); s != c.want {
			t.Errorf("%g to %g, about %d: %s, want %s", c.lo, c.hi, c.n, s, c.want)
		}
	}
}

// Property: two to a few ticks within the limits, all labelled differently.
func FuzzTicks(f *testing.F) {
	f.Add(0.0, 1.0, 3)
	f.Add(-4.0, 1e9, 5)
	f.Add(1e14, 1e14+2e5, 2)
	f.Fuzz(func(t *testing.T, lo, hi float64, n int) {
		if n < 2 || n > 6 || !(math.Abs(lo) <= maxValue && math.Abs(hi) <= maxValue) || !(hi-lo > 1e-9*max(math.Abs(lo), math.Abs(hi))) || hi-lo < 1e-200 {
			return
		}
		at, dec := ticks(lo, hi, n)
		if len(at) < 2 || len(at) > 2*n {
			t.Fatalf("%d ticks from %v to %v, want about %d", len(at), lo, hi, n)
		}
		seen := map[string]bool{}
		for _, v := range at {
			if slack := (hi - lo) * 1e-6; v < lo-slack || v > hi+slack {
				t.Errorf("tick %v lies outside %v to %v", v, lo, hi)
			}
			if l := tickLabel(v, dec); seen[l] {
				t.Errorf("two ticks of %v to %v read %q", lo, hi, l)
			} else {
				seen[l] = true
			}
		}
	})
}

func TestWrapAndShorten(t *testing.T) {
	lc := letters()
	const w = 80
	for _, c := range []struct {
		name string
		max  int
		want string
	}{
		{"", 2, ""},
		{"Barn", 1, "Barn"},
		{" The  old\nplot ", 2, "The old plot"},
		{"The new ground by the wall", 2, "The new ground/by the wall"},
		{"The new ground by the old east wall, upper end", 2, "The new ground/…ll, upper end"},
		{"Unbrokenlongnameofabed", 1, "Unbro…eofabed"},
	} {
		got := lc.shorten(headText, c.name, w, c.max)
		for _, l := range got {
			if lc.width(headText, l) > w {
				t.Errorf("%q is wider than %v", l, w)
			}
		}
		if c.want == "" != (len(got) == 0) || len(got) > c.max {
			t.Errorf("%q gives %q", c.name, got)
		}
		if s := strings.Join(got, "/"); c.want != "" && !strings.Contains(c.want, "…") && s != c.want {
			t.Errorf("%q gives %q, want %q", c.name, s, c.want)
		}
		if strings.Contains(c.want, "…") {
			head, tail, found := strings.Cut(strings.Join(got, " "), "…")
			if !found || !strings.HasPrefix(c.name, head) || !strings.HasSuffix(c.name, tail) || head == "" || tail == "" {
				t.Errorf("%q gives %q, want its head, an ellipsis and its tail", c.name, got)
			}
		}
	}
	for _, l := range lc.wrap(bodyText, "an Unbrokenlongnameofabedthatnobodywouldeverwrite é́́́", 40) {
		if lc.width(bodyText, l) > 40 {
			t.Errorf("line %q is wider than 40", l)
		}
	}
	if got := lc.wrap(bodyText, "abc", 1); strings.Join(got, "") != "abc" {
		t.Errorf("no room gives %q", got)
	}
}

// Every value of a channel comes out of an SVG as it went in.
func TestHuesAreExact(t *testing.T) {
	for v := range hue(256) {
		h := v<<16 | (255-v)<<8 | v
		c := vgsvg.New(10, 10)
		s := sheet{Canvas: c, lettercase: letters()}
		s.polygon(h, vg.Point{}, vg.Point{X: 1}, vg.Point{Y: 1})
		var b strings.Builder
		if _, err := c.WriteTo(&b); err != nil {
			t.Fatal(err)
		}
		if want := fmt.Sprintf("#%06X", uint32(h)); h != 0 && !strings.Contains(b.String(), want) {
			t.Fatalf("%s is written otherwise", want)
		}
	}
	if got := hue(0x0072b2).tint(1); got != paper {
		t.Errorf("full tint is %06x", uint32(got))
	}
	if got := hue(0x0072b2).tint(0); got != blue {
		t.Errorf("no tint is %06x", uint32(got))
	}
}
