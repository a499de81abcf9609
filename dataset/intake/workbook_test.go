package intake

import (
	"bytes"
	"errors"
	"fmt"
	"html"
	"math"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"github.com/xuri/excelize/v2"

	"carryover/dataset"
	"carryover/dataset/unit"
)

func TestWorkbookBytes(t *testing.T) {
	for _, units := range []string{"us", "metric"} {
		a, err := Workbook(units, []string{"Barn"})
		must(t, err)
		if b, err := Workbook(units, []string{"Barn"}); err != nil || !bytes.Equal(a, b) {
			t.Errorf("two workbooks of the same book differ: %v", err)
		}
	}
	p := []Page{{Name: "a", Head: []string{"x"}, Rows: [][]any{{1.5}}, Notes: []string{"n"}}, {Name: "b", Head: []string{"y"}}}
	a, err := WriteWorkbook(p)
	must(t, err)
	if b, err := WriteWorkbook(p); err != nil || !bytes.Equal(a, b) {
		t.Errorf("two workbooks of the same pages differ: %v", err)
	}
}

// TestBlankWorkbook reads the blank workbook with another program's library.
func TestBlankWorkbook(t *testing.T) {
	data, err := Workbook("us", nil)
	must(t, err)
	f, err := excelize.OpenReader(bytes.NewReader(data))
	must(t, err)
	defer f.Close()
	want := append(append([]string{bookReadme}, SheetNames()...), bookChoices)
	if got := f.GetSheetList(); !slices.Equal(got, want) {
		t.Fatalf("sheets %v, want %v", got, want)
	}
	for _, tpl := range Templates("us") {
		name, ok := strings.CutSuffix(tpl.Name, ".csv")
		if !ok {
			continue
		}
		got, err := f.GetRows(name)
		must(t, err)
		head, _, _ := strings.Cut(string(tpl.Data), "\n")
		if len(got) != 1 || strings.Join(got[0], ",") != head {
			t.Errorf("%s: %q, want %q", name, got, head)
		}
		notes, err := f.GetComments(name)
		must(t, err)
		if len(notes) < len(got[0])/2 {
			t.Errorf("%s: %d notes on %d headings", name, len(notes), len(got[0]))
		}
		panes, err := f.GetPanes(name)
		must(t, err)
		if !panes.Freeze || panes.YSplit != 1 {
			t.Errorf("%s: headings are not frozen: %+v", name, panes)
		}
	}
	lists := map[string]string{}
	dvs, err := f.GetDataValidations("soil_tests")
	must(t, err)
	head, err := f.GetRows("soil_tests")
	must(t, err)
	for _, dv := range dvs {
		col, _ := cellAt(strings.Split(dv.Sqref, ":")[0])
		lists[head[0][col]] = html.UnescapeString(dv.Formula1)
	}
	if lists["bed"] != "beds!$A$2:$A$200" || lists["timing"] != `"spring,autumn,mid-season"` || !strings.HasPrefix(lists["analyte"], "choices!$") || !strings.HasPrefix(lists["unit"], "choices!$") {
		t.Errorf("drop-downs %q", lists)
	}
	if shown, err := f.GetSheetVisible(bookChoices); err != nil || shown {
		t.Errorf("the sheet of choices is seen: %v", err)
	}
	notes, err := f.GetComments("soil_tests")
	must(t, err)
	if got, want := notes[0].Text, "the name of the bed, spelt the same way everywhere; must be filled in\nFor example (invented): Long bed"; got != want {
		t.Errorf("note %q, want %q", got, want)
	}
}

// TestChoices shows that the drop-downs offer nothing that is refused.
func TestChoices(t *testing.T) {
	l, _ := choicesOf(nil)
	offered := map[string][]string{}
	for _, row := range l.rows {
		for i, v := range row {
			if v != nil {
				offered[l.columns[i].head] = append(offered[l.columns[i].head], v.(string))
			}
		}
	}
	takes := func(key string, accept func(word string) bool) {
		t.Helper()
		if len(offered[key]) < 2 {
			t.Errorf("%s: offers %v", key, offered[key])
		}
		for _, w := range offered[key] {
			if !accept(w) {
				t.Errorf("%s: %s is offered and refused", key, w)
			}
		}
	}
	some := func(ids []string, try func(id string) error) bool {
		return slices.ContainsFunc(ids, func(id string) bool { return try(id) == nil })
	}
	takes("soil_tests.unit", func(w string) bool {
		return some([]string{"K", "OM", "EC", "CEC"}, func(id string) error {
			a, _ := unit.ByID(id)
			_, err := unit.Soil(unit.SoilReading{Analyte: a, Form: unit.Form{Name: id, Factor: 1}, Value: 1, Unit: w, DepthTo: 15})
			return err
		})
	})
	takes("water_tests.unit", func(w string) bool {
		return some([]string{"Na", "EC"}, func(id string) error { _, err := unit.Water(id, "", 1, w); return err })
	})
	takes("leaf_tests.unit", func(w string) bool { _, err := unit.Leaf("K", 1, w); return err == nil })
	takes("materials.unit", func(w string) bool {
		return some([]string{"N", "density", "EC"}, func(id string) error { _, err := unit.Component(id, 1, w); return err })
	})
	takes("soil_tests.analyte", func(w string) bool {
		_, _, err := unit.ParseAnalyte(w, "")
		return err == nil || unit.About(err) == "form"
	})
	takes("soil_tests.method", func(w string) bool {
		return slices.ContainsFunc(unit.Analytes(), func(a unit.Analyte) bool { m, err := unit.ParseMethod(w, a); return err == nil && m == w })
	})
	for _, table := range []string{"amendments", "advice", "lists"} {
		takes(table+".unit", func(w string) bool {
			_, ok := unit.Factor(w, unit.Mass, unit.MassPerArea, unit.Liquid, unit.LiquidPerArea, unit.Volume, unit.Length)
			return ok
		})
	}
}

// sameFacts compares records apart from the names of their sheets.
var sameFacts = []cmp.Option{cmpopts.EquateEmpty(), cmp.Transformer("line", func(s dataset.Source) dataset.Source {
	s.File = s.File[strings.LastIndexAny(s.File, "/")+1:]
	s.File = strings.TrimSuffix(s.File, ".csv")
	return s
})}

// TestFilledWorkbook fills in the blank workbook with the invented examples, as
// a spreadsheet program stores what is typed, and reads the same records as from
// the CSV sheets.
func TestFilledWorkbook(t *testing.T) {
	for side, units := range []string{"us", "metric"} {
		data, err := Workbook(units, nil)
		must(t, err)
		f, err := excelize.OpenReader(bytes.NewReader(data))
		must(t, err)
		var src []Source
		for _, tb := range tables() {
			if tb.name == "corrections" {
				continue // needs rows in a book
			}
			var head []string
			for i := range tb.fields {
				if !tb.fields[i].more {
					head = append(head, tb.fields[i].heading(units))
				}
			}
			text := strings.Join(head, ",") + "\n"
			for line, eg := range tb.eg[side] {
				text += eg + "\n"
				for i, cell := range strings.Split(eg, ",") {
					name, err := excelize.CoordinatesToCellName(i+1, line+2)
					must(t, err)
					must(t, typeIn(f, tb.sheet, name, cell))
				}
			}
			src = append(src, Source{tb.sheet + ".csv", []byte(text)})
		}
		filled, err := f.WriteToBuffer()
		must(t, err)
		opt := Options{Grower: "Ann", Units: units, Today: dataset.DateOf(2028, 1, 1)}
		want, err := Read(src, opt)
		must(t, err)
		got, err := Read([]Source{{"sheets.xlsx", filled.Bytes()}}, opt)
		must(t, err)
		if len(want.Rows) < 14 {
			t.Fatalf("only %v", want.Rows)
		}
		slices.SortFunc(want.Rows, func(a, b Count) int { return strings.Compare(a.Table, b.Table) })
		slices.SortFunc(got.Rows, func(a, b Count) int { return strings.Compare(a.Table, b.Table) })
		if d := cmp.Diff(want.Rows, got.Rows); d != "" {
			t.Error(d)
		}
		if d := cmp.Diff(want.Records, got.Records, sameFacts...); d != "" {
			t.Error(d)
		}
		f.Close()
	}
}

// typeIn stores what a spreadsheet program stores when text is typed into a cell.
func typeIn(f *excelize.File, sheet, cell, text string) error {
	id, err := f.GetCellStyle(sheet, cell)
	if err != nil {
		return err
	}
	if id == 0 {
		if id, err = f.GetColStyle(sheet, strings.TrimRight(cell, "0123456789")); err != nil {
			return err
		}
	}
	style, err := f.GetStyle(id)
	if err != nil {
		return err
	}
	if style.NumFmt != 49 {
		if v, err := strconv.ParseFloat(text, 64); err == nil {
			return f.SetCellFloat(sheet, cell, v, -1, 64)
		}
		if day, err := time.Parse("2006-01-02", text); err == nil {
			id, err := f.NewStyle(&excelize.Style{NumFmt: 14})
			if err != nil {
				return err
			}
			if err := f.SetCellValue(sheet, cell, day); err != nil {
				return err
			}
			return f.SetCellStyle(sheet, cell, cell, id)
		}
		if month, err := time.Parse("2006-01", text); err == nil {
			code := "mmm-yy"
			id, err := f.NewStyle(&excelize.Style{CustomNumFmt: &code})
			if err != nil {
				return err
			}
			if err := f.SetCellValue(sheet, cell, month); err != nil {
				return err
			}
			return f.SetCellStyle(sheet, cell, cell, id)
		}
	}
	return f.SetCellStr(sheet, cell, text)
}

// TestBlankIsNothing reads the workbook as it was written.
func TestBlankIsNothing(t *testing.T) {
	data, err := Workbook("metric", nil)
	must(t, err)
	if got, _ := bookFaults(t, data, Options{}); got != "lab.xlsx: headings but no rows: expected a row for each record below the headings of a sheet: fill it in, the sheet beds first" {
		t.Error(got)
	}
	res, err := Read([]Source{{"lab.xlsx", data}, {"tests.csv", []byte(oneTest)}}, Options{Grower: "Ann", Today: today})
	if err != nil || len(res.Records.SoilTests) != 1 || strings.Join(res.Notes, "\n") != "lab.xlsx: headings but no rows: nothing to read" {
		t.Error(err, res.Notes)
	}
}

// TestWriteWorkbook reads pages back.
func TestWriteWorkbook(t *testing.T) {
	half, day, none := 0.5, dataset.DateOf(2026, 10, 28), (*float64)(nil)
	text := "=1+1 <&> \"q\" _x0041_ \n é"
	data, err := WriteWorkbook([]Page{
		{Name: "soil tests", Head: []string{"a", "b", "c", "d"}, Notes: []string{"one", "two"}, Rows: [][]any{
			{text, 6.5, day, true},
			{"0042", &half, &day, int32(7)},
			{nil, none, day.Time(), ""},
			{"2-4", 1e-7, dataset.DateOf(1850, 3, 1), math.Copysign(0, -1)},
		}},
		{Name: "empty", Head: []string{"x"}},
	})
	must(t, err)
	f, err := excelize.OpenReader(bytes.NewReader(data))
	must(t, err)
	defer f.Close()
	got := map[string][][]string{}
	for _, s := range f.GetSheetList() {
		got[s], err = f.GetRows(s)
		must(t, err)
	}
	want := map[string][][]string{
		"soil tests": {{"a", "b", "c", "d"}, {text, "6.5", "2026-10-28", "yes"}, {"0042", "0.5", "2026-10-28", "7"}, {"", "", "2026-10-28"}, {"2-4", "0.0000001", "1850-03-01", "0"}},
		"empty":      {{"x"}},
		"Notes":      {{"sheet", "note"}, {"soil tests", "one"}, {"soil tests", "two"}},
	}
	// The library leaves the mark of an escaped underscore in place.
	if d := cmp.Diff(want, got, cmp.Transformer("mark", func(s string) string { return strings.ReplaceAll(s, "_x005F_", "_") })); d != "" {
		t.Error(d)
	}
	if formula, err := f.GetCellFormula("soil tests", "A2"); err != nil || formula != "" {
		t.Errorf("a text became the formula %q: %v", formula, err)
	}
	r := newReader(Options{})
	sheets, serr := r.open(Source{"x.xlsx", data})
	if serr != nil {
		t.Fatal(serr)
	}
	sheets[0].lines.next()
	if cells, _, _ := sheets[0].lines.next(); cells[0] != text || cells[2] != "2026-10-28" {
		t.Errorf("%q", cells)
	}
}

func TestWriteWorkbookRefuses(t *testing.T) {
	for want, pages := range map[string][]Page{
		"a workbook without sheets": nil,
		`sheet "a/b": expected a name of 1 to 31 letters without any of []:*?/\`: {{Name: "a/b"}},
		`sheet "A": named twice`: {{Name: "a"}, {Name: "A"}},
		`sheet "a", row 1: 2 cells under 1 headings, or more than 1048576 rows`: {{Name: "a", Head: []string{"x"}, Rows: [][]any{{1, 2}}}},
		`sheet "a", row 1, column x: NaN is no number`:                          {{Name: "a", Head: []string{"x"}, Rows: [][]any{{math.NaN()}}}},
		`sheet "a", row 1, column x: a struct {} cannot be written`:             {{Name: "a", Head: []string{"x"}, Rows: [][]any{{struct{}{}}}}},
		`sheet "a", row 1, column x: a text of more than 32,767 letters`:        {{Name: "a", Head: []string{"x"}, Rows: [][]any{{strings.Repeat("x", 32768)}}}},
	} {
		if _, err := WriteWorkbook(pages); err == nil || err.Error() != want {
			t.Errorf("\n got %v\nwant %s", err, want)
		}
	}
}

// FuzzWorkbook reads workbooks whose parts say anything.
func FuzzWorkbook(f *testing.F) {
	const book = `<workbook xmlns:r="r"><workbookPr date1904="1"/><sheets><sheet name="soil_tests" sheetId="1" r:id="rId1"/></sheets></workbook>`
	const sheet = `<worksheet><sheetData><row r="1"><c r="A1" t="s"><v>0</v></c><c t="inlineStr"><is><t>from</t></is></c></row><row r="3" hidden="1"><c r="A3" s="1"><v>46323</v></c><c r="B3" t="b"><f>1=1</f><v>1</v></c><c t="e"><v>#N/A</v></c></row></sheetData><mergeCells><mergeCell ref="A3:B4"/></mergeCells></worksheet>`
	const texts = `<sst><si><t>bed</t></si><si><r><t>1,5</t></r><rPh><t>x</t></rPh></si></sst>`
	const styles = `<styleSheet><numFmts><numFmt numFmtId="164" formatCode="yyyy\-mm\-dd"/></numFmts><cellXfs><xf numFmtId="0"/><xf numFmtId="164"/></cellXfs></styleSheet>`
	f.Add(book, sheet, texts, styles)
	f.Add(book, `<x:worksheet><x:sheetData/></x:worksheet>`, texts, styles)
	f.Add(book, `<worksheet><sheetData><row r="2"><c r="ZZZZ1"/></row></sheetData></worksheet>`, `<sst/>`, `<a/>`)
	f.Fuzz(func(t *testing.T, book, sheet, texts, styles string) {
		const rel = `<Relationship Id="%s" Type="x/%s" Target="%s"/>`
		data := zipOf(t, map[string]string{
			"[Content_Types].xml":        "<Types/>",
			"_rels/.rels":                "<Relationships>" + fmt.Sprintf(rel, "rId1", "officeDocument", "xl/workbook.xml") + "</Relationships>",
			"xl/_rels/workbook.xml.rels": "<Relationships>" + fmt.Sprintf(rel, "rId1", "worksheet", "s.xml") + fmt.Sprintf(rel, "rId2", "sharedStrings", "/xl/t.xml") + fmt.Sprintf(rel, "rId3", "styles", "y.xml") + "</Relationships>",
			"xl/workbook.xml":            book, "xl/s.xml": sheet, "xl/t.xml": texts, "xl/y.xml": styles,
		})
		for _, o := range []Options{{}, {Table: "beds", Decimal: "comma"}, {Map: &Map{Name: "m.toml", shown: true, shape: shape{sheets: []string{"soil_tests"}}}}} {
			o.Grower, o.Today = "Ann", today
			res, err := Read([]Source{{"a.xlsx", data}}, o)
			sound(t, res, err)
		}
	})
}

// TestWorkbookFlips turns a bit in the bytes of a workbook, one after another: it
// is refused, or read as if nothing had happened; never otherwise.
func TestWorkbookFlips(t *testing.T) {
	data := bookWith(t, []string{"beds", "Plan"}, func(f *excelize.File) {
		setRows(t, f, "beds", []any{"bed", "from", "area (sq ft)", "depth (in)", "note"}, []any{"Barn", time.Date(2020, 4, 1, 0, 0, 0, 0, time.UTC), 1250.5, "0-6", "=x"})
		setRows(t, f, "Plan", []any{"sketch"})
	})
	read := func(data []byte) (Result, error) {
		return Read([]Source{{"a.xlsx", data}}, Options{Grower: "Ann", Today: today})
	}
	want, err := read(data)
	must(t, err)
	refused, tried, step := 0, 0, 3
	if os.Getenv("CARRYOVER_LONG") != "" {
		step = 1
	}
	for i := 0; i < len(data); i += step {
		tried++
		mask := byte(1 << (i % 8))
		data[i] ^= mask
		got, err := read(data)
		data[i] ^= mask
		var f *Faults
		if errors.As(err, &f) {
			refused++
		} else if err != nil {
			t.Fatalf("byte %d: %T %v", i, err, err)
		} else if d := cmp.Diff(want.Records, got.Records); d != "" {
			t.Fatalf("byte %d: %s", i, d)
		}
	}
	if refused < tried/2 {
		t.Errorf("only %d of %d turned bytes were missed", refused, tried)
	}
}
