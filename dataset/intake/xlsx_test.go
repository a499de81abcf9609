package intake

import (
	"archive/zip"
	"bytes"
	"errors"
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/xuri/excelize/v2"

	"carryover/dataset"
)

// bookWith makes a workbook of another program, with one sheet for each name.
func bookWith(t testing.TB, names []string, fill func(f *excelize.File)) []byte {
	t.Helper()
	f := excelize.NewFile()
	defer f.Close()
	for i, n := range names {
		if i == 0 {
			must(t, f.SetSheetName("Sheet1", n))
		} else {
			_, err := f.NewSheet(n)
			must(t, err)
		}
	}
	fill(f)
	b, err := f.WriteToBuffer()
	must(t, err)
	return b.Bytes()
}

func must(t testing.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

// setRows puts rows on a sheet, from row 1.
func setRows(t testing.TB, f *excelize.File, sheet string, rows ...[]any) {
	t.Helper()
	for i, r := range rows {
		must(t, f.SetSheetRow(sheet, fmt.Sprintf("A%d", i+1), &r))
	}
}

// bookOf makes a workbook of one sheet.
func bookOf(t testing.TB, name string, all ...[]any) []byte {
	return bookWith(t, []string{name}, func(f *excelize.File) { setRows(t, f, name, all...) })
}

var testHead = []any{"bed", "date", "analyte", "value", "unit", "method"}

// setFormat sets a number format.
func setFormat(t testing.TB, f *excelize.File, sheet, cell, code string) {
	t.Helper()
	id, err := f.NewStyle(&excelize.Style{CustomNumFmt: &code})
	must(t, err)
	must(t, f.SetCellStyle(sheet, cell, cell, id))
}

func setBuiltin(t testing.TB, f *excelize.File, sheet, cell string, id int) {
	t.Helper()
	id, err := f.NewStyle(&excelize.Style{NumFmt: id})
	must(t, err)
	must(t, f.SetCellStyle(sheet, cell, cell, id))
}

func bookFaults(t *testing.T, data []byte, opt Options) (string, []string) {
	t.Helper()
	opt.Grower, opt.Today = "Ann", today
	res, err := Read([]Source{{"lab.xlsx", data}}, opt)
	if err == nil {
		return "", res.Notes
	}
	if len(res.Rows) > 0 || len(res.Records.SoilTests) > 0 {
		t.Fatal("rows beside faults")
	}
	var f *Faults
	if !errors.As(err, &f) {
		t.Fatalf("%T", err)
	}
	return err.Error(), nil
}

func TestWorkbookFaults(t *testing.T) {
	row := []any{"Barn", "2026-10-28", "P", 118, "ppm", "Mehlich-3"}
	tests := []struct {
		name string
		data func(t *testing.T) []byte
		want string
	}{
		{"formula", func(t *testing.T) []byte {
			return bookWith(t, []string{"soil_tests"}, func(f *excelize.File) {
				setRows(t, f, "soil_tests", testHead, row)
				must(t, f.SetCellFormula("soil_tests", "D2", "2*59"))
			})
		}, "lab.xlsx/soil_tests:2: column value: D2 holds a formula (=2*59, last shown 118): expected a figure: paste it as a value"},
		{"error cell", func(t *testing.T) []byte {
			return editPart(t, bookOf(t, "soil_tests", testHead, row), "xl/worksheets/sheet1.xml", `<v>118</v>`, `<v>#DIV/0!</v>`, `<c r="D2">`, `<c r="D2" t="e">`)
		}, "lab.xlsx/soil_tests:2: column value: D2 shows #DIV/0!: expected a figure or an empty cell: mend it or clear it"},
		{"merged", func(t *testing.T) []byte {
			return bookWith(t, []string{"soil_tests"}, func(f *excelize.File) {
				setRows(t, f, "soil_tests", testHead, row, []any{nil, "2026-10-28", "K", 310, "ppm", "Mehlich-3"}, []any{nil, "2026-10-28", "Ca", 1900, "ppm", "Mehlich-3"})
				must(t, f.MergeCell("soil_tests", "A2", "A4"))
			})
		}, "lab.xlsx/soil_tests:2: column bed: A2:A4 are merged: expected one value in each: unmerge and fill in"},
		{"no table", func(t *testing.T) []byte {
			return bookWith(t, []string{"Plan", "Scratch"}, func(f *excelize.File) {
				setRows(t, f, "Plan", []any{"what", "when"}, []any{"lime", "soon"})
				setRows(t, f, "Scratch", []any{"x"})
			})
		}, "lab.xlsx: no sheet that belongs to a table (Plan, Scratch): expected the headings of beds, soil_tests, materials, amendments, plantings, harvests, covers, weather, water_tests, tillage, leaf_tests, advice, lists, forecasts, withdraw: name the sheet after its table, or describe it with --map"},
		{"one foreign sheet", func(t *testing.T) []byte { return bookOf(t, "Results", []any{"Sample", "P ppm"}, []any{"Barn", 118}) },
			"lab.xlsx/Results:1: headings that belong to no one sheet (Sample, P ppm): expected those of beds, soil_tests, materials, amendments, plantings, harvests, covers, weather, water_tests, tillage, leaf_tests, advice, lists, forecasts, withdraw: name the file after its sheet, or say --table, or describe it with --map"},
		{"empty", func(t *testing.T) []byte { return bookOf(t, "Sheet1") },
			"lab.xlsx: a workbook without filled sheets that can be seen (Sheet1): expected a sheet with headings and rows: fill it in; carryover new writes one with headings"},
		{"only hidden", func(t *testing.T) []byte {
			return bookWith(t, []string{"a", "soil_tests"}, func(f *excelize.File) {
				setRows(t, f, "soil_tests", testHead, row)
				must(t, f.SetSheetVisible("soil_tests", false))
			})
		}, "lab.xlsx: a workbook without filled sheets that can be seen (a, soil_tests): expected a sheet with headings and rows: fill it in; carryover new writes one with headings"},
		{"day without year", func(t *testing.T) []byte {
			return bookWith(t, []string{"beds"}, func(f *excelize.File) {
				setRows(t, f, "beds", []any{"bed", "from", "depth (in)"}, []any{"Barn", "2020-04-01", 46181})
				setBuiltin(t, f, "beds", "C2", 16)
			})
		}, "lab.xlsx/beds:2: column depth (in): C2 shows 8-Jun, a day without its year: expected the figures as they were typed, or a day with its year: where 6-8 was typed, the program took it for a day: set the cells to text and type it again"},
		{"no heading above", func(t *testing.T) []byte {
			return bookOf(t, "soil_tests", testHead, append(row[:6:6], nil, nil, "see Tom"))
		}, `lab.xlsx/soil_tests:2: "see Tom" in column I: expected a heading above it: name the column or clear the cell`},
		{"far column", func(t *testing.T) []byte {
			return bookWith(t, []string{"soil_tests"}, func(f *excelize.File) {
				setRows(t, f, "soil_tests", testHead, row)
				must(t, f.SetCellValue("soil_tests", "NTP2", 1))
			})
		}, "lab.xlsx/soil_tests:2: a cell in column NTP: expected at most 1,000 columns (to ALL): save the part of the sheet that is meant, in a workbook of its own"},
		{"headings alone", func(t *testing.T) []byte {
			return bookWith(t, []string{"beds", "soil_tests"}, func(f *excelize.File) {
				setRows(t, f, "soil_tests", testHead)
				setRows(t, f, "beds", []any{"bed", "from"})
			})
		}, "lab.xlsx: headings but no rows: expected a row for each record below the headings of a sheet: fill it in, the sheet beds first"},
		{"two ways of decimals", func(t *testing.T) []byte {
			return bookOf(t, "soil_tests", testHead, []any{"Barn", "2026-10-28", "P", "11,5", "ppm", "Mehlich-3"}, []any{"Barn", "2026-10-28", "K", "310.5", "ppm", "Mehlich-3"})
		}, `lab.xlsx/soil_tests:3: "310.5" has a decimal point, "11,5" in line 2 a decimal comma: expected one way in the whole sheet: mend one of them, or say --decimal comma or --decimal point`},
		{"open decimals", func(t *testing.T) []byte {
			return bookOf(t, "soil_tests", testHead, []any{"Barn", "2026-10-28", "P", "1,234", "ppm", "Mehlich-3"})
		}, `lab.xlsx/soil_tests:2: "1,234", which may be a decimal or thousands: expected a figure in the sheet that shows which, as 12,5 or 12.5: say --decimal comma or --decimal point`},
		{"no workbook", func(t *testing.T) []byte { return zipOf(t, map[string]string{"a.csv": "bed\n"}) },
			"lab.xlsx: a zip archive: expected a sheet (CSV or XLSX): unpack it and name the sheets in it"},
		{"ODS", func(t *testing.T) []byte {
			return zipOf(t, map[string]string{"mimetype": "application/vnd.oasis.opendocument.spreadsheet", "content.xml": "<a/>"})
		}, "lab.xlsx: an OpenDocument workbook (ODS): expected a sheet (CSV or XLSX): open it and save its sheet as XLSX or CSV"},
		{"Numbers", func(t *testing.T) []byte { return zipOf(t, map[string]string{"Index/Document.iwa": "x"}) },
			"lab.xlsx: a Numbers document: expected a sheet (CSV or XLSX): open it and save its sheet as XLSX or CSV"},
		{"binary workbook", func(t *testing.T) []byte { return zipOf(t, map[string]string{"xl/workbook.bin": "x"}) },
			"lab.xlsx: a binary workbook (XLSB): expected a sheet (CSV or XLSX): open it and save its sheet as XLSX or CSV"},
		{"password", func(t *testing.T) []byte {
			f := excelize.NewFile()
			defer f.Close()
			var b bytes.Buffer
			must(t, f.Write(&b, excelize.Options{Password: "secret"}))
			return b.Bytes()
		}, "lab.xlsx: a workbook behind a password: expected a sheet (CSV or XLSX): open it and save it without the password"},
		{"cut short", func(t *testing.T) []byte { b := bookOf(t, "soil_tests", testHead, row); return b[:len(b)/2] },
			"lab.xlsx: a workbook that is damaged (zip: not a valid zip file): expected one that opens: open it, save it again as XLSX and import that"},
		{"rows break off", func(t *testing.T) []byte {
			return editPart(t, bookOf(t, "soil_tests", testHead, row), "xl/worksheets/sheet1.xml", `</sheetData>`, ``)
		}, "lab.xlsx: a workbook that is damaged (xl/worksheets/sheet1.xml: its rows break off): expected one that opens: open it, save it again as XLSX and import that"},
		{"no such text", func(t *testing.T) []byte {
			return editPart(t, bookOf(t, "soil_tests", testHead, row), "xl/worksheets/sheet1.xml", `<c r="A2" t="s"><v>6</v>`, `<c r="A2" t="s"><v>600</v>`)
		}, "lab.xlsx/soil_tests:2: column bed: A2 points to a text that is not in the workbook: expected a value: open the workbook and save it again"},
		{"a text without end", func(t *testing.T) []byte {
			return editPart(t, bookOf(t, "soil_tests", testHead, row), "xl/worksheets/sheet1.xml", `<c r="A2" t="s"><v>6</v>`, `<c r="A2" t="inlineStr"><is><t>`+strings.Repeat("x", maxCell+1)+`</t></is>`)
		}, "lab.xlsx/soil_tests:2: a cell of more than 32,767 letters: expected a figure or a short text: shorten it"},
		{"one part as two sheets", func(t *testing.T) []byte {
			return editPart(t, bookOf(t, "soil_tests", testHead, row), "xl/workbook.xml", `</sheets>`, `<sheet name="b" sheetId="2" r:id="rId1"/></sheets>`)
		}, "lab.xlsx: a workbook that is damaged (xl/worksheets/sheet1.xml is two sheets): expected one that opens: open it, save it again as XLSX and import that"},
		{"bomb", func(t *testing.T) []byte {
			return claimed(t, bookOf(t, "soil_tests", testHead, row), "xl/worksheets/sheet1.xml", 201<<20)
		}, "lab.xlsx: a workbook whose part sheet1.xml unzips to 201 MB: expected at most 200 MB: save the sheet alone, as CSV"},
		{"great bomb", func(t *testing.T) []byte {
			return claimed(t, bookOf(t, "soil_tests", testHead, row), "xl/media/photo.png", 1<<40)
		}, "lab.xlsx: a workbook that unzips to more than 512 MB: expected at most that: save the sheet alone, as CSV"},
		{"bomb that hides its bulk", func(t *testing.T) []byte {
			return claimed(t, bookOf(t, "soil_tests", testHead, row), "xl/worksheets/sheet1.xml", 100)
		}, "lab.xlsx: a workbook that is damaged (xl/worksheets/sheet1.xml: zip: not a valid zip file): expected one that opens: open it, save it again as XLSX and import that"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			got, _ := bookFaults(t, tt.data(t), Options{})
			if got != tt.want {
				t.Errorf("\n got %s\nwant %s", got, tt.want)
			}
		})
	}
}

// zipOf makes a zip archive.
func zipOf(t *testing.T, parts map[string]string) []byte {
	t.Helper()
	var b bytes.Buffer
	w := zip.NewWriter(&b)
	for _, name := range slices.Sorted(maps.Keys(parts)) {
		f, err := w.Create(name)
		must(t, err)
		_, err = io.WriteString(f, parts[name])
		must(t, err)
	}
	must(t, w.Close())
	return b.Bytes()
}

// editPart replaces text in one part of a workbook.
func editPart(t testing.TB, data []byte, part string, oldnew ...string) []byte {
	t.Helper()
	in, err := zip.NewReader(bytes.NewReader(data), int64(len(data)))
	must(t, err)
	var b bytes.Buffer
	w := zip.NewWriter(&b)
	done := false
	for _, f := range in.File {
		if f.Name != part {
			must(t, w.Copy(f))
			continue
		}
		r, err := f.Open()
		must(t, err)
		text, err := io.ReadAll(r)
		must(t, err)
		s := string(text)
		for i := 0; i < len(oldnew); i += 2 {
			if !strings.Contains(s, oldnew[i]) {
				t.Fatalf("%s has no %s:\n%s", part, oldnew[i], s)
			}
			s = strings.Replace(s, oldnew[i], oldnew[i+1], 1)
		}
		out, err := w.Create(part)
		must(t, err)
		_, err = io.WriteString(out, s)
		must(t, err)
		done = true
	}
	if !done {
		t.Fatal("no part " + part)
	}
	must(t, w.Close())
	return b.Bytes()
}

// claimed states another unzipped size for a part, which it adds if need be.
func claimed(t *testing.T, data []byte, part string, size uint64) []byte {
	t.Helper()
	in, err := zip.NewReader(bytes.NewReader(data), int64(len(data)))
	must(t, err)
	var b bytes.Buffer
	w := zip.NewWriter(&b)
	add := func(h zip.FileHeader, from io.Reader) {
		h.UncompressedSize64 = size
		out, err := w.CreateRaw(&h)
		must(t, err)
		_, err = io.Copy(out, from)
		must(t, err)
	}
	done := false
	for _, f := range in.File {
		if f.Name != part {
			must(t, w.Copy(f))
			continue
		}
		from, err := f.OpenRaw()
		must(t, err)
		add(f.FileHeader, from)
		done = true
	}
	if !done {
		add(zip.FileHeader{Name: part, Method: zip.Deflate}, strings.NewReader(""))
	}
	must(t, w.Close())
	return b.Bytes()
}

// TestWorkbookNotes says what was passed over, and reads the rest.
func TestWorkbookNotes(t *testing.T) {
	row := func(day string) []any { return []any{"Barn", day, "K", 118, "ppm", "Mehlich-3"} }
	data := bookWith(t, []string{"README", "Soil tests", "Plan", "soil_tests 2025", "old", "Sheet6", "Notes"}, func(f *excelize.File) {
		setRows(t, f, "README", []any{"what this is"})
		setRows(t, f, "Soil tests", testHead, row("2026-10-28"), nil, []any{"#", "passed over"}, row("2026-04-28"))
		must(t, f.SetRowVisible("Soil tests", 5, false))
		setRows(t, f, "Plan", []any{"a", "sketch"}, []any{1})
		setRows(t, f, "soil_tests 2025", testHead, row("2025-10-28"))
		setRows(t, f, "old", testHead, row("2024-10-28"))
		must(t, f.SetSheetVisible("old", false))
		setRows(t, f, "Sheet6", []any{"bed", "date", "weight (lb)", "weighed", "#my thoughts"}, []any{"Barn", "2026-10-03", 1250.5, "scale", "=?"})
		must(t, f.SetCellFormula("Sheet6", "E2", "1+1"))
		setRows(t, f, "Notes", []any{"sheet", "note"})
	})
	res, err := Read([]Source{{"book.xlsx", data}}, Options{Grower: "Ann", Today: today})
	must(t, err)
	want := `book.xlsx: hidden sheets passed over: old
book.xlsx: sheets passed over, since they belong to no table: Plan
book.xlsx/Soil tests: its hidden rows and columns are read like the others
book.xlsx/Soil tests: 1 line below the first row passed over, since it starts with #: line 4`
	if got := strings.Join(res.Notes, "\n"); got != want {
		t.Errorf("\n got %s\nwant %s", got, want)
	}
	var places []string
	for _, s := range res.Records.SoilTests {
		places = append(places, fmt.Sprintf("%s:%d", s.File, s.Line))
	}
	if got := fmt.Sprint(places); got != "[book.xlsx/Soil tests:2 book.xlsx/Soil tests:5 book.xlsx/soil_tests 2025:2]" {
		t.Error(got)
	}
	if len(res.Records.Harvests) != 1 || res.Records.Harvests[0].File != "book.xlsx/Sheet6" {
		t.Errorf("%+v", res.Records.Harvests)
	}
	_, notes := bookFaults(t, withPart(t, bookOf(t, "soil_tests", testHead, row("2026-10-28")), "xl/vbaProject.bin"), Options{})
	if got := strings.Join(notes, "\n"); got != "lab.xlsx: its macros are passed over" {
		t.Error(got)
	}
}

func withPart(t *testing.T, data []byte, name string) []byte {
	t.Helper()
	in, err := zip.NewReader(bytes.NewReader(data), int64(len(data)))
	must(t, err)
	var b bytes.Buffer
	w := zip.NewWriter(&b)
	for _, f := range in.File {
		must(t, w.Copy(f))
	}
	_, err = w.Create(name)
	must(t, err)
	must(t, w.Close())
	return b.Bytes()
}

// TestFormulas reads formulas as they were last shown where the map says so, and
// refuses those that were never worked out.
func TestFormulas(t *testing.T) {
	data := bookWith(t, []string{"S"}, func(f *excelize.File) {
		setRows(t, f, "S", []any{"a", "b", "c", "d"}, []any{1.5, "x", 46323})
		setBuiltin(t, f, "S", "C2", 14)
	})
	// The library that made it drops what formulas last showed.
	data = editPart(t, data, "xl/worksheets/sheet1.xml", `<c r="A2">`, `<c r="A2"><f>3/2</f>`, `<c r="B2" t="s"><v>4</v></c>`, `<c r="B2" t="str"><f>"x"</f><v>x</v></c>`,
		`<c r="C2" s="1">`, `<c r="C2" s="1"><f t="shared" ref="C2" si="0">TODAY()</f>`, `</row></sheetData>`, `<c r="D2"><f>C2*2</f></c></row></sheetData>`)
	for _, shown := range []bool{false, true} {
		r := newReader(Options{Map: &Map{shown: shown}})
		sheets, serr := r.open(Source{"x.xlsx", data})
		if serr != nil {
			t.Fatal(serr)
		}
		sheets[0].lines.next()
		cells, _, _ := sheets[0].lines.next()
		if got := fmt.Sprintf("%q", cells); got != `["1.5" "x" "2026-10-28" ""]` {
			t.Error(got)
		}
		var got []string
		for _, f := range sheets[0].lines.flaws() {
			got = append(got, f.found)
		}
		want := "[D2 holds a formula (=C2*2, never worked out)]"
		if !shown {
			want = `[A2 holds a formula (=3/2, last shown 1.5) B2 holds a formula (="x", last shown x) C2 holds a formula (=TODAY(), last shown 2026-10-28) D2 holds a formula (=C2*2)]`
		}
		if fmt.Sprint(got) != want {
			t.Errorf("\n got %v\nwant %s", got, want)
		}
	}
}

// TestMerges tells a range once, where data begin.
func TestMerges(t *testing.T) {
	data := bookWith(t, []string{"harvests"}, func(f *excelize.File) {
		setRows(t, f, "harvests", []any{"bed", "date", "weight (lb)", "weighed", "#mine"}, []any{"Barn", "2026-10-03", 1250.5, "scale", "a"}, []any{nil, "2026-10-04", 900, "scale"}, []any{"Hill", "2026-10-04", 901, "scale"})
		must(t, f.MergeCell("harvests", "A1", "A3"))
		must(t, f.MergeCell("harvests", "E2", "E4"))
	})
	if got, _ := bookFaults(t, data, Options{}); got != "lab.xlsx/harvests:2: column bed: A1:A3 are merged: expected one value in each: unmerge and fill in" {
		t.Error(got)
	}
}

// TestCells reads what other programs put in cells.
func TestCells(t *testing.T) {
	data := bookWith(t, []string{"S"}, func(f *excelize.File) {
		set := func(cell string, v any) { must(t, f.SetCellValue("S", cell, v)) }
		setRows(t, f, "S", []any{"a", "b", "c", "d", "e", "f", "g", "h", "i", "j"})
		set("A2", 0.1+0.2)
		set("B2", 1e-7)
		set("C2", 123456789012)
		set("D2", -6.5)
		set("E2", true)
		set("F2", " padded\u00a0")
		must(t, f.SetCellRichText("S", "G2", []excelize.RichTextRun{{Text: "Meh"}, {Text: "lich-3", Font: &excelize.Font{Bold: true}}}))
		set("H2", 0.046)
		setFormat(t, f, "S", "H2", "0.0%")
		set("I2", 0.5)
		setBuiltin(t, f, "S", "I2", 9)
		set("J2", "0042")
		set("A4", 46323) // 2026-10-28
		setBuiltin(t, f, "S", "A4", 14)
		set("B4", 46323)
		setFormat(t, f, "S", "B4", `[$-409]mmmm\ d\,\ yyyy;@`)
		set("C4", 46323)
		setBuiltin(t, f, "S", "C4", 17)
		set("D4", 46323.604167)
		setBuiltin(t, f, "S", "D4", 22)
		set("E4", 46323)
		setBuiltin(t, f, "S", "E4", 22)
		set("F4", 46323.604167)
		setFormat(t, f, "S", "F4", "yyyy-mm-dd")
		set("G4", 0.604167)
		setBuiltin(t, f, "S", "G4", 20)
		set("H4", 46323)
		setFormat(t, f, "S", "H4", "yyyy")
		set("I4", 1234.5)
		setFormat(t, f, "S", "I4", `#,##0.00 "days"`)
		set("J4", 61)
		setFormat(t, f, "S", "J4", "dd.mm.yyyy")
		set("A5", "#passed over")
		set("B5", 7)
		set("C6", "line\nbreak")
	})
	r := newReader(Options{})
	sheets, serr := r.open(Source{"x.xlsx", data})
	if serr != nil {
		t.Fatal(serr)
	}
	want := [][]string{
		{"1", "a", "b", "c", "d", "e", "f", "g", "h", "i", "j"},
		{"2", "0.3", "0.0000001", "123456789012", "-6.5", "yes", "padded", "Mehlich-3", "4.6%", "50%", "0042"},
		{"4", "2026-10-28", "2026-10-28", "2026-10", "2026-10-28 14:30", "2026-10-28", "2026-10-28", "14:30", "2026", "1234.5", "1900-03-01"},
		{"6", "", "", "line\nbreak"},
	}
	var got [][]string
	for {
		cells, line, err := sheets[0].lines.next()
		if err != nil {
			t.Fatal(err)
		}
		if cells == nil {
			break
		}
		got = append(got, append([]string{fmt.Sprint(line)}, cells...))
		if f := sheets[0].lines.flaws(); f != nil {
			t.Error(f)
		}
	}
	if fmt.Sprintf("%q", got) != fmt.Sprintf("%q", want) {
		t.Errorf("\n got %q\nwant %q", got, want)
	}
	if n := sheets[0].lines.passed(); fmt.Sprint(n) != "[5]" {
		t.Error(n)
	}
}

// TestFormOf reads format codes. Their letters are those of the standard.
//
// Source: ISO/IEC 29500-1:2016, 18.8.31 numFmts.
func TestFormOf(t *testing.T) {
	for code, want := range map[string]cellForm{
		"General": asNumber, "0.00": asNumber, "#,##0.0;[Red]-#,##0.0": asNumber, `0.0" mg"`: asNumber, `0\d`: asNumber, "0.00E+00": asNumber, "[Magenta]0": asNumber, "@": asNumber, "# ?/?": asNumber,
		"0%": asPercent, "0.0 %": asPercent, `0" %"`: asNumber, `0;0%`: asNumber,
		"yyyy-mm-dd": asDay, "d.m.yy": asDay, "[$-F800]dddd, mmmm dd, yyyy": asDay, "m/d/yyyy;@": asDay,
		"yyyy-mm-dd hh:mm": asTime, "m/d/yy h:mm AM/PM": asTime, "yyyy-mm-dd;hh:mm": asDay,
		"mmm-yy": asMonth, "yyyy/mm": asMonth, "mmmm yyyy": asMonth, "yyyy": asYear,
		"d-mmm": asDayOnly, "m/d": asDayOnly, "mmmm": asDayOnly, "dd.mm.": asDayOnly,
		"h:mm": asClock, "h:mm AM/PM": asClock, "h:mm:ss a/p": asClock, "d/m/yyyy h:mm AM/PM": asTime, "mm:ss": asClock, "[h]:mm:ss": asClock, "[mm]:ss.0": asClock, "mm:ss.0": asClock,
	} {
		if got := formOf(code); got != want {
			t.Errorf("%s: %d, want %d", code, got, want)
		}
	}
}

// TestDays reads the same day from both counts.
func TestDays(t *testing.T) {
	for _, from1904 := range []bool{false, true} {
		x := &xlsx{from1904: from1904}
		for _, day := range []time.Time{time.Date(1904, 1, 2, 0, 0, 0, 0, time.UTC), time.Date(2000, 2, 29, 0, 0, 0, 0, time.UTC), time.Date(2026, 10, 28, 0, 0, 0, 0, time.UTC)} {
			serial := day.Sub(time.Date(1899, 12, 30, 0, 0, 0, 0, time.UTC)).Hours() / 24
			if from1904 {
				serial -= 1462 // days between the two beginnings
			}
			if got, _ := x.day(serial, asDay); got != day.Format("2006-01-02") {
				t.Errorf("%v: %s, want %s", from1904, got, day)
			}
		}
	}
	x := &xlsx{}
	for serial, want := range map[float64]string{1: "1900-01-01", 59: "1900-02-28", 60: "1900-02-29", 61: "1900-03-01"} {
		if got, _ := x.day(serial, asDay); got != want {
			t.Errorf("%v: %s, want %s", serial, got, want)
		}
	}
}

// bigBook is a workbook of soil tests, a row an analyte, in 18 columns. Texts
// stand in the cells or are shared, as programs differ.
func bigBook(t testing.TB, n int, shared bool) []byte {
	t.Helper()
	head := []string{"bed", "date", "timing", "lab", "report", "site", "sample", "depth from (in)", "depth to (in)", "cores", "analyte", "value", "unit", "form", "method", "note", "grower", "#row"}
	analytes := [][3]any{{"K", "ppm", "Mehlich-3"}, {"Ca", "ppm", "Mehlich-3"}, {"Mg", "ppm", "Mehlich-3"}, {"OM", "%", "LOI"}, {"pH", nil, "water 1:1"}}
	var body [][]any
	for i := range n {
		a := analytes[i%len(analytes)]
		value := 100.5 + float64(i%997)/7
		if a[0] == "OM" || a[0] == "pH" {
			value = 4 + float64(i%29)/10
		}
		day := dataset.DateOf(2000+i/5%26, time.October, 1+i/130%28)
		body = append(body, []any{fmt.Sprintf("Bed %d", i/5%200), day, "autumn", "Lab A", fmt.Sprintf("R-%d", i/5), nil, fmt.Sprint(i / 5), 0, 6, 15, a[0], value, a[1], nil, a[2], "invented", "Ann", i})
	}
	if !shared {
		b, err := WriteWorkbook([]Page{{Name: "soil_tests", Head: head, Rows: body}})
		must(t, err)
		return b
	}
	return bookWith(t, []string{"soil_tests"}, func(f *excelize.File) {
		must(t, f.SetSheetRow("soil_tests", "A1", &head))
		id, err := f.NewStyle(&excelize.Style{NumFmt: 14})
		must(t, err)
		for i, r := range body {
			r[1] = r[1].(dataset.Date).Time()
			must(t, f.SetSheetRow("soil_tests", fmt.Sprintf("A%d", i+2), &r))
		}
		must(t, f.SetCellStyle("soil_tests", "B2", fmt.Sprintf("B%d", n+1), id))
	})
}

func BenchmarkReadWorkbook20k(b *testing.B) {
	for _, shared := range []bool{false, true} {
		b.Run(map[bool]string{false: "inline", true: "shared"}[shared], func(b *testing.B) {
			data := bigBook(b, 20_000, shared)
			b.ReportMetric(float64(len(data))/1e6, "MB-file")
			b.ReportAllocs()
			b.ResetTimer()
			for range b.N {
				res, err := Read([]Source{{"big.xlsx", data}}, Options{Grower: "Ann", Today: today})
				if err != nil || len(res.Records.SoilTests) != 20_000 {
					b.Fatal(len(res.Records.SoilTests), err)
				}
			}
		})
	}
}

func BenchmarkWriteWorkbook20k(b *testing.B) {
	var body [][]any
	for i := range 20_000 {
		row := make([]any, 18)
		for k := range row {
			if row[k] = any("text"); k%2 == 1 {
				row[k] = float64(i) / 7
			}
		}
		body = append(body, row)
	}
	head := strings.Fields("a b c d e f g h i j k l m n o p q r")
	b.ReportAllocs()
	for b.Loop() {
		if _, err := WriteWorkbook([]Page{{Name: "big", Head: head, Rows: body}}); err != nil {
			b.Fatal(err)
		}
	}
}

// TestMappedWorkbook reads a workbook of another make through a map: what the map
// does not read may hold anything, and a word for "no value" may be an error.
func TestMappedWorkbook(t *testing.T) {
	m, err := ParseMap("lab.toml", []byte(`format = 1
missing = ["#N/A"]
until = "Comments"
[[rows]]
table = "soil_tests"
columns = ["pH 1:1", "K ppm Mehlich-3"]
[rows.set]
bed = {column = "Sample"}
date = {column = "Sampled"}
`))
	must(t, err)
	make := func(merge string) []byte {
		data := bookWith(t, []string{"Cover", "Results"}, func(f *excelize.File) {
			setRows(t, f, "Cover", []any{"Riverbend, invented"})
			setRows(t, f, "Results", []any{"Report for A. Grower"}, []any{"Sample", "Sampled", "pH 1:1", "K ppm Mehlich-3", "Ratio"},
				[]any{"Barn", 46323, 6.4, 310, 1}, []any{"Hill", 46323, 6.1, 290, 2}, []any{"Comments: none"})
			for _, cell := range []string{"B3", "B4"} {
				setBuiltin(t, f, "Results", cell, 14)
			}
			must(t, f.SetCellFormula("Results", "E3", "D3/C3"))
			must(t, f.MergeCell("Results", "A1", "E1"))
			must(t, f.MergeCell("Results", "A5", "E5"))
			if merge != "" {
				must(t, f.MergeCell("Results", strings.Split(merge, ":")[0], strings.Split(merge, ":")[1]))
			}
		})
		return editPart(t, data, "xl/worksheets/sheet2.xml", `<c r="D4"><v>290</v></c>`, `<c r="D4" t="e"><v>#N/A</v></c>`)
	}
	res, err := Read([]Source{{"lab.xlsx", make("")}}, Options{Grower: "Ann", Today: today, Map: m})
	must(t, err)
	var got []string
	for _, s := range res.Records.SoilTests {
		got = append(got, fmt.Sprintf("%s:%d %s %s %s %v", s.File, s.Line, s.Bed, s.Date, s.Analyte, s.Value))
	}
	if want := "lab.xlsx/Results:3 Barn 2026-10-28 pH 6.4, lab.xlsx/Results:3 Barn 2026-10-28 K 310, lab.xlsx/Results:4 Hill 2026-10-28 pH 6.1"; strings.Join(got, ", ") != want {
		t.Errorf("\n got %s\nwant %s", strings.Join(got, ", "), want)
	}
	for merge, want := range map[string]string{
		"C3:C4": "lab.xlsx/Results:3: column pH 1:1: C3:C4 are merged: expected one value in each: unmerge and fill in",
		"C2:C4": "lab.xlsx/Results:3: column pH 1:1: C2:C4 are merged: expected one value in each: unmerge and fill in",
	} {
		if _, err := Read([]Source{{"lab.xlsx", make(merge)}}, Options{Grower: "Ann", Today: today, Map: m}); err == nil || err.Error() != want {
			t.Errorf("%s:\n got %v\nwant %s", merge, err, want)
		}
	}
}

// Ranges that lie over each other would be walked anew for each row.
func TestOverlappingMerges(t *testing.T) {
	spans := func(refs ...string) (out []span) {
		for _, r := range refs {
			m, ok := spanOf(r)
			if !ok {
				t.Fatal(r)
			}
			out = append(out, m)
		}
		return out
	}
	for _, c := range []struct {
		refs []string
		want string
	}{
		{[]string{"A1:B2", "C1:D9", "A3:B4"}, ""},
		{[]string{"A1:B2", "B2:C3"}, "B2:C3"},
		{[]string{"A1:A9", "B1:B9", "A9:A10"}, "A9:A10"},
	} {
		if got := overlapping(spans(c.refs...)); got != c.want {
			t.Errorf("%v: %q, want %q", c.refs, got, c.want)
		}
	}
}
