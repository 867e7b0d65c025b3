package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"os/signal"
	"strings"
	"syscall"

	"github.com/evenbed/evenbed/kernel/internal/file"
	"github.com/evenbed/evenbed/kernel/internal/host"
	"github.com/evenbed/evenbed/kernel/notebook"
)

func runCommand() command {
	return command{
		name: "run", summary: "execute notebooks without Jupyter",
		usage: "NOTEBOOK... [-p NAME=VALUE]... [--out DIR] [--html]",
		about: `Executes the cells of each notebook in order and writes the notebook with its
new outputs to another folder; the notebook itself is not changed. Cells run in
the notebook's own folder, as in Jupyter. The first cell that fails ends its
notebook, unless the cell is tagged raises-exception; one tagged nbval-skip is
not run.

A parameter is a variable of the cell tagged parameters. Its new value, a Go
expression such as 150*CentimetrePerHour, stands in a cell of its own behind it.

The exit code is 1 if a cell failed.`,
		prepare: func(flags *flag.FlagSet) func([]string, io.Writer, io.Writer) error {
			b := batch(flags)
			b.Parameters = map[string]string{}
			flags.Func("p", "gives a parameter another value: `NAME=VALUE`", func(s string) error {
				name, value, ok := strings.Cut(s, "=")
				if !ok || name == "" {
					return errors.New("is not of the form NAME=VALUE")
				}
				b.Parameters[name] = value
				return nil
			})
			return runBatch(b)
		},
	}
}

func checkCommand() command {
	return command{
		name: "check", summary: "execute notebooks and compare with what is stored in them",
		usage: "NOTEBOOK... [--tolerance X] [--out DIR] [--html]",
		about: `Executes each notebook as run does, and compares what its cells show with what
is stored. It also looks whether the cells were stored as a run from top to
bottom, without errors that are not meant. The outputs of cells tagged
nbval-ignore-output are not compared.

The exit code is 1 if a cell failed or anything differs.`,
		prepare: func(flags *flag.FlagSet) func([]string, io.Writer, io.Writer) error {
			b := batch(flags)
			b.Check = true
			flags.Float64Var(&b.Tolerance, "tolerance", 0, "numbers may differ by this part of themselves: `X`, as 1e-9; usually 0")
			return func(args []string, stdout, stderr io.Writer) error {
				if b.Tolerance < 0 || b.Tolerance >= 1 {
					return usageError("needs a --tolerance from 0 to below 1")
				}
				return runBatch(b)(args, stdout, stderr)
			}
		},
	}
}

// batch declares the flags of commands that execute notebooks.
func batch(flags *flag.FlagSet) *notebook.Batch {
	b := new(notebook.Batch)
	flags.StringVar(&b.Out, "out", "evenbed-out", "the folder `DIR` for what is made, usually evenbed-out")
	flags.BoolVar(&b.HTML, "html", false, "also write each notebook as one web page that needs no network")
	return b
}

func runBatch(b *notebook.Batch) func([]string, io.Writer, io.Writer) error {
	return func(args []string, stdout, stderr io.Writer) error {
		if len(args) == 0 {
			return usageError("needs a NOTEBOOK")
		}
		signal.Ignore(syscall.SIGPIPE) // who reads our report may leave, as head does
		ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM, syscall.SIGHUP, syscall.SIGQUIT)
		defer stop()
		context.AfterFunc(ctx, stop) // a second Ctrl-C ends the program at once
		b.Notebooks, b.Report, b.Errors = args, stdout, stderr
		b.Start = func(dir string, output func(host.Output)) (notebook.Session, error) {
			return host.Start(host.Options{Dir: dir, Output: output, Input: noInput})
		}
		return b.Run(ctx)
	}
}

// noInput is what a cell hears that asks for input.
func noInput(context.Context, string, bool) (string, error) {
	return "", errors.New("there is nobody to ask while a notebook runs without Jupyter; make it a parameter: -p NAME=VALUE")
}

func stripCommand() command {
	return command{
		name: "strip", summary: "take outputs and execution counts out of notebooks",
		usage: "NOTEBOOK...",
		about: `Changes the notebooks in place, for example before they go into version control.
Nothing but outputs and counts changes; the outputs of cells tagged keep_output
stay.`,
		prepare: func(*flag.FlagSet) func([]string, io.Writer, io.Writer) error {
			return func(args []string, stdout, _ io.Writer) error {
				if len(args) == 0 {
					return usageError("needs a NOTEBOOK")
				}
				var all []*notebook.Notebook
				for _, path := range args { // all are read before one is changed
					nb, err := notebook.ReadFile(path)
					if err != nil {
						return err
					}
					all = append(all, nb)
				}
				for i, nb := range all {
					if !nb.Strip() {
						fmt.Fprintf(stdout, "%s: nothing to strip\n", args[i])
						continue
					}
					info, err := os.Stat(args[i])
					if err != nil {
						return err
					}
					if err := file.Replace(args[i], info.Mode().Perm(), nb.Bytes()); err != nil {
						return err
					}
					fmt.Fprintf(stdout, "%s: stripped\n", args[i])
				}
				return nil
			}
		},
	}
}
