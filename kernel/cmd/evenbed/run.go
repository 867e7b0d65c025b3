package main

import (
	"context"
	"flag"
	"io"
	"os"
	"os/signal"
	"syscall"

	"github.com/evenbed/evenbed/kernel/internal/host"
	"github.com/evenbed/evenbed/kernel/notebook"
)

func runCommand() command {
	return command{
		name: "run", summary: "execute notebooks without Jupyter",
		usage: "NOTEBOOK... [--out DIR] [--html] [--check]",
		about: `Executes the cells of each notebook in order and writes the notebook with its
new outputs to another folder; the notebook itself is not changed. Cells run in
the notebook's own folder, as in Jupyter. The first cell that fails ends its
notebook, unless the cell is tagged raises-exception.

The exit code is 1 if a cell failed or, with --check, if an output differs.`,
		prepare: func(flags *flag.FlagSet) func([]string, io.Writer, io.Writer) error {
			var b notebook.Batch
			flags.StringVar(&b.Out, "out", "evenbed-out", "the folder `DIR` for what is made, usually evenbed-out")
			flags.BoolVar(&b.HTML, "html", false, "also write each notebook as one web page that needs no network")
			flags.BoolVar(&b.Check, "check", false, "compare the new outputs with those in the notebook")
			return func(args []string, stdout, stderr io.Writer) error {
				if len(args) == 0 {
					return usageError("needs a NOTEBOOK")
				}
				ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
				defer stop()
				context.AfterFunc(ctx, stop) // a second Ctrl-C ends the program at once
				b.Notebooks, b.Report, b.Errors = args, stdout, stderr
				b.Start = func(dir string, output func(host.Output)) (notebook.Session, error) {
					return host.Start(host.Options{Dir: dir, Output: output})
				}
				return b.Run(ctx)
			}
		},
	}
}
