package intake

import (
	"encoding/binary"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"unicode/utf16"
)

func wide(order binary.AppendByteOrder, s string) string {
	var b []byte
	for _, u := range utf16.Encode([]rune(s)) {
		b = order.AppendUint16(b, u)
	}
	return string(b)
}

const oneTest = "bed,date,analyte,value,unit,method\nCôté bed,2026-10-28,K,118,ppm,Mehlich-3\n"

// TestEncodings reads one sheet as programs of several ages write it.
func TestEncodings(t *testing.T) {
	latin1 := strings.NewReplacer("ô", "\xf4", "é", "\xe9").Replace
	tests := []struct{ name, text, note string }{
		{"UTF-8", oneTest, ""},
		{"UTF-8 with a mark", "\ufeff" + oneTest, ""},
		{"UTF-16 little-endian", wide(binary.LittleEndian, "\ufeff"+oneTest), "tests.csv: read as UTF-16"},
		{"UTF-16 big-endian", wide(binary.BigEndian, "\ufeff"+oneTest), "tests.csv: read as UTF-16"},
		{"UTF-16 little-endian, unmarked", wide(binary.LittleEndian, oneTest), "tests.csv: read as UTF-16"},
		{"UTF-16 big-endian, unmarked", wide(binary.BigEndian, oneTest), "tests.csv: read as UTF-16"},
		{"Windows-1252", latin1(oneTest), "tests.csv: read as Windows-1252 (Latin-1), since it is not UTF-8: check ô in line 2"},
		{"Windows line ends", strings.ReplaceAll(oneTest, "\n", "\r\n"), ""},
		{"old line ends", strings.ReplaceAll(oneTest, "\n", "\r"), ""},
		{"UTF-16 with semicolons and tabs for none", wide(binary.LittleEndian, "\ufeff"+strings.ReplaceAll(oneTest, ",", "\t")), "tests.csv: read as UTF-16"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			res, err := Read([]Source{{"tests.csv", []byte(tt.text)}}, Options{Grower: "Ann", Today: today})
			if err != nil {
				t.Fatal(err)
			}
			if len(res.Records.SoilTests) != 1 || res.Records.SoilTests[0].Bed != "Côté bed" || res.Records.SoilTests[0].Line != 2 {
				t.Errorf("%+v", res.Records.SoilTests)
			}
			if got := strings.Join(res.Notes, "\n"); got != tt.note {
				t.Errorf("notes %q, want %q", got, tt.note)
			}
		})
	}
}

// TestForeignBytes refuses what is no text of a kind that is known.
func TestForeignBytes(t *testing.T) {
	notUTF8 := `expected plain text in UTF-8: save the sheet again as "CSV UTF-8"`
	other := "expected a sheet (CSV or XLSX): open it with the program it belongs to and save its sheet as CSV"
	tests := []struct{ name, text, want string }{
		{"an old Mac's letters", "bed,note\nA,caf\x8e\n", "tests.csv:2: a letter that is not UTF-8: " + notUTF8},
		{"an old DOS's letters", "bed,note\nA,caf\x82 fran\x87ais\n", "tests.csv:2: a letter that is not UTF-8: " + notUTF8},
		{"Cyrillic", "bed,note\nA,\xc2\xfb\xf1\xee\xea\xe0\xff \xe3\xf0\xff\xe4\xea\xe0 \xa4\n", "tests.csv:2: a letter that is not UTF-8: " + notUTF8},
		{"two encodings in one", "bed,note\nC\xc3\xb4t\xc3\xa9,\xe9t\xe9\n", "tests.csv:2: a letter that is not UTF-8: " + notUTF8},
		{"control bytes", "bed,note\nA,\x01\xe9\n", "tests.csv:2: a letter that is not UTF-8: " + notUTF8},
		{"zero bytes late", "bed,note\n" + strings.Repeat("A,b\n", 30000) + "\x00\n", "tests.csv: a file that is not text: " + other},
		{"zero bytes", "\x89PNG\x00\x00", "tests.csv: a file that is not text: " + other},
		{"UTF-16 cut in a letter", "\xff\xfeb\x00\x00\xd8", "tests.csv: text in UTF-16 that is damaged: " + other},
		{"a web page", "<!DOCTYPE html><table>", "tests.csv: a web page or XML: expected a sheet (CSV or XLSX): open it and save its sheet as XLSX or CSV"},
		{"a PDF", "%PDF-1.7", "tests.csv: a PDF: expected a sheet (CSV or XLSX): copy its figures into a sheet; carryover new writes empty ones"},
		{"an old workbook", "\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", "tests.csv: an old workbook (XLS): expected a sheet (CSV or XLSX): open it and save its sheet as XLSX or CSV"},
		{"Parquet", "PAR1", "tests.csv: a Parquet file: expected a sheet (CSV or XLSX): export its rows as CSV"},
		{"a text document", `{\rtf1`, "tests.csv: a text document (RTF): expected a sheet (CSV or XLSX): copy its table into a sheet"},
		{"no workbook", "PK\x03\x04", "tests.csv: a workbook that is damaged (zip: not a valid zip file): expected one that opens: open it, save it again as XLSX and import that"},
		{"10,000 columns", strings.Repeat("a,", 9999) + "a\n", "tests.csv:1: a row of 10000 cells: expected at most 1,000 columns: save the part of the sheet that is meant as a sheet of its own"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			_, err := Read([]Source{{"tests.csv", []byte(tt.text)}}, Options{Grower: "Ann", Today: today})
			if err == nil || err.Error() != tt.want {
				t.Errorf("\n got %v\nwant %s", err, tt.want)
			}
		})
	}
}

// TestEncodingAsked reads as the sheet map says, without a word.
func TestEncodingAsked(t *testing.T) {
	for asked, text := range map[string]string{"windows-1252": "caf\x82", "utf-8": "caf‚", "utf-16le": wide(binary.LittleEndian, "caf‚"), "utf-16be": wide(binary.BigEndian, "caf‚")} {
		r := newReader(Options{Map: &Map{encoding: asked}})
		if got, err := r.decode(Source{"a.csv", []byte(text)}); err != nil || got != "caf‚" {
			t.Errorf("%s: %q %v", asked, got, err)
		}
	}
	r := newReader(Options{Map: &Map{encoding: "utf-8"}})
	if _, err := r.decode(Source{"a.csv", []byte("caf\xe9")}); err == nil {
		t.Error("UTF-8 was asked for and is not there")
	}
}

func TestSeparator(t *testing.T) {
	tests := []struct {
		name, text string
		want       byte
	}{
		{"comma", "bed,date\nA,2026\n", ','},
		{"semicolon", "bed;date\nA;2026\n", ';'},
		{"tab", "bed\tdate\nA\t2026\n", '\t'},
		{"headings alone", "bed;date\n", ';'},
		{"one column", "bed\nA\nB\n", ','},
		{"nothing", "", ','},
		{"decimal commas", "bed;P;K\nA;12,5;3,4\nB;13,5;3,5\n", ';'},
		{"decimal commas, one row", "bed;P\nA;12,5\n", ';'},
		{"commas in every cell", "P, ppm;K, ppm;S, ppm\n1,5;2,5;3,5\n1,6;2,6;3,6\n", ';'},
		{"quoted", "\"bed;name\",\"a;b;c\"\nA,b\n", ','},
		{"a quote over lines", "\"bed\n;;;;\",x\n\"A\n;;;;\",y\n", ','},
		{"lines above the headings", "Report for A. Grower, Home\nSampled: May 4, 2026\nbed\tP\tK\nA\t1\t2\nB\t3\t4\nC\t5\t6\n", '\t'},
		{"former names in a comma sheet", "bed,was,area\nA,B; C,1\nD,E; F,2\n", ','},
		{"a comment", "# a;b;c;d\nbed,date\nA,2026\n", ','},
		{"named", "sep=;\nbed;a,b,c\nA;1,2,3\n", ';'},
		{"rows that lack cells", "bed,date,value\nA,2026\nB,2026\n", ','},
	}
	for _, tt := range tests {
		if _, got := separatorOf(tt.text); got != tt.want {
			t.Errorf("%s: %q, want %q", tt.name, got, tt.want)
		}
	}
	res, err := Read([]Source{{"tests.csv", []byte("sep=;\r\n" + strings.ReplaceAll(oneTest, ",", ";"))}}, Options{Grower: "Ann", Today: today})
	if err != nil || len(res.Records.SoilTests) != 1 || res.Records.SoilTests[0].Line != 3 {
		t.Errorf("named: %v %+v", err, res.Records.SoilTests)
	}
}

// TestDecimals holds the sheet's own figures against each other.
func TestDecimals(t *testing.T) {
	head := "bed;date;analyte;value;unit;method\n"
	row := func(v string) string { return "A;2026-10-28;K;" + v + ";ppm;Mehlich-3\n" }
	second := func(v string) string { return "A;2026-10-28;Ca;" + v + ";ppm;Mehlich-3\n" }
	tests := []struct {
		name, text, decimal string
		want                []float64
		note, fault         string
	}{
		{"comma", head + row("12,5") + second("1,234"), "", []float64{12.5, 1.234}, "tests.csv: decimals are read with a comma, as line 2 shows: 12,5", ""},
		{"comma with points before thousands", head + row("1.234,5") + second("1.234"), "", []float64{1234.5, 1234}, "tests.csv: decimals are read with a comma, as line 2 shows: 1.234,5", ""},
		{"point", head + row("12.5") + second("1,234"), "", []float64{12.5, 1234}, "", ""},
		{"below one", head + row("0,125") + second("<0,5"), "", []float64{0.125, 0.5}, "tests.csv: decimals are read with a comma, as line 2 shows: 0,125", ""},
		{"whole figures", head + row("12"), "", []float64{12}, "", ""},
		{"dates and codes prove nothing", "bed;date;analyte;value;unit;method;note\nA;28.10.2026;K;1,5;ppm;Mehlich-3;28.10.\nA;28.10.2026;Ca;1.5.2;ppm;Mehlich-3;\n", "", nil, "", `tests.csv:3: column value: "1.5.2": expected a number: points stand only before thousands in this sheet, write 1234,5`},
		{"open", head + row("1,234"), "", nil, "", `tests.csv:2: "1,234", which may be a decimal or thousands: expected a figure in the sheet that shows which, as 12,5 or 12.5: say --decimal comma or --decimal point`},
		{"open, asked: comma", head + row("1,234"), "comma", []float64{1.234}, "", ""},
		{"open, asked: point", head + row("1,234"), "point", []float64{1234}, "", ""},
		{"both ways", head + row("12,5") + second("12.5"), "", nil, "", `tests.csv:3: "12.5" has a decimal point, "12,5" in line 2 a decimal comma: expected one way in the whole sheet: mend one of them, or say --decimal comma or --decimal point`},
		{"in a comma sheet", strings.ReplaceAll(head+row("X"), ";", ",")[:len(head)] + "A,2026-10-28,K,\"12,5\",ppm,Mehlich-3\n", "", []float64{12.5}, "tests.csv: decimals are read with a comma, as line 2 shows: 12,5", ""},
		{"thousands in a comma sheet", strings.ReplaceAll(head, ";", ",") + "A,2026-10-28,K,\"1,234\",ppm,Mehlich-3\n", "", []float64{1234}, "", ""},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			res, err := Read([]Source{{"tests.csv", []byte(tt.text)}}, Options{Grower: "Ann", Today: today, Decimal: tt.decimal, Dates: "DMY"})
			if tt.fault != "" {
				if err == nil || err.Error() != tt.fault {
					t.Errorf("\n got %v\nwant %s", err, tt.fault)
				}
				return
			}
			if err != nil {
				t.Fatal(err)
			}
			var got []float64
			for _, s := range res.Records.SoilTests {
				got = append(got, s.ReportedValue)
			}
			if fmt.Sprint(got) != fmt.Sprint(tt.want) {
				t.Errorf("%v, want %v", got, tt.want)
			}
			if n := strings.Join(res.Notes, "\n"); n != tt.note {
				t.Errorf("note %q, want %q", n, tt.note)
			}
		})
	}
}

// TestDecimalsAreEntire shows that no number is read by the other rule: under a
// comma, what a point sheet means is refused or means the same.
func TestDecimalsAreEntire(t *testing.T) {
	for _, v := range []string{"12,5", "1.234,5", "<0,2", "~1,5", "1,5 lb", "4,6 %", "1234,567", "0,125", "-1,5"} {
		if c, p, o := punctuation(v); !c || p || o {
			t.Errorf("%s: comma %v, point %v, open %v", v, c, p, o)
		}
		m := strings.NewReplacer(",", ".", ".", ",").Replace(v)
		if c, p, o := punctuation(m); c || !p || o {
			t.Errorf("%s: comma %v, point %v, open %v", m, c, p, o)
		}
	}
	for _, v := range []string{"1,234", "1.234", "<12,345", "999.999"} {
		if c, p, o := punctuation(v); c || p || !o {
			t.Errorf("%s: comma %v, point %v, open %v", v, c, p, o)
		}
	}
	for _, v := range []string{"", "12", "28.10.2026", "2026-10-28", "1.5.2", "A,5", "see line 4, 5", "1, 2", ",", ".", "R.12", "0-6,5 in"} {
		if c, p, o := punctuation(v); c || p || o {
			t.Errorf("%q: comma %v, point %v, open %v", v, c, p, o)
		}
	}
}

func TestGreatFile(t *testing.T) {
	name := filepath.Join(t.TempDir(), "great.csv")
	f, err := os.Create(name)
	if err != nil {
		t.Fatal(err)
	}
	if err := f.Truncate(200 << 20); err != nil { // holds no bytes on the disk
		t.Fatal(err)
	}
	f.Close()
	if _, err := ReadFiles([]string{name}); err == nil || err.Error() != "great.csv: a file of 200 MB: expected at most 100 MB: part it" {
		t.Error(err)
	}
}

// BenchmarkReadComma100k is BenchmarkRead100k with semicolons and decimal commas.
func BenchmarkReadComma100k(b *testing.B) {
	text := strings.NewReplacer(",", ";", ".", ",").Replace(bigSheet(100_000))
	b.SetBytes(int64(len(text)))
	b.ReportAllocs()
	for b.Loop() {
		res, err := Read([]Source{{"soil_tests.csv", []byte(text)}}, Options{Grower: "Ann", Today: today})
		if err != nil || len(res.Records.SoilTests) != 100_000 {
			b.Fatal(err)
		}
	}
}
