package dataset

import (
	"bufio"
	"fmt"
	"io/fs"
	"math/rand/v2"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"time"
)

// TestMain lets the test binary stand in for a program that imports and is
// killed.
func TestMain(m *testing.M) {
	switch dir := os.Getenv("CARRYOVER_TEST_BOOK"); os.Getenv("CARRYOVER_TEST_CHILD") {
	case "commit":
		b, err := Open(dir)
		for err == nil {
			var list []BatchInfo
			if list, err = b.Batches(); err == nil {
				var res Result
				if res, err = b.Commit(numbered(len(list) + 1)); err == nil {
					fmt.Println(res.Number)
				}
			}
		}
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	case "lock":
		b, err := Open(dir)
		if err == nil {
			_, err = b.lock(0)
		}
		fmt.Println(err)
		bufio.NewReader(os.Stdin).ReadString('\n') // until killed
		os.Exit(0)
	}
	os.Exit(m.Run())
}

var noon = time.Date(2026, 10, 30, 12, 0, 0, 0, time.UTC)

func long() bool { return os.Getenv("CARRYOVER_LONG") != "" }

func ptr[T any](v T) *T { return &v }

func newBook(t testing.TB) *Book {
	t.Helper()
	b, err := Create(filepath.Join(t.TempDir(), "patch [1]"), Options{Grower: "Test Grower"})
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func bed(name string, from Date) Bed {
	return Bed{Grower: "G", Bed: name, From: from, FromBasis: ByDay, Source: Source{File: "beds.csv", Line: 2}}
}

func soil(bed, analyte string, date Date, value float64, line int32) SoilTest {
	return SoilTest{Grower: "G", Bed: bed, Analyte: analyte, Date: date, DateBasis: ByDay, Value: value, Unit: "mg/kg",
		ReportedValue: value, ReportedUnit: "ppm", Source: Source{File: "tests.csv", Line: line}}
}

func spread(bed, material string, date Date, kg float64, line int32) Amendment {
	return Amendment{Grower: "G", Bed: bed, Date: date, DateBasis: ByDay, Material: material, Amount: &kg, Unit: "kg",
		Source: Source{File: "amendments.csv", Line: line}}
}

// numbered is a batch whose rows tell its number.
func numbered(n int) Batch {
	r := &Records{SoilTests: []SoilTest{soil("A", "P", Date(18000+n), float64(n), int32(n))},
		Amendments: []Amendment{spread("A", "lime", Date(18000+n), float64(n), int32(n))}}
	if n == 1 {
		r.Beds = []Bed{bed("A", 17000)}
	}
	return Batch{Records: r, Sources: []SourceFile{{"tests.csv", fmt.Appendf(nil, "bed,value\nA,%d\n", n)}}, Program: "test", Now: noon}
}

func commit(t testing.TB, b *Book, r *Records) int {
	t.Helper()
	res, err := b.Commit(Batch{Records: r, Program: "test", Now: noon})
	if err != nil {
		t.Fatal(err)
	}
	return res.Number
}

func records(t testing.TB, b *Book) *Records {
	t.Helper()
	r, err := b.Records()
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func sound(t testing.TB, b *Book) {
	t.Helper()
	findings, err := b.Verify()
	if err != nil || len(findings) > 0 {
		t.Fatalf("verify: %v %v", findings, err)
	}
}

// full resolves from the batches, without records/.
func full(t testing.TB, b *Book) *Records {
	t.Helper()
	l, err := b.readLog()
	if err != nil {
		t.Fatal(err)
	}
	r, loose, err := b.resolve(l)
	if err != nil || len(loose) > 0 {
		t.Fatal(loose, err)
	}
	return r
}

// filled returns n rows of every table, with nulls, sorted.
func filled(rng *rand.Rand, n int) *Records {
	r := &Records{}
	words := []string{"", "A", "B", "Böden", "ph", "x,\"y\"", "12"}
	var fill func(v reflect.Value)
	fill = func(v reflect.Value) {
		switch v.Kind() {
		case reflect.Struct:
			for i := range v.NumField() {
				fill(v.Field(i))
			}
		case reflect.Pointer:
			if rng.IntN(3) > 0 {
				v.Set(reflect.New(v.Type().Elem()))
				fill(v.Elem())
			}
		case reflect.String:
			v.SetString(words[rng.IntN(len(words))])
		case reflect.Float64:
			v.SetFloat(float64(rng.IntN(2000)-200) / 16)
		case reflect.Int32:
			v.SetInt(int64(rng.IntN(40000) - 2000))
		}
	}
	v := reflect.ValueOf(r).Elem()
	for i := range v.NumField() {
		rows := reflect.MakeSlice(v.Field(i).Type(), n, n)
		for j := range n {
			fill(rows.Index(j))
		}
		v.Field(i).Set(rows)
	}
	r.Sort()
	return r
}

// tree is every file below dir by name, without the lock.
func tree(t testing.TB, dir string) map[string]string {
	t.Helper()
	files := map[string]string{}
	err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || d.Name() == ".lock" {
			return err
		}
		data, err := os.ReadFile(path)
		name, _ := filepath.Rel(dir, path)
		files[filepath.ToSlash(name)] = string(data)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return files
}

func mustSay(t testing.TB, err error, words ...string) {
	t.Helper()
	if err == nil {
		t.Fatal("no error")
	}
	for _, w := range words {
		if !strings.Contains(err.Error(), w) {
			t.Errorf("message lacks %q:\n%v", w, err)
		}
	}
}
