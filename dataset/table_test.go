package dataset

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"os"
	"reflect"
	"runtime"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/parquet-go/parquet-go"
)

func encoded(t testing.TB, tab table, r *Records, group int) []byte {
	t.Helper()
	var buf bytes.Buffer
	if err := tab.encode(&buf, r, group); err != nil {
		t.Fatalf("%s: %v", tab.name(), err)
	}
	return buf.Bytes()
}

func TestTablesRoundTrip(t *testing.T) {
	for _, n := range []int{0, 1, 7, 500} {
		want, got := filled(rand.New(rand.NewPCG(1, uint64(n))), n), &Records{}
		for _, tab := range tables() {
			data := encoded(t, tab, want, groupRows)
			if err := tab.decode(data, n, Format, got); err != nil {
				t.Fatalf("%s of %d rows: %v", tab.name(), n, err)
			}
			if again := encoded(t, tab, want, groupRows); !bytes.Equal(again, data) {
				t.Errorf("%s: two encodings differ", tab.name())
			}
			if tab.len(want) != n || tab.len(got) != n || want.Len(tab.name()) != n {
				t.Errorf("%s: %d rows, want %d", tab.name(), tab.len(got), n)
			}
			if err := tab.decode(data, n+1, Format, &Records{}); err == nil {
				t.Errorf("%s: a wrong row count passes", tab.name())
			}
		}
		if n == 0 {
			want = &Records{}
		}
		if diff := cmp.Diff(want, got); diff != "" {
			t.Errorf("%d rows: %s", n, diff)
		}
	}
}

func TestRowGroupsDoNotSplitBeds(t *testing.T) {
	r := &Records{}
	for i := range int32(100) {
		r.SoilTests = append(r.SoilTests, soil(string(rune('A'+i/15)), "P", Date(i), 1, i))
	}
	tab := tableNamed("soil_tests")
	data := encoded(t, tab, r, 20)
	f, err := parquet.OpenFile(bytes.NewReader(data), int64(len(data)))
	if err != nil {
		t.Fatal(err)
	}
	var lens []int64
	for _, g := range f.RowGroups() {
		lens = append(lens, g.NumRows())
		if s := g.SortingColumns(); len(s) != 10 || s[0].Path()[0] != "grower" || !s[4].NullsFirst() {
			t.Errorf("sorting columns %v", s)
		}
	}
	if want := []int64{30, 30, 30, 10}; !slices.Equal(lens, want) {
		t.Errorf("row groups of %v rows, want %v", lens, want)
	}
	got := &Records{}
	if err := tab.decode(data, 100, Format, got); err != nil || !reflect.DeepEqual(got, r) {
		t.Error("rows differ", err)
	}
}

// The format page and the row structs name the same columns, types and nulls.
func TestFormatPage(t *testing.T) {
	page, err := os.ReadFile("doc.go")
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	section := ""
	for _, l := range strings.Split(string(page), "\n") {
		if name, ok := strings.CutPrefix(l, "// # "); ok {
			section = name
		}
		f := strings.Fields(strings.TrimPrefix(l, "//\t"))
		if !strings.HasPrefix(l, "//\t") || tableNamed(section) == nil || f[0] == "column" {
			continue
		}
		col := strings.TrimPrefix(l, "//\t")
		if null := strings.TrimSpace(col[42:66]); null == "-" {
			got = append(got, section+"."+f[0]+" "+f[1])
		} else {
			got = append(got, section+"."+f[0]+" "+f[1]+" or null")
		}
	}
	var want []string
	for _, tab := range tables() {
		for _, c := range tab.schema().Fields() {
			kind := map[parquet.Kind]string{parquet.ByteArray: "text", parquet.Double: "real", parquet.Int32: "whole"}[c.Type().Kind()]
			if lt := c.Type().LogicalType(); kind == "whole" && lt != nil && strings.Contains(fmt.Sprint(lt), "DATE") {
				kind = "day"
			}
			s := tab.name() + "." + c.Name() + " " + kind
			if c.Optional() {
				s += " or null"
			}
			want = append(want, s)
		}
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("doc.go and the row structs differ (-struct +page):\n%s", diff)
	}
}

func TestColumnNamesOfSpecs(t *testing.T) {
	r := filled(rand.New(rand.NewPCG(3, 3)), 5)
	for i, tab := range tables() {
		if name := strings.ToLower(strings.ReplaceAll(reflect.TypeFor[Records]().Field(i).Name, "_", "")); name != strings.ReplaceAll(tab.name(), "_", "") {
			t.Errorf("Records field %d is %s, table %s", i, name, tab.name())
		}
		data := encoded(t, tab, r, groupRows)
		f, err := parquet.OpenFile(bytes.NewReader(data), int64(len(data)))
		if err != nil {
			t.Fatal(err)
		}
		for _, s := range f.RowGroups()[0].SortingColumns() {
			if _, ok := f.Schema().Lookup(s.Path()...); !ok {
				t.Errorf("%s is sorted by %v, which it has not", tab.name(), s.Path())
			}
		}
		if by := f.Metadata().CreatedBy; !strings.HasPrefix(by, fmt.Sprintf("carryover version %d(build", Format)) {
			t.Errorf("created by %q", by)
		}
	}
	s := spec[SoilTest]{unique: []string{"grower", "bed", "sample"}}
	if got := len(s.columnsNamed(s.unique)); got != 3 {
		t.Errorf("%d columns", got)
	}
}

// Whatever byte is wrong, the guarded decoder neither panics nor asks for much.
func TestGuardFlips(t *testing.T) {
	r := filled(rand.New(rand.NewPCG(4, 4)), 6)
	some, bits := []table{tableNamed("harvests")}, 1
	if long() {
		some, bits = tables(), 8
	}
	var before, after runtime.MemStats
	for _, tab := range some {
		data := encoded(t, tab, r, groupRows)
		refused := 0
		for i := range data {
			for k := range bits {
				bad := slices.Clone(data)
				bad[i] ^= 1 << ((i + k) % 8)
				runtime.ReadMemStats(&before)
				if err := tab.decode(bad, 6, Format, &Records{}); err != nil {
					refused++
				}
				runtime.ReadMemStats(&after)
				if n := after.TotalAlloc - before.TotalAlloc; n > 16<<20 {
					t.Fatalf("%s byte %d: %d MB", tab.name(), i, n>>20)
				}
			}
		}
		if refused == 0 {
			t.Errorf("%s: no flip was noticed", tab.name())
		}
		t.Logf("%s: %d of %d flips refused without the checksum", tab.name(), refused, bits*len(data))
	}
}

func FuzzOpenTable(f *testing.F) {
	r := filled(rand.New(rand.NewPCG(5, 5)), 4)
	for i, tab := range tables() {
		var buf bytes.Buffer
		if err := tab.encode(&buf, r, groupRows); err != nil {
			f.Fatal(err)
		}
		f.Add(buf.Bytes(), uint16(4), uint8(i))
	}
	f.Add([]byte("PAR1\x00\x00\x00\x00PAR1"), uint16(0), uint8(0))
	f.Fuzz(func(t *testing.T, data []byte, rows uint16, which uint8) {
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		tab := tables()[int(which)%len(tables())]
		got := &Records{}
		if err := tab.decode(data, int(rows), Format, got); err == nil && tab.len(got) != int(rows) {
			t.Errorf("%d rows, want %d", tab.len(got), rows)
		}
		runtime.ReadMemStats(&after)
		if n := after.TotalAlloc - before.TotalAlloc; n > 1<<30 {
			t.Errorf("%d MB for %d bytes", n>>20, len(data))
		}
	})
}

// An empty optional text is a null in the file, whatever stands around it.
func TestEmptyTextIsNull(t *testing.T) {
	r := &Records{}
	for i := range int32(40) {
		s := soil("A", "P", Date(i), 1, i)
		if i >= 3 && i < 6 || i == 20 {
			s.Note = "x"
		}
		r.SoilTests = append(r.SoilTests, s)
	}
	tab := tableNamed("soil_tests")
	data := encoded(t, tab, r, groupRows)
	f, err := parquet.OpenFile(bytes.NewReader(data), int64(len(data)))
	if err != nil {
		t.Fatal(err)
	}
	note, _ := f.Schema().Lookup("note")
	pages := f.RowGroups()[0].ColumnChunks()[note.ColumnIndex].Pages()
	defer pages.Close()
	page, err := pages.ReadPage()
	if err != nil {
		t.Fatal(err)
	}
	if page.NumValues() != 40 || page.NumNulls() != 36 {
		t.Errorf("%d nulls of %d, want 36 of 40", page.NumNulls(), page.NumValues())
	}
}

// TestColumnsOfALaterFormat: a file of an older format may lack what came since,
// one of the same format may not.
func TestColumnsOfALaterFormat(t *testing.T) {
	type older struct {
		Bed   string   `parquet:"bed,dict"`
		Depth *float64 `parquet:"depth_cm,optional,dict"`
		Source
	}
	type today struct {
		Bed    string   `parquet:"bed,dict"`
		Colour string   `parquet:"colour,optional,dict" since:"2"`
		Depth  *float64 `parquet:"depth_cm,optional,dict"`
		Slope  *float64 `parquet:"slope_pct,optional,dict" since:"3"`
		Source
	}
	type broken struct {
		Bed    string   `parquet:"bed,dict"`
		Aspect float64  `parquet:"aspect,dict" since:"2"` // never null, so it cannot be left out
		Depth  *float64 `parquet:"depth_cm,optional,dict"`
		Source
	}
	was := []older{{"A", ptr(15.0), Source{1, "a.csv", 2}}, {"B", nil, Source{1, "a.csv", 3}}}
	var file bytes.Buffer
	if err := (spec[older]{table: "older", rows: func(*Records) *[]older { return &was }, order: []string{"bed"}}).encode(&file, nil, groupRows); err != nil {
		t.Fatal(err)
	}
	var got []today
	now := spec[today]{table: "today", rows: func(*Records) *[]today { return &got }, order: []string{"bed"}}
	if err := now.decode(file.Bytes(), 2, 1, nil); err != nil {
		t.Fatal(err)
	}
	if want := []today{{Bed: "A", Depth: ptr(15.0), Source: was[0].Source}, {Bed: "B", Source: was[1].Source}}; !reflect.DeepEqual(got, want) {
		t.Errorf("%+v", got)
	}
	for _, format := range []int{2, 3} {
		if err := now.decode(file.Bytes(), 2, format, nil); err == nil || len(got) != 2 {
			t.Errorf("format %d lacks a column of its own: %d rows", format, len(got))
		}
	}
	var none []broken
	if err := (spec[broken]{table: "broken", rows: func(*Records) *[]broken { return &none }}).decode(file.Bytes(), 2, 1, nil); err == nil {
		t.Error("a column that is never null was left out")
	}
	var back []older
	file.Reset()
	if err := now.encode(&file, nil, groupRows); err != nil {
		t.Fatal(err)
	}
	if err := (spec[older]{table: "older", rows: func(*Records) *[]older { return &back }}).decode(file.Bytes(), 2, 1, nil); err == nil {
		t.Error("columns that the format does not have were passed over")
	}
}
