package dataset

import "testing"

func BenchmarkReimport100000Rows(bench *testing.B) {
	r := &Records{Beds: []Bed{bed("A", 1)}}
	for i := range int32(100000) {
		r.SoilTests = append(r.SoilTests, soil("A", "P", Date(i), float64(i%900), i+2))
	}
	for bench.Loop() {
		bench.StopTimer()
		b := newBook(bench)
		commit(bench, b, r)
		again := &Records{SoilTests: append(r.SoilTests[:len(r.SoilTests):len(r.SoilTests)], soil("A", "P", Date(-5), 1, 100002))}
		bench.StartTimer()
		commit(bench, b, again)
	}
}
