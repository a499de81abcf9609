package main

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/spf13/pflag"
)

const statesMarker = "<!-- demo: states -->"

func readme(t *testing.T) string {
	t.Helper()
	text, err := os.ReadFile(filepath.Join("..", "..", "README.md"))
	if err != nil {
		t.Fatal(err)
	}
	return strings.ReplaceAll(string(text), "\r\n", "\n")
}

// The two commands on top stand as the checks look for them: indented by four
// spaces, alone on their lines.
func TestReadmeCommands(t *testing.T) {
	text := readme(t)
	for _, want := range []string{"\n    go run ./cmd/carryover demo\n", "\n    go test ./...\n"} {
		if n := strings.Count(text, want); n != 1 {
			t.Errorf("README.md has %d lines %q, want 1", n, strings.Trim(want, "\n"))
		}
	}
}

// The README shows the top of the demo's review as it is.
func TestReadmeStates(t *testing.T) {
	before, after, ok := strings.Cut(readme(t), statesMarker+"\n")
	if !ok {
		t.Fatalf("README.md has no line %s", statesMarker)
	}
	var shown []string
	for l := range strings.Lines(strings.TrimLeft(after, "\n")) {
		if strings.HasPrefix(l, "    ") || l == "\n" && len(shown) > 0 {
			shown = append(shown, strings.TrimPrefix(l, "    "))
			continue
		}
		break
	}
	top, _, ok := strings.Cut(must(t, "review", "--book", demoFolder(t)), "\n"+strings.Repeat("-", 80)+"\n")
	if !ok {
		t.Fatal("the review has no rule below its top")
	}
	if got, want := strings.TrimRight(strings.Join(shown, ""), "\n"), strings.TrimRight(top, "\n"); got != want {
		if *update {
			var block strings.Builder
			for l := range strings.Lines(want + "\n") {
				block.WriteString(strings.TrimRight("    "+l, " \n") + "\n")
			}
			rest := strings.Join(strings.SplitAfter(strings.TrimLeft(after, "\n"), "\n")[len(shown):], "")
			if err := os.WriteFile(filepath.Join("..", "..", "README.md"), []byte(before+statesMarker+"\n\n"+block.String()+"\n"+rest), 0o644); err != nil {
				t.Fatal(err)
			}
			return
		}
		t.Errorf("below %s README.md shows\n%s\nthe demo's review begins\n%s\ngo test ./cmd/carryover -run Readme -update renews it", statesMarker, got, want)
	}
}

var codeSpan = regexp.MustCompile("`([^`]+)`")

// Every command line in the README can be typed as it stands: the command, its
// options and the number of its arguments exist.
func TestReadmeCommandLines(t *testing.T) {
	text := readme(t)
	var lines []string
	for l := range strings.Lines(text) {
		if l, ok := strings.CutPrefix(l, "    "); ok {
			lines = append(lines, strings.TrimSpace(strings.Replace(l, "go run ./cmd/carryover", "carryover", 1)))
		}
	}
	var options []string
	for _, m := range codeSpan.FindAllStringSubmatch(text, -1) {
		span := strings.Join(strings.Fields(m[1]), " ")
		lines = append(lines, strings.TrimPrefix(span, "./"))
		if strings.HasPrefix(span, "--") {
			options = append(options, span)
		}
	}
	n := 0
	for _, l := range lines {
		rest, ok := strings.CutPrefix(l, "carryover ")
		if !ok {
			continue
		}
		n++
		if err := typed(words(rest)); err != nil {
			t.Errorf("%s: %v", l, err)
		}
	}
	if n < 12 || len(options) < 5 {
		t.Errorf("only %d command lines and %d options found", n, len(options))
	}
	for _, o := range options {
		name := strings.TrimLeft(words(o)[0], "-")
		known := false
		for _, c := range commands() {
			cmd, _, err := newRoot().Find(c)
			if err != nil {
				t.Fatal(err)
			}
			cmd.InheritedFlags() // merges the root's
			cmd.Flags().VisitAll(func(f *pflag.Flag) { known = known || f.Name == name })
		}
		if !known {
			t.Errorf("no command has an option %s", o)
		}
	}
}

// typed parses a command line without running it.
func typed(args []string) error {
	root := newRoot()
	cmd, rest, err := root.Find(args)
	if err != nil {
		return err
	}
	if err := cmd.ParseFlags(rest); err != nil {
		return err
	}
	return cmd.ValidateArgs(cmd.Flags().Args())
}

// words splits a command line as a shell does, as far as quotes go.
func words(line string) (out []string) {
	for _, m := range regexp.MustCompile(`"([^"]*)"|(\S+)`).FindAllStringSubmatch(line, -1) {
		out = append(out, m[1]+m[2])
	}
	return out
}

// The README's sheet map reads the sheet it is written for.
func TestReadmeMap(t *testing.T) {
	_, rest, _ := strings.Cut(readme(t), "```toml\n")
	lab, _, ok := strings.Cut(rest, "```")
	heading := regexp.MustCompile("`(Sample,Date,[^`]*)`").FindStringSubmatch(readme(t))
	if !ok || heading == nil {
		t.Fatal("README.md shows no sheet map, or no headings for it")
	}
	dir := t.TempDir()
	file := func(name, text string) string {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	book := filepath.Join(dir, "patch")
	must(t, "new", book)
	must(t, "import", "--book", book, file("beds.csv", "bed,from,area (sq ft)\nNorth,2020-01-01,1000\n"))
	must(t, "import", "--book", book, "--map", file("lab.toml", lab), file("lab-2026.csv", heading[1]+"\nNorth,10/28/2026,6.1,5.2,80,180\n"))
	got := must(t, "export", "levels", "--book", book)
	for _, want := range []string{"2026-10-28", "pH (water 1:1)", ",6.1,5.2,80,180"} {
		if !strings.Contains(got, want) {
			t.Errorf("no %q in\n%s", want, got)
		}
	}
}
