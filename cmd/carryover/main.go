// Command carryover keeps a grower's soil tests, amendments and harvests and
// looks back on the season: see README.md.
//
// A command loads (dataset), analyses (analysis) and shows (this package,
// plots); it holds nothing that a notebook might also want. Results go to
// standard output, what happened and what to do next to standard error.
//
// Rules of messages: lower case, no full stop, place: what was found: what was
// expected: how to mend it.
package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"runtime/debug"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"carryover/dataset"
	"carryover/dataset/intake"
)

// version is stamped by the linker: -X main.version=1.0.
var version = ""

// Exit codes, stated once in the root help.
const (
	exitDone   = 0
	exitFailed = 1
	exitUsage  = 2
)

func main() { os.Exit(run(os.Args[1:], os.Stdout, os.Stderr)) }

// usageError is a command called wrongly: exit code 2.
type usageError struct{ error }

func usagef(format string, args ...any) error { return usageError{fmt.Errorf(format, args...)} }

// run is the whole program as a function of its arguments and streams.
func run(args []string, stdout, stderr io.Writer) int {
	root := newRoot()
	root.SetArgs(args)
	root.SetOut(stdout)
	root.SetErr(stderr)
	err := root.Execute()
	if err == nil {
		return exitDone
	}
	var faults *intake.Faults
	if errors.As(err, &faults) {
		for line := range strings.Lines(err.Error()) { // headings and names come from files
			fmt.Fprintln(stderr, plain(line))
		}
		fmt.Fprintln(stderr, "nothing was taken in: mend the above and import again")
		if faults.Unknown {
			fmt.Fprintln(stderr, "hint: a lab's own sheet needs a sheet map: carryover import --propose lab.toml FILE drafts one")
		}
	} else {
		for line := range strings.Lines("carryover: " + err.Error()) {
			fmt.Fprintln(stderr, plain(line))
		}
	}
	var usage usageError
	switch {
	case errors.As(err, &usage):
		fmt.Fprintln(stderr, "hint: carryover --help, or carryover COMMAND --help")
		return exitUsage
	case errors.Is(err, dataset.ErrNoBook):
		fmt.Fprintln(stderr, "hint: name the book's folder with --book, or start one: carryover new FOLDER")
	}
	return exitFailed
}

const (
	groupMain = "main"
	groupMore = "more"
)

// newRoot lists the commands; none registers itself.
func newRoot() *cobra.Command {
	root := &cobra.Command{
		Use:   "carryover",
		Short: "Soil history of pumpkin beds, season by season",
		Long: `carryover keeps the soil tests, amendments and harvests of your beds and looks
back on the season: what the crop drew down, what the winter took, what is
carried over into the next, and how sure each figure is.

Start with:   carryover demo          an invented patch, to look around
              carryover new FOLDER    a record book of your own`,
		Version:       programVersion(),
		SilenceErrors: true,
		SilenceUsage:  true,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) > 0 {
				return usagef("no command %q", args[0])
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	root.SetVersionTemplate("carryover {{.Version}}\n")
	root.SetUsageTemplate(usageTemplate)
	root.CompletionOptions.HiddenDefaultCmd = true
	root.SetFlagErrorFunc(func(_ *cobra.Command, err error) error { return usageError{err} })
	root.AddGroup(&cobra.Group{ID: groupMain, Title: "Commands:"}, &cobra.Group{ID: groupMore, Title: "More:"})
	root.PersistentFlags().String("book", "", "folder of the record book (else $CARRYOVER_BOOK, else this folder and those above)")
	add := func(group string, commands ...*cobra.Command) {
		for _, c := range commands {
			c.GroupID = group
			root.AddCommand(c)
		}
	}
	add(groupMain, newDemo(), newNew(), newEnter(), newImport(), newCheck(), newReview(), newChart(), newExport())
	add(groupMore, newAccount(), newBatches(), newUndo(), newVerify())
	return root
}

const usageTemplate = `Usage:
  {{if .Runnable}}{{.UseLine}}{{end}}{{if .HasAvailableSubCommands}}
  {{.CommandPath}} COMMAND [options]{{$cmds := .Commands}}{{if not .Groups}}

Commands:{{range $cmds}}{{if .IsAvailableCommand}}
  {{rpad .Name 9}} {{.Short}}{{end}}{{end}}{{end}}{{range $g := .Groups}}

{{.Title}}{{range $cmds}}{{if and (eq .GroupID $g.ID) .IsAvailableCommand}}
  {{rpad .Name 9}} {{.Short}}{{end}}{{end}}{{end}}{{end}}{{if .HasExample}}

Examples:
{{.Example}}{{end}}{{if .HasAvailableLocalFlags}}

Options:
{{.LocalFlags.FlagUsagesWrapped 80 | trimTrailingWhitespaces}}{{end}}{{if .HasAvailableInheritedFlags}}

Options of every command:
{{.InheritedFlags.FlagUsagesWrapped 80 | trimTrailingWhitespaces}}{{end}}{{if .HasAvailableSubCommands}}

Exit code: 0 done, 1 failed, 2 called wrongly.
More on a command: {{.CommandPath}} COMMAND --help{{end}}
`

// exactArgs and friends make cobra's own complaints usage errors.
func wantArgs(low, high int, what string) cobra.PositionalArgs {
	return func(_ *cobra.Command, args []string) error {
		if len(args) < low {
			return usagef("%s is missing", what)
		}
		if slices.Contains(args, "") { // an unset variable of a shell
			return usagef("an empty argument: expected %s", what)
		}
		if high >= 0 && len(args) > high {
			return usagef("%q is too much: expected %s", args[high], what)
		}
		return nil
	}
}

// programVersion is the stamped version, or what the build knows of itself.
func programVersion() string {
	if version != "" {
		return version
	}
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return "(unknown)"
	}
	v := info.Main.Version
	for _, s := range info.Settings {
		if s.Key == "vcs.revision" && (v == "" || v == "(devel)") {
			v = s.Value[:min(12, len(s.Value))]
		}
	}
	return strings.TrimPrefix(v, "v")
}

// now is the only look at the clock: it stamps batches, and tells a slip in a
// year from a date.
func now() time.Time { return time.Now().UTC() }

func today() dataset.Date { return dataset.Date(now().Unix() / 86400) }
