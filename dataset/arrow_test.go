package dataset

import (
	"bytes"
	"context"
	"fmt"
	"math/rand/v2"
	"reflect"
	"slices"
	"strings"
	"testing"

	"github.com/apache/arrow/go/v17/arrow"
	"github.com/apache/arrow/go/v17/arrow/array"
	"github.com/apache/arrow/go/v17/arrow/memory"
	"github.com/apache/arrow/go/v17/parquet/file"
	"github.com/apache/arrow/go/v17/parquet/pqarrow"
)

// A second reader, written by others, finds the same columns, types and values.
func TestArrowReadsEveryTable(t *testing.T) {
	r := filled(rand.New(rand.NewPCG(2, 2)), 60)
	for _, tab := range tables() {
		pf, err := file.NewParquetReader(bytes.NewReader(encoded(t, tab, r, 20)))
		if err != nil {
			t.Fatalf("%s: %v", tab.name(), err)
		}
		fr, err := pqarrow.NewFileReader(pf, pqarrow.ArrowReadProperties{}, memory.DefaultAllocator)
		if err != nil {
			t.Fatal(err)
		}
		got, err := fr.ReadTable(context.Background())
		if err != nil {
			t.Fatalf("%s: %v", tab.name(), err)
		}
		rows := rowsOf(r, tab)
		names, _ := flat(rows, 0)
		if int(got.NumCols()) != len(names) || int(got.NumRows()) != rows.Len() {
			t.Fatalf("%s: %d columns, %d rows; want %d, %d", tab.name(), got.NumCols(), got.NumRows(), len(names), rows.Len())
		}
		for c, name := range names {
			col := got.Column(c)
			if col.Name() != name {
				t.Fatalf("%s: column %s, want %s", tab.name(), col.Name(), name)
			}
			at := 0
			for _, chunk := range col.Data().Chunks() {
				for i := range chunk.Len() {
					_, cells := flat(rows, at)
					if g, w := arrowCell(t, chunk, i), cells[c]; g != w {
						t.Fatalf("%s row %d, %s: %v, want %v", tab.name(), at, name, g, w)
					}
					at++
				}
			}
		}
	}
}

func rowsOf(r *Records, tab table) reflect.Value {
	return reflect.ValueOf(r).Elem().Field(slices.Index(TableNames(), tab.name()))
}

// flat lists column names and the cells of one row as text.
func flat(rows reflect.Value, i int) (names, cells []string) {
	var walk func(v reflect.Value)
	walk = func(v reflect.Value) {
		for j := range v.NumField() {
			f, sf := v.Field(j), v.Type().Field(j)
			if sf.Anonymous {
				walk(f)
				continue
			}
			name, tags, _ := strings.Cut(sf.Tag.Get("parquet"), ",")
			names = append(names, name)
			cell := "null"
			switch {
			case f.Kind() == reflect.Pointer && f.IsNil(), f.Kind() == reflect.String && f.Len() == 0 && strings.Contains(tags, "optional"):
			case f.Kind() == reflect.Pointer:
				cell = fmt.Sprintf("%s %v", kindOf(f.Elem()), f.Elem().Interface())
			default:
				cell = fmt.Sprintf("%s %v", kindOf(f), f.Interface())
			}
			cells = append(cells, cell)
		}
	}
	walk(rows.Index(i))
	return names, cells
}

func kindOf(v reflect.Value) string {
	if v.Type() == reflect.TypeFor[Date]() {
		return "day"
	}
	return map[reflect.Kind]string{reflect.String: "text", reflect.Float64: "real", reflect.Int32: "whole"}[v.Kind()]
}

func arrowCell(t *testing.T, a arrow.Array, i int) string {
	if a.IsNull(i) {
		return "null"
	}
	switch a := a.(type) {
	case *array.String:
		return "text " + a.Value(i)
	case *array.Float64:
		return fmt.Sprintf("real %v", a.Value(i))
	case *array.Int32:
		return fmt.Sprintf("whole %v", a.Value(i))
	case *array.Date32:
		return fmt.Sprintf("day %v", Date(a.Value(i)))
	}
	t.Fatalf("type %v", a.DataType())
	return ""
}
