// Package plots draws the charts of a review as SVG and PNG.
//
// A chart is a plain struct of what the reader sees; drawing computes no soil
// science. In order: check the input, lay out the pages, return one [Figure]
// a page; [Save] writes figures to files. Lengths are points, 1/72 inch.
package plots

import (
	"bytes"
	"errors"
	"fmt"
	"html"
	"image/png"
	"io"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	xfont "golang.org/x/image/font"
	"golang.org/x/image/font/sfnt"
	"golang.org/x/image/math/fixed"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/font/liberation"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/vgimg"
	"gonum.org/v1/plot/vg/vgsvg"
)

var (
	// ErrNoData is returned when a chart holds nothing that could be drawn.
	ErrNoData = errors.New("nothing to draw")
	// ErrInput is returned for data or options that cannot be drawn as given.
	ErrInput = errors.New("cannot draw")
)

// Options are the choices of the person who asks for a chart. Zero means
// chosen from the content.
type Options struct {
	Width, Height    float64 // of a page, points
	DPI              int     // dots per inch of a PNG; 0: 144
	BedsPerPage      int
	NutrientsPerPage int
}

// Chart is anything that can be laid out on pages.
type Chart interface {
	// Figures returns one figure a page, at least one, or an error that wraps
	// ErrNoData or ErrInput.
	Figures(Options) ([]Figure, error)
}

// Figure is one page, ready to be drawn any number of times.
type Figure struct {
	Width, Height float64 // points
	Title         string  // the accessible name
	Description   string  // what is shown, in words, for a screen reader
	draw          func(sheet)
}

// WriteSVG writes the figure as an SVG document. Letters are text in
// Liberation Sans or a face of the same widths; nothing is embedded.
func (f Figure) WriteSVG(w io.Writer) error {
	c := vgsvg.NewWith(vgsvg.UseWH(vg.Length(f.Width), vg.Length(f.Height)))
	f.draw(sheet{Canvas: c, lettercase: letters()})
	var b bytes.Buffer
	if _, err := c.WriteTo(&b); err != nil {
		return err
	}
	_, body, _ := strings.Cut(b.String(), "<g ") // our own head replaces the library's
	const plain = "font-family:Liberation Sans;font-variant:normal;font-weight:"
	body = strings.NewReplacer(plain+"normal;font-style:normal;", "", plain+"bold;font-style:normal;", "font-weight:bold;").Replace(body)
	_, err := fmt.Fprintf(w, `<?xml version="1.0" encoding="UTF-8"?>
<svg xmlns="http://www.w3.org/2000/svg" width="%gpt" height="%gpt" viewBox="0 0 %[1]g %[2]g" role="img" font-family="'Liberation Sans', Arial, Helvetica, sans-serif">
<title>%s</title>
<desc>%s</desc>
<g %s`, f.Width, f.Height, html.EscapeString(f.Title), html.EscapeString(f.Description), body)
	return err
}

// WritePNG writes the figure as a PNG of the given dots per inch (0: 144).
// Scripts that Liberation Sans lacks (it has Latin, Greek and Cyrillic) appear
// as empty boxes; bed names are replaced by their number.
func (f Figure) WritePNG(w io.Writer, dpi int) error {
	if dpi == 0 {
		dpi = 144 // two dots a point, so that snapped hairlines are crisp
	}
	if dots := f.Width * f.Height / (72 * 72) * float64(dpi) * float64(dpi); dpi < 36 || dpi > 1200 || dots > 2e8 {
		return fmt.Errorf("%w: PNG of %.0f x %.0f pt at %d dpi: want 36 to 1200 dpi and at most 200 million dots", ErrInput, f.Width, f.Height, dpi)
	}
	c := vgimg.NewWith(vgimg.UseWH(vg.Length(f.Width), vg.Length(f.Height)), vgimg.UseDPI(dpi))
	f.draw(sheet{Canvas: c, lettercase: letters(), raster: true})
	enc := png.Encoder{CompressionLevel: png.BestSpeed} // two thirds of the time for 3 % more bytes
	return enc.Encode(w, c.Image())
}

// Save writes a chart to path, whose extension .svg or .png tells the format,
// and returns the files written: path itself, or for several pages name-1.svg,
// name-2.svg and so on. All are completed under other names before the
// first takes its place; files lists those that have.
func Save(path string, c Chart, o Options) (files []string, err error) {
	ext := filepath.Ext(path)
	write := Figure.WriteSVG
	switch strings.ToLower(ext) {
	case ".svg":
	case ".png":
		write = func(f Figure, w io.Writer) error { return f.WritePNG(w, o.DPI) }
	default:
		return nil, fmt.Errorf("%w: chart file %q: extension %q, want .svg or .png", ErrInput, path, ext)
	}
	figures, err := c.Figures(o)
	if err != nil {
		return nil, err
	}
	var drafts []string
	defer func() {
		for _, name := range drafts { // those renamed are gone already
			os.Remove(name)
		}
	}()
	for i, f := range figures {
		name := path
		if len(figures) > 1 {
			name = fmt.Sprintf("%s-%d%s", strings.TrimSuffix(path, ext), i+1, ext)
		}
		if s, err := os.Stat(name); err == nil && !s.Mode().IsRegular() {
			return nil, fmt.Errorf("chart file %q: is not a plain file; give another name", name)
		}
		draft, err := writeDraft(name, func(w io.Writer) error { return write(f, w) })
		if draft != "" {
			drafts = append(drafts, draft)
		}
		if err != nil {
			return nil, fmt.Errorf("chart file %q: %w", name, err)
		}
		files = append(files, name)
	}
	for i, name := range files {
		if err := os.Rename(drafts[i], name); err != nil {
			return files[:i], fmt.Errorf("chart file %q: %w", name, err)
		}
	}
	return files, nil
}

// writeDraft writes a hidden file beside name and returns its path.
func writeDraft(name string, write func(io.Writer) error) (draft string, err error) {
	f, err := os.CreateTemp(filepath.Dir(name), "."+filepath.Base(name)+"-*")
	if err != nil {
		return "", err
	}
	err = errors.Join(write(f), f.Chmod(0o644), f.Close())
	return f.Name(), err
}

// hue is a colour as 0xRRGGBB.
type hue uint32

// Okabe and Ito, "Color Universal Design", 2008, without the yellow, which is
// lost on white. Every colour comes with a shape or a dash of its own.
const (
	ink       hue = 0x222222
	soft      hue = 0x5a5a5a
	faint     hue = 0xe2e2e2
	paper     hue = 0xffffff
	blue      hue = 0x0072b2
	vermilion hue = 0xd55e00
	green     hue = 0x009e73
	purple    hue = 0xcc79a7
	orange    hue = 0xe69f00
	sky       hue = 0x56b4e9
)

// RGBA makes a hue a color.Color.
func (h hue) RGBA() (r, g, b, a uint32) {
	return uint32(h) >> 16 & 255 * 257, uint32(h) >> 8 & 255 * 257, uint32(h) & 255 * 257, 65535
}

// tint mixes a hue with white; 0 leaves it, 1 is white.
func (h hue) tint(white float64) hue {
	var out hue
	for _, shift := range []int{16, 8, 0} {
		v := float64(h >> shift & 255)
		out |= hue(math.Round(v+(255-v)*white)) << shift
	}
	return out
}

// lettering is one of the few kinds of text on a chart.
type lettering int

const (
	titleText lettering = iota
	leadText            // subtitle
	headText            // column headings
	rowText             // the symbol of a row
	bodyText            // legend
	tickText            // axis labels, units
	noteText            // caption, small remarks
)

func (l lettering) spec() (size vg.Length, bold bool, c hue) {
	switch l {
	case titleText:
		return 13, true, ink
	case leadText:
		return 9, false, soft
	case headText:
		return 9.5, true, ink
	case rowText:
		return 11, true, ink
	case bodyText:
		return 8.5, false, ink
	case tickText:
		return 8, false, soft
	}
	return 7.5, false, soft
}

// leading is the distance between baselines.
func (l lettering) leading() vg.Length {
	size, _, _ := l.spec()
	return halfUp(size * 1.25)
}

// halfUp rounds up to half a point, a whole dot at 144 dpi.
func halfUp(l vg.Length) vg.Length { return vg.Length(math.Ceil(float64(l)*2) / 2) }

// lettercase holds the faces and measures text.
type lettercase struct{ *font.Cache }

func letters() lettercase { return lettercase{font.NewCache(liberation.Collection())} }

func (lc lettercase) face(l lettering) font.Face {
	size, bold, _ := l.spec()
	f := font.Font{Typeface: "Liberation", Variant: "Sans"}
	if bold {
		f.Weight = xfont.WeightBold
	}
	return lc.Lookup(f, size)
}

// drawable tells whether a raster image can show s: the face has every
// letter, and none runs from right to left, which needs shaping.
func (lc lettercase) drawable(l lettering, s string) bool {
	face := lc.face(l)
	var b sfnt.Buffer
	for _, r := range s {
		if i, err := face.Face.GlyphIndex(&b, r); err != nil || i == 0 || unicode.In(r, unicode.Hebrew, unicode.Arabic) {
			return false
		}
	}
	return true
}

// width measures s. A letter that the face lacks counts as one em, the width
// of an ideograph in the face a browser takes instead.
func (lc lettercase) width(l lettering, s string) vg.Length {
	face := lc.face(l)
	var b sfnt.Buffer
	var missing, subscripts int
	have := strings.Map(func(r rune) rune {
		if isSubscript(r) {
			subscripts++
			return -1
		}
		if i, err := face.Face.GlyphIndex(&b, r); err != nil || i == 0 {
			missing++
			return -1
		}
		return r
	}, s)
	w := face.Width(have) + vg.Length(missing)*face.Font.Size
	if subscripts > 0 {
		w += vg.Length(subscripts) * subscript * face.Width("0") // digits are of one width
	}
	return w
}

// Subscript digits of the face are as wide as full ones; an image has smaller
// full digits in their place, a fifth of the size below the line.
const subscript vg.Length = 0.68

func isSubscript(r rune) bool { return r >= '₀' && r <= '₉' }

// wrap breaks s at spaces to lines of at most w; a longer word is broken
// where it must be.
func (lc lettercase) wrap(l lettering, s string, w vg.Length) (lines []string) {
	line := ""
	for _, word := range strings.Fields(clean(s)) {
		if try := line + " " + word; line != "" && lc.width(l, try) <= w {
			line = try
			continue
		}
		if line != "" {
			lines = append(lines, line)
		}
		for line = word; lc.width(l, line) > w; {
			n := cut(line, func(head string) bool { return lc.width(l, head) <= w })
			lines, line = append(lines, line[:n]), line[n:]
		}
	}
	if line != "" {
		lines = append(lines, line)
	}
	return lines
}

// cut returns the length in bytes of the longest head of s that fits, at
// least one letter; a mark is not parted from its letter.
func cut(s string, fits func(string) bool) int {
	n := 0
	for i, r := range s {
		if i == 0 || unicode.Is(unicode.M, r) {
			continue
		}
		if n > 0 && !fits(s[:i]) {
			return n
		}
		n = i
	}
	if n == 0 {
		return len(s)
	}
	return n
}

// shorten wraps s to at most max lines of width w. What is too long loses its
// middle, since names often differ at the end.
func (lc lettercase) shorten(l lettering, s string, w vg.Length, max int) []string {
	lines := lc.wrap(l, s, w)
	if len(lines) <= max && !broken(s, lines) {
		return lines
	}
	r := []rune(strings.Join(strings.Fields(clean(s)), " "))
	for n := min(len(r)-1, 60*max); n > 1; n-- {
		head, tail := r[:(n+1)/2], r[len(r)-n/2:]
		for len(tail) > 0 && unicode.Is(unicode.M, tail[0]) {
			tail = tail[1:]
		}
		try := strings.TrimRight(string(head), " ") + "…" + strings.TrimLeft(string(tail), " ")
		if lines = lc.wrap(l, try, w); len(lines) <= max && !broken(try, lines) {
			return lines
		}
	}
	return []string{"…"}
}

// broken tells whether wrapping had to break inside a word.
func broken(s string, lines []string) bool {
	return strings.Join(strings.Fields(clean(s)), " ") != strings.Join(lines, " ")
}

// clean drops what neither format can hold: control characters and bytes that
// are not UTF-8.
func clean(s string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case unicode.IsSpace(r):
			return ' '
		case unicode.IsControl(r) || r == 0xfffe || r == 0xffff:
			return -1
		}
		return r
	}, strings.ToValidUTF8(s, "\ufffd"))
}

// sheet is the paper of one figure: a canvas with letters. The origin is at
// the bottom left.
type sheet struct {
	vg.Canvas
	lettercase
	raster bool // letters that the face lacks cannot be drawn
}

// text draws s on the baseline y; align 0 starts it at x, 0.5 centres it, 1
// ends it there.
func (s sheet) text(l lettering, x, y, align vg.Length, str string) {
	if str == "" {
		return
	}
	_, _, c := l.spec()
	face := s.face(l)
	s.SetColor(c)
	x -= align * s.width(l, str)
	if !s.raster {
		s.FillString(face, vg.Point{X: x, Y: y}, str)
		return
	}
	// The library rounds kerning to whole dots until letters touch, so what
	// stands between two kerned letters is placed from here.
	start := 0
	for i, r := range str {
		n := i + utf8.RuneLen(r)
		next, _ := utf8.DecodeRuneInString(str[n:])
		if n < len(str) && !isSubscript(r) && !isSubscript(next) && !kerned(face, r, next) {
			continue
		}
		at := vg.Point{X: x + s.width(l, str[:n]) - s.width(l, str[start:n]), Y: y}
		if isSubscript(r) {
			small := face
			small.Font.Size *= subscript
			s.FillString(small, vg.Point{X: at.X, Y: y - face.Font.Size/5}, string('0'+r-'₀'))
		} else {
			s.FillString(face, at, str[start:n])
		}
		start = n
	}
}

// kerned tells whether a face moves b nearer to or farther from a.
func kerned(face font.Face, a, b rune) bool {
	var buf sfnt.Buffer
	i, _ := face.Face.GlyphIndex(&buf, a)
	j, _ := face.Face.GlyphIndex(&buf, b)
	k, err := face.Face.Kern(&buf, i, j, fixed.Int26_6(face.Face.UnitsPerEm()), xfont.HintingNone)
	return err == nil && k != 0
}

// block draws lines downwards from the top y and returns the y below them.
func (s sheet) block(l lettering, x, y vg.Length, lines []string) vg.Length {
	size, _, _ := l.spec()
	for _, line := range lines {
		s.text(l, x, y-size*0.9, 0, line)
		y -= l.leading()
	}
	return y
}

// stroke draws line pieces of one colour, width and dash as one path. Each
// piece is a chain of points.
func (s sheet) stroke(c hue, width vg.Length, dash []vg.Length, pieces ...[]vg.Point) {
	var p vg.Path
	for _, piece := range pieces {
		for i, pt := range piece {
			if i == 0 {
				p.Move(pt)
			} else {
				p.Line(pt)
			}
		}
	}
	if len(p) == 0 {
		return
	}
	s.SetColor(c)
	s.SetLineWidth(width)
	s.SetLineDash(dash, 0)
	s.Canvas.Stroke(p)
}

func segment(x0, y0, x1, y1 vg.Length) []vg.Point { return []vg.Point{{X: x0, Y: y0}, {X: x1, Y: y1}} }

// polygon fills a closed shape.
func (s sheet) polygon(c hue, pts ...vg.Point) {
	var p vg.Path
	p.Move(pts[0])
	for _, pt := range pts[1:] {
		p.Line(pt)
	}
	p.Close()
	s.SetColor(c)
	s.Fill(p)
}

// shape is the form of a marker.
type shape int

const (
	circle shape = iota
	square
	triangle
	diamond
)

// marker draws a shape of one area for all forms, about that of a circle of
// radius r; hollow ones are white inside.
func (s sheet) marker(form shape, c hue, at vg.Point, r vg.Length, hollow bool) {
	var p vg.Path
	corner := func(dx, dy vg.Length) {
		pt := vg.Point{X: at.X + dx*r, Y: at.Y + dy*r}
		if len(p) == 0 {
			p.Move(pt)
		} else {
			p.Line(pt)
		}
	}
	switch form {
	case circle:
		p.Move(vg.Point{X: at.X + r, Y: at.Y})
		p.Arc(at, r, 0, 2*math.Pi)
	case square:
		corner(-0.89, -0.89)
		corner(0.89, -0.89)
		corner(0.89, 0.89)
		corner(-0.89, 0.89)
	case triangle:
		corner(-1.2, -0.85)
		corner(1.2, -0.85)
		corner(0, 1.3)
	case diamond:
		corner(0, -1.3)
		corner(1.3, 0)
		corner(0, 1.3)
		corner(-1.3, 0)
	}
	p.Close()
	s.SetColor(c)
	if hollow {
		s.SetColor(paper)
	}
	s.Fill(p)
	if hollow {
		s.SetColor(c)
		s.SetLineWidth(0.9)
		s.SetLineDash(nil, 0)
		s.Canvas.Stroke(p)
	}
}

// key is an entry of a legend: a sample of some width, drawn about its centre,
// and words.
type key struct {
	words  string
	width  vg.Length
	sample func(s sheet, at vg.Point)
}

// legend flows entries into rows no wider than w.
func (lc lettercase) legend(keys []key, w vg.Length) (rows [][]key) {
	x := w
	for _, k := range keys {
		need := k.width + 4 + lc.width(bodyText, k.words)
		if x += 14 + need; len(rows) == 0 || x > w {
			rows, x = append(rows, nil), need
		}
		rows[len(rows)-1] = append(rows[len(rows)-1], k)
	}
	return rows
}

// masthead is what stands above and below every chart: title, subtitle and
// legend; caption. It is laid out once for a width.
type masthead struct {
	w                    vg.Length // inside the margins
	title, lead, caption []string
	keys                 [][]key
}

const margin vg.Length = 14

func (lc lettercase) masthead(title, subtitle string, keys []key, caption string, w vg.Length) masthead {
	return masthead{w, lc.wrap(titleText, title, w), lc.wrap(leadText, subtitle, w), lc.wrap(noteText, caption, w), lc.legend(keys, w)}
}

const legendRow vg.Length = 13.5

// height above the chart, margin included.
func (m masthead) above() vg.Length {
	return margin + vg.Length(len(m.title))*titleText.leading() + vg.Length(len(m.lead))*leadText.leading() + vg.Length(len(m.keys))*legendRow + 5
}

// height below the chart, margin included.
func (m masthead) below() vg.Length {
	if len(m.caption) == 0 {
		return margin
	}
	return 8 + vg.Length(len(m.caption))*noteText.leading() + margin - 4
}

// draw puts the masthead on a page of height h.
func (m masthead) draw(s sheet, h vg.Length) {
	w := m.w + 2*margin
	s.polygon(paper, vg.Point{}, vg.Point{X: w}, vg.Point{X: w, Y: h}, vg.Point{Y: h})
	y := s.block(titleText, margin, h-margin, m.title)
	y = s.block(leadText, margin, y, m.lead) - 1
	for _, row := range m.keys {
		x := margin
		for _, k := range row {
			k.sample(s, vg.Point{X: x + k.width/2, Y: y - legendRow/2})
			s.text(bodyText, x+k.width+4, y-legendRow/2-3, 0, k.words)
			x += k.width + 4 + s.width(bodyText, k.words) + 14
		}
		y -= legendRow
	}
	s.block(noteText, margin, m.below()-8, m.caption)
}

// snap moves a hairline of half a point onto whole dots at 144 dpi.
func snap(l vg.Length) vg.Length { return vg.Length(math.Floor(float64(l)*2)/2) + 0.25 }

// ticks returns about n round values (steps of 1, 2, 2.5 or 5) within lo to
// hi, and the decimals they need. At least two come back if hi > lo.
func ticks(lo, hi float64, n int) (at []float64, decimals int) {
	exp := int(math.Floor(math.Log10((hi - lo) / float64(max(n, 2)))))
	best := math.Inf(1)
	for e := exp - 1; e <= exp+1; e++ {
		for i, m := range []float64{1, 2, 2.5, 5} {
			step := m * math.Pow10(e)
			first, last := math.Ceil(lo/step-1e-9), math.Floor(hi/step+1e-9)
			count := last - first + 1
			miss, dec := math.Abs(count-float64(n)), max(0, -e)
			if i == 2 && e <= 0 { // 2.5 and its tenths cost a digit
				miss, dec = miss+1.5, dec+1
			}
			if count < 2 || miss >= best {
				continue
			}
			best, at, decimals = miss, at[:0], dec
			for k := first; k <= last; k++ {
				at = append(at, k*step)
			}
		}
	}
	return at, decimals
}

// tickLabel prints v with a true minus and thin spaces from 10 000 on. Very
// large and very small values are written as 2e9 if that is exact.
func tickLabel(v float64, decimals int) string {
	if v == 0 {
		return "0"
	}
	if math.Abs(v) >= 1e7 || decimals > 5 {
		s := strconv.FormatFloat(v, 'e', 3, 64)
		if back, _ := strconv.ParseFloat(s, 64); math.Abs(back-v) <= 1e-12*math.Abs(v) {
			m, e, _ := strings.Cut(s, "e")
			n, _ := strconv.Atoi(e)
			return minus(fmt.Sprintf("%se%d", strings.TrimRight(strings.TrimRight(m, "0"), "."), n))
		}
	}
	s := strconv.FormatFloat(v, 'f', decimals, 64)
	whole, rest, _ := strings.Cut(s, ".")
	if first := len(whole) - len(strings.TrimPrefix(whole, "-")); len(whole)-first > 4 {
		for i := len(whole) - 3; i > first; i -= 3 {
			whole = whole[:i] + "\u2009" + whole[i:]
		}
	}
	if rest != "" {
		whole += "." + rest
	}
	return minus(whole)
}

// minus replaces the hyphen of a number.
func minus(s string) string { return strings.ReplaceAll(s, "-", "−") }

// yearStep returns how many years apart the labels of a year axis stand, so
// that labels of the given width keep apart.
func yearStep(perYear, label vg.Length) int {
	for _, n := range []int{1, 2, 5, 10, 20, 50, 100, 200, 500} {
		if vg.Length(n)*perYear >= label+4 {
			return n
		}
	}
	return 1000
}
