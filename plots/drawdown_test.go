package plots_test

import (
	"bytes"
	"encoding/xml"
	"errors"
	"flag"
	"fmt"
	"image"
	"image/png"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/font/liberation"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/recorder"

	"carryover/plots"
)

var update = flag.Bool("update", false, "renew the golden pictures in testdata")

var none = math.NaN()

// made is a chart of invented data of any extent; with twice, spring and
// autumn tests, else autumn alone.
func made(beds, nutrients, years int, twice bool) plots.Drawdown {
	d := plots.Drawdown{Title: "Levels by season", Subtitle: "Invented, to test the layout of a chart of any extent.", Caption: "Invented data."}
	for n := range nutrients {
		d.Nutrients = append(d.Nutrients, plots.Nutrient{Symbol: []string{"P", "K", "Ca", "Mg", "S", "B"}[n%6], Unit: "mg/kg", Method: "Mehlich-3"})
	}
	for b := range beds {
		d.Beds = append(d.Beds, fmt.Sprintf("Bed %d", b+1))
		for n := range nutrients {
			p := plots.Panel{Bed: b, Nutrient: n}
			for y := range years {
				v := 100 * math.Pow(3, float64(n-2)) * (1 + 0.2*math.Sin(float64(3*b+5*n+2*y)))
				x := float64(2025 - years + y)
				if twice {
					p.Points = append(p.Points, plots.Point{X: x + 0.3, Value: v * 1.2, Low: v * 1.1, High: v * 1.3, Timing: plots.Spring})
					p.Links = append(p.Links, plots.Link{From: len(p.Points) - 1, To: len(p.Points)})
				}
				p.Points = append(p.Points, plots.Point{X: x + 0.8, Value: v, Low: v * 0.9, High: v * 1.1, Timing: plots.Autumn})
				if k := len(p.Points); k > 1 && !twice {
					p.Links = append(p.Links, plots.Link{From: k - 2, To: k - 1, Kind: plots.YearLink})
				}
				p.Inputs = append(p.Inputs, plots.Input{X: x + 0.35, Label: "compost"})
			}
			d.Panels = append(d.Panels, p)
		}
	}
	return d
}

// single is a chart of one panel.
func single(points ...plots.Point) plots.Drawdown {
	return plots.Drawdown{Title: "One panel", Beds: []string{"Barn"}, Nutrients: []plots.Nutrient{{Symbol: "K", Unit: "ppm"}}, Panels: []plots.Panel{{Points: points}}}
}

func at(x, value float64) plots.Point {
	return plots.Point{X: x, Value: value, Low: none, High: none, Timing: plots.Spring}
}

func figures(t testing.TB, d plots.Drawdown, o plots.Options) []plots.Figure {
	t.Helper()
	f, err := d.Figures(o)
	if err != nil {
		t.Fatal(err)
	}
	return f
}

// label is one piece of text on a page and the box it fills.
type label struct {
	words      string
	x0, x1, y0 vg.Length
	y1         vg.Length
}

// labels lists the text of a figure. The box of a line is as high as capitals
// with an accent and as deep as a descender.
func labels(f plots.Figure) (out []label) {
	faces := font.NewCache(liberation.Collection())
	for _, a := range plots.Record(f, false) {
		s, ok := a.(*recorder.FillString)
		if !ok {
			continue
		}
		face := faces.Lookup(s.Font, s.Size)
		w := face.Width(s.String)
		out = append(out, label{s.String, s.Point.X, s.Point.X + w, s.Point.Y - 0.21*s.Size, s.Point.Y + 0.9*s.Size})
	}
	return out
}

func words(f plots.Figure) (out []string) {
	for _, l := range labels(f) {
		out = append(out, l.words)
	}
	return out
}

func TestNoTextOverlapsOrIsCut(t *testing.T) {
	long := made(5, 4, 8, true)
	long.Beds = []string{"The new ground by the old east wall, upper terrace", "The new ground by the old east wall, lower terrace",
		"Unbrokenlongnameofabedthatnobodywouldeverwrite", "Ångström’s bed & <garden>", "5"}
	long.Nutrients[1] = plots.Nutrient{Symbol: "NO₃-N and NH₄-N", Unit: "milligrams per kilogram", Method: "potassium chloride extract, cadmium reduction, flow injection"}
	long.Title = strings.Repeat("A title that goes on and on ", 8)
	long.Caption = strings.Repeat("A caption that explains a great deal more than it should. ", 12)
	round := made(4, 1, 31, false) // 1995 to 2025
	for _, p := range round.Panels {
		for i := range p.Points {
			p.Points[i].X++
		}
		for i := range p.Inputs {
			p.Inputs[i].X++
		}
	}
	uneven := made(9, 3, 10, true)
	uneven.Panels = slices.DeleteFunc(uneven.Panels, func(p plots.Panel) bool { return p.Bed < 5 && p.Nutrient == 1 || p.Bed == 7 })
	for _, c := range []struct {
		name    string
		d       plots.Drawdown
		o       plots.Options
		atPages int
	}{
		{"one point", single(at(2024.3, 50)), plots.Options{}, 1},
		{"one bed, one nutrient", made(1, 1, 8, true), plots.Options{}, 1},
		{"one season", made(2, 2, 1, true), plots.Options{}, 1},
		{"four beds, eight nutrients", made(4, 8, 8, true), plots.Options{}, 1},
		{"nine beds, eleven nutrients", made(9, 11, 3, true), plots.Options{}, 4},
		{"33 years, 32 beds", made(32, 5, 33, false), plots.Options{}, 8},
		{"round years at both ends", round, plots.Options{}, 1},
		{"150 years", made(3, 2, 150, false), plots.Options{}, 2},
		{"long names", long, plots.Options{}, 1},
		{"holes", uneven, plots.Options{}, 2},
		{"small page", made(4, 8, 8, true), plots.Options{Width: 300, Height: 420}, 4},
		{"wide page", made(12, 2, 8, true), plots.Options{Width: 1600, BedsPerPage: 12}, 1},
		{"counts chosen", made(7, 5, 8, true), plots.Options{BedsPerPage: 3, NutrientsPerPage: 2}, 9},
	} {
		t.Run(c.name, func(t *testing.T) {
			pages := figures(t, c.d, c.o)
			if len(pages) != c.atPages {
				t.Errorf("%d pages, want %d", len(pages), c.atPages)
			}
			for i, f := range pages {
				if c.o.Width > 0 && f.Width != c.o.Width || c.o.Height > 0 && f.Height != c.o.Height {
					t.Errorf("page %d is %g x %g, want what was asked: %g x %g", i+1, f.Width, f.Height, c.o.Width, c.o.Height)
				}
				all := labels(f)
				for j, a := range all {
					if a.x0 < 0 || a.y0 < 0 || a.x1 > vg.Length(f.Width) || a.y1 > vg.Length(f.Height) {
						t.Errorf("page %d: %q is cut at the edge", i+1, a.words)
					}
					for _, b := range all[:j] {
						if a.x0 < b.x1+2 && b.x0 < a.x1+2 && a.y0 < b.y1 && b.y0 < a.y1 {
							t.Errorf("page %d: %q and %q overlap or touch", i+1, a.words, b.words)
						}
					}
				}
			}
		})
	}
}

func svg(t testing.TB, f plots.Figure) string {
	t.Helper()
	var b bytes.Buffer
	if err := f.WriteSVG(&b); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// One marker a test, one more in the legend; hollow ones carry the colour in
// their outline.
func TestEveryTestHasItsMarker(t *testing.T) {
	doc := svg(t, figures(t, invented(), plots.Options{})[0])
	for _, c := range []struct {
		what, style string
		want        int
	}{
		{"spring, filled", `style="fill:#0072B2"`, 6 + 1 - 1}, // 6 tests, 1 in doubt, 1 key
		{"spring, hollow", `style="fill:none;stroke:#0072B2;stroke-width:0.9"`, 1},
		{"autumn, filled", `style="fill:#D55E00"`, 3 + 3 + 1 + 1}, // the limit is hollow, 1 key
		{"autumn, hollow and arrow", `style="fill:none;stroke:#D55E00;stroke-width:0.9"`, 2},
		{"mid-season", `style="fill:#009E73"`, 1 + 1},
		{"input", `style="fill:#CC79A7"`, 2 + 1},
		{"season lines, one path a panel", `style="fill:none;stroke:#222222;stroke-width:1.1"`, 2 + 1},
		{"winter lines", `stroke-width:0.9;stroke-dasharray:1.2,2"`, 2 + 1},
		{"year lines", `stroke-width:0.7;stroke-dasharray:2.4,1.2"`, 1 + 1},
	} {
		if got := strings.Count(doc, c.style); got != c.want {
			t.Errorf("%s: %d, want %d", c.what, got, c.want)
		}
	}
}

// centres lists the centres of filled circles: spring tests without doubt.
// The first is that of the legend.
func centres(f plots.Figure) (out []vg.Point) {
	for _, a := range plots.Record(f, false) {
		if fill, ok := a.(*recorder.Fill); ok {
			for _, c := range fill.Path {
				if c.Type == vg.ArcComp {
					out = append(out, c.Pos)
				}
			}
		}
	}
	return out
}

func TestOneScaleForEachNutrient(t *testing.T) {
	d := single(at(2020.3, 10), at(2021.3, 40))
	d.Beds = append(d.Beds, "Long bed")
	d.Nutrients = append(d.Nutrients, plots.Nutrient{Symbol: "P"})
	d.Panels = append(d.Panels,
		plots.Panel{Bed: 1, Points: []plots.Point{at(2020.3, 40), at(2021.3, 25)}},
		plots.Panel{Bed: 0, Nutrient: 1, Points: []plots.Point{at(2020.3, 1000)}},
		plots.Panel{Bed: 1, Nutrient: 1, Points: []plots.Point{at(2020.3, 4000)}})
	c := centres(figures(t, d, plots.Options{})[0])[1:]
	if len(c) != 6 {
		t.Fatalf("%d markers, want 6", len(c))
	}
	near := func(what string, got, want vg.Length) {
		t.Helper()
		if math.Abs(float64(got-want)) > 1e-9 {
			t.Errorf("%s: %v, want %v", what, got, want)
		}
	}
	near("equal levels stand at one height", c[1].Y, c[2].Y)
	near("a level half-way stands half-way", c[3].Y, (c[0].Y+c[1].Y)/2)
	near("equal dates are as far apart in each bed", c[3].X-c[2].X, c[1].X-c[0].X)
	near("1000 and 4000 span what 10 and 40 span", c[5].Y-c[4].Y, c[1].Y-c[0].Y)
}

func TestPagesShareScalesAndNameEachBedOnce(t *testing.T) {
	d := made(32, 5, 33, false)
	d.Panels = slices.DeleteFunc(d.Panels, func(p plots.Panel) bool { return p.Bed >= 8 && p.Bed < 12 && p.Nutrient == 4 })
	pages := figures(t, d, plots.Options{})
	seen := map[string]int{}
	var scale string
	for i, f := range pages {
		var ticks []string
		for _, w := range words(f) {
			if strings.HasPrefix(w, "Bed ") {
				seen[w]++
			}
			if strings.Trim(w, "0123456789.") == "" && len(w) < 4 {
				ticks = append(ticks, w)
			}
		}
		notes := strings.Join(words(f), "\n")
		if !strings.Contains(notes, fmt.Sprintf("Page %d of %d", i+1, len(pages))) {
			t.Errorf("page %d does not say so", i+1)
		}
		if missing := strings.Contains(notes, "No test of S in these beds."); missing != (i == 2) {
			t.Errorf("page %d: a row left out: %v", i+1, missing)
		}
		if i == 2 {
			continue // one row fewer
		}
		if scale == "" {
			scale = strings.Join(ticks, " ")
		}
		if got := strings.Join(ticks, " "); got != scale {
			t.Errorf("page %d has the ticks %s, page 1 %s", i+1, got, scale)
		}
	}
	for _, b := range d.Beds {
		if seen[b] != 1 {
			t.Errorf("%s heads %d columns, want 1", b, seen[b])
		}
	}
}

func TestYearLabels(t *testing.T) {
	for _, c := range []struct {
		years int
		want  string
	}{
		{1, "2024"},
		{3, "2022 2023 2024"},
		{33, "1995 2000 2005 2010 2015 2020"},
		{150, "1880 1900 1920 1940 1960 1980 2000 2020"},
	} {
		d := made(4, 1, c.years, false)
		var got []string
		for _, l := range labels(figures(t, d, plots.Options{BedsPerPage: 4})[0]) {
			if len(l.words) == 4 && (l.words[:2] == "19" || l.words[:2] == "20" || l.words[:2] == "18") {
				got = append(got, l.words)
			}
		}
		if s := strings.Join(got, " "); s != strings.TrimSpace(strings.Repeat(c.want+" ", 4)) {
			t.Errorf("%d years: labels %s, want 4 times %s", c.years, s, c.want)
		}
	}
}

func TestLegendHoldsWhatOccurs(t *testing.T) {
	keys := func(d plots.Drawdown) []string {
		all := words(figures(t, d, plots.Options{})[0])
		return all[1:slices.Index(all, "Barn")] // after the title, before the headings
	}
	if got := strings.Join(keys(single(at(2020.3, 4))), ", "); got != "Spring test" {
		t.Errorf("one spring test has the legend %q", got)
	}
	p := at(2020.3, 4)
	p.Timing, p.Above, p.Low, p.High = plots.UnknownTiming, true, 3, 5
	if got, want := strings.Join(keys(single(p)), ", "), "Test, time of season not given, 90 % range, Above the value shown"; got != want {
		t.Errorf("legend %q, want %q", got, want)
	}
}

func TestWhatHasNoTest(t *testing.T) {
	d := made(4, 3, 5, true)
	d.Panels = slices.DeleteFunc(d.Panels, func(p plots.Panel) bool { return p.Bed == 1 || p.Nutrient == 2 || p.Bed == 3 && p.Nutrient == 0 })
	f := figures(t, d, plots.Options{})[0]
	all := words(f)
	count := func(s string) (n int) {
		for _, w := range all {
			if w == s {
				n++
			}
		}
		return n
	}
	if n := count("no test"); n != 1 {
		t.Errorf("%d panels read \"no test\", want 1", n)
	}
	if count("Bed 2") != 0 || count("Ca") != 0 {
		t.Error("a bed or nutrient without a test takes room")
	}
	if !strings.Contains(strings.Join(all, " "), "Without a test: Bed 2, Ca.") {
		t.Error("what is left out is not named")
	}
	for _, none := range []plots.Drawdown{{}, {Beds: d.Beds, Nutrients: d.Nutrients}, single()} {
		if _, err := none.Figures(plots.Options{}); !errors.Is(err, plots.ErrNoData) {
			t.Errorf("nothing to draw gives %v", err)
		}
	}
}

// Extremes keep their markers inside the page and two ticks at least.
func TestExtremeLevels(t *testing.T) {
	for _, c := range []struct {
		name   string
		values []float64
		ticks  string
	}{
		{"zero", []float64{0}, "1.0 0.8 0.6 0.4 0.2 0"},
		{"equal", []float64{250, 250}, "270 260 250 240 230"},
		{"negative", []float64{-4, 4}, "4 2 0 −2 −4"},
		{"huge", []float64{0, 9e14}, "8e14 6e14 4e14 2e14 0"},
		{"tiny", []float64{0, 9e-9}, "8e−9 6e−9 4e−9 2e−9 0"},
		{"thousands", []float64{10000, 1250000}, "1\u2009250\u2009000 1\u2009000\u2009000 750\u2009000 500\u2009000 250\u2009000 0"},
		{"far from zero", []float64{20000000, 20000400}, "20\u2009000\u2009400 20\u2009000\u2009300 20\u2009000\u2009200 20\u2009000\u2009100 2e7"},
	} {
		t.Run(c.name, func(t *testing.T) {
			var pts []plots.Point
			for i, v := range c.values {
				pts = append(pts, at(2020.1+float64(i)/2, v))
			}
			d := single(pts...)
			d.Nutrients[0] = plots.Nutrient{Symbol: "K"}
			f := figures(t, d, plots.Options{})[0]
			var ticks []string
			for _, w := range words(f) {
				if strings.IndexAny(w, "−0123456789") == 0 && w != "2020" {
					ticks = append(ticks, w)
				}
			}
			slices.Reverse(ticks)
			if got := strings.Join(ticks, " "); got != c.ticks {
				t.Errorf("ticks %q, want %q", got, c.ticks)
			}
			for _, p := range centres(f) {
				if !(p.Y > 0 && p.Y < vg.Length(f.Height)) {
					t.Errorf("a marker lies at %v on a page of %v", p.Y, f.Height)
				}
			}
		})
	}
}

// Labels of inputs stand beside their marks, under all markers, and only if
// all of a panel have room.
func TestInputLabels(t *testing.T) {
	d := single(at(2024.1, 1), at(2024.2, 90))
	d.Panels[0].Inputs = []plots.Input{{X: 2024.6, Label: "lime"}, {X: 2024.15, Label: "compost"}, {X: 2024.152, Label: "feather meal"}, {X: 2024.153, Label: "compost"}}
	f := figures(t, d, plots.Options{})[0]
	lowest := vg.Length(f.Height)
	for _, p := range centres(f)[1:] {
		lowest = min(lowest, p.Y)
	}
	var got []string
	for _, l := range labels(f) {
		if l.words == "lime" || strings.HasPrefix(l.words, "compost") {
			got = append(got, l.words)
			if top := l.y1 - 0.17*7.5; top > lowest-2.6 { // no accents: capitals are 0.73 high
				t.Errorf("%q reaches %v, a marker lies at %v", l.words, top, lowest)
			}
		}
	}
	if s := strings.Join(got, "; "); s != "compost, feather meal; lime" {
		t.Errorf("labels %q", s)
	}
	d.Panels[0].Inputs = append(d.Panels[0].Inputs, plots.Input{X: 2024.2, Label: "sulfate of potash"})
	for _, w := range words(figures(t, d, plots.Options{})[0]) {
		if w == "lime" {
			t.Error("some labels are written though others have no room")
		}
	}
}

func TestBadInput(t *testing.T) {
	change := func(f func(*plots.Drawdown)) plots.Drawdown {
		d := invented()
		f(&d)
		return d
	}
	point := func(f func(*plots.Point)) plots.Drawdown {
		return change(func(d *plots.Drawdown) { f(&d.Panels[1].Points[2]) })
	}
	for _, c := range []struct {
		want string
		d    plots.Drawdown
		o    plots.Options
	}{
		{"Long bed, K: point 2: value NaN", point(func(p *plots.Point) { p.Value = none }), plots.Options{}},
		{"Long bed, K: point 2: value +Inf", point(func(p *plots.Point) { p.Value = math.Inf(1) }), plots.Options{}},
		{"Long bed, K: point 2: value -1e+16", point(func(p *plots.Point) { p.Value = -1e16 }), plots.Options{}},
		{"Long bed, K: point 2: date NaN", point(func(p *plots.Point) { p.X = none }), plots.Options{}},
		{"Long bed, K: point 2: date 20240", point(func(p *plots.Point) { p.X = 20240 }), plots.Options{}},
		{"Long bed, K: point 2: range 5 to 4", point(func(p *plots.Point) { p.Low, p.High = 5, 4 }), plots.Options{}},
		{"Long bed, K: point 2: range NaN to 4", point(func(p *plots.Point) { p.Low, p.High = none, 4 }), plots.Options{}},
		{"Long bed, K: point 2: range 4 to +Inf", point(func(p *plots.Point) { p.Low, p.High = 4, math.Inf(1) }), plots.Options{}},
		{"Long bed, K: point 2: timing 4", point(func(p *plots.Point) { p.Timing = 4 }), plots.Options{}},
		{"Long bed, K: link 0 joins points 0 and 3, want 0 to 2", change(func(d *plots.Drawdown) { d.Panels[1].Links[0].To = 3 }), plots.Options{}},
		{"Long bed, K: link 0: kind -1", change(func(d *plots.Drawdown) { d.Panels[1].Links[0].Kind = -1 }), plots.Options{}},
		{"Barn, K: input 1: date +Inf", change(func(d *plots.Drawdown) { d.Panels[0].Inputs[1].X = math.Inf(1) }), plots.Options{}},
		{"panel 1: bed 2, nutrient 0: want 0 to 1", change(func(d *plots.Drawdown) { d.Panels[1].Bed = 2 }), plots.Options{}},
		{"panel 2: bed 0, nutrient -1", change(func(d *plots.Drawdown) { d.Panels[2].Nutrient = -1 }), plots.Options{}},
		{"Barn, K: two panels", change(func(d *plots.Drawdown) { d.Panels[1].Bed = 0 }), plots.Options{}},
		{"page width 120 pt: 1 bed need", invented(), plots.Options{Width: 120}},
		{"page height 150 pt: 1 nutrient need", invented(), plots.Options{Height: 150}},
		{"want 0 to 14400 pt", invented(), plots.Options{Width: math.Inf(1)}},
		{"want 0 to 14400 pt", invented(), plots.Options{Height: none}},
		{"no negative counts", invented(), plots.Options{BedsPerPage: -1}},
	} {
		_, err := c.d.Figures(c.o)
		if !errors.Is(err, plots.ErrInput) || !strings.Contains(fmt.Sprint(err), c.want) {
			t.Errorf("want %q in the error, got %v", c.want, err)
		}
	}
	f := figures(t, invented(), plots.Options{})[0]
	for _, dpi := range []int{-1, 5, 100000} {
		if err := f.WritePNG(io.Discard, dpi); !errors.Is(err, plots.ErrInput) {
			t.Errorf("%d dpi gives %v", dpi, err)
		}
	}
}

// The least width and height that an error names are enough.
func TestNamedLeastIsEnough(t *testing.T) {
	var need float64
	_, err := invented().Figures(plots.Options{Width: 10, BedsPerPage: 2})
	if _, e := fmt.Sscanf(fmt.Sprint(err), "drawdown chart: cannot draw: page width 10 pt: 2 beds need at least %f pt", &need); e != nil {
		t.Fatal(err)
	}
	figures(t, invented(), plots.Options{Width: need, BedsPerPage: 2})
	_, err = invented().Figures(plots.Options{Height: 100, NutrientsPerPage: 2})
	if _, e := fmt.Sscanf(fmt.Sprint(err), "drawdown chart: cannot draw: page height 100 pt: 2 nutrients need at least %f pt", &need); e != nil {
		t.Fatal(err)
	}
	figures(t, invented(), plots.Options{Height: need, NutrientsPerPage: 2})
}

// A document is well-formed whatever the names hold, and says what it shows.
func TestSVGDocument(t *testing.T) {
	d := invented()
	d.Title = "Beds <&> \"quoted\"\x00 \xff"
	d.Beds = []string{"a<b>&'c'", "北の畑 \x1b[31m"}
	doc := svg(t, figures(t, d, plots.Options{})[0])
	var title, desc, text []string
	in := ""
	dec := xml.NewDecoder(strings.NewReader(doc))
	for {
		tok, err := dec.Token()
		if err == io.EOF {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
		switch tok := tok.(type) {
		case xml.StartElement:
			in = tok.Name.Local
			for _, a := range tok.Attr {
				if in == "svg" && a.Name.Local == "font-family" && a.Value != "'Liberation Sans', Arial, Helvetica, sans-serif" {
					t.Errorf("font-family %q", a.Value)
				}
			}
		case xml.EndElement:
			in = ""
		case xml.CharData:
			switch in {
			case "title":
				title = append(title, string(tok))
			case "desc":
				desc = append(desc, string(tok))
			case "text":
				text = append(text, string(tok))
			}
		}
	}
	if len(title) != 1 || title[0] != "Beds <&> \"quoted\" \ufffd" {
		t.Errorf("title %q", title)
	}
	if len(desc) != 1 || !strings.Contains(desc[0], "a<b>&'c': 6 tests from 185 to 310 ppm") {
		t.Errorf("desc %q", desc)
	}
	if !slices.Contains(text, "a<b>&'c'") || !slices.Contains(text, "北の畑 [31m") {
		t.Errorf("headings missing from %q", text)
	}
	if strings.Contains(doc, "font-variant") || strings.Count(doc, "font-family") != 1 {
		t.Error("fonts are named more than once")
	}
}

// An image cannot show a script its face lacks; the number of the bed stands in.
func TestNamesAnImageCannotShow(t *testing.T) {
	d := made(4, 1, 3, true)
	d.Beds = []string{"北の畑", "שדה", "Поле", "Ωμέγα"}
	f := figures(t, d, plots.Options{})[0]
	var heads []string
	for _, a := range plots.Record(f, true) {
		if s, ok := a.(*recorder.FillString); ok && s.Size == 9.5 { // only headings are of this size
			heads = append(heads, s.String) // in pieces where letters are kerned
		}
	}
	if got, want := strings.Join(heads, ""), "bed 1 (see SVG)bed 2 (see SVG)ПолеΩμέγα"; got != want {
		t.Errorf("image headings %q, want %q", got, want)
	}
	for _, b := range d.Beds {
		if !slices.Contains(words(f), b) {
			t.Errorf("%s is missing from the SVG", b)
		}
	}
}

// Property: the pieces of a line in an image stand where the whole line in an
// SVG has the same letters.
func TestKernedPiecesLineUp(t *testing.T) {
	d := single(at(2020.3, 4))
	d.Title, d.Beds[0] = "A Year of Yew, AV and To: A gap", "Yew bed"
	f := figures(t, d, plots.Options{})[0]
	whole := labels(f)[0]
	face := font.NewCache(liberation.Collection())
	done, pieces := "", 0
	for _, a := range plots.Record(f, true) {
		s, ok := a.(*recorder.FillString)
		if !ok || done == whole.words {
			continue
		}
		bold := face.Lookup(s.Font, s.Size)
		pieces++
		done += s.String
		if want := whole.x0 + bold.Width(done) - bold.Width(s.String); math.Abs(float64(s.Point.X-want)) > 1e-6 {
			t.Errorf("%q stands at %v, want %v", s.String, s.Point.X, want)
		}
	}
	if done != whole.words || pieces < 5 {
		t.Errorf("%d pieces make %q, want %q in several", pieces, done, whole.words)
	}
}

func TestSave(t *testing.T) {
	dir := t.TempDir()
	read := func(name string) []byte {
		t.Helper()
		b, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		return b
	}
	list := func() string {
		var names []string
		entries, err := os.ReadDir(dir)
		if err != nil {
			t.Fatal(err)
		}
		for _, e := range entries {
			names = append(names, e.Name())
		}
		return strings.Join(names, " ")
	}
	for _, ext := range []string{".svg", ".png", ".PNG"} {
		name := filepath.Join(dir, "levels"+ext)
		files, err := plots.Save(name, invented(), plots.Options{})
		if err != nil || len(files) != 1 || files[0] != name {
			t.Fatalf("%v, %v", files, err)
		}
		first := read(name)
		if _, err := plots.Save(name, invented(), plots.Options{}); err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(first, read(name)) {
			t.Errorf("%s: two runs differ", ext)
		}
		os.Remove(name)
	}
	files, err := plots.Save(filepath.Join(dir, "wide.svg"), made(12, 2, 8, true), plots.Options{BedsPerPage: 5})
	if got := list(); err != nil || len(files) != 3 || got != "wide-1.svg wide-2.svg wide-3.svg" {
		t.Fatalf("%v: files %q, %v", err, got, files)
	}
	before := read(files[0])
	os.Remove(files[2])
	if err := os.Mkdir(files[2], 0o755); err != nil {
		t.Fatal(err)
	}
	if _, err := plots.Save(filepath.Join(dir, "wide.svg"), made(12, 1, 8, true), plots.Options{BedsPerPage: 5}); err == nil || !strings.Contains(err.Error(), "wide-3.svg") {
		t.Errorf("a folder in the way gives %v", err)
	}
	if got := list(); got != "wide-1.svg wide-2.svg wide-3.svg" || !bytes.Equal(before, read(files[0])) {
		t.Errorf("a failed run left %s, or changed page 1", got)
	}
	for _, c := range []struct{ name, want string }{
		{"levels.pdf", `extension ".pdf", want .svg or .png`},
		{"levels", `extension "", want .svg or .png`},
		{filepath.Join("absent", "levels.svg"), "absent"},
	} {
		if _, err := plots.Save(filepath.Join(dir, c.name), invented(), plots.Options{}); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s gives %v", c.name, err)
		}
	}
	if _, err := plots.Save(filepath.Join(dir, "none.svg"), plots.Drawdown{}, plots.Options{}); !errors.Is(err, plots.ErrNoData) {
		t.Errorf("nothing to draw gives %v", err)
	}
	if got := list(); got != "wide-1.svg wide-2.svg wide-3.svg" {
		t.Errorf("failed runs left %s", got)
	}
}

// The picture of the example. Edges may differ a little where processors round
// differently; more than one dot in 200 may not.
func TestGolden(t *testing.T) {
	const name = "testdata/drawdown.png"
	var b bytes.Buffer
	if err := figures(t, invented(), plots.Options{})[0].WritePNG(&b, 0); err != nil {
		t.Fatal(err)
	}
	if *update {
		if err := os.WriteFile(name, b.Bytes(), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	f, err := os.Open(name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	want, err := png.Decode(f)
	if err != nil {
		t.Fatal(err)
	}
	got, err := png.Decode(&b)
	if err != nil {
		t.Fatal(err)
	}
	if got.Bounds() != want.Bounds() {
		t.Fatalf("picture is %v, golden %v; -update renews it", got.Bounds(), want.Bounds())
	}
	if n, all := differing(got, want), got.Bounds().Dx()*got.Bounds().Dy(); n > all/200 {
		t.Errorf("%d of %d dots differ from %s; look at both, then -update", n, all, name)
	}
}

// differing counts dots of which a channel is more than a tenth off.
func differing(a, b image.Image) (n int) {
	for y := a.Bounds().Min.Y; y < a.Bounds().Max.Y; y++ {
		for x := a.Bounds().Min.X; x < a.Bounds().Max.X; x++ {
			r, g, bl, _ := a.At(x, y).RGBA()
			s, h, bm, _ := b.At(x, y).RGBA()
			if far(r, s) || far(g, h) || far(bl, bm) {
				n++
			}
		}
	}
	return n
}

func far(a, b uint32) bool { return max(a, b)-min(a, b) > 65535/10 }

func BenchmarkDrawdown(b *testing.B) {
	for _, c := range []struct {
		name string
		d    plots.Drawdown
	}{{"panels=1", made(1, 1, 8, true)}, {"panels=24", made(4, 6, 8, true)}} {
		b.Run("svg/"+c.name, func(b *testing.B) {
			for b.Loop() {
				for _, f := range figures(b, c.d, plots.Options{}) {
					if err := f.WriteSVG(io.Discard); err != nil {
						b.Fatal(err)
					}
				}
			}
		})
		b.Run("png/"+c.name, func(b *testing.B) {
			for b.Loop() {
				for _, f := range figures(b, c.d, plots.Options{}) {
					if err := f.WritePNG(io.Discard, 0); err != nil {
						b.Fatal(err)
					}
				}
			}
		})
	}
}
