package main

import (
	"fmt"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"carryover/dataset"
)

func newBatches() *cobra.Command {
	return &cobra.Command{
		Use:   "batches",
		Short: "List the imports, oldest first",
		Args:  wantArgs(0, 0, "no argument"),
		RunE: func(cmd *cobra.Command, _ []string) error {
			book, err := openBook(cmd)
			if err != nil {
				return err
			}
			list, err := book.Batches()
			if err != nil {
				return err
			}
			if len(list) == 0 {
				fmt.Fprintln(cmd.ErrOrStderr(), "no batch yet: carryover import FILE")
				return nil
			}
			p := &page{w: cmd.OutOrStdout(), width: width(cmd.OutOrStdout())}
			for _, b := range list {
				what := strings.Join(b.Files, ", ")
				var rows []string
				for _, t := range dataset.TableNames() {
					if n := b.Rows[t]; n > 0 {
						rows = append(rows, fmt.Sprintf("%s %s", commas(float64(n)), t))
					}
				}
				if len(rows) > 0 {
					what += ": " + strings.Join(rows, ", ")
				}
				p.para(fmt.Sprintf("%4d  %s  %s  ", b.Number, b.Time.Format("2006-01-02 15:04"), pad(b.State, 9)), plain(what))
			}
			return p.err
		},
	}
}

func newUndo() *cobra.Command {
	return &cobra.Command{
		Use:   "undo BATCH",
		Short: "Take one import out of the records (undo the undo to bring it back)",
		Long: `undo takes the rows of one batch out of the records. The batch stays in the
book: undoing the undo, by its own number, brings it back.`,
		Args: wantArgs(1, 1, "the number of a batch (see carryover batches)"),
		RunE: func(cmd *cobra.Command, args []string) error {
			n, err := strconv.Atoi(args[0])
			if err != nil || n < 1 {
				return usagef("%q is not the number of a batch: see carryover batches", args[0])
			}
			book, err := openBook(cmd)
			if err != nil {
				return err
			}
			done, err := book.Undo(n, "carryover "+programVersion(), now())
			if err != nil {
				return err
			}
			fmt.Fprintf(cmd.OutOrStdout(), "batch %d undone by batch %d\n", n, done.Number)
			if done.Warning != "" {
				fmt.Fprintln(cmd.ErrOrStderr(), "warning: "+done.Warning)
			}
			return nil
		},
	}
}

func newVerify() *cobra.Command {
	return &cobra.Command{
		Use:   "verify",
		Short: "Check every byte of the record book",
		Args:  wantArgs(0, 0, "no argument"),
		RunE: func(cmd *cobra.Command, _ []string) error {
			book, err := openBook(cmd)
			if err != nil {
				return err
			}
			findings, err := book.Verify()
			if err != nil {
				return err
			}
			for _, f := range findings {
				fmt.Fprintln(cmd.OutOrStdout(), f)
			}
			if len(findings) > 0 {
				return fmt.Errorf("%s: keep the book as it is and restore from your backup what is named above", plural(len(findings), "finding"))
			}
			list, err := book.Batches()
			if err != nil {
				return err
			}
			fmt.Fprintf(cmd.OutOrStdout(), "sound: %s, every byte as it was written\n", plural(len(list), "batch"))
			return nil
		},
	}
}
