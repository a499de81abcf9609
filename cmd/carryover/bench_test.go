package main

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"

	"carryover/dataset"
)

// The targets of the benchmarks, each on two cores: a review of the demo book in
// 60 ms and 100 MB, of a book of 1,000 batches in 0.4 s, a start in 15 ms, an
// import of 100,000 rows in 1.5 s.

// taken reports the memory that the process has taken from the system so far.
func taken(b *testing.B) {
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	b.ReportMetric(float64(m.Sys)/(1<<20), "MB-taken")
}

// commitTests makes a book of n batches, each of one bed's test of one day.
func commitTests(t testing.TB, n int) string {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "book")
	book, err := makeBook(dir, dataset.Options{Units: "us"})
	if err != nil {
		t.Fatal(err)
	}
	to := 15.24
	for i := range n {
		rec := &dataset.Records{}
		day := dataset.DateOf(2000+i/40, 4, 1) + dataset.Date(i%40)
		if i%2 == 1 {
			day += 180
		}
		bed := fmt.Sprintf("Bed %d", i/2%20+1)
		from := dataset.Source{File: "sheet.csv", Line: 2}
		if i < 40 && i%2 == 0 {
			rec.Beds = append(rec.Beds, dataset.Bed{Bed: bed, From: dataset.DateOf(1999, 1, 1), FromBasis: dataset.ByDay, Source: from})
		}
		for j, a := range []struct {
			name, unit, method string
			value              float64
		}{{"pH", "pH", "water 1:1", 6.4}, {"P", "mg/kg", "Mehlich-3", 80}, {"K", "mg/kg", "Mehlich-3", 150}, {"Mg", "mg/kg", "Mehlich-3", 120}} {
			zero, s := 0.0, from
			s.Line += int32(j)
			rec.SoilTests = append(rec.SoilTests, dataset.SoilTest{
				Bed: bed, Analyte: a.name, Date: day, DateBasis: dataset.ByDay, DepthFrom: &zero, DepthTo: &to,
				Value: a.value * float64(20+i%7) / 20, Unit: a.unit, Method: a.method, Basis: "mass",
				ReportedValue: a.value * float64(20+i%7) / 20, ReportedUnit: a.unit, ReportedMethod: a.method, Source: s,
			})
		}
		at := day.Time().Add(48 * time.Hour)
		if _, err := book.Commit(dataset.Batch{Records: rec, Program: "test", Now: at}); err != nil {
			t.Fatal(err)
		}
	}
	return dir
}

func BenchmarkReviewDemo(b *testing.B) {
	dir := demoFolder(b)
	b.ReportAllocs()
	for b.Loop() {
		must(b, "review", "--book", dir)
	}
	taken(b)
}

func BenchmarkReviewBook1000(b *testing.B) {
	dir := commitTests(b, 1000)
	b.ReportAllocs()
	for b.Loop() {
		must(b, "review", "--book", dir)
	}
	taken(b)
}

// As above, but the resolved records are to be made anew from the batches.
func BenchmarkReviewBook1000Resolve(b *testing.B) {
	dir := commitTests(b, 1000)
	for b.Loop() {
		b.StopTimer()
		if err := os.RemoveAll(filepath.Join(dir, "records")); err != nil {
			b.Fatal(err)
		}
		b.StartTimer()
		must(b, "review", "--book", dir)
	}
}

func BenchmarkStart(b *testing.B) {
	program := filepath.Join(b.TempDir(), "carryover.exe")
	if text, err := exec.Command("go", "build", "-o", program, ".").CombinedOutput(); err != nil {
		b.Fatalf("%v\n%s", err, text)
	}
	for b.Loop() {
		if err := exec.Command(program, "--version").Run(); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkImport100k(b *testing.B) {
	const rows = 100_000
	var beds, tests strings.Builder
	beds.WriteString("bed,from,area (sq ft),depth (in)\n")
	tests.WriteString("bed,date,lab,report,depth (in),cores,analyte,value,unit,method\n")
	analytes := []string{"pH,%.1f,,water 1:1", "OM,%.1f,%%,LOI", "P,%.1f,ppm,Mehlich-3", "K,%.1f,ppm,Mehlich-3", "Ca,%.1f,ppm,Mehlich-3",
		"Mg,%.1f,ppm,Mehlich-3", "S,%.1f,ppm,Mehlich-3", "B,%.1f,ppm,Mehlich-3", "Zn,%.1f,ppm,Mehlich-3", "Mn,%.1f,ppm,Mehlich-3"}
	const bedCount, dayCount = 250, 40
	for bed := range bedCount {
		fmt.Fprintf(&beds, "Bed %d,1990-01-01,1000,0-6\n", bed+1)
		for day := range dayCount {
			date := dataset.DateOf(2000+day/2, 4, 15) + dataset.Date(180*(day%2))
			for i, a := range analytes {
				fmt.Fprintf(&tests, "Bed %d,%s,Lab A,%d-%d,0-6,15,"+a+"\n", bed+1, date, date.Year(), bed, 4+float64((bed*7+day*3+i)%40)/10)
			}
		}
	}
	if n := strings.Count(tests.String(), "\n") - 1; n != rows {
		b.Fatalf("%d rows, want %d", n, rows)
	}
	folder := b.TempDir()
	files := []string{filepath.Join(folder, "beds.csv"), filepath.Join(folder, "soil_tests.csv")}
	for i, text := range []string{beds.String(), tests.String()} {
		if err := os.WriteFile(files[i], []byte(text), 0o644); err != nil {
			b.Fatal(err)
		}
	}
	n := 0
	for b.Loop() {
		b.StopTimer()
		n++
		dir := filepath.Join(folder, fmt.Sprintf("book-%d", n))
		must(b, "new", dir)
		b.StartTimer()
		if out := must(b, "import", "--book", dir, files[0], files[1]); !strings.Contains(out, "100,000 rows soil_tests") {
			b.Fatal(out)
		}
	}
	taken(b)
}
