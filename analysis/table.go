package analysis

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"github.com/apache/arrow/go/v17/arrow"
	"github.com/apache/arrow/go/v17/arrow/array"
	"github.com/apache/arrow/go/v17/arrow/memory"

	"carryover/dataset"
	"carryover/dataset/unit"
)

// Each exported table is one Arrow record, from which every format is written.
// Field metadata holds "unit", "method", "decimals" (digits after the point that
// the trade prints) and, for the bounds of a range, "range" (low or high), "of"
// (the field they belong to) and "level" (0.9). Values are rounded as the trade
// does; what is not known is null.

// Scale says how a table is to be shown: the units that SI is turned into, and
// which analytes (Only; nil: all).
type Scale struct {
	Only       []string
	SoilUnit   func(si string) string
	WeightUnit string
	Weight     func(kg float64) float64
	Length     func(cm float64) float64
	LengthUnit string
}

func (s Scale) shows(analyte string) bool { return s.Only == nil || slices.Contains(s.Only, analyte) }

// Tables lists the names that Table knows.
func Tables() []string { return []string{"levels", "drawdown", "harvests"} }

// Table returns one table of the review as an Arrow record, rows in the order
// of the review. The caller releases it. The error names the tables there are.
func (r *Review) Table(name string, s Scale) (arrow.Record, error) {
	b := &recordBuilder{}
	switch name {
	case "levels":
		r.levelsTable(b, s)
	case "drawdown":
		r.drawdownTable(b, s)
	case "harvests":
		r.harvestsTable(b, s)
	default:
		return nil, fmt.Errorf("no table %q: expected one of %v", name, Tables())
	}
	return b.record(name, r), nil
}

// recordBuilder collects columns of text or numbers, one row at a time.
type recordBuilder struct {
	fields []arrow.Field
	text   map[int][]string
	number map[int][]float64 // NaN: null
	rows   int
}

func (b *recordBuilder) field(name string, t arrow.DataType, meta ...string) int {
	keys, values := []string{}, []string{}
	for i := 0; i+1 < len(meta); i += 2 {
		if meta[i+1] != "" {
			keys, values = append(keys, meta[i]), append(values, meta[i+1])
		}
	}
	b.fields = append(b.fields, arrow.Field{Name: name, Type: t, Nullable: true, Metadata: arrow.NewMetadata(keys, values)})
	return len(b.fields) - 1
}

func (b *recordBuilder) textField(name string) int { return b.field(name, arrow.BinaryTypes.String) }

// numberField adds a column of numbers; its heading carries the unit.
func (b *recordBuilder) numberField(name, unitName, method string, decimals int, meta ...string) int {
	head := name
	switch {
	case unitName != "" && method != "":
		head += fmt.Sprintf(" (%s, %s)", unitName, method)
	case unitName+method != "":
		head += " (" + unitName + method + ")"
	}
	return b.field(head, arrow.PrimitiveTypes.Float64,
		append([]string{"unit", unitName, "method", method, "decimals", strconv.Itoa(decimals)}, meta...)...)
}

// rangeFields adds a value's two bounds.
func (b *recordBuilder) rangeFields(of int, decimals int) (low, high int) {
	name := b.fields[of].Name
	mk := func(bound string) int {
		return b.field(name+" "+bound, arrow.PrimitiveTypes.Float64, "range", bound, "of", name, "level", "0.9", "decimals", strconv.Itoa(decimals))
	}
	return mk("low"), mk("high")
}

func (b *recordBuilder) row() { b.rows++ }

func (b *recordBuilder) setText(field int, v string) {
	if b.text == nil {
		b.text = map[int][]string{}
	}
	for len(b.text[field]) < b.rows {
		b.text[field] = append(b.text[field], "")
	}
	b.text[field][b.rows-1] = v
}

func (b *recordBuilder) setNumber(field int, v float64) {
	if b.number == nil {
		b.number = map[int][]float64{}
	}
	for len(b.number[field]) < b.rows {
		b.number[field] = append(b.number[field], math.NaN())
	}
	meta := b.fields[field].Metadata
	if i := meta.FindKey("decimals"); i >= 0 {
		if d, err := strconv.Atoi(meta.Values()[i]); err == nil {
			scale := math.Pow(10, float64(d))
			v = math.Round(v*scale)/scale + 0 // no minus zero
		}
	}
	b.number[field][b.rows-1] = v
}

func (b *recordBuilder) record(name string, r *Review) arrow.Record {
	invented := "no"
	if r.Invented {
		invented = "yes"
	}
	meta := arrow.NewMetadata([]string{"table", "as_of", "invented"}, []string{name, r.AsOf.String(), invented})
	rb := array.NewRecordBuilder(memory.DefaultAllocator, arrow.NewSchema(b.fields, &meta))
	defer rb.Release()
	for i := range b.fields {
		switch fb := rb.Field(i).(type) {
		case *array.StringBuilder:
			for j := range b.rows {
				if v := b.text[i]; j < len(v) && v[j] != "" {
					fb.Append(v[j])
				} else {
					fb.AppendNull()
				}
			}
		case *array.Float64Builder:
			for j := range b.rows {
				if v := b.number[i]; j < len(v) && !math.IsNaN(v[j]) {
					fb.Append(v[j])
				} else {
					fb.AppendNull()
				}
			}
		}
	}
	return rb.NewRecord()
}

// series is one analyte by one method and unit: a column of a wide table.
type series struct{ analyte, method, unit string }

func rankSeries(list []series) []series {
	slices.SortStableFunc(list, func(x, y series) int { return unit.Rank(x.analyte) - unit.Rank(y.analyte) })
	return list
}

func (b *recordBuilder) seriesField(prefix string, c series, s Scale) (int, int) {
	a, _ := unit.ByID(c.analyte)
	method := c.method
	if method == "" && !a.Plain {
		method = "method not stated"
	}
	return b.numberField(prefix+c.analyte, s.SoilUnit(c.unit), method, a.Decimals), a.Decimals
}

// levelsTable has one row a test of the worked layer and one column an analyte.
// A result beyond the lab's limit is null in its column and stands in "beyond
// limit" as printed.
func (r *Review) levelsTable(b *recordBuilder, s Scale) {
	var cols []series
	for i := range r.Beds {
		for j := range r.Beds[i].Levels {
			l := &r.Beds[i].Levels[j]
			if c := (series{l.Analyte, l.Method, l.Estimate.Unit}); l.Top() && s.shows(l.Analyte) && !slices.Contains(cols, c) {
				cols = append(cols, c)
			}
		}
	}
	rankSeries(cols)
	grower, bed, season, timing, date := b.textField("grower"), b.textField("bed"), b.numberField("season", "", "", 0), b.textField("timing"), b.textField("date")
	from, to := b.numberField("depth from", s.LengthUnit, "", 0), b.numberField("depth to", s.LengthUnit, "", 0)
	lab, beyond := b.textField("lab"), b.textField("beyond limit")
	at := map[series]int{}
	for _, c := range cols {
		at[c], _ = b.seriesField("", c, s)
	}
	doubts := b.textField("doubts")
	type key struct {
		day         int32
		lab, ground string
		from, to    int
	}
	for i := range r.Beds {
		x := &r.Beds[i]
		rows := map[key][]*Level{}
		var order []key
		for j := range x.Levels {
			if l := &x.Levels[j]; l.Top() && s.shows(l.Analyte) {
				k := key{int32(l.Date), l.Lab, l.Ground, depthKey(l.DepthFrom), depthKey(l.DepthTo)}
				if rows[k] == nil {
					order = append(order, k)
				}
				rows[k] = append(rows[k], l)
			}
		}
		slices.SortStableFunc(order, func(a, c key) int { return int(a.day - c.day) })
		for _, k := range order {
			b.row()
			l := rows[k][0]
			b.setText(grower, x.Grower)
			b.setText(bed, x.Bed)
			b.setNumber(season, float64(l.Season))
			b.setText(timing, l.Timing)
			b.setText(date, l.Date.String())
			b.setText(lab, l.Lab)
			if l.DepthTo != nil {
				b.setNumber(to, s.Length(*l.DepthTo))
				b.setNumber(from, 0)
			}
			limits := ""
			for _, l := range rows[k] {
				if l.Qualifier != "" {
					if limits != "" {
						limits += "; "
					}
					limits += l.Analyte + " " + l.Text()
					continue
				}
				b.setNumber(at[series{l.Analyte, l.Method, l.Estimate.Unit}], l.Estimate.Value)
			}
			b.setText(beyond, limits)
			var ids []int
			for _, l := range rows[k] {
				ids = append(ids, l.Doubts...)
			}
			b.setText(doubts, r.doubtWords(ids))
		}
	}
}

// doubtWords names doubts in a word or two each; the review tells them whole.
func (r *Review) doubtWords(ids []int) string {
	var words []string
	for _, id := range ids {
		if c := r.Doubts[id-1].Code; !slices.Contains(words, c) {
			words = append(words, c)
		}
	}
	slices.Sort(words)
	return strings.Join(words, ", ")
}

// drawdownTable has one row a bed and pair of spring and autumn tests, and
// three columns an analyte: drawdown and its 90 % range.
func (r *Review) drawdownTable(b *recordBuilder, s Scale) {
	var cols []series
	for i := range r.Beds {
		for j := range r.Beds[i].Changes {
			c := &r.Beds[i].Changes[j]
			if x := (series{c.Analyte, c.Method, c.Estimate.Unit}); c.Kind == Drawdown && s.shows(c.Analyte) && !slices.Contains(cols, x) {
				cols = append(cols, x)
			}
		}
	}
	rankSeries(cols)
	grower, bed, season, spring, autumn := b.textField("grower"), b.textField("bed"), b.numberField("season", "", "", 0), b.textField("spring test"), b.textField("autumn test")
	at := map[series][3]int{}
	for _, c := range cols {
		v, d := b.seriesField("", c, s)
		lo, hi := b.rangeFields(v, d)
		at[c] = [3]int{v, lo, hi}
	}
	doubts := b.textField("doubts")
	for i := range r.Beds {
		x := &r.Beds[i]
		type key struct {
			season   int
			from, to dataset.Date // a window may hold several tests
		}
		rows := map[key][]*Change{}
		var order []key
		for j := range x.Changes {
			if c := &x.Changes[j]; c.Kind == Drawdown && s.shows(c.Analyte) {
				k := key{c.Season, c.From.Date, c.To.Date}
				if rows[k] == nil {
					order = append(order, k)
				}
				rows[k] = append(rows[k], c)
			}
		}
		slices.SortFunc(order, func(a, c key) int {
			return cmp.Or(cmp.Compare(a.season, c.season), cmp.Compare(a.from, c.from), cmp.Compare(a.to, c.to))
		})
		for _, y := range order {
			b.row()
			b.setText(grower, x.Grower)
			b.setText(bed, x.Bed)
			b.setNumber(season, float64(y.season))
			b.setText(spring, y.from.String())
			b.setText(autumn, y.to.String())
			var ids []int
			for _, c := range rows[y] {
				ids = append(ids, c.Doubts...)
				f := at[series{c.Analyte, c.Method, c.Estimate.Unit}]
				b.setNumber(f[0], c.Estimate.Value)
				b.setNumber(f[1], c.Estimate.Low)
				b.setNumber(f[2], c.Estimate.High)
			}
			b.setText(doubts, r.doubtWords(ids))
		}
	}
}

// harvestsTable has one row a fruit; a lost fruit has no weight.
func (r *Review) harvestsTable(b *recordBuilder, s Scale) {
	grower, bed, season, date := b.textField("grower"), b.textField("bed"), b.numberField("season", "", "", 0), b.textField("date")
	crop, plant, weight, weighed, note := b.textField("crop"), b.textField("plant"), b.numberField("weight", s.WeightUnit, "", 0), b.textField("weighed"), b.textField("note")
	for i := range r.Beds {
		x := &r.Beds[i]
		type line struct {
			season  int
			date    string
			h       *Harvest
			lostHow string
		}
		var lines []line
		for j := range x.Harvests {
			lines = append(lines, line{x.Harvests[j].Season, x.Harvests[j].Date.String(), &x.Harvests[j], ""})
		}
		for _, l := range x.Lost {
			lines = append(lines, line{l.Season, l.Date.String(), nil, l.How})
		}
		slices.SortStableFunc(lines, func(a, c line) int {
			return cmp.Or(cmp.Compare(a.season, c.season), cmp.Compare(a.date, c.date))
		})
		for _, l := range lines {
			b.row()
			b.setText(grower, x.Grower)
			b.setText(bed, x.Bed)
			b.setNumber(season, float64(l.season))
			b.setText(date, l.date)
			if l.h == nil {
				b.setText(weighed, "lost")
				b.setText(note, l.lostHow)
				continue
			}
			b.setText(crop, l.h.Crop)
			b.setText(plant, l.h.Plant)
			b.setNumber(weight, s.Weight(l.h.Weight))
			b.setText(weighed, l.h.Weighed)
		}
	}
}
