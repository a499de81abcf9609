package intake

import (
	"fmt"
	"strconv"
	"strings"

	"carryover/dataset"
)

// Line says what was made of one row of a sheet, or of one of its cells.
type Line struct {
	File  string
	Line  int // 0: more rows than are listed
	Table string
	Text  string   // as written, and what is stored: "Barn 2026-10-28 P 118 ppm Mehlich-3, 0-6 in -> 118 mg/kg"
	From  []string // where what the row leaves blank was taken from
}

func (l Line) String() string {
	text := l.Text
	if l.Line > 0 {
		text = fmt.Sprintf("%s:%d: %s: %s", l.File, l.Line, l.Table, l.Text)
	}
	if len(l.From) > 0 {
		text += " (" + strings.Join(l.From, "; ") + ")"
	}
	return text
}

// maxUnderstood is how many records are explained one by one; the rest are
// counted.
const maxUnderstood = 1000

// explain keeps what was made of the row that was just built.
func (r *row) explain() {
	if len(r.understood) >= maxUnderstood {
		r.moreUnderstood++
		return
	}
	r.understood = append(r.understood, Line{r.file, r.line, r.table.name, r.inWords(), bySource(r.filled)})
}

// bySource gathers "unit from X" and "method from X" into "unit, method from X".
func bySource(filled []string) (out []string) {
	of := map[string]int{}
	for _, f := range filled {
		what, source, _ := strings.Cut(f, " from ")
		i, met := of[source]
		if !met {
			of[source] = len(out)
			out = append(out, f)
			continue
		}
		names, _, _ := strings.Cut(out[i], " from ")
		out[i] = names + ", " + what + " from " + source
	}
	return out
}

// inWords tells the last record of the row's table beside what its cells say.
func (r *row) inWords() string {
	rec := &r.rec
	switch r.table.name {
	case "soil_tests":
		t := rec.SoilTests[len(rec.SoilTests)-1]
		depth := ""
		if t.DepthTo != nil {
			c := r.at("depth")
			if depth = c.text; depth == "" {
				c = r.at("depth from")
				depth = c.text + "-" + r.at("depth to").text
			}
			depth = inUnit(depth, c.unit)
		}
		of := t.Bed
		if t.Sample != "" {
			of += " (" + t.Sample + ")"
		}
		return reading(of, t.Date, t.DateBasis, t.Analyte, t.ReportedForm, t.Qualifier, t.ReportedValue, t.ReportedUnit, t.Method, depth, t.Value, t.Unit)
	case "water_tests":
		t := rec.WaterTests[len(rec.WaterTests)-1]
		return reading(t.Water, t.Date, t.DateBasis, t.Analyte, t.ReportedForm, t.Qualifier, t.ReportedValue, t.ReportedUnit, "", "", t.Value, t.Unit)
	case "leaf_tests":
		t := rec.LeafTests[len(rec.LeafTests)-1]
		return reading(t.Bed, t.Date, t.DateBasis, t.Analyte, "", t.Qualifier, t.ReportedValue, t.ReportedUnit, "", "", t.Value, t.Unit)
	}
	var parts []string
	for i := range r.table.fields {
		f, c := &r.table.fields[i], &r.cells[i]
		if c.text == "" || f.name == "unit" && len(parts) > 0 && r.table.find("amount") >= 0 {
			continue
		}
		text := f.name + " " + c.text
		if len(f.qs) > 0 && f.name != "depth" {
			var unitCell *cell
			if f.name == "amount" {
				unitCell = r.at("unit")
			}
			if v, q, _, as, _, ok := r.measured(f.name, unitCell); ok {
				if !strings.HasSuffix(c.text, as) {
					text += " " + as
				}
				if q.SI() != as {
					text += " -> " + short(v) + " " + q.SI()
				}
			}
		} else {
			text = inUnit(text, c.unit)
		}
		parts = append(parts, text)
	}
	return strings.Join(parts, ", ")
}

// inUnit adds the unit of its heading to a depth such as 0-6 that has none.
func inUnit(depth, of string) string {
	if end := strings.LastIndexAny(depth, "0123456789"); of == "" || strings.TrimSpace(depth[end+1:]) != "" {
		return depth
	}
	return depth + " " + of
}

// reading prints one value of a test: as printed, and as stored.
func reading(of string, day dataset.Date, basis, analyte, form, qualifier string, reported float64, as, method, depth string, v float64, stored string) string {
	text := fmt.Sprintf("%s %s %s %s%s %s", of, day, analyte, qualifier, trim(reported), as)
	if basis != dataset.ByDay {
		text = strings.Replace(text, day.String(), day.String()+" ("+basis+")", 1)
	}
	if as == "pH" {
		text = strings.TrimSuffix(text, " pH")
	}
	if form != "" && !strings.Contains(as, form) {
		text += " " + form
	}
	if method != "" {
		text += " " + method
	}
	if depth != "" {
		text += ", " + depth
	}
	if as == "pH" {
		return text
	}
	return text + " -> " + qualifier + short(v) + " " + stored
}

// short prints a figure with no more digits than a reader can use.
func short(v float64) string {
	if v >= 1000 {
		return strconv.FormatFloat(v, 'f', 0, 64)
	}
	return strconv.FormatFloat(v, 'g', 4, 64)
}
