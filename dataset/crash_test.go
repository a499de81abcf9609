package dataset

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"sync"
	"sync/atomic"
	"testing"
	"time"
)

// child starts this test binary as another program.
func child(t *testing.T, b *Book, what string) (*exec.Cmd, io.Reader) {
	t.Helper()
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), "CARRYOVER_TEST_CHILD="+what, "CARRYOVER_TEST_BOOK="+b.Dir)
	if _, err := cmd.StdinPipe(); err != nil {
		t.Fatal(err)
	}
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	cmd.Stderr = os.Stderr
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	return cmd, out
}

// checkNumbered wants batches 1 to n whole, each with its own rows, and
// returns n.
func checkNumbered(t *testing.T, r *Records) int {
	t.Helper()
	if len(r.SoilTests) != len(r.Amendments) || min(len(r.SoilTests), 1) != len(r.Beds) {
		t.Fatalf("half a batch: %d tests, %d amendments, %d beds", len(r.SoilTests), len(r.Amendments), len(r.Beds))
	}
	for i, s := range r.SoilTests {
		if n := int32(i + 1); s.Line != n || s.Batch != n || s.Value != float64(n) || r.Amendments[i].Batch != n {
			t.Fatalf("row %d is %+v", i, s)
		}
	}
	return len(r.SoilTests)
}

// A program killed at any moment leaves whole batches, and all it said were in.
func TestKill(t *testing.T) {
	kills := 15
	if long() {
		kills = 300
	}
	b := newBook(t)
	rng := rand.New(rand.NewPCG(uint64(time.Now().UnixNano()), 1))
	said := 0
	for range kills {
		cmd, out := child(t, b, "commit")
		first := make(chan bool)
		done := make(chan int)
		go func() {
			last := 0
			for lines := bufio.NewScanner(out); lines.Scan(); {
				n, err := strconv.Atoi(lines.Text())
				if err != nil {
					continue // a line cut short
				}
				if last == 0 {
					close(first)
				}
				last = n
			}
			done <- last
		}()
		select {
		case <-first:
		case <-time.After(20 * time.Second):
			t.Error("nothing was imported")
		}
		time.Sleep(time.Duration(rng.IntN(60000)) * time.Microsecond)
		cmd.Process.Kill()
		last := <-done
		cmd.Wait()
		said = max(said, last)
		if n := checkNumbered(t, records(t, b)); n < said || n > said+1 {
			t.Fatalf("%d batches in the book, %d were said to be", n, said)
		}
		if n := checkNumbered(t, full(t, b)); n < said {
			t.Fatalf("%d batches, %d were said to be in", n, said)
		}
		sound(t, b)
	}
	if said < kills {
		t.Errorf("only %d batches in %d runs", said, kills)
	}
	if _, err := b.Commit(numbered(checkNumbered(t, records(t, b)) + 1)); err != nil {
		t.Fatal(err)
	}
	entries, err := os.ReadDir(filepath.Join(b.Dir, "batches"))
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		if _, ok := batchNumber(e.Name()); !ok {
			t.Errorf("left over: %s", e.Name())
		}
	}
	t.Logf("%d batches through %d kills", said, kills)
}

func batchNumber(name string) (int, bool) { n := numberOf(name); return n, n > 0 }

// The lock of a program that died holds nobody up.
func TestLock(t *testing.T) {
	b := newBook(t)
	cmd, out := child(t, b, "lock")
	line, err := bufio.NewReader(out).ReadString('\n')
	if err != nil || line != "<nil>\n" {
		t.Fatal(line, err)
	}
	start := time.Now()
	_, err = b.lock(50 * time.Millisecond)
	if !errors.Is(err, ErrBusy) || time.Since(start) < 50*time.Millisecond {
		t.Errorf("%v after %v", err, time.Since(start))
	}
	mustSay(t, err, "another import is writing", "hint:")
	if r, err := b.Records(); err != nil || r.Total() != 0 {
		t.Error("reading needs no lock:", err)
	}
	cmd.Process.Kill()
	cmd.Wait()
	if _, err := b.Commit(numbered(1)); err != nil {
		t.Error(err)
	}
}

func TestTwoCommitters(t *testing.T) {
	b := newBook(t)
	commit(t, b, &Records{Beds: []Bed{bed("A", 1), bed("B", 1)}})
	const each = 12
	var wg sync.WaitGroup
	for _, name := range []string{"A", "B"} {
		wg.Go(func() {
			mine, err := Open(b.Dir)
			for i := range int32(each) {
				if err == nil {
					_, err = mine.Commit(Batch{Records: &Records{SoilTests: []SoilTest{soil(name, "P", Date(i), 1, i)}}, Now: noon})
				}
			}
			if err != nil {
				t.Error(err)
			}
		})
	}
	wg.Wait()
	list, err := b.Batches()
	if err != nil || len(list) != 2*each+1 || len(records(t, b).SoilTests) != 2*each {
		t.Errorf("%d batches, %v", len(list), err)
	}
	sound(t, b)
}

// A reader sees whole states only, never an older one after a newer one, and
// other programs see one folder of records.
func TestReadersDuringImports(t *testing.T) {
	b := newBook(t)
	var stop atomic.Bool
	var wg sync.WaitGroup
	reads := 0
	wg.Go(func() {
		for last := 0; !stop.Load(); reads++ {
			r, err := b.Records()
			if err != nil {
				t.Error(err)
				return
			}
			n := checkNumbered(t, r)
			if n < last {
				t.Errorf("%d batches after %d", n, last)
			}
			last = n
		}
	})
	wg.Go(func() {
		for none := 0; !stop.Load(); {
			// A listing is not one step: it may run dry in the folder just replaced.
			names, err := os.ReadDir(filepath.Join(b.Dir, "records"))
			switch {
			case len(names) == 1:
				none = 0
			case len(names) > 1:
				t.Errorf("%d folders of records", len(names))
				return
			case err == nil || runtime.GOOS != "windows":
				if none++; none > 100 {
					t.Error("no records to be seen:", err)
					return
				}
			}
		}
	})
	for n := range 40 {
		if _, err := b.Commit(numbered(n + 1)); err != nil {
			t.Fatal(err)
		}
	}
	stop.Store(true)
	wg.Wait()
	if reads == 0 {
		t.Error("nothing was read")
	}
	if n := checkNumbered(t, records(t, b)); n != 40 {
		t.Errorf("%d batches", n)
	}
}

// patch is a book of 4 beds, 8 seasons.
func patch(t testing.TB) *Book {
	b := newBook(t)
	for season := range int32(8) {
		r := &Records{}
		for _, name := range []string{"Barn", "Creek", "Hill", "Lawn"} {
			if season == 0 {
				r.Beds = append(r.Beds, bed(name, 10000))
			}
			for half := range int32(2) {
				for i, a := range []string{"pH", "buffer pH", "OM", "CEC", "P", "K", "Ca", "Mg", "S", "Zn", "Mn", "B"} {
					s := soil(name, a, Date(17000+season*365+half*160), float64(i)+float64(season)/8, int32(len(r.SoilTests)))
					s.Method, s.Lab, s.DepthFrom, s.DepthTo = "Mehlich-3", "Lab", ptr(0.0), ptr(15.0)
					r.SoilTests = append(r.SoilTests, s)
				}
			}
			for i := range int32(5) {
				r.Amendments = append(r.Amendments, spread(name, "compost", Date(17000+season*365+i), 10, i))
			}
			r.Plantings = append(r.Plantings, Planting{Grower: "G", Bed: name, Season: 2016 + season, Crop: "pumpkin"})
			r.Harvests = append(r.Harvests, Harvest{Grower: "G", Bed: name, Date: Date(17000 + season*365 + 150), Weight: 600, Weighed: "scale"})
		}
		commit(t, b, r)
	}
	return b
}

func BenchmarkRecords(bench *testing.B) {
	b := patch(bench)
	for bench.Loop() {
		records(bench, b)
	}
}

func BenchmarkCommit(bench *testing.B) {
	b := newBook(bench)
	commit(bench, b, &Records{Beds: []Bed{bed("A", 1)}})
	n := int32(0)
	for bench.Loop() {
		n++
		commit(bench, b, &Records{SoilTests: []SoilTest{soil("A", "P", Date(n), 1, n)}, Amendments: []Amendment{spread("A", "lime", Date(n), 1, n)}})
	}
}

func BenchmarkCommit100000Rows(bench *testing.B) {
	r := &Records{Beds: []Bed{bed("A", 1)}}
	for i := range int32(100000) {
		r.SoilTests = append(r.SoilTests, soil("A", "P", Date(i), float64(i%900), i))
	}
	for bench.Loop() {
		commit(bench, newBook(bench), r)
	}
}

// The sheet of last year with one row more.
func BenchmarkReimport100000Rows(bench *testing.B) {
	r := &Records{Beds: []Bed{bed("A", 1)}}
	for i := range int32(100000) {
		r.SoilTests = append(r.SoilTests, soil("A", "P", Date(i), float64(i%900), i+2))
	}
	grown := &Records{SoilTests: append(slices.Clone(r.SoilTests), soil("A", "P", Date(-5), 1, 100002))}
	for bench.Loop() {
		bench.StopTimer()
		b := newBook(bench)
		commit(bench, b, r)
		bench.StartTimer()
		commit(bench, b, grown)
	}
}

func BenchmarkOpen1000Batches(bench *testing.B) {
	b := newBook(bench)
	for n := range 1000 {
		in := numbered(n + 1).Records
		in.Sort()
		m := &manifest{Format: Format, Kind: kindImport, Number: n + 1, Time: &noon}
		for _, t := range tables() {
			for i := range t.len(in) {
				t.source(in, i).Batch = int32(n + 1)
			}
		}
		if _, err := b.write(m, in, nil); err != nil {
			bench.Fatal(err)
		}
	}
	open := func(bench *testing.B) {
		b, err := Open(b.Dir)
		if err != nil {
			bench.Fatal(err)
		}
		if n := len(records(bench, b).SoilTests); n != 1000 {
			bench.Fatal(n)
		}
	}
	open(bench)
	bench.Run("current", func(bench *testing.B) {
		for bench.Loop() {
			open(bench)
		}
	})
	bench.Run("rebuilt", func(bench *testing.B) {
		for bench.Loop() {
			os.RemoveAll(filepath.Join(b.Dir, "records"))
			open(bench)
		}
	})
	bench.Run("log", func(bench *testing.B) {
		for bench.Loop() {
			if list, err := b.Batches(); err != nil || len(list) != 1000 {
				bench.Fatal(len(list), err)
			}
		}
	})
}

func Example() {
	dir, err := os.MkdirTemp("", "example")
	if err != nil {
		fmt.Println(err)
		return
	}
	defer os.RemoveAll(dir)
	b, err := Create(filepath.Join(dir, "patch"), Options{Grower: "An invented grower"})
	if err != nil {
		fmt.Println(err)
		return
	}
	in := &Records{
		Beds:      []Bed{{Grower: "G", Bed: "Barn", From: DateOf(2026, time.April, 1), Source: Source{File: "beds.csv", Line: 2}}},
		SoilTests: []SoilTest{{Grower: "G", Bed: "Barn", Analyte: "P", Date: DateOf(2026, time.October, 10), Value: 94, Unit: "mg/kg", Source: Source{File: "tests.csv", Line: 2}}},
	}
	if _, err := b.Commit(Batch{Records: in, Program: "example", Now: DateOf(2026, time.October, 12).Time()}); err != nil {
		fmt.Println(err)
		return
	}
	rec, err := b.Records()
	if err != nil {
		fmt.Println(err)
		return
	}
	for h := range rec.Histories(Selection{}) {
		for _, t := range h.Tests {
			fmt.Println(h.Name, t.Date, t.Analyte, t.Value, t.Unit, "from", t.Source)
		}
	}
	// Output: Barn 2026-10-10 P 94 mg/kg from batch 1 (tests.csv line 2)
}
