package main

import (
	"bytes"
	"crypto/sha256"
	"errors"
	"flag"
	"fmt"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/rogpeppe/go-internal/testscript"
)

var update = flag.Bool("update", false, "renew the goldens in testdata")

func TestMain(m *testing.M) {
	testscript.Main(tests{m}, map[string]func(){"carryover": main})
}

// tests removes the shared demo book when all tests are done.
type tests struct{ *testing.M }

func (t tests) Run() int {
	dir, err := os.MkdirTemp("", "carryover-test-")
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		return 1
	}
	defer os.RemoveAll(dir)
	sharedDemo = sync.OnceValues(func() (string, error) {
		book := filepath.Join(dir, "demo-book")
		_, err := demoBook(book)
		return book, err
	})
	return t.M.Run()
}

// sharedDemo makes the demo book once; tests work on copies of it.
var sharedDemo func() (string, error)

func copyDemo(to string) error {
	from, err := sharedDemo()
	if err != nil {
		return err
	}
	return os.CopyFS(to, os.DirFS(from))
}

// TestScripts runs testdata/*.txtar, which show each command at work. Beside the
// standard commands they know:
//
//	exits CODE COMMAND...       the command ends with this exit code
//	demobook FOLDER...          makes a demo book, as carryover demo does, without its charts
//	append FILE FROM...         adds the lines of other files, as a grower would
//	lines FILE N TEXT           adds N lines; %d in the text is the number of the line
//	flip GLOB                   flips one bit in the middle of the file
//	fingerprint FOLDER FILE     writes the name and the bytes' sum of every file
//	narrow FILE                 no line is wider than 80 columns, no control character
func TestScripts(t *testing.T) {
	testscript.Run(t, testscript.Params{
		Dir:                 "testdata",
		UpdateScripts:       *update,
		RequireExplicitExec: true,
		RequireUniqueNames:  true,
		Cmds: map[string]func(*testscript.TestScript, bool, []string){
			"exits": exits, "demobook": demoBooks, "append": appendTo, "replace": replaceIn, "lines": addLines, "flip": flip, "fingerprint": fingerprintTo, "narrow": checkNarrow,
		},
	})
}

func exits(ts *testscript.TestScript, _ bool, args []string) {
	want, err := strconv.Atoi(args[0])
	ts.Check(err)
	err = ts.Exec(args[1], args[2:]...)
	var exit *exec.ExitError
	got := 0
	switch {
	case errors.As(err, &exit):
		got = exit.ExitCode()
	case err != nil:
		ts.Fatalf("%v", err)
	}
	if got != want {
		ts.Fatalf("exit code %d, want %d", got, want)
	}
}

func demoBooks(ts *testscript.TestScript, _ bool, args []string) {
	for _, dir := range args {
		ts.Check(copyDemo(ts.MkAbs(dir)))
	}
}

// replaceIn puts one text in place of another wherever it stands in a file.
func replaceIn(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 3 {
		ts.Fatalf("usage: replace file old new")
	}
	text := ts.ReadFile(args[0])
	if !strings.Contains(text, args[1]) {
		ts.Fatalf("%s does not hold %q", args[0], args[1])
	}
	ts.Check(os.WriteFile(ts.MkAbs(args[0]), []byte(strings.ReplaceAll(text, args[1], args[2])), 0o644))
}

func appendTo(ts *testscript.TestScript, _ bool, args []string) {
	for _, from := range args[1:] {
		addText(ts, args[0], ts.ReadFile(from))
	}
}

func addLines(ts *testscript.TestScript, _ bool, args []string) {
	n, err := strconv.Atoi(args[1])
	ts.Check(err)
	for i := range n {
		addText(ts, args[0], strings.ReplaceAll(args[2], "%d", strconv.Itoa(i+1))+"\n")
	}
}

func addText(ts *testscript.TestScript, file, text string) {
	f, err := os.OpenFile(ts.MkAbs(file), os.O_APPEND|os.O_WRONLY|os.O_CREATE, 0o644)
	ts.Check(err)
	_, err = f.WriteString(text)
	ts.Check(errors.Join(err, f.Close()))
}

func flip(ts *testscript.TestScript, _ bool, args []string) {
	found, err := filepath.Glob(ts.MkAbs(args[0]))
	ts.Check(err)
	if len(found) != 1 {
		ts.Fatalf("%s: %d files, want 1", args[0], len(found))
	}
	data, err := os.ReadFile(found[0])
	ts.Check(err)
	data[len(data)/2] ^= 1
	ts.Check(os.WriteFile(found[0], data, 0o644))
}

func fingerprintTo(ts *testscript.TestScript, _ bool, args []string) {
	text, err := fingerprint(os.DirFS(ts.MkAbs(args[0])))
	ts.Check(err)
	ts.Check(os.WriteFile(ts.MkAbs(args[1]), []byte(text), 0o644))
}

func checkNarrow(ts *testscript.TestScript, _ bool, args []string) {
	for _, f := range args {
		if err := narrow(ts.ReadFile(f)); err != nil {
			ts.Fatalf("%s: %v", f, err)
		}
	}
}

// fingerprint lists every file and folder with the sum of its bytes.
func fingerprint(dir fs.FS) (string, error) {
	var b strings.Builder
	err := fs.WalkDir(dir, ".", func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			fmt.Fprintln(&b, name)
			return err
		}
		data, err := fs.ReadFile(dir, name)
		fmt.Fprintf(&b, "%s %d %x\n", name, len(data), sha256.Sum256(data))
		return err
	})
	return b.String(), err
}

// narrow wants text for people: lines of at most 80 columns and no character
// that drives a terminal.
func narrow(text string) error {
	for i, l := range strings.Split(text, "\n") {
		if n := len([]rune(l)); n > 80 {
			return fmt.Errorf("line %d has %d columns: %q", i+1, n, l)
		}
		if j := strings.IndexFunc(l, func(c rune) bool { return c < 32 || c >= 0x7f && c < 0xa0 }); j >= 0 {
			return fmt.Errorf("line %d holds a control character at byte %d: %q", i+1, j, l)
		}
		if strings.HasSuffix(l, " ") {
			return fmt.Errorf("line %d ends in a space: %q", i+1, l)
		}
	}
	return nil
}

// call runs the program in this process.
func call(args ...string) (code int, stdout, stderr string) {
	var out, note bytes.Buffer
	code = run(args, &out, &note)
	return code, out.String(), note.String()
}

// must runs the program, which must succeed, and returns what it prints.
func must(t testing.TB, args ...string) string {
	t.Helper()
	code, out, note := call(args...)
	if code != exitDone {
		t.Fatalf("carryover %s: exit code %d\n%s", strings.Join(args, " "), code, note)
	}
	return out
}

// demoFolder returns a demo book of the test's own, without its charts.
func demoFolder(t testing.TB) string {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "demo-book")
	if err := copyDemo(dir); err != nil {
		t.Fatal(err)
	}
	return dir
}

// golden compares text with the golden of that name, or renews it.
func golden(t *testing.T, name, got string) {
	t.Helper()
	file := filepath.Join("testdata", "golden", name)
	if *update {
		if err := os.WriteFile(file, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	want, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(strings.Split(string(want), "\n"), strings.Split(got, "\n")); d != "" {
		t.Errorf("%s (-golden +now; if the change is meant, go test ./cmd/carryover -update):\n%s", name, d)
	}
}

// commands lists the words of every command that a user may call.
func commands() (out [][]string) {
	var walk func(prefix []string)
	walk = func(prefix []string) {
		out = append(out, prefix)
		root := newRoot()
		c, _, err := root.Find(prefix)
		if err != nil {
			panic(err)
		}
		for _, sub := range c.Commands() {
			if sub.IsAvailableCommand() {
				walk(append(slices.Clone(prefix), sub.Name()))
			}
		}
	}
	walk(nil)
	return out
}

// Every command explains itself in 80 columns, on standard output.
func TestHelp(t *testing.T) {
	var all [][]string
	for _, words := range commands() {
		all = append(all, append(words, "--help"))
	}
	if len(all) < 10 {
		t.Fatalf("only %d commands found: %v", len(all), all)
	}
	for _, words := range append(all, []string{}, []string{"chart"}, []string{"--version"}) {
		name := strings.Join(words, " ")
		code, out, note := call(words...)
		if code != exitDone || note != "" || out == "" {
			t.Errorf("%s: exit code %d, standard error %q", name, code, note)
		}
		if err := narrow(out); err != nil {
			t.Errorf("carryover %s: %v", name, err)
		}
		for _, word := range []string{"ledger", "balance", "size", "parquet", "arrow", "cobra"} {
			if strings.Contains(strings.ToLower(out), word) {
				t.Errorf("carryover %s says %q, which no screen does", name, word)
			}
		}
	}
}

// No line of a text that people read is wider than 80 columns, whatever the
// names in the book are. Messages of one line and tables for other programs (CSV,
// Markdown, JSON) are not wrapped.
func TestNarrow(t *testing.T) {
	demo := demoFolder(t)
	long := longNames(t)
	for _, c := range [][]string{
		{"review", "--book", demo},
		{"review", "--book", demo, "--units", "metric"},
		{"review", "--book", demo, "--bed", "Hill"},
		{"review", "--book", demo, "--season", "2021"},
		{"review", "--book", demo, "--as-of", "2023-07-01"},
		{"batches", "--book", demo},
		{"verify", "--book", demo},
		{"undo", "8", "--book", demo},
		{"review", "--book", long},
		{"review", "--book", long, "--units", "us"},
		{"batches", "--book", long},
	} {
		t.Run(strings.NewReplacer(demo, "demo", long, "long").Replace(strings.Join(c, " ")), func(t *testing.T) {
			if err := narrow(must(t, c...)); err != nil {
				t.Error(err)
			}
		})
	}
}

// longNames makes a metric book of long names, many analytes and large figures.
func longNames(t testing.TB) string {
	t.Helper()
	folder := t.TempDir()
	dir := filepath.Join(folder, "the-book-of-the-long-names")
	sheet := func(name, text string) string {
		file := filepath.Join(folder, name)
		if err := os.WriteFile(file, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
		return file
	}
	bed := "The long bed by the old wall behind the second barn of the lower meadow"
	var tests strings.Builder
	tests.WriteString("bed,date,lab,report,depth (cm),analyte,value,unit,method\n")
	for _, day := range []string{"2023-04-20", "2023-10-20", "2024-04-20", "2024-10-20"} {
		for _, x := range []string{
			"pH,6.4,,water 1:1", "OM,12.5,%,LOI", "CEC,121.5,meq/100 g,sum of cations", "P,12345.6,mg/kg,Mehlich-3", "K,99999,mg/kg,Mehlich-3",
			"Ca,123456,mg/kg,Mehlich-3", "Mg,4321.9,mg/kg,Mehlich-3", "S,1210,mg/kg,Mehlich-3", "B,0.456,mg/kg,Mehlich-3", "Zn,123.4,mg/kg,Mehlich-3",
			"Mn,1234.5,mg/kg,Mehlich-3", "Fe,12345,mg/kg,Mehlich-3", "Cu,123.45,mg/kg,Mehlich-3", "Na,1234,mg/kg,Mehlich-3",
		} {
			fmt.Fprintf(&tests, "%s,%s,The laboratory of the united growers of the upper valley,2024/0001,0-20,%s\n", bed, day, x)
		}
	}
	must(t, "new", dir, "--units", "metric", "--grower", "An unusually long name of an invented grower")
	must(t, "import", "--book", dir,
		sheet("beds.csv", "bed,from,area (m2),depth (cm),note\n"+bed+",2020-04-01,1234567,0-20,invented\n"),
		sheet("soil_tests-united-growers-2023-2024.csv", tests.String()),
		sheet("amendments.csv", "bed,date,material,amount,unit\n"+bed+",2023-11-01,dolomitic limestone from the quarry beyond the upper village,123456.7,kg\n"),
		sheet("harvests.csv", "bed,date,weight (kg),weighed,note\n"+bed+",2023-10-01,1234.5,guessed,\n"))
	return dir
}

// Nothing that a file or a flag says reaches the terminal as a command to it, or
// makes a book that cannot be read.
func TestControlCharacters(t *testing.T) {
	dir := t.TempDir()
	book := filepath.Join(dir, "patch")
	if code, _, note := call("new", book, "--lab", "Lab\x01X", "--state", "OH"); code != exitUsage || !strings.Contains(note, "expected a name on one line") {
		t.Errorf("--lab with a control character: exit code %d, %s", code, note)
	}
	if _, err := os.Stat(book); err == nil {
		t.Error("a book was made")
	}
	must(t, "new", book)
	file := filepath.Join(dir, "soil_tests.csv")
	if err := os.WriteFile(file, []byte("bed,date,\x1b[31mEVIL\nA,2024-04-20,1\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	if _, _, note := call("import", "--book", book, file); !strings.Contains(note, "EVIL") || strings.Contains(note, "\x1b") {
		t.Errorf("%q", note)
	}
}

// The same book gives the same bytes, in every form.
func TestSameBytes(t *testing.T) {
	demo := demoFolder(t)
	printed := [][]string{
		{"review"}, {"review", "--bed", "Creek", "--units", "metric"}, {"review", "--format", "json"}, {"review", "--format", "csv"},
		{"export", "levels"}, {"export", "drawdown"}, {"export", "harvests"},
		{"export", "levels", "--format", "markdown"}, {"export", "drawdown", "--format", "markdown"}, {"export", "harvests", "--format", "markdown"},
		{"batches"}, {"verify"},
	}
	for _, c := range printed {
		c = append(c, "--book", demo)
		if a, b := must(t, c...), must(t, c...); a != b {
			t.Errorf("carryover %s: %s", strings.Join(c, " "), cmp.Diff(a, b))
		}
	}
	for _, ending := range []string{"svg", "png"} {
		var prints []string
		for range 2 {
			dir := t.TempDir()
			must(t, "chart", "drawdown", "--book", demo, "--out", filepath.Join(dir, "drawdown."+ending))
			print, err := fingerprint(os.DirFS(dir))
			if err != nil {
				t.Fatal(err)
			}
			prints = append(prints, print)
		}
		if !strings.Contains(prints[0], "."+ending) || prints[0] != prints[1] {
			t.Errorf("two drawings differ, or none was made:\n%s\n%s", prints[0], prints[1])
		}
	}
	again := filepath.Join(t.TempDir(), "another", "demo-book")
	if _, err := demoBook(again); err != nil {
		t.Fatal(err)
	}
	for _, part := range []string{"batches", "records"} {
		a, err := fingerprint(os.DirFS(filepath.Join(demo, part)))
		if err != nil {
			t.Fatal(err)
		}
		b, err := fingerprint(os.DirFS(filepath.Join(again, part)))
		if err != nil {
			t.Fatal(err)
		}
		if !strings.Contains(a, "soil_tests.parquet") {
			t.Fatalf("no tables in %s:\n%s", part, a)
		}
		if d := cmp.Diff(a, b); d != "" {
			t.Errorf("two demo books differ in %s:\n%s", part, d)
		}
	}
}
