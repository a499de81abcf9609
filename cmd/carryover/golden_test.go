package main

import (
	"encoding/json"
	"fmt"
	"maps"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"carryover/analysis"
	"carryover/dataset"
)

// What the program prints of the demo book, whole. A change of a golden is a
// change of what growers read: look at the diff.
func TestGoldens(t *testing.T) {
	demo := demoFolder(t)
	for _, x := range []struct{ name, args string }{
		{"review.txt", "review"},
		{"review-creek-metric.txt", "review --bed Creek --units metric"},
		{"review.json", "review --format json"},
		{"review.csv", "review --format csv"},
		{"levels.csv", "export levels"},
		{"levels.md", "export levels --format markdown"},
		{"drawdown.csv", "export drawdown"},
		{"drawdown.md", "export drawdown --format markdown"},
		{"harvests.csv", "export harvests"},
		{"harvests.md", "export harvests --format markdown"},
		{"batches.txt", "batches"},
	} {
		t.Run(x.name, func(t *testing.T) {
			got := must(t, append(strings.Fields(x.args), "--book", demo)...)
			if strings.HasSuffix(x.name, ".json") {
				got = lined(t, got)
			}
			golden(t, x.name, got)
		})
	}
}

// lined prints JSON a short object a line, so that a diff shows what changed, and
// numbers to nine digits, since processors differ in the last ones.
func lined(t *testing.T, text string) string {
	t.Helper()
	d := json.NewDecoder(strings.NewReader(text))
	d.UseNumber()
	var v any
	if err := d.Decode(&v); err != nil {
		t.Fatal(err)
	}
	var b strings.Builder
	var write func(v any)
	write = func(v any) {
		short, err := json.Marshal(nineDigits(v))
		if err != nil {
			t.Fatal(err)
		}
		if x, ok := v.(map[string]any); ok && len(short) > 900 {
			b.WriteString("{\n")
			for i, k := range slices.Sorted(maps.Keys(x)) {
				if i > 0 {
					b.WriteString(",\n")
				}
				fmt.Fprintf(&b, "%q: ", k)
				write(x[k])
			}
			b.WriteString("\n}")
			return
		}
		if x, ok := v.([]any); ok && len(short) > 300 {
			b.WriteString("[\n")
			for i := range x {
				if i > 0 {
					b.WriteString(",\n")
				}
				write(x[i])
			}
			b.WriteString("\n]")
			return
		}
		b.Write(short)
	}
	write(v)
	return b.String() + "\n"
}

func nineDigits(v any) any {
	switch x := v.(type) {
	case json.Number:
		f, err := x.Float64()
		if err != nil {
			return x
		}
		f, _ = strconv.ParseFloat(strconv.FormatFloat(f, 'g', 9, 64), 64)
		return f
	case []any:
		out := make([]any, len(x))
		for i := range x {
			out[i] = nineDigits(x[i])
		}
		return out
	case map[string]any:
		out := make(map[string]any, len(x))
		for k := range x {
			out[k] = nineDigits(x[k])
		}
		return out
	}
	return v
}

// The JSON holds the whole review: read back, it is the same.
func TestReviewJSON(t *testing.T) {
	demo := demoFolder(t)
	var got analysis.Review
	d := json.NewDecoder(strings.NewReader(must(t, "review", "--format", "json", "--book", demo)))
	d.DisallowUnknownFields()
	if err := d.Decode(&got); err != nil {
		t.Fatal(err)
	}
	book, err := dataset.Open(demo)
	if err != nil {
		t.Fatal(err)
	}
	want, _, err := new(looking).review(book)
	if err != nil {
		t.Fatal(err)
	}
	if len(want.Beds) != 4 || len(want.Beds[0].Levels) == 0 || len(want.Doubts) == 0 {
		t.Fatalf("the demo's review is empty: %d beds", len(want.Beds))
	}
	// What the analysis keeps for its own use is not part of the review.
	unexported := cmp.FilterPath(func(p cmp.Path) bool {
		f, ok := p.Last().(cmp.StructField)
		return ok && !isUpper(f.Name())
	}, cmp.Ignore())
	if d := cmp.Diff(*want, got, unexported, cmpopts.EquateEmpty()); d != "" {
		t.Errorf("what is printed as JSON is not the review (-review +JSON):\n%s", d)
	}
}

func isUpper(s string) bool { return s[0] >= 'A' && s[0] <= 'Z' }

// Every field of the JSON by its path: those who read it rely on the names.
func TestFieldNames(t *testing.T) {
	names := fieldNames("", reflect.TypeFor[analysis.Review](), nil)
	if len(names) < 50 {
		t.Fatalf("only %d fields found", len(names))
	}
	golden(t, "fields.txt", strings.Join(names, "\n")+"\n")
}

func fieldNames(path string, typ reflect.Type, within []reflect.Type) (out []string) {
	optional := ""
	for typ.Kind() == reflect.Pointer || typ.Kind() == reflect.Slice {
		if typ.Kind() == reflect.Pointer {
			optional = ", may be null"
		} else {
			path += "[]"
		}
		typ = typ.Elem()
	}
	if typ.Kind() != reflect.Struct {
		kind := typ.Kind().String()
		if typ == reflect.TypeFor[dataset.Date]() {
			kind = "date"
		}
		return []string{strings.TrimPrefix(path, ".") + ": " + kind + optional}
	}
	if slices.Contains(within, typ) {
		return []string{strings.TrimPrefix(path, ".") + ": as above"}
	}
	within = append(slices.Clone(within), typ)
	for i := range typ.NumField() {
		f := typ.Field(i)
		if !f.IsExported() {
			continue
		}
		tag := f.Tag.Get("json")
		if tag == "" {
			panic(fmt.Sprintf("%s.%s has no JSON name", typ, f.Name))
		}
		name, _, _ := strings.Cut(tag, ",")
		if name == "-" {
			continue
		}
		sub := fieldNames(path+"."+name, f.Type, within)
		if strings.Contains(tag, ",omitempty") {
			for j := range sub {
				sub[j] += ", left out if empty"
			}
		}
		out = append(out, sub...)
	}
	return out
}
