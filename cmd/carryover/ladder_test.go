package main

import (
	"os/exec"
	"slices"
	"strings"
	"testing"
)

// goList runs go list over the module and returns a line of fields for each
// package.
func goList(t *testing.T, args ...string) (out [][]string) {
	t.Helper()
	cmd := exec.Command("go", append([]string{"list"}, args...)...)
	var complaint strings.Builder
	cmd.Stderr = &complaint
	text, err := cmd.Output()
	if err != nil {
		t.Fatalf("go list %s: %v\n%s", strings.Join(args, " "), err, complaint.String())
	}
	for l := range strings.Lines(string(text)) {
		out = append(out, strings.Fields(l))
	}
	return out
}

// Imports of our own packages flow one way.
func TestLadder(t *testing.T) {
	ladder := map[string]struct {
		may []string // of ours, relative to the module
		why string
	}{
		"dataset/unit":   {nil, "units are facts of the world: they know no book"},
		"dataset":        {[]string{"dataset/unit"}, "the store must not depend on how rows are read or what is made of them"},
		"dataset/intake": {[]string{"dataset/unit", "dataset"}, "reading sheets makes rows; it analyses nothing"},
		"analysis/fit":   {nil, "statistics know no soil"},
		"analysis":       {[]string{"dataset/unit", "dataset", "analysis/fit"}, "an analysis takes records and returns structs; it reads no sheet and draws nothing"},
		"plots":          {nil, "a chart draws what it is handed: it computes nothing and knows no store"},
		"fixtures":       {nil, "the demo's sheets are plain files, so that every package may test with them"},
		"cmd/carryover": {[]string{"dataset/unit", "dataset", "dataset/intake", "analysis/fit", "analysis", "plots", "fixtures"},
			"the command loads, analyses, shows: nothing imports it"},
	}
	seen := map[string]bool{}
	for _, f := range goList(t, "-f", "{{.ImportPath}} {{join .Imports \" \"}}", "carryover/...") {
		pkg, ok := strings.CutPrefix(f[0], "carryover/")
		rung, known := ladder[pkg]
		if !ok || !known {
			t.Errorf("package %s stands on no rung: say in this test what it may import, and why", f[0])
			continue
		}
		seen[pkg] = true
		for _, imp := range f[1:] {
			if ours, ok := strings.CutPrefix(imp, "carryover/"); ok && !slices.Contains(rung.may, ours) {
				t.Errorf("%s imports %s: %s", pkg, ours, rung.why)
			}
		}
	}
	for pkg := range ladder {
		if !seen[pkg] {
			t.Errorf("package %s is gone: take its rung away", pkg)
		}
	}
}

// Charts need a drawing library and fonts, no data library.
func TestPlotsImports(t *testing.T) {
	may := []string{"gonum.org/v1/plot", "gonum.org/v1/gonum", "codeberg.org/go-fonts/liberation", "golang.org/x/image"}
	for _, f := range goList(t, "-f", "{{.ImportPath}} {{join .Imports \" \"}}", "carryover/plots") {
		for _, imp := range f[1:] {
			if strings.Contains(strings.Split(imp, "/")[0], ".") && !slices.ContainsFunc(may, func(m string) bool { return imp == m || strings.HasPrefix(imp, m+"/") }) {
				t.Errorf("plots imports %s: a chart draws with %v and knows no store and no table", imp, may)
			}
		}
	}
}

// What the shipped program must not link.
func TestShippedImports(t *testing.T) {
	kept := map[string]string{
		"github.com/apache/arrow/go/v17/parquet/pqarrow": "it brings gRPC and 20 MB more; the store is written and read by parquet-go",
		"github.com/apache/arrow/go/v17/parquet":         "Arrow's Parquet reader is for tests only",
		"github.com/apache/arrow/go/v17/arrow/compute":   "it brings 20 MB more; our tables need no query engine",
		"google.golang.org/grpc":                         "the program serves nothing and calls nobody",
		"testing":                                        "test code does not belong in the program",
	}
	n := 0
	for _, f := range goList(t, "-deps", "-f", "{{.ImportPath}}{{if not .Standard}}{{if .CgoFiles}} cgo{{end}}{{end}}", "carryover/cmd/carryover") {
		n++
		if len(f) > 1 {
			t.Errorf("the program links %s, which is C: it is pure Go, so that it builds for every system anywhere", f[0])
		}
		for not, why := range kept {
			if f[0] == not || strings.HasPrefix(f[0], not+"/") && not != "testing" {
				t.Errorf("the program links %s: %s", f[0], why)
			}
		}
	}
	if n < 100 {
		t.Fatalf("only %d packages listed", n)
	}
}
