package intake

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"carryover/dataset"
	"carryover/dataset/unit"
)

// SheetNames lists the sheets, in the order a grower meets them.
func SheetNames() (out []string) {
	for _, t := range tables() {
		out = append(out, t.sheet)
	}
	return out
}

// Back writes rows of the records as the sheet they could have come from, in
// the words and units of whoever wrote them: what [Read] takes back as the same
// facts. Each row carries its address in the column row, so that a figure
// changed there is known as a change of that row. Columns that no row fills are
// left out, but for needed ones. beds, if any, are the only ones whose rows are
// written; sheets that know no beds are whole.
//
// Cells are nil, string, float64 or [dataset.Date]. units (us or metric) chooses
// the headings' units; a length that these cannot give exactly carries its own.
// The error is for a sheet of another name.
func Back(sheet string, rec *dataset.Records, beds []string, units string, south bool) (Page, error) {
	for _, t := range tables() {
		if fold(t.sheet) != fold(sheet) && fold(t.name) != fold(sheet) {
			continue
		}
		b := back{t: &t, metric: units == "metric", south: south, beds: beds}
		n, set := b.rows(rec)
		if set == nil {
			break
		}
		return b.page(n, set, units), nil
	}
	names := SheetNames()
	names = slices.DeleteFunc(names, func(s string) bool { return s == "withdraw" })
	return Page{}, fmt.Errorf("%s", say(fmt.Sprintf("no sheet %q", sheet), "one of "+strings.Join(names, ", "), didYouMean(sheet, names)))
}

// back is one sheet on its way out.
type back struct {
	t             *table
	metric, south bool
	beds          []string
	row           map[string]any
}

// page gathers the rows and drops columns that stay empty.
func (b *back) page(n int, set func(i int), units string) Page {
	var all []map[string]any
	byBed := len(b.beds) > 0 && b.t.find("bed") >= 0
	used := map[string]bool{}
	for i := range n {
		b.row = map[string]any{}
		set(i)
		if bed, _ := b.row["bed"].(string); byBed && !slices.ContainsFunc(b.beds, func(want string) bool { return strings.EqualFold(want, bed) }) {
			continue
		}
		for k, v := range b.row {
			if v == nil || v == "" {
				delete(b.row, k)
				continue
			}
			used[k] = true
		}
		all = append(all, b.row)
	}
	p := Page{Name: b.t.sheet}
	var names []string
	for i := range b.t.fields {
		f := &b.t.fields[i]
		if f.need || used[f.name] {
			names = append(names, f.name)
			p.Head = append(p.Head, f.heading(units))
		}
	}
	for _, row := range all {
		cells := make([]any, len(names))
		for k, name := range names {
			cells[k] = row[name]
		}
		p.Rows = append(p.Rows, cells)
	}
	return p
}

// put sets a cell; the field must be one of the table's.
func (b *back) put(field string, v any) { b.row[b.t.fields[b.t.index(field)].name] = v }

func (b *back) common(grower, note string, s dataset.Source) {
	b.put("grower", grower)
	b.put("note", note)
	b.put("row", dataset.Conflict{There: s}.Replaces())
}

// date writes a day as exactly as it is known.
func (b *back) date(field string, d dataset.Date, basis string) {
	switch basis {
	case dataset.Assumed:
		b.put(field, "~"+d.String())
		return
	case dataset.ByMonth:
		if d.Time().Day() == 15 {
			b.put(field, d.String()[:7])
			return
		}
	case dataset.BySeason:
		for _, name := range []string{"spring", "autumn"} {
			if w := (dates{south: b.south}).season(name, d.Year()); w.day == d {
				b.put(field, name+" "+strconv.Itoa(d.Year()))
				return
			}
		}
	}
	b.put(field, d)
	if basis != dataset.ByDay && basis != "" {
		b.put("date basis", basis)
	}
}

func (b *back) day(field string, d *dataset.Date) {
	if d != nil {
		b.put(field, *d)
	}
}

func (b *back) whole(field string, n *int32) {
	if n != nil {
		b.put(field, float64(*n))
	}
}

func (b *back) number(field string, v *float64) {
	if v != nil {
		b.put(field, *v)
	}
}

// size writes a measured value in the heading's unit, or with its SI unit where
// the heading's cannot give the same value again.
func (b *back) size(field string, si *float64) {
	if si == nil {
		return
	}
	f := &b.t.fields[b.t.index(field)]
	text, bare := f.express(*si, b.metric)
	if bare {
		v, _ := strconv.ParseFloat(text, 64)
		b.put(field, v)
		return
	}
	b.put(field, text)
}

// express prints a stored value in the unit of the field's heading; bare tells
// that no unit had to be added to make it come back as the same value.
func (f *field) express(si float64, metric bool) (text string, bare bool) {
	name := f.us
	if metric {
		name = f.si
	}
	for digits := 1; digits <= 15; digits++ {
		v := si
		if factor, ok := unit.Factor(name, f.qs...); ok {
			v /= factor
		}
		if f.qs[0] == unit.Temperature && !metric {
			v += 32
		}
		text = strconv.FormatFloat(v, 'g', digits, 64)
		x, _ := strconv.ParseFloat(text, 64)
		if again, _, err := unit.Convert(x, name, f.qs...); err == nil && again == si {
			return trim(x), true
		}
	}
	return trim(si) + " " + f.qs[0].SI(), false
}

func (b *back) depth(from, to *float64) {
	if from == nil || to == nil {
		return
	}
	f := &b.t.fields[b.t.index("depth")]
	lo, okLo := f.express(*from, b.metric)
	hi, okHi := f.express(*to, b.metric)
	if !okLo || !okHi {
		lo, hi = trim(*from), trim(*to)+" cm"
	}
	b.put("depth", lo+"-"+hi)
}

// reading writes a figure with the < or > before it.
func (b *back) reading(field string, v float64, qualifier string) {
	switch qualifier {
	case "":
		b.put(field, v)
	default:
		b.put(field, qualifier+trim(v))
	}
}

// amount writes what was spread as it was written: about, a range, or bare.
func (b *back) amount(a *dataset.Amendment) {
	if a.ReportedAmount == nil {
		return
	}
	b.put("unit", a.ReportedUnit)
	ranged := a.AmountLow != nil && a.AmountHigh != nil && a.Amount != nil && *a.Amount > 0
	switch {
	case a.Qualifier == "about" && (!ranged || sameWorth(*a.AmountHigh, *a.Amount*(1+unit.AboutShare))):
		b.put("amount", "about "+trim(*a.ReportedAmount))
	case ranged:
		scale := *a.ReportedAmount / *a.Amount
		b.put("amount", strings.TrimSpace(a.Qualifier+" "+near(*a.AmountLow*scale)+"-"+near(*a.AmountHigh*scale)))
	default:
		b.put("amount", *a.ReportedAmount)
	}
}

// near prints a number without the noise of a conversion.
func near(v float64) string {
	x, _ := strconv.ParseFloat(strconv.FormatFloat(v, 'g', 12, 64), 64)
	return trim(x)
}

// rows returns how many rows the table has and what fills b.row with one.
func (b *back) rows(rec *dataset.Records) (int, func(i int)) {
	switch b.t.name {
	case "beds":
		return len(rec.Beds), func(i int) {
			x := &rec.Beds[i]
			b.put("bed", x.Bed)
			b.date("from", x.From, x.FromBasis)
			b.put("was", x.Was)
			b.size("area", x.Area)
			b.depth(x.DepthFrom, x.DepthTo)
			b.size("bulk density", x.BulkDensity)
			b.put("density source", x.DensitySource)
			b.number("native ph", x.NativePH)
			b.size("native om", x.NativeOM)
			b.put("texture", x.Texture)
			b.common(x.Grower, x.Note, x.Source)
		}
	case "soil_tests":
		return len(rec.SoilTests), func(i int) {
			x := &rec.SoilTests[i]
			b.put("bed", x.Bed)
			b.date("date", x.Date, x.DateBasis)
			b.put("timing", x.Timing)
			b.put("lab", x.Lab)
			b.put("report", x.Report)
			b.put("site", x.Site)
			b.put("sample", x.Sample)
			b.depth(x.DepthFrom, x.DepthTo)
			b.whole("cores", x.Cores)
			b.put("analyte", x.Analyte)
			b.reading("value", x.ReportedValue, x.Qualifier)
			b.put("unit", x.ReportedUnit)
			b.put("form", x.ReportedForm)
			b.put("method", x.ReportedMethod)
			b.common(x.Grower, x.Note, x.Source)
		}
	case "materials":
		return len(rec.Materials), func(i int) {
			x := &rec.Materials[i]
			b.put("material", x.Material)
			b.put("kind", x.Kind)
			b.day("from", x.From)
			b.put("component", x.Component)
			if x.ReportedForm != "" {
				b.put("component", x.ReportedForm)
			}
			b.put("value", x.ReportedValue)
			b.put("unit", x.ReportedUnit)
			b.put("basis", x.Basis)
			b.put("origin", x.Origin)
			b.common(x.Grower, x.Note, x.Source)
		}
	case "amendments":
		return len(rec.Amendments), func(i int) {
			x := &rec.Amendments[i]
			b.put("bed", x.Bed)
			b.date("date", x.Date, x.DateBasis)
			b.put("material", x.Material)
			b.amount(x)
			b.put("placed", x.Placed)
			b.size("mixed depth", x.MixedDepth)
			b.whole("every days", x.Every)
			b.day("until", x.Until)
			b.put("same day", x.SameDay)
			b.common(x.Grower, x.Note, x.Source)
		}
	case "plantings":
		return len(rec.Plantings), func(i int) {
			x := &rec.Plantings[i]
			b.put("bed", x.Bed)
			b.put("season", float64(x.Season))
			b.put("crop", x.Crop)
			b.whole("plants", x.Plants)
			b.day("set out", x.SetOut)
			b.day("pollinated", x.Pollinated)
			b.day("feeding ended", x.FeedingEnded)
			b.put("feeds complete", x.FeedsComplete)
			b.day("vines cleared", x.VinesCleared)
			b.size("vines hauled", x.VinesHauled)
			b.day("fruit lost", x.FruitLost)
			b.put("lost how", x.LostHow)
			b.common(x.Grower, x.Note, x.Source)
		}
	case "harvests":
		return len(rec.Harvests), func(i int) {
			x := &rec.Harvests[i]
			b.put("bed", x.Bed)
			b.date("date", x.Date, x.DateBasis)
			b.put("crop", x.Crop)
			b.put("plant", x.Plant)
			f := &b.t.fields[b.t.index("weight")]
			if head := map[bool]string{true: f.si, false: f.us}[b.metric]; x.ReportedUnit == head {
				b.put("weight", x.ReportedWeight)
			} else {
				b.put("weight", trim(x.ReportedWeight)+" "+x.ReportedUnit)
			}
			b.put("weighed", x.Weighed)
			b.common(x.Grower, x.Note, x.Source)
		}
	case "covers":
		return len(rec.Covers), func(i int) {
			x := &rec.Covers[i]
			b.put("bed", x.Bed)
			b.date("sown", x.Sown, x.SownBasis)
			b.put("species", x.Species)
			b.day("ended", x.Ended)
			b.size("height", x.Height)
			b.size("biomass", x.Biomass)
			b.common(x.Grower, x.Note, x.Source)
		}
	case "weather":
		return len(rec.Weather), func(i int) {
			x := &rec.Weather[i]
			b.put("site", x.Site)
			b.put("bed", x.Bed)
			b.put("date", x.Date)
			b.put("period", x.Period)
			b.size("rain", x.Rain)
			b.size("irrigation", x.Irrigation)
			if x.IrrigationL != nil {
				b.put("irrigation", trim(*x.IrrigationL)+" L")
			}
			b.size("high", x.TempMax)
			b.size("low", x.TempMin)
			b.size("humidity", x.Humidity)
			b.size("wind", x.Wind)
			b.size("sun", x.Sun)
			b.common(x.Grower, x.Note, x.Source)
		}
	case "water_tests":
		return len(rec.WaterTests), func(i int) {
			x := &rec.WaterTests[i]
			b.put("water", x.Water)
			b.date("date", x.Date, x.DateBasis)
			b.put("lab", x.Lab)
			b.put("analyte", x.Analyte)
			b.reading("value", x.ReportedValue, x.Qualifier)
			b.put("unit", x.ReportedUnit)
			b.put("form", x.ReportedForm)
			b.common(x.Grower, x.Note, x.Source)
		}
	case "tillage":
		return len(rec.Tillage), func(i int) {
			x := &rec.Tillage[i]
			b.put("bed", x.Bed)
			b.date("date", x.Date, x.DateBasis)
			b.put("tool", x.Tool)
			b.size("depth", x.Depth)
			b.common(x.Grower, x.Note, x.Source)
		}
	case "leaf_tests":
		return len(rec.LeafTests), func(i int) {
			x := &rec.LeafTests[i]
			b.put("bed", x.Bed)
			b.date("date", x.Date, x.DateBasis)
			b.put("lab", x.Lab)
			b.put("part", x.Part)
			b.put("analyte", x.Analyte)
			b.reading("value", x.ReportedValue, x.Qualifier)
			b.put("unit", x.ReportedUnit)
			b.common(x.Grower, x.Note, x.Source)
		}
	case "advice":
		return len(rec.Advice), func(i int) {
			x := &rec.Advice[i]
			b.put("bed", x.Bed)
			b.date("date", x.Date, x.DateBasis)
			b.put("lab", x.Lab)
			b.put("report", x.Report)
			b.put("item", x.Item)
			b.number("amount", x.Amount)
			b.put("unit", x.Unit)
			b.put("text", x.Text)
			b.common(x.Grower, x.Note, x.Source)
		}
	case "lists":
		return len(rec.Lists), func(i int) {
			x := &rec.Lists[i]
			b.put("bed", x.Bed)
			b.put("listed on", x.ListedOn)
			b.put("season", float64(x.Season))
			b.put("timing", x.Timing)
			b.put("material", x.Material)
			b.put("amount", x.ReportedAmount)
			b.put("unit", x.ReportedUnit)
			b.common(x.Grower, x.Note, x.Source)
		}
	case "forecasts":
		return len(rec.Forecasts), func(i int) {
			x := &rec.Forecasts[i]
			b.put("bed", x.Bed)
			b.put("analyte", x.Analyte)
			b.put("made on", x.MadeOn)
			b.put("season", float64(x.Season))
			b.put("timing", x.Timing)
			b.put("method", x.Method)
			b.put("value", x.Value)
			b.put("low", x.Low)
			b.put("high", x.High)
			b.put("level", x.Level)
			b.put("unit", x.Unit)
			b.put("basis", x.Basis)
			b.common(x.Grower, x.Note, x.Source)
		}
	}
	return 0, nil
}
