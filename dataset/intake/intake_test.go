package intake

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"

	"carryover/dataset"
)

var today = dataset.DateOf(2026, 11, 7)

func read(text, name string) (Result, error) {
	return Read([]Source{{name, []byte(text)}}, Options{Grower: "Ann", Today: today})
}

// one reads a sheet that must be sound.
func one(t *testing.T, name, text string) Result {
	t.Helper()
	res, err := read(text, name)
	if err != nil {
		t.Fatalf("%s:\n%v", text, err)
	}
	return res
}

// TestMessages holds the exact words of what is refused.
func TestMessages(t *testing.T) {
	const tests = "bed,date,analyte,value,unit,form,method\n"
	for _, x := range []struct{ name, file, text, want string }{
		{"missing unit", "soil_tests.csv", tests + "A,2026-10-28,P,60,,,\n",
			`soil_tests.csv:2: column unit: P has no unit: expected ppm, mg/kg, lb/acre, kg/ha, mg/dm3, %: copy the unit from the lab's sheet (ppm and lb/acre differ by a factor of 2)`},
		{"missing unit of a percentage", "soil_tests.csv", tests + "A,2026-10-28,OM,6,,,\n",
			`soil_tests.csv:2: column unit: OM has no unit: expected %, g/kg: copy the unit from the lab's sheet`},
		{"missing unit in a heading, said once", "harvests.csv", "bed,date,weight,weighed\nA,2026-10-03,1240,scale\nA,2026-10-04,900,scale\n",
			`harvests.csv:2: column weight: 1240 has no unit: expected one of lb, oz, g, kg, ton, t: write it in the heading, as "weight (lb)"`},
		{"missing unit of an amount", "amendments.csv", "bed,date,material,amount,unit\nA,2026-04-20,lime,40,\n",
			`amendments.csv:2: column unit: 40 has no unit: expected one of lb, kg, lb/1000 sq ft, kg/ha, gal, L, L/ha, cu yd, m3, in, cm ...: fill in the column unit`},
		{"pH 25", "tests.csv", tests + "A,2026-10-28,pH,25,,,\n",
			`tests.csv:2: column value: pH 25: expected 3.0 to 10.5: check the decimal point`},
		{"buffer pH", "tests.csv", tests + "A,2026-10-28,buffer pH,4.6,,,Sikora\n",
			`tests.csv:2: column value: buffer pH 4.6: expected 5.0 or more: is it the soil's own pH?`},
		{"OM 140 %", "tests.csv", tests + "A,2026-10-28,OM,140,%,,LOI\n",
			`tests.csv:2: column value: OM 140 %: expected 0 to 100 %: check the decimal point and the unit`},
		{"negative", "tests.csv", tests + "A,2026-10-28,K,-12,ppm,,\n",
			`tests.csv:2: column value: K -12: expected 0 or more: check the sign`},
		{"NaN", "tests.csv", tests + "A,2026-10-28,K,NaN,ppm,,\n",
			`tests.csv:2: column value: "NaN": expected a number such as 12.5: where the lab found too little to measure, write < and its limit, as <0.2; else leave the row out`},
		{"below detection", "tests.csv", tests + "A,2026-10-28,B,n.d.,ppm,,\n",
			`tests.csv:2: column value: "n.d.": expected a number such as 12.5: where the lab found too little to measure, write < and its limit, as <0.2; else leave the row out`},
		{"two depths", "soil_tests.csv", "bed,date,analyte,value,depth (in),depth to (in)\nA,2026-10-28,pH,6,0-6,6\n",
			"soil_tests.csv:2: column depth (in): depth beside depth from and depth to: expected one or the other: clear one of them"},
		{"a range upside down", "amendments.csv", "bed,date,material,amount,unit\nA,2026-04-20,lime,8-6,lb\n",
			`amendments.csv:2: column amount: "8-6": expected the smaller end first: write 6-8`},
		{"a range for a weight", "harvests.csv", "bed,date,weight (lb),weighed\nA,2026-10-03,900-950,guessed\n",
			`harvests.csv:2: column weight (lb): "900-950": expected a weight above 0: write it bare; the column weighed says "guessed"`},
		{"a guess on the list", "lists.csv", "bed,listed on,season,timing,material,amount,unit\nA,2026-11-07,2027,fall,lime,~6,lb\n",
			`lists.csv:2: column amount: "~6": expected a bare number: write what you know in the column note`},
		{"open form of a forecast", "forecasts.csv", "bed,analyte,made on,season,timing,value,low,high,level,unit\nA,phosphorus,2026-11-07,2027,spring,6,5,7,0.9,mg/kg\n",
			`forecasts.csv:2: column analyte: "phosphorus" leaves the form open: expected P, P2O5, PO4: write it under form (P2O5 reads 2.29 times P; PO4 reads 3.07 times P)`},
		{"decimal comma among points", "tests.csv", tests + "A,2026-10-28,K,118.5,ppm,,\nA,2026-10-28,pH,\"6,4\",,,\n",
			`tests.csv:3: column value: "6,4": expected a number: commas stand only before thousands, write 1234.5`},
		{"31 June", "tests.csv", tests + "A,2026-06-31,K,12,ppm,,\n",
			`tests.csv:2: column date: "2026-06-31": expected a day from 1 to 30, as June 2026 has: check the day`},
		{"year 2205", "tests.csv", tests + "A,2205-10-28,K,12,ppm,,\n",
			`tests.csv:2: column date: "2205-10-28": expected a year from 1800 to 2027: check the year`},
		{"month first or day first", "tests.csv", tests + "A,10/11/2026,K,12,ppm,,\n",
			`tests.csv:2: column date: "10/11/2026": expected a day such as 2026-10-28, since it is not said whether month or day comes first: rewrite it, or say --dates MDY or --dates DMY`},
		{"not a date", "tests.csv", tests + "A,last week,K,12,ppm,,\n",
			`tests.csv:2: column date: "last week": expected a date such as 2026-10-28, 2026-10, Oct 2026 or autumn 2026: rewrite it; a leading ~ marks a guess`},
		{"bare year", "tests.csv", tests + "A,2026,K,12,ppm,,\n",
			`tests.csv:2: column date: "2026": expected at least a month or season, such as 2026-10 or autumn 2026: add it, with ~ before it if it is a guess`},
		{"unknown analyte", "tests.csv", tests + "A,2026-10-28,phosphorous,12,ppm,,\n",
			`tests.csv:2: column analyte: analyte "phosphorous": not known: did you mean phosphorus?`},
		{"open form", "tests.csv", tests + "A,2026-10-28,nitrate,12,ppm,,\n",
			`tests.csv:2: column form: "nitrate" leaves the form open: expected NO3-N, NO3: write it under form (NO3 reads 4.43 times NO3-N)`},
		{"unknown method", "tests.csv", tests + "A,2026-10-28,K,12,ppm,,Melich-3\n",
			`tests.csv:2: column method: method "Melich-3": not known for K: did you mean Mehlich-3 or Mehlich-1?; a lab's own procedure is written "other: NAME"`},
		{"unknown unit", "tests.csv", tests + "A,2026-10-28,K,12,pmm,,\n",
			`tests.csv:2: column unit: unit "pmm": cannot measure K: did you mean ppm?`},
		{"unknown unit in a heading", "harvests.csv", "bed,date,weight (lbz),weighed\nA,2026-10-03,1240,scale\n",
			`harvests.csv:1: column weight (lbz): unit "lbz" is not known here: did you mean lb?`},
		{"unknown unit of an amount", "amendments.csv", "bed,date,material,amount (in),unit\nA,2026-04-20,lime,40,lb/1000 sqf\n",
			`amendments.csv:2: column unit: unit "lb/1000 sqf": not known here: did you mean lb/1000 sq ft or lb/100 sq ft or oz/1000 sq ft?`},
		{"unknown column", "soil_tests.csv", "bed,date,analyte,value,unit,metod\nA,2026-10-28,K,12,ppm,\n",
			`soil_tests.csv:1: column metod: not known in soil_tests: did you mean method?`},
		{"unknown kind", "materials.csv", "material,kind,component,value,unit\nmeal,fertlizer,N,12,%\n",
			`materials.csv:2: column kind: "fertlizer": did you mean fertilizer?`},
		{"unknown component", "materials.csv", "material,component,value,unit\nlime,CEC,12,%\n",
			`materials.csv:2: column component: component "CEC": not known: did you mean CCE or EC?`},
		{"label above 100 %", "materials.csv", "material,component,value,unit\nurea,N,460,%\n",
			`materials.csv:2: column value: N 460 %: expected 0 to 100 %: check the decimal point and the unit`},
		{"lime value above 180 %", "materials.csv", "material,component,value,unit\nlime,CCE,190,%\n",
			`materials.csv:2: column value: CCE 190 %: expected 0 to 180 %: check the decimal point and the unit`},
		{"compost without basis", "materials.csv", "material,kind,component,value,unit\nheap,compost,N,1.2,%\n",
			`materials.csv:2: column basis: empty: expected as-is or dry: the lab's report says on which weight its figures stand`},
		{"too few cells", "soil_tests.csv", tests + "A,2026-10-28,K,12\n",
			`soil_tests.csv:2: 4 cells: expected 7, one for each heading on line 1: add or take out commas; a cell that holds a comma stands in quotes`},
		{"too many cells", "soil_tests.csv", tests + "A,2026-10-28,K,1,200,ppm,,\n",
			"soil_tests.csv:2: 8 cells: expected 7, one for each heading on line 1: add or take out commas; a cell that holds a comma stands in quotes"},
		{"empty file", "soil_tests.csv", "", "soil_tests.csv: an empty file: expected a line of headings and rows below it: carryover new writes sheets with their headings"},
		{"only blank lines", "soil_tests.csv", "\n , ,\r\n\n", "soil_tests.csv: an empty file: expected a line of headings and rows below it: carryover new writes sheets with their headings"},
		{"headings alone", "soil_tests.csv", tests, "soil_tests.csv: headings but no rows: expected a row for each record below line 1: fill in the sheet"},
		{"commented rows alone", "tillage.csv", "bed,date,tool\n#1,2026-04-20,tiller\n", "tillage.csv: headings but no rows (1 line with # passed over): expected a row for each record below line 1: fill in the sheet"},
		{"PDF", "report.pdf", "%PDF-1.4\n...", "report.pdf: a PDF: expected a sheet (CSV or XLSX): copy its figures into a sheet; carryover new writes empty ones"},
		{"workbook", "tests.xlsx", "PK\x03\x04\x14\x00", "tests.xlsx: a workbook that is damaged (zip: not a valid zip file): expected one that opens: open it, save it again as XLSX and import that"},
		{"old workbook", "tests.xls", "\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", "tests.xls: an old workbook (XLS): expected a sheet (CSV or XLSX): open it and save its sheet as XLSX or CSV"},
		{"binary", "photo.png", "\x89PNG\x00\x00", "photo.png: a file that is not text: expected a sheet (CSV or XLSX): open it with the program it belongs to and save its sheet as CSV"},
		{"neither UTF-8 nor Latin-1", "tests.csv", tests + "A,2026-10-28,K,12,ppm,,\nBeet n\x8erdlich,2026-10-28,K,12,ppm,,\n",
			`tests.csv:3: a letter that is not UTF-8: expected plain text in UTF-8: save the sheet again as "CSV UTF-8"`},
		{"unclosed quote", "tests.csv", tests + "A,2026-10-28,K,12,ppm,,\n\"A,2026-10-28,K,12,ppm,,\nA,2026-10-28,K,12,ppm,,\n",
			`tests.csv:3: a quote that is opened and never closed: expected a second " at the end of the cell: close it, or write the quote twice where it belongs to the text`},
		{"text after a quote", "tests.csv", tests + "\"long\" bed,2026-10-28,K,12,ppm,,\n",
			`tests.csv:2: text after a closing quote: expected a comma or the end of the line: write a quote inside a quoted cell twice: "the ""long"" bed"`},
		{"long line", "tests.csv", tests + strings.Repeat("A", 70000) + "\n",
			"tests.csv:2: a line of more than 65,536 bytes: expected a row of cells: look for a quote that is not closed, or save the sheet as CSV again"},
		{"two columns of one name", "soil_tests.csv", "bed,date,analyte,value,Value,unit\nA,2026-10-28,K,12,13,ppm\n",
			"soil_tests.csv:1: column Value: named twice: expected one column value (the other is column 4): take one out or put # before it"},
		{"missing columns", "harvests.csv", "bed,date\nA,2026-10-28\n",
			"harvests.csv:1: no column weight (lb), no column weighed: expected every needed column of harvests: add it to the headings"},
		{"empty needed cell", "harvests.csv", "bed,date,weight (lb),weighed\n,2026-10-28,900,\n",
			"harvests.csv:2: column bed: empty: expected the name of the bed, spelt the same way everywhere\nharvests.csv:2: column weighed: empty: expected scale, taped or guessed"},
		{"no sheet", "export.csv", "Field,Sampled,P\n1,2026-10-28,12\n",
			"export.csv:1: headings that belong to no one sheet (Field, Sampled, P): expected those of beds, soil_tests, materials, amendments, plantings, harvests, covers, weather, water_tests, tillage, leaf_tests, advice, lists, forecasts, withdraw: name the file after its sheet, or say --table, or describe it with --map"},
		{"two sheets fit", "export.csv", "bed,date,analyte,value,unit\nA,2026-10-28,K,12,ppm\n",
			"export.csv:1: headings that fit soil_tests and leaf_tests: expected those of one sheet: name the file after its sheet, or say --table"},
		{"depth needed", "tests.csv", tests + "A,2026-10-28,K,200,lb/acre,,\n",
			"tests.csv:2: column depth: K in lb/acre: expected the sampled depth beside it: fill in the column depth"},
		{"depth upside down", "soil_tests.csv", "bed,date,analyte,value,depth (in)\nA,2026-10-28,pH,6,8-2\n",
			`soil_tests.csv:2: column depth (in): "8-2": expected the upper end first and a lower one below it, such as 0-6`},
		{"half a depth", "soil_tests.csv", "bed,date,analyte,value,depth to (in)\nA,2026-10-28,pH,6,6\n",
			"soil_tests.csv:2: column depth to (in): one end of the depth: expected both depth from and depth to: fill in the other, 0 for the surface"},
		{"season against timing", "soil_tests.csv", "bed,date,timing,analyte,value\nA,spring 2026,fall,pH,6\n",
			`soil_tests.csv:2: column date: "spring 2026": expected the season that column timing names, autumn: mend one of the two`},
		{"correction", "soil_tests.csv", "bed,date,analyte,value,replaces\nA,spring 2026,pH,6,7\n",
			`soil_tests.csv:2: column replaces: "7": expected batch:line such as 3:7, or 3:tests.csv:7`},
		{"withdraw", "withdraw.csv", "table,batch,line\nsoil_test,0,7\n",
			"withdraw.csv:2: column table: \"soil_test\": did you mean soil_tests?\nwithdraw.csv:2: column batch: \"0\": expected a whole number from 1 to 2147483647"},
		{"feed without end", "amendments.csv", "bed,date,material,amount,unit,every days\nA,2026-06-01,feed,2,gal,7\n",
			"amendments.csv:2: column until: empty: expected the last day of the run: fill it in, or write 2 lb weekly to 1 Sept"},
		{"heat", "weather.csv", "site,date,high (F)\nHome,2026-07,910\n",
			`weather.csv:2: column high (F): "910": expected -90 to 60 C: check the decimal point and the unit`},
		{"a test of next year", "tests.csv", tests + "A,2027-10-28,K,12,ppm,,\n",
			`tests.csv:2: column date: "2027-10-28": in the future: check the year`},
		{"a spreading the day after tomorrow", "amendments.csv", "bed,date,material\nA,2026-11-09,lime\n",
			`amendments.csv:2: column date: "2026-11-09": in the future: check the year`},
		{"a harvest of next month", "harvests.csv", "bed,date,weight (lb),weighed\nA,2026-12,900,scale\n",
			`harvests.csv:2: column date: "2026-12": in the future: check the year`},
		{"a tillage of next season", "tillage.csv", "bed,date,tool\nA,spring 2027,hoe\n",
			`tillage.csv:2: column date: "spring 2027": in the future: check the year`},
		{"a guess at a future sowing", "covers.csv", "bed,sown,species\nA,~autumn 2027,rye\n",
			`covers.csv:2: column sown: "~autumn 2027": in the future: check the year`},
		{"a year and timing to come", "tests.csv", "bed,date,timing,analyte,value\nA,2027,spring,pH,6\n",
			`tests.csv:2: column date: "2027": in the future: check the year`},
		{"a fruit of no weight", "harvests.csv", "bed,date,weight (lb),weighed\nA,2026-10-03,0,scale\n",
			`harvests.csv:2: column weight (lb): "0": expected a weight above 0: a lost fruit goes into plantings.csv, column fruit lost`},
		{"a weight that is no figure", "harvests.csv", "bed,date,weight (lb),weighed\nA,2026-10-03,>900,scale\n",
			`harvests.csv:2: column weight (lb): ">900": expected a weight above 0: write it bare; the column weighed says "guessed"`},
		{"a grade", "materials.csv", "material,component,value,unit\nfeed,10-5-12.5,,%\n",
			"materials.csv:2: column component: component \"10-5-12.5\": write three rows: N 10, P2O5 5, K2O 12.5\nmaterials.csv:2: column value: empty: expected the figure as printed"},
		{"bags of a weight, how many", "amendments.csv", "bed,date,material,amount,unit\nA,2026-04-20,lime,50 lb bags,\n",
			`amendments.csv:2: column amount: "50 lb bags": how many bags? write it as 2 x 50 lb`},
		{"bags of no weight", "amendments.csv", "bed,date,material,amount,unit\nA,2026-04-20,lime,2,bags\n",
			`amendments.csv:2: column unit: unit "bags": write what all the bags weigh, and the unit lb or kg`},
		{"wheelbarrows", "amendments.csv", "bed,date,material,amount,unit\nA,2026-04-20,compost,6,wheelbarrows\n",
			`amendments.csv:2: column unit: unit "wheelbarrows": write cu ft or cu yd, with ~ for a guess`},
		{"a tractor bucket", "amendments.csv", "bed,date,material,amount\nA,2026-04-20,compost,~2 tractor buckets\n",
			`amendments.csv:2: column amount: unit "tractor buckets": write cu ft or cu yd, with ~ for a guess`},
		{"an area by sides of no unit", "beds.csv", "bed,from,area (acre)\nA,2020-04-01,30x40\nB,2020-04-01,about 30x40 ft\nC,2020-04-01,30 ft\n",
			"beds.csv:2: column area (acre): \"30x40\": expected the unit of its sides: write 30x40 ft or 9x12 m\n" +
				"beds.csv:3: column area (acre): \"about 30x40 ft\": expected a bare number: write what you know in the column note\n" +
				"beds.csv:4: column area (acre): \"30 ft\": expected an area such as 1200 sq ft, 30x40 ft or circle 20 ft across: a length alone is no area"},
		{"alkalinity", "water_tests.csv", "water,date,analyte,value,unit\nwell,2026-05-04,alkalinity,210,%\n",
			`water_tests.csv:2: column unit: unit "%": cannot measure alkalinity in water: expected mg/L, ppm, meq/L`},
		{"leaf analyte", "leaf_tests.csv", "bed,date,analyte,value,unit\nA,2026-07-20,P2O5,1,%\n",
			`leaf_tests.csv:2: column analyte: analyte "P2O5": not known in a leaf test: expected one of P, K, Ca, Mg, S, B, Zn, Mn, Fe, Cu, Na, Cl, Mo, Al, N, NO3-N`},
	} {
		t.Run(x.name, func(t *testing.T) {
			res, err := read(x.text, x.file)
			var faults *Faults
			if !errors.As(err, &faults) {
				t.Fatalf("got %T %v, want *Faults", err, err)
			}
			if err.Error() != x.want {
				t.Errorf("got:\n%s\nwant:\n%s", err, x.want)
			}
			if !reflect.DeepEqual(res, Result{}) {
				t.Error("records came with the faults")
			}
		})
	}
}

func TestTooLargeFile(t *testing.T) {
	_, err := Read([]Source{{"big.csv", make([]byte, maxFile+1)}}, Options{Today: today})
	if want := "big.csv: a file of 100 MB: expected a sheet (CSV or XLSX): 100 MB is the most that is read: part it"; err == nil || err.Error() != want {
		t.Errorf("got %v\nwant %s", err, want)
	}
}

func TestFaultsAreOrderedAndCounted(t *testing.T) {
	var rows strings.Builder
	rows.WriteString("value,bed,date,analyte,unit\n")
	for range 300 {
		rows.WriteString("-1,A,2026-13-01,K,ppm\n")
	}
	_, err := Read([]Source{{"soil_tests.csv", []byte(rows.String())}, {"a.csv", []byte("bed,date,tool\nA,2026-02-30,hoe\n")}}, Options{Today: today})
	var f *Faults
	if !errors.As(err, &f) {
		t.Fatal(err)
	}
	if len(f.List) != maxListed || len(f.List)+f.More != 601 {
		t.Errorf("%d listed and %d more, want %d of 601", len(f.List), f.More, maxListed)
	}
	if f.List[0].File != "a.csv" || f.List[1].Column != "value" || f.List[2].Column != "date" || f.List[3].Line != 3 {
		t.Errorf("order: %v", f.List[:4])
	}
	if !strings.HasSuffix(err.Error(), "\nand 551 more") {
		t.Errorf("ends with %q", err.Error()[len(err.Error())-40:])
	}
}

func TestValues(t *testing.T) {
	res := one(t, "tests.csv", "\ufeffBed,DATE,Timing,lab,cores,depth (in),analyte,value,unit,form,method,note\r\n"+
		"\r\n"+
		"Long bed,2026-10-28,fall,Lab A,12,0-6,P,60,lb/acre,P2O5,m3,\"wet, cold\"\r\n"+
		"# Long bed,2026-10-28,fall,Lab A,12,0-6,P,60,lb/acre,P2O5,m3,\r\n"+
		"Long bed,~2026-10,,,,0 to 15 cm,B,<0.2,ppm,,hot water,\r\n"+
		"Long bed,autumn 2026,,,,6,pH,\"6.4\",,,1:1,\r\n")
	tests := res.Records.SoilTests
	if len(tests) != 3 {
		t.Fatalf("%d rows", len(tests))
	}
	p := tests[0]
	// 60 lb P2O5/acre of the plow layer: x 0.43643 (P in P2O5), / 2. Source: Penn
	// State Agronomy Guide, section 2.
	if want := 60 * 0.436431 / 2; p.Value < want*0.9999 || p.Value > want*1.0001 {
		t.Errorf("P %v, want %v", p.Value, want)
	}
	if p.Grower != "Ann" || p.Bed != "Long bed" || p.Timing != "autumn" || p.Method != "Mehlich-3" || p.ReportedMethod != "m3" || p.ReportedForm != "P2O5" ||
		p.ReportedValue != 60 || p.ReportedUnit != "lb/acre" || p.Unit != "mg/kg" || *p.Cores != 12 || *p.DepthTo != 15.24 || p.Note != "wet, cold" ||
		p.Line != 3 || p.File != "tests.csv" || p.DateBasis != dataset.ByDay || p.Conversion == "" || p.Basis != "mass" {
		t.Errorf("%+v", p)
	}
	if b := tests[1]; b.Qualifier != "<" || b.Value != 0.2 || b.DateBasis != dataset.Assumed || b.Date != dataset.DateOf(2026, 10, 15) || *b.DepthTo != 15 || b.Line != 5 {
		t.Errorf("%+v", b)
	}
	if h := tests[2]; h.Unit != "pH" || h.Method != "water 1:1" || h.DateBasis != dataset.BySeason || h.Timing != "autumn" || *h.DepthFrom != 0 || *h.DepthTo != 15.24 {
		t.Errorf("%+v", h)
	}
	want := []string{
		"tests.csv: 1 line below the first row passed over, since it starts with #: line 4",
		"values printed as P2O5, stored as P (times 0.4364): 1",
		"values in lb/acre, stored in mg/kg by the plow-layer rule (2 lb/acre = 1 ppm whatever the exact depth); if the lab means it otherwise, its profile in book.toml says pounds = \"by depth\": 1",
	}
	if !slices.Equal(res.Notes, want) {
		t.Errorf("notes %q", res.Notes)
	}
	if !slices.Equal(res.Rows, []Count{{"soil_tests", 3}}) {
		t.Errorf("rows %v", res.Rows)
	}
}

func TestOtherTables(t *testing.T) {
	res, err := Read([]Source{
		{"beds.csv", []byte("bed,from,area (sq ft),bulk density (g/cm3),density source,native ph,native om (%)\nA,2020-04-01,1000,1.2,measured,5.6,3\n")},
		{"amendments.csv", []byte("bed,date,material,amount,unit,mixed depth (in),every days,until\n" +
			"A,2026-04-20,lime,about 50,lb,6,,\nA,2026-06-01,feed,2 gal,,,7,2026-08-24\nA,2026-03-01,compost,2,in,,,\nA,2026-03-01,straw,,,,,\n")},
		{"materials.csv", []byte("material,kind,component,value,unit\nlime,lime,CaO,50,%\nlime,lime,CCE,95,%\nmanure,manure,moisture,60,%\nheap,compost,density,1000,lb/cu yd\n")},
		{"harvests.csv", []byte("bed,date,weight (lb),weighed\nA,2026-10-03,\"1,000\",scale\nA,2026-10-03,500 kg,taped\n")},
		{"weather.csv", []byte("site,bed,date,rain (in),high (F),low (F),irrigation (in)\nHome,,2026-07,4,86,59,\n,A,2026-07-14,,,,0.75\n")},
		{"plantings.csv", []byte("bed,season,crop,set out,pollinated,feeds complete,vines hauled (%)\nA,2026,,2026-05-20,Jul 2026,y,100\n")},
		{"water_tests.csv", []byte("water,date,analyte,value,unit,form\nwell,2026-05-04,alkalinity,4,meq/L,\nwell,2026-05-04,nitrate,44.27,mg/L,NO3\n")},
		{"leaf_tests.csv", []byte("bed,date,analyte,value,unit\nA,2026-07-20,N,4.8,%\n")},
		{"withdraw.csv", []byte("table,batch,line,file,analyte,reason\nSoil Tests,3,7,tests.csv,phosphorus,wrong bed\n")},
		{"tillage.csv", []byte("bed,date,tool,replaces\nA,2026-04-22,tiller,3:old/tillage.csv:12\n")},
		{"covers.csv", []byte("bed,sown,species\n")},
	}, Options{Grower: "Ann", Today: today})
	if err != nil {
		t.Fatal(err)
	}
	r := res.Records
	near := func(what string, got, want float64) {
		t.Helper()
		if got < want*(1-1e-6) || got > want*(1+1e-6) {
			t.Errorf("%s: got %v, want %v", what, got, want)
		}
	}
	near("area", *r.Beds[0].Area, 92.90304)
	near("native pH", *r.Beds[0].NativePH, 5.6)
	near("lime", *r.Amendments[0].Amount, 22.6796185)
	near("feed", *r.Amendments[1].Amount, 7.570823568)
	near("layer", *r.Amendments[2].Amount, 5.08)
	near("mixed depth", *r.Amendments[0].MixedDepth, 15.24)
	if a := r.Amendments; a[0].Qualifier != "about" || a[0].Unit != "kg" || a[1].Unit != "L" || a[1].ReportedUnit != "gal" || *a[1].Every != 7 || a[2].Unit != "cm" || a[3].Amount != nil {
		t.Errorf("amendments %+v", a)
	}
	near("Ca", r.Materials[0].Value, 50*40.078/56.077)
	near("density", r.Materials[3].Value, 593.2764) // 1,000 lb in 27 cu ft: arithmetic
	if m := r.Materials[0]; m.Component != "Ca" || m.ReportedForm != "CaO" || m.Unit != "%" {
		t.Errorf("%+v", m)
	}
	near("weight", r.Harvests[0].Weight, 453.59237)
	near("weight with its unit", r.Harvests[1].Weight, 500)
	if h := r.Harvests[1]; h.ReportedUnit != "kg" || h.Crop != "pumpkin" {
		t.Errorf("%+v", h)
	}
	near("rain", *r.Weather[0].Rain, 101.6)
	near("high", *r.Weather[0].TempMax, 30)
	near("low", *r.Weather[0].TempMin, 15)
	if w := r.Weather; w[0].Date != dataset.DateOf(2026, 7, 1) || w[0].Period != "month" || w[1].Period != "day" {
		t.Errorf("%+v", w)
	}
	if p := r.Plantings[0]; p.Crop != "pumpkin" || p.FeedsComplete != "yes" || *p.Pollinated != dataset.DateOf(2026, 7, 15) || p.Note != "pollinated Jul 2026" {
		t.Errorf("%+v", p)
	}
	near("alkalinity", r.WaterTests[0].Value, 200.172) // 4 meq/L x 50.043 as CaCO3
	near("nitrate", r.WaterTests[1].Value, 44.27*14.007/62.004)
	near("leaf N", r.LeafTests[0].Value, 48000)
	wantCorrections := []dataset.Correction{
		{Table: "tillage", OfBatch: 3, OfFile: "old/tillage.csv", OfLine: 12, Action: "replace", Source: dataset.Source{File: "tillage.csv", Line: 2}},
		{Table: "soil_tests", OfBatch: 3, OfFile: "tests.csv", OfLine: 7, Analyte: "P", Action: "withdraw", Reason: "wrong bed", Source: dataset.Source{File: "withdraw.csv", Line: 2}},
	}
	if !slices.Equal(r.Corrections, wantCorrections) {
		t.Errorf("corrections %+v", r.Corrections)
	}
	for _, want := range []string{"covers.csv: headings but no rows: nothing to read", `plantings.csv:2: column pollinated: "Jul 2026" stands as 2026-07-15; the words are kept in the note`} {
		if !slices.Contains(res.Notes, want) {
			t.Errorf("no note %q in %q", want, res.Notes)
		}
	}
}

func TestDates(t *testing.T) {
	for _, x := range []struct {
		text, layout, want, basis string
		south                     bool
	}{
		{"2026-10-28", "", "2026-10-28", "day", false}, {"28 Oct 2026", "", "2026-10-28", "day", false}, {"Oct 28, 2026", "", "2026-10-28", "day", false},
		{"2026-Oct-28", "", "2026-10-28", "day", false}, {"10/28/2026", "MDY", "2026-10-28", "day", false}, {"28.10.2026", "DMY", "2026-10-28", "day", false},
		{"2024-02-29", "", "2024-02-29", "day", false}, {"2026-10", "", "2026-10-15", "month", false}, {"October 2026", "", "2026-10-15", "month", false},
		{"sept 2026", "", "2026-09-15", "month", false}, {"spring 2026", "", "2026-04-15", "season", false}, {"Fall 2026", "", "2026-10-15", "season", false},
		{"spring 2026", "", "2026-10-15", "season", true}, {"autumn 2026", "", "2026-04-15", "season", true}, {"mid-season 2026", "", "2026-07-24", "season", false},
		{"mid-season 2026", "", "2026-01-24", "season", true}, {"~2026-10-28", "", "2026-10-28", "assumed", false}, {"~ spring 2026", "", "2026-04-15", "assumed", false},
		{"20261028", "", "2026-10-28", "day", false},
	} {
		got, err := dates{x.layout, x.south, 2027}.read(x.text)
		if err != nil || got.day.String() != x.want || got.basis != x.basis {
			t.Errorf("%q: got %s %s %v, want %s %s", x.text, got.day, got.basis, err, x.want, x.basis)
		}
	}
	for _, text := range []string{"", "~", "2025-02-29", "2026-00-10", "2026-13-01", "10/28/26", "1799-01-01", "2028-01-01", "autumn", "winter 2026", "Ju 2026", "28 10", "2026-10-28-1", "20261328", "18001301", "2026102", "99999999999999999999-01-01"} {
		if got, err := (dates{"MDY", false, 2027}).read(text); err == nil {
			t.Errorf("%q: read as %s", text, got.day)
		}
	}
	for text, want := range map[string]string{
		"45593":   `"45593": a spreadsheet's day number, 2024-10-28: write that, or format the column as a date`,
		"45593.5": `"45593.5": a spreadsheet's day number, 2024-10-28: write that, or format the column as a date`,
		"99999":   `"99999": expected a date such as 2026-10-28, 2026-10, Oct 2026 or autumn 2026: rewrite it; a leading ~ marks a guess`,
	} {
		if _, err := (dates{"MDY", false, 2027}).read(text); fmt.Sprint(err) != want {
			t.Errorf("got  %v\nwant %s", err, want)
		}
	}
}

func TestTwoDigitYears(t *testing.T) {
	for _, x := range []struct{ text, layout, says string }{
		{"28-Oct-26", "", "two-digit year: write 2026-10-28"}, {"Oct 28, 26", "", "two-digit year: write 2026-10-28"},
		{"10/20/26", "", "two-digit year: write 2026-10-20"}, {"28/10/26", "", "two-digit year: write 2026-10-28"},
		{"10/11/26", "MDY", "two-digit year: write 2026-10-11"}, {"10/11/26", "DMY", "two-digit year: write 2026-11-10"},
		{"10/11/26", "", "two-digit year: write the year in full and first, as 2026-10-28"},
		{"25-10-26", "", "two-digit year: write the year in full and first, as 2026-10-28"},
		{"Oct-26", "", "two-digit year: write 2026-10"}, {"~Sept 26", "", "two-digit year: write 2026-09"},
		{"fall 26", "", "two-digit year: write fall 2026"}, {"3 Apr 98", "", "two-digit year: write 1998-04-03"},
	} {
		_, err := dates{x.layout, false, 2027}.read(x.text)
		if want := fmt.Sprintf("%q: %s", x.text, x.says); err == nil || err.Error() != want {
			t.Errorf("got %v, want %s", err, want)
		}
	}
}

// TestNotYetInTheFuture: a month or season that has begun is taken, and so are
// tomorrow (the day is another elsewhere), the end of a run and of a cover.
func TestNotYetInTheFuture(t *testing.T) {
	const tests = "bed,date,analyte,value\n"
	one(t, "tests.csv", tests+"A,2026-11-08,pH,6\nA,2026-11,pH,6\nA,autumn 2026,pH,6\n~A,~2026-11,pH,6\n")
	one(t, "amendments.csv", "bed,date,material,every days,until\nA,2026-11-01,feed,7,2026-12-20\n")
	one(t, "covers.csv", "bed,sown,species,ended\nA,2026-10-15,rye,2027-04-20\n")
}

func TestUnknownBeds(t *testing.T) {
	src := []Source{
		{"amendments.csv", []byte("bed,date,material\nNew,2026-04-20,lime\nOlder,2019-04-20,lime\nNorth,2026-04-31,lime\n")},
		{"beds.csv", []byte("bed,from,was\nNew,2026-01-01,Old; Older\n")},
		{"tests.csv", []byte("bed,date,analyte,value\nNorth,2026-10-28,pH,6\nNroth,2026-10-28,pH,66\nNroth,2026-10-28,OM,6\nNroth,2026-10-28,pH,6\nFar field,2026-10-28,pH,6\n")},
		{"weather.csv", []byte("site,bed,date,rain (in)\nHome,,2026-10-01,1\n")},
	}
	_, err := Read(src, Options{Today: today, Beds: []string{"North", "South"}})
	want := `amendments.csv:4: column date: "2026-04-31": expected a day from 1 to 30, as April 2026 has: check the day
tests.csv:3: column bed: "Nroth": not described in this book (nor in 2 more rows): did you mean North? (or add it to beds.csv)
tests.csv:3: column value: pH 66: expected 3.0 to 10.5: check the decimal point
tests.csv:4: column unit: OM has no unit: expected %, g/kg: copy the unit from the lab's sheet
tests.csv:6: column bed: "Far field": not described in this book: mend the name or add it to beds.csv`
	if err == nil || err.Error() != want {
		t.Errorf("got:\n%v\nwant:\n%s", err, want)
	}
	// A book without beds knows none; without a list nothing is checked.
	if _, err := Read(src[3:], Options{Today: today, Beds: []string{}}); err != nil {
		t.Error(err)
	}
	sheet := []Source{{"tillage.csv", []byte("bed,date,tool\nA,2026-04-01,hoe\n")}}
	if _, err := Read(sheet, Options{Today: today, Beds: []string{}}); err == nil {
		t.Error("a bed of a book without beds was taken")
	}
	if _, err := Read(sheet, Options{Today: today}); err != nil {
		t.Error(err)
	}
	// Where the beds' own sheet is at fault, its beds are not missed as well.
	_, err = Read(append(sheet, Source{"beds.csv", []byte("bed,from,aera\nA,2026-01-01,\n")}), Options{Today: today, Beds: []string{}})
	if err == nil || strings.Contains(err.Error(), "not described") {
		t.Error(err)
	}
}

func TestEmptySheetsAreOneNote(t *testing.T) {
	src := []Source{{"tillage.csv", []byte("bed,date,tool\nA,2026-04-01,hoe\n")}, {"weather.csv", []byte("site,date\n")}}
	for _, x := range []struct {
		src  []Source
		want string
	}{
		{src, "weather.csv: headings but no rows: nothing to read"},
		{append(slices.Clone(src), Source{"covers.csv", []byte("bed,sown,species\n# A\n")}), "headings but no rows, nothing to read: covers.csv, weather.csv"},
	} {
		res, err := Read(x.src, Options{Today: today})
		if err != nil || len(res.Notes) != 1 || res.Notes[0] != x.want {
			t.Errorf("%q %v, want %q", res.Notes, err, x.want)
		}
	}
}

func TestWideSheetIsOneFault(t *testing.T) {
	_, err := Read([]Source{{"lab.csv", []byte("bed,date,pH,OM,P,K,Ca,Mg\nA,2026-10-28,6,5,60,300,2000,200\n")}}, Options{Table: "soil_tests", Today: today})
	want := "lab.csv:1: 6 of 8 headings are not known in soil_tests (pH, OM, P, K, Ca, Mg): expected bed, date, timing, lab, report, site, sample, depth (in), depth from (in), depth to (in), cores, analyte, value, unit, form, method, note, grower, replaces, row, date basis: a sheet with a column for each analyte is read with a sheet map: --map"
	if err == nil || err.Error() != want {
		t.Errorf("got:\n%v\nwant:\n%s", err, want)
	}
}

func TestLabsOwnWords(t *testing.T) {
	res := one(t, "soil_tests.csv", "bed,date,analyte,value,unit\nA,2026-10-28,CEC,12,meq\nA,2026-10-28,Base Sat Ca,68,%\nA,2026-10-28,% K sat,4,%\n")
	if r := res.Records.SoilTests; r[0].Value != 12 || r[0].Unit != "cmolc/kg" || r[0].ReportedUnit != "meq" || r[1].Analyte != "Ca sat" || r[2].Analyte != "K sat" {
		t.Errorf("%+v", r)
	}
	if !slices.Contains(res.Notes, "values in meq, read as meq/100 g: 1") {
		t.Error(res.Notes)
	}
}

// The scanner must cut well-formed text as encoding/csv does.
func TestScannerAgreesWithStandardReader(t *testing.T) {
	for _, text := range []string{
		"a,b\nc,d", "a,b\r\nc,d\r\n", "\"a,1\",\"b\"\"2\"\n\"c\nd\",e\n", "a,,\n\n,b,\n", "\"\",x\n", "12\" pot,b\n",
	} {
		std := csv.NewReader(strings.NewReader(text))
		std.FieldsPerRecord, std.LazyQuotes = -1, true
		s := scanner{text: text, sep: ',', nextLine: 1}
		for {
			want, err := std.Read()
			ok, bad := s.row()
			if err == io.EOF && !ok && bad == nil {
				break
			}
			line, _ := std.FieldPos(0)
			if err != nil || bad != nil || !slices.Equal(s.cells, want) || s.line != line {
				t.Fatalf("%q: got %q line %d (%v), want %q line %d (%v)", text, s.cells, s.line, bad, want, line, err)
			}
		}
	}
}

func TestTemplates(t *testing.T) {
	for _, units := range []string{"us", "metric"} {
		var all []Source
		for _, f := range Templates(units) {
			if f.Name == "README.txt" {
				for i, line := range strings.Split(string(f.Data), "\n") {
					if len(line) > 80 {
						t.Errorf("README.txt line %d is %d wide", i+1, len(line))
					}
				}
				continue
			}
			// As it is: a heading that imports, beside another sheet, with no row.
			if _, err := Read([]Source{{f.Name, f.Data}, {"tillage.csv", []byte("bed,date,tool\nA,2026-04-01,hoe\n")}}, Options{Today: today}); err != nil {
				t.Errorf("%s %s: %v", units, f.Name, err)
			}
			all = append(all, Source{f.Name, bytes.ReplaceAll(f.Data, []byte("\n# "), []byte("\n"))})
		}
		res, err := Read(all, Options{Today: dataset.DateOf(2027, 5, 1)})
		if err != nil {
			t.Fatalf("%s examples:\n%v", units, err)
		}
		if len(res.Rows) != len(tables()) {
			t.Errorf("%s: examples fill %d tables of %d", units, len(res.Rows), len(tables()))
		}
	}
}

// TestReadme follows what the README says.
func TestReadme(t *testing.T) {
	list := Templates("us")
	text := string(list[len(list)-1].Data)
	_, example, ok := strings.Cut(text, "takes the place of:\n")
	if !ok {
		t.Fatal("no example of a correction")
	}
	lines := strings.SplitN(example, "\n", 3)
	res := one(t, "mended.csv", strings.TrimSpace(lines[0])+"\n"+strings.TrimSpace(lines[1])+"\n")
	if c := res.Records.Corrections; len(c) != 1 || c[0].Table != "harvests" || c[0].OfBatch != 3 || c[0].OfFile != "harvests.csv" || c[0].OfLine != 7 || c[0].Action != "replace" {
		t.Errorf("%+v", c)
	}
	_, later, ok := strings.Cut(text, "sheets yet; what you fill in is kept: ")
	if !ok {
		t.Fatal("no word of the sheets kept for later")
	}
	later, _, _ = strings.Cut(later, ".")
	var known []string
	for _, tab := range tables() {
		known = append(known, tab.sheet)
	}
	names := strings.Fields(strings.ReplaceAll(later, ",", " "))
	for _, name := range names {
		if !slices.Contains(known, name) {
			t.Errorf("no sheet %q", name)
		}
	}
	if len(names) != 7 || !strings.Contains(text, "--dates MDY") || !strings.Contains(text, `dates = "MDY"`) || !strings.Contains(text, "<0.2") {
		t.Error(text)
	}
}

// The two unit systems' examples must tell the same story.
func TestTemplateExamplesAgree(t *testing.T) {
	for _, tab := range tables() {
		if len(tab.eg[0]) != len(tab.eg[1]) {
			t.Errorf("%s: %d and %d examples", tab.sheet, len(tab.eg[0]), len(tab.eg[1]))
		}
		for _, f := range tab.fields {
			if (f.us == "") != (f.si == "") {
				t.Errorf("%s %s: units %q and %q", tab.sheet, f.name, f.us, f.si)
			}
		}
	}
}

// Any cell of any sheet may hold anything: it is read or refused, never worse.
func TestHostileCells(t *testing.T) {
	hostile := []string{"", "x", "-1", "0", "1e300", "1e-320", "<5", "~", "~5 in", "about", "phosphorus", "nitrate", "P2O5", "pH", "density", "SAR", "2026", "spring 2026", "~2026-10",
		"0-6", "6-0", "-", "1 to", "0-6 lb", "3:7", ":", "9999999999", "other: x", "a\tb", "a\x01b", "2 x", "40-", "\u00b15", "30x", "1/0", "2 lb weekly", "weekly to 1 Sept", "2 h x", "3::7", "before", "\u00bd", "\u202e", "#", "%", "\"", strings.Repeat("9", 400)}
	for _, tab := range tables() {
		var head, cells []string
		example := strings.Split(tab.eg[0][0], ",")
		for i := range tab.fields {
			head = append(head, tab.fields[i].heading("us"))
			cells = append(cells, "")
			if !tab.fields[i].more {
				cells[i], example = example[0], example[1:]
			}
		}
		read, refused := 0, 0
		for i := range cells {
			keep := cells[i]
			for _, h := range hostile {
				cells[i] = h
				var text strings.Builder
				w := csv.NewWriter(&text)
				if err := w.WriteAll([][]string{head, cells}); err != nil {
					t.Fatal(err)
				}
				res, err := Read([]Source{{tab.sheet + ".csv", []byte(text.String())}}, Options{Today: today})
				sound(t, res, err)
				if err == nil {
					read++
				} else {
					refused++
				}
			}
			cells[i] = keep
		}
		if read == 0 || refused == 0 {
			t.Errorf("%s: %d read, %d refused: the example row itself is unsound", tab.sheet, read, refused)
		}
	}
}

func TestTableFinding(t *testing.T) {
	const harvest = "bed,date,weight (lb),weighed\nA,2026-10-03,900,scale\n"
	for _, name := range []string{"harvests.csv", "Harvests 2026.CSV", "harvests-2026.csv", "weights.csv", `C:\patch\harvests.csv`} {
		if res := one(t, name, harvest); len(res.Records.Harvests) != 1 {
			t.Errorf("%s: %v", name, res.Rows)
		}
	}
	if _, err := Read([]Source{{"x.csv", []byte(harvest)}}, Options{Table: "havests", Today: today}); err == nil || !strings.HasSuffix(err.Error(), "did you mean harvests or covers?") && !strings.HasSuffix(err.Error(), "did you mean harvests?") {
		t.Errorf("unknown table: %v", err)
	}
	if res, err := Read([]Source{{"beds.csv", []byte(harvest)}}, Options{Table: "Harvests", Today: today}); err != nil || len(res.Records.Harvests) != 1 {
		t.Errorf("forced table: %v", err)
	}
}

func TestReadFiles(t *testing.T) {
	dir := t.TempDir()
	write := func(name, text string) string {
		p := filepath.Join(dir, name)
		if err := os.MkdirAll(filepath.Dir(p), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(p, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
		return p
	}
	a, b := write("beds.csv", "x"), write("sub/beds.csv", "y")
	write("sub/tests.csv", "z")
	src, err := ReadFiles([]string{filepath.Join(dir, "*.csv"), a})
	if err != nil || len(src) != 1 || src[0].Name != "beds.csv" || string(src[0].Data) != "x" {
		t.Errorf("glob: %v %v", src, err)
	}
	src, err = ReadFiles([]string{a, b})
	if err != nil || len(src) != 2 || src[0].Name == src[1].Name {
		t.Errorf("two of one name: %v %v", src, err)
	}
	slash := filepath.ToSlash(dir)
	for _, x := range []struct{ path, want string }{
		{filepath.Join(dir, "sub"), "sub: a folder: expected files: name the files in it, as " + slash + "/sub/*.csv"},
		{filepath.Join(dir, "bed.csv"), "bed.csv: no such file: did you mean beds.csv?"},
		{filepath.Join(dir, "none", "bed.csv"), "bed.csv: no such file: there is no folder " + slash + "/none"},
		{filepath.Join(dir, "*.txt"), filepath.Join(dir, "*.txt") + ": no such file: expected one or more sheets: look at the folder's name and the ending (.csv, .xlsx)"},
	} {
		if _, err := ReadFiles([]string{x.path}); err == nil || err.Error() != x.want {
			t.Errorf("got %v\nwant %s", err, x.want)
		}
	}
	if _, err := os.Stat(os.DevNull); err == nil {
		if _, err := ReadFiles([]string{os.DevNull}); err == nil || !strings.Contains(err.Error(), "not a plain file") {
			t.Errorf("device: %v", err)
		}
	}
}

func TestReadIsDeterministic(t *testing.T) {
	src := []Source{{"b.csv", []byte(bigSheet(50))}, {"a.csv", []byte(bigSheet(30))}}
	want, err := Read(src, Options{Today: today})
	if err != nil {
		t.Fatal(err)
	}
	slices.Reverse(src)
	got, err := Read(src, Options{Today: today})
	if err != nil || !reflect.DeepEqual(got, want) {
		t.Errorf("order of the files changes the result: %v", err)
	}
}

// bigSheet is a soil_tests sheet of n rows, as a lab archive would be.
func bigSheet(n int) string {
	var b strings.Builder
	b.WriteString("bed,date,timing,lab,report,depth (in),cores,analyte,value,unit,method,note\n")
	analytes := []string{"pH,%.1f,,water 1:1", "P,%.0f,ppm,Mehlich-3", "K,%.0f,ppm,Mehlich-3", "Ca,%.0f,ppm,Mehlich-3", "OM,%.1f,%%,LOI", "CEC,%.1f,meq/100 g,sum of cations", "K,%.0f,lb/acre,Olsen"}
	for i := range n {
		k := i % len(analytes)
		v := 5 + float64(i*7919%40)/20
		if k > 0 && k != 4 {
			v *= float64(10 + i%50)
		}
		if k == 5 {
			v /= 20
		}
		fmt.Fprintf(&b, "bed %d,%04d-%02d-%02d,autumn,Lab A,%d,0-6,12,", i/7%400, 1950+i/7%75, 9+i%4, 1+i%28, i/7)
		fmt.Fprintf(&b, analytes[k], v)
		b.WriteString(",\n")
	}
	return b.String()
}

func BenchmarkRead100k(b *testing.B) {
	src := []Source{{"soil_tests.csv", []byte(bigSheet(100_000))}}
	b.SetBytes(int64(len(src[0].Data)))
	b.ReportAllocs()
	for b.Loop() {
		res, err := Read(src, Options{Grower: "Ann", Today: today})
		if err != nil || len(res.Records.SoilTests) != 100_000 {
			b.Fatal(err)
		}
	}
}
