package intake

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"
	"unicode"

	"carryover/dataset"
	"carryover/dataset/unit"
)

// Correct makes the entry take the place of what the book holds of the same bed
// and day: of a test the values of the same analytes, else the one row; or of
// the rows at the address in the column replaces. What the entry does not say
// stays as it was. It returns the rows that it takes the place of, and the
// claims that say so. grower is that of the book.
//
// The error is a *Faults: no such row, or more than one.
func (e *Entry) Correct(opt Options, grower string) (*dataset.Records, []dataset.Claim, error) {
	old, err := e.standing(opt, cmp.Or(e.Cells["grower"], grower))
	if err != nil {
		return nil, nil, err
	}
	rows, err := asTyped(e.Table, old, opt, grower)
	if err != nil {
		return nil, nil, err
	}
	delete(e.Cells, "replaces") // claims say it
	if e.Table == "soil_tests" {
		rows, err = e.correctValues(rows)
	} else {
		rows, err = e.correctRow(rows)
	}
	if err != nil {
		return nil, nil, err
	}
	var claims []dataset.Claim
	at := dataset.Source{File: e.Name(), Line: 1}
	for _, row := range rows {
		s, err := dataset.ParseAddress(row["row"])
		if err != nil {
			return nil, nil, err
		}
		claims = append(claims, dataset.Claim{Table: e.Table, At: at, OfBatch: s.Batch, OfFile: s.File, OfLine: s.Line, Analyte: row["analyte"]})
	}
	is := func(s dataset.Source, analyte string) bool {
		return slices.ContainsFunc(claims, func(c dataset.Claim) bool {
			return c.OfBatch == s.Batch && c.OfFile == s.File && c.OfLine == s.Line && c.Analyte == analyte
		})
	}
	return only(e.Table, old, func(r bookRow) bool { return is(*r.source, r.analyte) }), claims, nil
}

// bookRow is what the rows of all tables that can be typed have in common.
type bookRow struct {
	source               *dataset.Source
	grower, bed, analyte string
	thing                string // material or crop
	when                 int    // its day, or of a planting its season
}

// only returns the rows of one table that are meant.
func only(table string, rec *dataset.Records, means func(bookRow) bool) *dataset.Records {
	out := &dataset.Records{}
	switch table {
	case "soil_tests":
		out.SoilTests = pick(rec.SoilTests, func(t *dataset.SoilTest) bool {
			return means(bookRow{&t.Source, t.Grower, t.Bed, t.Analyte, "", int(t.Date)})
		})
	case "amendments":
		out.Amendments = pick(rec.Amendments, func(t *dataset.Amendment) bool {
			return means(bookRow{&t.Source, t.Grower, t.Bed, "", t.Material, int(t.Date)})
		})
	case "harvests":
		out.Harvests = pick(rec.Harvests, func(t *dataset.Harvest) bool {
			return means(bookRow{&t.Source, t.Grower, t.Bed, "", t.Crop, int(t.Date)})
		})
	case "plantings":
		out.Plantings = pick(rec.Plantings, func(t *dataset.Planting) bool {
			return means(bookRow{&t.Source, t.Grower, t.Bed, "", "", int(t.Season)})
		})
	case "covers":
		out.Covers = pick(rec.Covers, func(t *dataset.Cover) bool {
			return means(bookRow{&t.Source, t.Grower, t.Bed, "", "", int(t.Sown)})
		})
	}
	return out
}

// LastLike returns the last row of the book before the one that was read, of
// the same bed, and material or crop. grower is that of the book.
func LastLike(table string, in, book *dataset.Records, grower string) *dataset.Records {
	var x, last bookRow
	only(table, in, func(r bookRow) bool { x = r; return false })
	only(table, book, func(r bookRow) bool {
		if r.grower == cmp.Or(x.grower, grower) && r.bed == x.bed && r.thing == x.thing && r.when < x.when && (last.source == nil || r.when >= last.when) {
			last = r
		}
		return false
	})
	return only(table, book, func(r bookRow) bool { return r.source == last.source })
}

// asTyped writes rows of the book as one would type them, by column: a figure
// with its unit, where its column has one.
func asTyped(table string, rec *dataset.Records, opt Options, grower string) ([]map[string]string, error) {
	page, err := Back(table, rec, nil, opt.Units, opt.South)
	if err != nil {
		return nil, err
	}
	var rows []map[string]string
	for _, cells := range page.Rows {
		row := map[string]string{}
		for i, c := range cells {
			name, u := parseHeading(page.Head[i])
			switch c := c.(type) {
			case nil:
			case float64:
				row[name] = strings.TrimSpace(trim(c) + " " + u)
			default:
				if row[name] = fmt.Sprint(c); name == "depth" {
					row[name] = inUnit(row[name], u)
				}
			}
		}
		if row["grower"] == grower {
			delete(row, "grower") // as a sheet of the book has it
		}
		rows = append(rows, row)
	}
	return rows, nil
}

// Again finds the amendments and harvests of the book that those read may say
// again: of the same bed and day, and of the same material, or crop and plant.
// says has a text for each, "52 lb calcitic lime (batch 3)". grower is that of
// the book.
func Again(in *dataset.Records, opt Options, grower string) (same *dataset.Records, says []string, err error) {
	same = &dataset.Records{}
	book := cmp.Or(opt.Book, same)
	alike := func(g, bed, thing, g2, bed2, thing2 string) bool {
		return cmp.Or(g, grower) == cmp.Or(g2, grower) && bed == bed2 && fold(thing) == fold(thing2)
	}
	for _, x := range in.Amendments {
		same.Amendments = append(same.Amendments, pick(book.Amendments, func(t *dataset.Amendment) bool {
			return alike(x.Grower, x.Bed, x.Material, t.Grower, t.Bed, t.Material) && (onDay(t, x.Date) || onDay(&x, t.Date))
		})...)
	}
	for _, x := range in.Harvests {
		same.Harvests = append(same.Harvests, pick(book.Harvests, func(t *dataset.Harvest) bool {
			return alike(x.Grower, x.Bed, x.Crop, t.Grower, t.Bed, t.Crop) && x.Date == t.Date && (x.Plant == "" || t.Plant == "" || x.Plant == t.Plant)
		})...)
	}
	for _, table := range []string{"amendments", "harvests"} {
		rows, err := asTyped(table, same, opt, grower)
		if err != nil {
			return nil, nil, err
		}
		for _, r := range rows {
			at, err := dataset.ParseAddress(r["row"])
			if err != nil {
				return nil, nil, err
			}
			words := fields([]string{r["amount"], r["unit"], r["weight"], r["material"], r["crop"]})
			if r["plant"] != "" {
				words = append(words, "of plant", r["plant"])
			}
			says = append(says, fmt.Sprintf("%s (batch %d)", strings.Join(words, " "), at.Batch))
		}
	}
	return same, says, nil
}

// onDay tells whether a spreading, or one of a run, was on the day.
func onDay(a *dataset.Amendment, day dataset.Date) bool {
	if a.Every == nil || a.Until == nil {
		return a.Date == day
	}
	return day >= a.Date && day <= *a.Until && int32(day-a.Date)%*a.Every == 0
}

// standing returns the rows of the book that the entry may mean.
func (e *Entry) standing(opt Options, grower string) (*dataset.Records, error) {
	rec := opt.Book
	if rec == nil {
		rec = &dataset.Records{}
	}
	field := entryWords(e.Table)[1]
	when, _ := strconv.Atoi(e.Cells["season"])
	if field != "season" && e.Cells["replaces"] == "" {
		d := dates{layout: opt.Dates, south: opt.South, last: opt.Today.Year() + 1}
		w, err := d.read(e.Cells[field])
		if err != nil {
			return nil, entryFault(field, err.Error(), "", "")
		}
		if w.year && e.Cells["timing"] != "" {
			w = d.season(e.Cells["timing"], w.day.Year())
		}
		when = int(w.day)
	}
	named, err := dataset.ParseAddress(e.Cells["replaces"])
	if e.Cells["replaces"] != "" && err != nil {
		return nil, entryFault("replaces", err.Error(), "", "")
	}
	at := func(when int) string {
		if field == "season" {
			return strconv.Itoa(when)
		}
		return dataset.Date(when).String()
	}
	var others []string
	old := only(e.Table, rec, func(r bookRow) bool {
		ofIt := e.Table != "soil_tests" || slices.ContainsFunc(e.Values, func(v Value) bool { a, _ := v.analyte(); return a.ID == r.analyte })
		if e.Cells["replaces"] != "" {
			return ofIt && r.source.Batch == named.Batch && r.source.Line == named.Line && (named.File == "" || named.File == r.source.File)
		}
		if r.grower != grower || r.bed != e.Cells["bed"] {
			return false
		}
		others = append(others, at(r.when))
		return ofIt && r.when == when
	})
	if old.Total() > 0 {
		return old, nil
	}
	what := map[string]string{"soil_tests": "such value of a soil test", "amendments": "amendment", "harvests": "harvest", "plantings": "planting", "covers": "cover crop"}[e.Table]
	if e.Cells["replaces"] != "" {
		return nil, entryFault("replaces", strconv.Quote(e.Cells["replaces"])+": the book holds no "+what+" from there", "", "carryover export shows every row with its address")
	}
	mend := "leave out --correct to add it"
	if slices.Sort(others); others != nil {
		others = slices.Compact(others)
		mend = "the book has " + shorten(strings.Join(others[max(0, len(others)-4):], ", ")) + "; leave out --correct to add it, or name its row with --replaces"
	}
	return nil, entryFault("", "no "+what+" of "+e.Cells["bed"]+" at "+cmp.Or(e.Cells[field], "no day")+" to correct", "", mend)
}

func pick[T any](rows []T, means func(*T) bool) (out []T) {
	for i := range rows {
		if means(&rows[i]) {
			out = append(out, rows[i])
		}
	}
	return out
}

// narrow keeps, column by column, the rows that agree with what the entry
// says, as long as any does: what agrees with none is what is corrected.
func (e *Entry) narrow(rows []map[string]string, say map[string]string, columns ...string) ([]map[string]string, error) {
	for _, c := range columns {
		agree := slices.DeleteFunc(slices.Clone(rows), func(r map[string]string) bool { return fold(r[c]) != fold(say[c]) })
		if say[c] != "" && len(agree) > 0 {
			rows = agree
		}
	}
	if len(rows) < 2 {
		return rows, nil
	}
	var list []string
	for _, r := range rows[:min(4, len(rows))] {
		text := r["row"]
		for _, c := range []string{"material", "amount", "weight", "crop", "plant", "species", "analyte", "value", "lab", "report", "sample", "depth", "method"} {
			if r[c] != "" && (say[c] == "" || fold(r[c]) != fold(say[c])) {
				text += ", " + r[c]
				if c == "amount" {
					text += " " + r["unit"]
				}
			}
		}
		list = append(list, text)
	}
	return nil, entryFault("", plural(len(rows), "row")+" of the book may be meant ("+strings.Join(list, "; ")+")", "one", "name it, as --replaces "+rows[0]["row"])
}

func (e *Entry) correctRow(rows []map[string]string) ([]map[string]string, error) {
	rows, err := e.narrow(rows, e.Cells, "material", "crop", "plant", "species")
	if err != nil {
		return nil, err
	}
	for field, text := range rows[0] {
		_, said := e.Cells[field]
		if said || field == "row" || field == "unit" && strings.ContainsFunc(e.Cells["amount"], unicode.IsLetter) {
			continue
		}
		e.Cells[field] = text
	}
	return rows, nil
}

func (e *Entry) correctValues(rows []map[string]string) (of []map[string]string, err error) {
	var report map[string]string // what values share that the report did not have
	for i := range e.Values {
		v := &e.Values[i]
		a, _ := v.analyte()
		said := maps.Clone(e.Cells)
		said["method"] = v.Method
		one, err := e.narrow(slices.DeleteFunc(slices.Clone(rows), func(r map[string]string) bool { return r["analyte"] != a.ID }),
			said, "lab", "report", "site", "sample", "timing", "depth", "method")
		if err != nil {
			return nil, err
		}
		if len(one) == 0 {
			continue
		}
		of = append(of, one[0])
		v.kept = maps.Clone(one[0])
		delete(v.kept, "row")
		if _, _, err := unit.ParseAnalyte(v.Analyte, v.Form); unit.About(err) == "form" {
			v.Form = v.kept["form"]
		}
		v.Unit, v.Method = cmp.Or(v.Unit, v.kept["unit"]), cmp.Or(v.Method, v.kept["method"])
		if report == nil {
			report = maps.Clone(v.kept)
			delete(report, "note")
		}
	}
	for i := range e.Values {
		if v := &e.Values[i]; v.kept == nil {
			v.kept = report
		}
	}
	return of, nil
}
