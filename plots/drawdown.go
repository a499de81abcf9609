package plots

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"gonum.org/v1/plot/vg"
)

// Drawdown is all that the chart of levels by season shows: a small chart for
// every bed (columns) and nutrient (rows), one vertical scale for each
// nutrient, one time axis for all. Where there are too many for a page there
// are more pages, on the same scales. A bed without a test and a nutrient
// without a test in the beds of a page take no room; a line names them.
type Drawdown struct {
	Title, Subtitle, Caption string // the caller's words; wrapped
	Beds                     []string
	Nutrients                []Nutrient
	Panels                   []Panel // in any order; none reads "no test"
}

// Nutrient heads a row.
type Nutrient struct{ Symbol, Unit, Method string }

// Panel is what is known of one nutrient in one bed. Bed and Nutrient are
// indexes into the slices of the Drawdown.
type Panel struct {
	Bed, Nutrient int
	Points        []Point
	Links         []Link
	Inputs        []Input
}

// Timing is when in the season a test was taken.
type Timing int

const (
	UnknownTiming Timing = iota
	Spring
	Autumn
	MidSeason
)

// Point is one test. X is its date as a decimal year, Value its level in the
// nutrient's unit, Low to High the 90 % range of the level; both NaN or both
// equal: no range is drawn.
type Point struct {
	X, Value, Low, High float64
	Timing              Timing
	Below, Above        bool // the level lies below ("<") or above (">") Value
	Doubt               bool // there is a reason not to trust it
}

// Link joins two points of a panel, given by their indexes.
type Link struct {
	From, To int
	Kind     LinkKind
}

// LinkKind is what lies between two tests.
type LinkKind int

const (
	SeasonLink LinkKind = iota // spring to autumn
	WinterLink                 // autumn to the next spring
	YearLink                   // a year or more: tests once a year, or some missing
	BreakLink                  // must not be compared: no line, a mark on the axis
)

// Input is something spread on the bed. X is its date as a decimal year. The
// label is written where there is room for it.
type Input struct {
	X     float64
	Label string
}

// Figures lays the chart out. Without Options a page has up to 8 nutrients
// and as many beds as stay readable. It returns ErrNoData if no panel has a
// point, and ErrInput if an index, number or option is out of bounds.
func (d Drawdown) Figures(o Options) ([]Figure, error) {
	if err := d.check(o); err != nil {
		return nil, fmt.Errorf("drawdown chart: %w", err)
	}
	p := d.survey()
	if len(p.beds) == 0 {
		return nil, fmt.Errorf("drawdown chart: %w: no test in %s of %s", ErrNoData, plural(len(d.Beds), "bed"), plural(len(d.Nutrients), "nutrient"))
	}
	figures, err := p.paginate(o)
	if err != nil {
		return nil, fmt.Errorf("drawdown chart: %w", err)
	}
	return figures, nil
}

// check finds what cannot be drawn and says where it is.
func (d Drawdown) check(o Options) error {
	if bad := o.Width < 0 || o.Height < 0 || o.BedsPerPage < 0 || o.NutrientsPerPage < 0 || !(o.Width <= 14400 && o.Height <= 14400); bad {
		return fmt.Errorf("%w: options %+v: want 0 to 14400 pt and no negative counts", ErrInput, o)
	}
	seen := map[[2]int]bool{}
	for i, p := range d.Panels {
		if p.Bed < 0 || p.Bed >= len(d.Beds) || p.Nutrient < 0 || p.Nutrient >= len(d.Nutrients) {
			return fmt.Errorf("%w: panel %d: bed %d, nutrient %d: want 0 to %d, 0 to %d", ErrInput, i, p.Bed, p.Nutrient, len(d.Beds)-1, len(d.Nutrients)-1)
		}
		where := fmt.Sprintf("%s, %s", clean(d.Beds[p.Bed]), clean(d.Nutrients[p.Nutrient].Symbol))
		if at := [2]int{p.Bed, p.Nutrient}; seen[at] {
			return fmt.Errorf("%w: %s: two panels, want one", ErrInput, where)
		} else {
			seen[at] = true
		}
		for j, pt := range p.Points {
			if !validYear(pt.X) {
				return fmt.Errorf("%w: %s: point %d: date %v, want a decimal year from 1 to 9999", ErrInput, where, j, pt.X)
			}
			if math.IsNaN(pt.Value) || math.Abs(pt.Value) > maxValue {
				return fmt.Errorf("%w: %s: point %d: value %v, want a number within ±%g", ErrInput, where, j, pt.Value, float64(maxValue))
			}
			if bare := math.IsNaN(pt.Low) && math.IsNaN(pt.High); !bare && !(pt.Low <= pt.High && math.Abs(pt.Low) <= maxValue && math.Abs(pt.High) <= maxValue) {
				return fmt.Errorf("%w: %s: point %d: range %v to %v, want low to high, or NaN for none", ErrInput, where, j, pt.Low, pt.High)
			}
			if pt.Timing < UnknownTiming || pt.Timing > MidSeason {
				return fmt.Errorf("%w: %s: point %d: timing %d is not known", ErrInput, where, j, pt.Timing)
			}
		}
		for j, l := range p.Links {
			if l.From < 0 || l.From >= len(p.Points) || l.To < 0 || l.To >= len(p.Points) {
				return fmt.Errorf("%w: %s: link %d joins points %d and %d, want 0 to %d", ErrInput, where, j, l.From, l.To, len(p.Points)-1)
			}
			if l.Kind < SeasonLink || l.Kind > BreakLink {
				return fmt.Errorf("%w: %s: link %d: kind %d is not known", ErrInput, where, j, l.Kind)
			}
		}
		for j, in := range p.Inputs {
			if !validYear(in.X) {
				return fmt.Errorf("%w: %s: input %d: date %v, want a decimal year from 1 to 9999", ErrInput, where, j, in.X)
			}
		}
	}
	return nil
}

const maxValue = 1e15 // beyond it the arithmetic of a scale loses its digits

func validYear(x float64) bool { return x >= 1 && x < 10000 }

// scale maps the levels of one nutrient to a height. The padding keeps room
// for markers, arrows and the marks of inputs.
type scale struct {
	lo, hi           float64
	below, above     bool // has arrows
	ticks            []float64
	decimals         int
	padBelow, padTop vg.Length
}

func (s scale) y(v float64, bottom, height vg.Length) vg.Length {
	return bottom + s.padBelow + vg.Length((v-s.lo)/(s.hi-s.lo))*(height-s.padBelow-s.padTop)
}

// plan is what all pages of one chart share.
type plan struct {
	Drawdown
	lettercase
	panel       map[[2]int]*Panel // by bed, nutrient; those with a point
	beds        []int             // with a test of any nutrient
	rows        []int             // nutrients with a test in any bed
	scales      []scale           // by nutrient
	first, last int               // years
	crowd       int               // most points in a panel
	has         features

	w, panelW, labelW, axisW, headH vg.Length
	heads                           [][]string // by bed
}

// features are the things that occur, for the legend.
type features struct {
	timing                            [4]bool
	link                              [4]bool
	band, doubt, below, above, inputs bool
}

// survey gathers what occurs in the data.
func (d Drawdown) survey() *plan {
	p := &plan{Drawdown: d, lettercase: letters(), panel: map[[2]int]*Panel{}, scales: make([]scale, len(d.Nutrients)), first: 10000}
	for i := range p.scales {
		p.scales[i].lo, p.scales[i].hi = math.Inf(1), math.Inf(-1)
	}
	for i := range d.Panels {
		a := &d.Panels[i]
		if len(a.Points) == 0 {
			continue
		}
		p.panel[[2]int{a.Bed, a.Nutrient}] = a
		p.crowd = max(p.crowd, len(a.Points))
		s := &p.scales[a.Nutrient]
		for _, pt := range a.Points {
			p.span(pt.X)
			s.lo, s.hi = min(s.lo, pt.Value), max(s.hi, pt.Value)
			if pt.Low < pt.High {
				p.has.band = true
				s.lo, s.hi = min(s.lo, pt.Low), max(s.hi, pt.High)
			}
			p.has.timing[pt.Timing] = true
			p.has.doubt = p.has.doubt || pt.Doubt
			s.below, s.above = s.below || pt.Below, s.above || pt.Above
		}
		p.has.below, p.has.above = p.has.below || s.below, p.has.above || s.above
		for _, l := range a.Links {
			p.has.link[l.Kind] = true
		}
		for _, in := range a.Inputs {
			p.span(in.X)
			p.has.inputs = true
		}
	}
	for b := range d.Beds {
		if slices.ContainsFunc(d.Panels, func(a Panel) bool { return a.Bed == b && len(a.Points) > 0 }) {
			p.beds = append(p.beds, b)
		}
	}
	for n := range d.Nutrients {
		if p.anyTest(p.beds, n) {
			p.rows = append(p.rows, n)
		}
	}
	return p
}

func (p *plan) span(x float64) {
	p.first, p.last = min(p.first, int(x)), max(p.last, int(x))
}

func (p *plan) anyTest(beds []int, nutrient int) bool {
	return slices.ContainsFunc(beds, func(b int) bool { return p.panel[[2]int{b, nutrient}] != nil })
}

// Measures of the grid, points.
const (
	gapX, gapY   vg.Length = 14, 11
	leastW       vg.Length = 60 // of a panel, when the caller sets the page
	leastH       vg.Length = 40
	yearTick     vg.Length = 3 // at labelled years, half of it at others
	axisLabels   vg.Length = 13
	headGap      vg.Length = 5
	pageW        vg.Length = 660 // panels and gaps of a page of our choosing
	mostRows               = 8
	inputStrip   vg.Length = 6
	roomyColumns           = 2 // up to so many columns inputs carry their labels
)

// paginate chooses columns and rows of a page and lays every page out.
func (p *plan) paginate(o Options) ([]Figure, error) {
	years := vg.Length(p.last - p.first + 1)
	rows := o.NutrientsPerPage
	if rows == 0 {
		rows = mostRows
	}
	rows = even(len(p.rows), rows)
	guess := panelHeight(rows)
	if o.Height > 0 {
		guess = max(leastH, (vg.Length(o.Height)-150)/vg.Length(rows))
	}
	p.fitScales(guess)
	for _, n := range p.rows {
		nu, s := p.Nutrients[n], p.scales[n]
		p.labelW = max(p.labelW, min(p.width(rowText, clean(nu.Symbol)), 70), min(max(p.width(tickText, clean(nu.Unit)), p.width(tickText, clean(nu.Method))), 62))
		for _, v := range s.ticks {
			p.axisW = max(p.axisW, p.width(tickText, tickLabel(v, s.decimals)))
		}
	}
	p.labelW, p.axisW = halfUp(p.labelW), halfUp(p.axisW)
	side := 2*margin + p.labelW + 8 + p.axisW + 5

	// Columns.
	cols, least := o.BedsPerPage, max(104, min(4.5*years, 320))
	room := pageW
	if o.Width > 0 {
		room, least = vg.Length(o.Width)-side, max(leastW, min(3*years, 200))
	}
	if cols == 0 {
		cols = max(1, int((room+gapX)/(least+gapX)))
	}
	cols = even(len(p.beds), cols)
	if p.w = vg.Length(o.Width); p.w > 0 {
		p.panelW = (room - vg.Length(cols-1)*gapX) / vg.Length(cols)
		if p.panelW < leastW {
			return nil, fmt.Errorf("%w: page width %g pt: %s need at least %.0f pt", ErrInput, o.Width, plural(cols, "bed"), side+vg.Length(cols)*(leastW+gapX)-gapX+0.5)
		}
	} else {
		p.panelW = max(least, min(340, (540-vg.Length(cols-1)*gapX)/vg.Length(cols)))
		p.w = vg.Length(math.Ceil(float64(side + vg.Length(cols)*(p.panelW+gapX) - gapX)))
	}
	p.heads = make([][]string, len(p.Beds))
	for _, b := range p.beds {
		p.heads[b] = p.shorten(headText, p.Beds[b], p.panelW, 2)
		p.headH = max(p.headH, vg.Length(len(p.heads[b]))*headText.leading())
	}

	// Rows.
	top := p.masthead(p.Title, p.Subtitle, p.legendKeys(), p.Caption, p.w-2*margin)
	fixed := top.above() + p.headH + headGap + axisLabels + top.below()
	if o.Height > 0 && o.NutrientsPerPage == 0 {
		notes := 2 * noteText.leading() // page number and what is left out
		rows = even(len(p.rows), max(1, min(mostRows, int((vg.Length(o.Height)-fixed-notes+gapY)/(56+gapY)))))
	}

	var pages []*page
	for b := 0; b < len(p.beds); b += cols {
		beds := p.beds[b:min(b+cols, len(p.beds))]
		for n := 0; n < len(p.rows); n += rows {
			g := &page{plan: p, beds: beds}
			for _, r := range p.rows[n:min(n+rows, len(p.rows))] {
				if p.anyTest(beds, r) {
					g.rows = append(g.rows, r)
				} else {
					g.absent = append(g.absent, clean(p.Nutrients[r].Symbol))
				}
			}
			if len(g.rows) > 0 {
				pages = append(pages, g)
			}
		}
	}
	var figures []Figure
	for i, g := range pages {
		g.compose(i, len(pages), o)
		if g.panelH < leastH {
			return nil, fmt.Errorf("%w: page height %g pt: %s need at least %.0f pt", ErrInput, o.Height, plural(len(g.rows), "nutrient"), float64(g.h+vg.Length(len(g.rows))*(leastH-g.panelH))+0.5)
		}
		figures = append(figures, g.figure(i, len(pages)))
	}
	return figures, nil
}

// panelHeight is the height of a panel where the page may choose.
func panelHeight(rows int) vg.Length {
	return vg.Length(max(70, min(190, 600/rows-2*rows)))
}

// even returns how many of n to put on a page so that pages of at most most
// are filled alike.
func even(n, most int) int {
	pages := (n + most - 1) / most
	return (n + pages - 1) / pages
}

// fitScales sets limits and ticks for panels about h high.
func (p *plan) fitScales(h vg.Length) {
	for _, n := range p.rows {
		s := &p.scales[n]
		s.padBelow, s.padTop = 5, 5
		if p.has.inputs {
			s.padBelow += inputStrip
		}
		if s.below {
			s.padBelow += 5
		}
		if s.above {
			s.padTop += 5
		}
		if s.lo >= 0 && s.lo < 0.2*s.hi {
			s.lo = 0 // nearly there: a true zero shows proportions
		}
		if top := max(math.Abs(s.lo), math.Abs(s.hi)); s.hi-s.lo <= top*1e-9 {
			pad := top * 0.1
			if pad == 0 {
				pad = 1
			}
			if s.lo != 0 {
				s.lo -= pad
			}
			s.hi += pad
		}
		s.ticks, s.decimals = ticks(s.lo, s.hi, int(max(2, min(6, h/22))))
	}
}

// page is one figure of the chart.
type page struct {
	*plan
	beds, rows []int
	absent     []string // nutrients without a test in these beds
	top        masthead
	h, panelH  vg.Length
}

// compose fixes the heights of a page.
func (g *page) compose(i, of int, o Options) {
	caption := []string{}
	if len(g.absent) > 0 {
		caption = append(caption, "No test of "+strings.Join(g.absent, ", ")+" in these beds.")
	}
	if i == 0 {
		if left := g.leftOut(); left != "" {
			caption = append(caption, left)
		}
	}
	if c := strings.TrimSpace(g.Caption); c != "" {
		caption = append(caption, c)
	}
	g.top = g.masthead(g.Title, g.Subtitle, g.legendKeys(), strings.Join(caption, " "), g.w-2*margin)
	if of > 1 {
		g.top.caption = append(g.top.caption, fmt.Sprintf("Page %d of %d", i+1, of))
	}
	n := vg.Length(len(g.rows))
	fixed := g.top.above() + g.headH + headGap + axisLabels + g.top.below() + (n-1)*gapY
	if g.h = vg.Length(o.Height); g.h > 0 {
		g.panelH = (g.h - fixed) / n
		return
	}
	g.panelH = panelHeight(len(g.rows))
	g.h = vg.Length(math.Ceil(float64(fixed + n*g.panelH)))
}

// leftOut names the beds and nutrients that no page shows.
func (g *page) leftOut() string {
	var names []string
	for b, name := range g.Beds {
		if !slices.Contains(g.plan.beds, b) {
			names = append(names, clean(name))
		}
	}
	for n, nu := range g.Nutrients {
		if !slices.Contains(g.plan.rows, n) {
			names = append(names, clean(nu.Symbol))
		}
	}
	if len(names) == 0 {
		return ""
	}
	if n := len(names); n > 8 {
		names = append(names[:8], fmt.Sprintf("%d more", n-8))
	}
	return "Without a test: " + strings.Join(names, ", ") + "."
}

func (g *page) figure(i, of int) Figure {
	title := strings.Join(strings.Fields(clean(g.Title)), " ")
	if title == "" {
		title = "Nutrient levels by season"
	}
	if of > 1 {
		title = fmt.Sprintf("%s (page %d of %d)", title, i+1, of)
	}
	return Figure{Width: float64(g.w), Height: float64(g.h), Title: title, Description: g.describe(), draw: g.draw}
}

// describe tells a reader who cannot see the page what is on it.
func (g *page) describe() string {
	var b strings.Builder
	fmt.Fprintf(&b, "Small charts of %s in %s, %s.", plural(len(g.rows), "nutrient"), plural(len(g.beds), "bed"), g.years())
	for _, n := range g.rows {
		nu := g.Nutrients[n]
		fmt.Fprintf(&b, "\n%s", clean(nu.Symbol))
		if method := clean(nu.Method); method != "" {
			fmt.Fprintf(&b, ", %s", method)
		}
		b.WriteString(".")
		for _, bed := range g.beds {
			a := g.panel[[2]int{bed, n}]
			if a == nil {
				fmt.Fprintf(&b, " %s: no test.", clean(g.Beds[bed]))
				continue
			}
			pts := slices.Clone(a.Points)
			slices.SortStableFunc(pts, func(p, q Point) int { return cmp.Compare(p.X, q.X) })
			low, high := pts[0].Value, pts[0].Value
			for _, pt := range pts {
				low, high = min(low, pt.Value), max(high, pt.Value)
			}
			unit := clean(nu.Unit)
			if unit != "" {
				unit = " " + unit
			}
			end := pts[len(pts)-1]
			if len(pts) == 1 {
				fmt.Fprintf(&b, " %s: 1 test, %s%s in %s.", clean(g.Beds[bed]), level(end), unit, when(end))
				continue
			}
			fmt.Fprintf(&b, " %s: %d tests from %s to %s%s, the last %s in %s.", clean(g.Beds[bed]), len(pts), digits(low), digits(high), unit, level(end), when(end))
		}
	}
	return b.String()
}

func level(pt Point) string {
	switch {
	case pt.Below:
		return "< " + digits(pt.Value)
	case pt.Above:
		return "> " + digits(pt.Value)
	}
	return digits(pt.Value)
}

// digits prints three significant digits, more than a soil test holds.
func digits(v float64) string {
	s := strconv.FormatFloat(v, 'g', 3, 64)
	if a := math.Abs(v); a >= 1e-4 && a < 1e7 {
		v, _ = strconv.ParseFloat(s, 64)
		s = strconv.FormatFloat(v, 'f', -1, 64)
	}
	return minus(s)
}

func when(pt Point) string {
	season := [...]string{"", "spring ", "autumn ", "mid-season "}[pt.Timing]
	return fmt.Sprintf("%s%d", season, int(pt.X))
}

func (p *plan) years() string {
	if p.first == p.last {
		return fmt.Sprint(p.first)
	}
	return fmt.Sprintf("%d to %d", p.first, p.last)
}

func plural(n int, thing string) string {
	if n == 1 {
		return "1 " + thing
	}
	return fmt.Sprintf("%d %ss", n, thing)
}

// look returns the marker of a timing.
func (t Timing) look() (shape, hue) {
	switch t {
	case Spring:
		return circle, blue
	case Autumn:
		return square, vermilion
	case MidSeason:
		return triangle, green
	}
	return diamond, soft
}

// pen returns the line of a link.
func (k LinkKind) pen() (c hue, width vg.Length, dash []vg.Length) {
	switch k {
	case WinterLink:
		return soft, 0.9, []vg.Length{1.2, 2}
	case YearLink:
		return soft, 0.7, []vg.Length{2.4, 1.2}
	}
	return ink, 1.1, nil
}

// legendKeys lists what occurs in the data, whatever the page.
func (p *plan) legendKeys() (keys []key) {
	add := func(has bool, words string, width vg.Length, sample func(sheet, vg.Point)) {
		if has {
			keys = append(keys, key{words, width, sample})
		}
	}
	const r, mark, line = 2.6, 7, 18
	for _, t := range []Timing{Spring, MidSeason, Autumn, UnknownTiming} {
		form, c := t.look()
		words := [...]string{"Test, time of season not given", "Spring test", "Autumn test", "Mid-season test"}[t]
		add(p.has.timing[t], words, mark, func(s sheet, at vg.Point) { s.marker(form, c, at, r, false) })
	}
	for k, words := range []string{"Spring to autumn", "Over winter", "Year to year"} {
		c, width, dash := LinkKind(k).pen()
		add(p.has.link[k], words, line, func(s sheet, at vg.Point) {
			s.stroke(c, width, dash, segment(at.X-line/2, at.Y, at.X+line/2, at.Y))
		})
	}
	add(p.has.link[BreakLink], "Not comparable across", line, func(s sheet, at vg.Point) {
		s.stroke(soft, 0.5, nil, segment(at.X-line/2, at.Y, at.X+line/2, at.Y))
		s.gap(at.X, at.Y)
	})
	add(p.has.band, "90 % range", 3, func(s sheet, at vg.Point) {
		s.stroke(soft.tint(0.55), 1.4, nil, segment(at.X, at.Y-5, at.X, at.Y+5))
	})
	add(p.has.doubt, "In doubt", mark, func(s sheet, at vg.Point) { s.marker(circle, ink, at, r, true) })
	add(p.has.below, "Below the value shown", mark, func(s sheet, at vg.Point) { s.arrow(circle, ink, vg.Point{X: at.X, Y: at.Y + 3}, r, -1) })
	add(p.has.above, "Above the value shown", mark, func(s sheet, at vg.Point) { s.arrow(circle, ink, vg.Point{X: at.X, Y: at.Y - 3}, r, 1) })
	add(p.has.inputs, "Amendment spread", mark, func(s sheet, at vg.Point) { s.flag(at.X, at.X, at.Y-2) })
	return keys
}

// arrow is the marker of a result beyond a limit: hollow at the limit, with an
// arrow the way the level lies.
func (s sheet) arrow(form shape, c hue, at vg.Point, r, way vg.Length) {
	tip := at.Y + way*(r+6)
	s.stroke(c, 0.9, nil, segment(at.X, at.Y, at.X, tip), []vg.Point{{X: at.X - 1.8, Y: tip - way*2.4}, {X: at.X, Y: tip}, {X: at.X + 1.8, Y: tip - way*2.4}})
	s.marker(form, c, at, r, true)
}

// gap is the mark of a break, two strokes across an axis.
func (s sheet) gap(x, y vg.Length) {
	s.stroke(paper, 1.6, nil, segment(x-1.6, y, x+1.6, y))
	s.stroke(soft, 0.8, nil, segment(x-3, y-3, x, y+3), segment(x, y-3, x+3, y+3))
}

// flag marks spreadings from x0 to x1, standing on y.
func (s sheet) flag(x0, x1, y vg.Length) {
	s.polygon(purple, vg.Point{X: x0 - flagHalf, Y: y}, vg.Point{X: x1 + flagHalf, Y: y}, vg.Point{X: x1, Y: y + 4}, vg.Point{X: x0, Y: y + 4})
}

const flagHalf vg.Length = 2.2

// draw draws the page.
func (g *page) draw(s sheet) {
	g.top.draw(s, g.h)
	left := margin + g.labelW + 8 + g.axisW + 5
	perYear := g.panelW / vg.Length(g.last-g.first+1)
	step := yearStep(perYear, s.width(tickText, "2000"))
	y := g.h - g.top.above()
	for i, b := range g.beds {
		lines := g.heads[b]
		if s.raster && !s.drawable(headText, strings.Join(lines, "")) {
			lines = s.shorten(headText, fmt.Sprintf("bed %d (see SVG)", b+1), g.panelW, 2)
		}
		x := left + vg.Length(i)*(g.panelW+gapX)
		s.block(headText, x, y-g.headH+vg.Length(len(lines))*headText.leading(), lines)
	}
	y -= g.headH + headGap
	for _, n := range g.rows {
		y -= g.panelH
		g.rowLabel(s, n, y)
		sc := g.scales[n]
		for _, v := range sc.ticks {
			s.text(tickText, left-5, sc.y(v, y, g.panelH)-2.8, 1, tickLabel(v, sc.decimals))
		}
		for i, b := range g.beds {
			x := left + vg.Length(i)*(g.panelW+gapX)
			g.panelAt(s, g.panel[[2]int{b, n}], sc, x, y, perYear, step)
		}
		y -= gapY
	}
	y += gapY
	for i := range g.beds {
		x := left + vg.Length(i)*(g.panelW+gapX)
		for year := g.first; year <= g.last; year++ {
			at := (vg.Length(year-g.first) + 0.5) * perYear
			half := s.width(tickText, fmt.Sprint(year)) / 2
			if g.labelled(year, step) && at-half > -3 && at+half < g.panelW+8 { // keeps the gap to the next panel's labels
				s.text(tickText, x+at, y-yearTick-8, 0.5, fmt.Sprint(year))
			}
		}
	}
}

// labelled tells whether a year carries a label; a chart too short for a
// round year labels its middle one.
func (p *plan) labelled(year, step int) bool {
	if first := (p.first + step - 1) / step * step; first > p.last {
		return year == (p.first+p.last)/2
	}
	return year%step == 0
}

// rowLabel writes symbol, unit and method beside a row.
func (g *page) rowLabel(s sheet, n int, y vg.Length) {
	nu := g.Nutrients[n]
	top := y + g.panelH + 1
	top = s.block(rowText, margin, top, s.shorten(rowText, nu.Symbol, g.labelW, 1))
	top = s.block(tickText, margin, top, s.shorten(tickText, nu.Unit, g.labelW, 1))
	if nu.Method != "" {
		room := int((top - y) / noteText.leading())
		s.block(noteText, margin, top, s.shorten(noteText, nu.Method, g.labelW, max(1, min(4, room))))
	}
}

// panelAt draws one small chart with its lower left corner at x, y; nil is a
// panel without a test.
func (g *page) panelAt(s sheet, a *Panel, sc scale, x, y, perYear vg.Length, step int) {
	right, top := x+g.panelW, y+g.panelH
	var lines, years [][]vg.Point
	for _, v := range sc.ticks {
		h := snap(sc.y(v, y, g.panelH))
		lines = append(lines, segment(x, h, right, h))
	}
	for year := g.first; year <= g.last+1; year++ {
		at := snap(x + vg.Length(year-g.first)*perYear)
		switch {
		case year%step == 0:
			years = append(years, segment(at, y-yearTick, at, y))
		case perYear >= 3:
			years = append(years, segment(at, y-yearTick/2, at, y))
		}
		if year > g.first && year <= g.last && year%step == 0 {
			lines = append(lines, segment(at, y, at, top))
		}
	}
	s.stroke(faint, 0.5, nil, lines...)
	s.stroke(soft, 0.5, nil, append(years, segment(x, snap(y), right, snap(y)))...)
	if a == nil {
		at := vg.Point{X: x + g.panelW/2, Y: y + g.panelH/2}
		w := s.width(noteText, "no test")/2 + 3
		s.polygon(paper, vg.Point{X: at.X - w, Y: at.Y - 5}, vg.Point{X: at.X + w, Y: at.Y - 5}, vg.Point{X: at.X + w, Y: at.Y + 6}, vg.Point{X: at.X - w, Y: at.Y + 6})
		s.text(noteText, at.X, at.Y-2.5, 0.5, "no test")
		return
	}
	px := func(year float64) vg.Length { return x + vg.Length(year-float64(g.first))*perYear }
	at := make([]vg.Point, len(a.Points))
	for i, pt := range a.Points {
		at[i] = vg.Point{X: px(pt.X), Y: sc.y(pt.Value, y, g.panelH)}
	}
	g.inputs(s, a.Inputs, px, x, y)
	for t := UnknownTiming; t <= MidSeason; t++ {
		var bars [][]vg.Point
		for i, pt := range a.Points {
			if pt.Timing == t && pt.Low < pt.High {
				bars = append(bars, segment(at[i].X, sc.y(pt.Low, y, g.panelH), at[i].X, sc.y(pt.High, y, g.panelH)))
			}
		}
		_, c := t.look()
		s.stroke(c.tint(0.6), 1.4, nil, bars...)
	}
	var links [BreakLink][][]vg.Point
	for _, l := range a.Links {
		if l.Kind == BreakLink {
			s.gap((at[l.From].X+at[l.To].X)/2, snap(y))
			continue
		}
		links[l.Kind] = append(links[l.Kind], []vg.Point{at[l.From], at[l.To]})
	}
	for k := YearLink; k >= SeasonLink; k-- {
		c, width, dash := k.pen()
		s.stroke(c, width, dash, links[k]...)
	}
	r := max(1.4, min(2.6, 0.34*g.panelW/vg.Length(g.crowd)))
	for i, pt := range a.Points {
		form, c := pt.Timing.look()
		switch {
		case pt.Below:
			s.arrow(form, c, at[i], r, -1)
		case pt.Above:
			s.arrow(form, c, at[i], r, 1)
		default:
			s.marker(form, c, at[i], r, pt.Doubt)
		}
	}
}

// inputs marks spreadings on the bottom edge; those closer than a mark is wide
// become one. Labels are written in roomy charts, if all of a panel fit.
func (g *page) inputs(s sheet, in []Input, px func(float64) vg.Length, x, y vg.Length) {
	in = slices.Clone(in)
	slices.SortStableFunc(in, func(a, b Input) int { return cmp.Compare(a.X, b.X) })
	type mark struct {
		from, to vg.Length
		labels   []string
	}
	var marks []mark
	for _, one := range in {
		at := px(one.X)
		if n := len(marks); n == 0 || at-marks[n-1].to > 2*flagHalf+0.5 {
			marks = append(marks, mark{from: at})
		}
		m := &marks[len(marks)-1]
		m.to = at
		if l := strings.TrimSpace(clean(one.Label)); l != "" && !slices.Contains(m.labels, l) {
			m.labels = append(m.labels, l)
		}
	}
	fit := len(g.beds) <= roomyColumns
	for i, m := range marks {
		s.flag(m.from, m.to, y+0.5)
		end := x + g.panelW
		if i+1 < len(marks) {
			end = marks[i+1].from - flagHalf
		}
		fit = fit && m.to+flagHalf+2+s.width(noteText, strings.Join(m.labels, ", ")) <= end
	}
	for _, m := range marks {
		if fit {
			s.text(noteText, m.to+flagHalf+1.5, y+2, 0, strings.Join(m.labels, ", "))
		}
	}
}
