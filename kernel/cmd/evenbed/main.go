// Evenbed is a Jupyter kernel for Go with functions for packing chromatography
// columns and judging them. Run evenbed --help.
package main

import (
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"

	"github.com/evenbed/evenbed/kernel"
	"github.com/evenbed/evenbed/kernel/internal/engine"
)

func main() { os.Exit(run(os.Args[1:], os.Stdout, os.Stderr)) }

// A command is a word after evenbed.
type command struct {
	name    string
	summary string
	usage   string // arguments
	about   string // for its own help
	hidden  bool

	// prepare declares the flags and returns what does the work with the
	// arguments that are left.
	prepare func(flags *flag.FlagSet) func(args []string, stdout, stderr io.Writer) error
}

// commands returns all commands in the order of the help.
func commands() []command {
	return []command{
		installCommand(),
		uninstallCommand(),
		runCommand(),
		checkCommand(),
		stripCommand(),
		doctorCommand(),
		versionCommand(),
		{
			name: "kernel", summary: "what Jupyter starts; of no use by hand", usage: "CONNECTION_FILE",
			about:   "Serves the front end that wrote the connection file. Jupyter starts this by itself.",
			prepare: kernelCommand,
		},
		{name: "engine", hidden: true, prepare: engineCommand},
	}
}

func kernelCommand(*flag.FlagSet) func([]string, io.Writer, io.Writer) error {
	return func(args []string, _, stderr io.Writer) error {
		if len(args) != 1 {
			return usageError("needs one CONNECTION_FILE, which Jupyter writes")
		}
		return kernel.Run(args[0], kernel.Options{Version: version(), Log: stderr, History: system().HistoryFile()})
	}
}

func engineCommand(*flag.FlagSet) func([]string, io.Writer, io.Writer) error {
	return func([]string, io.Writer, io.Writer) error { return engine.Main() }
}

// A usageError is a mistake on the command line.
type usageError string

func (e usageError) Error() string { return string(e) }

// run carries out a command line and returns the exit code: 0 if all went well,
// 1 if the work failed, 2 if the command line is wrong.
func run(args []string, stdout, stderr io.Writer) int {
	if len(args) == 0 {
		fmt.Fprint(stderr, help())
		return 2
	}
	name, args := args[0], args[1:]
	switch name {
	case "-h", "-help", "--help":
		fmt.Fprint(stdout, help())
		return 0
	case "-version", "--version":
		name = "version"
	case "help":
		if len(args) == 0 {
			fmt.Fprint(stdout, help())
			return 0
		}
		name, args = args[0], []string{"--help"}
	}
	for _, c := range commands() {
		if c.name == name {
			return c.run(args, stdout, stderr)
		}
	}
	fmt.Fprintf(stderr, "evenbed: there is no command %q; see evenbed --help\n", name)
	return 2
}

func (c command) run(args []string, stdout, stderr io.Writer) int {
	flags := flag.NewFlagSet(c.name, flag.ContinueOnError)
	flags.SetOutput(io.Discard)
	work := c.prepare(flags)
	rest, err := parse(flags, args)
	if errors.Is(err, flag.ErrHelp) {
		fmt.Fprint(stdout, c.help(flags))
		return 0
	}
	if err == nil {
		err = empty(flags, rest)
	}
	if err == nil {
		err = work(rest, stdout, stderr)
	} else {
		err = usageError(err.Error())
	}
	var wrong usageError
	switch {
	case err == nil:
		return 0
	case errors.As(err, &wrong):
		fmt.Fprintf(stderr, "evenbed %s: %v; see evenbed %s --help\n", c.name, err, c.name)
		return 2
	}
	fmt.Fprintf(stderr, "evenbed %s: %v\n", c.name, err)
	return 1
}

// empty returns an error if an argument or the value of a flag is there and empty,
// as a variable of a script that was never set leaves it.
func empty(flags *flag.FlagSet, rest []string) (err error) {
	flags.Visit(func(f *flag.Flag) {
		if g, ok := f.Value.(flag.Getter); ok && g.String() == "" {
			err = fmt.Errorf("has an empty --%s; give it a value or leave it out", f.Name)
		}
	})
	if slices.Contains(rest, "") {
		return errors.New("has an empty argument")
	}
	return err
}

// parse reads flags wherever they stand, up to --, and returns the rest.
func parse(flags *flag.FlagSet, args []string) (rest []string, err error) {
	for len(args) > 0 {
		if err := flags.Parse(args); err != nil {
			return nil, err
		}
		left := flags.Args()
		if used := len(args) - len(left); used > 0 && args[used-1] == "--" {
			return append(rest, left...), nil
		}
		if len(left) == 0 {
			break
		}
		rest, args = append(rest, left[0]), left[1:]
	}
	return rest, nil
}

func help() string {
	var b strings.Builder
	b.WriteString(`Evenbed is a Jupyter kernel for Go with functions for packing chromatography
columns and judging them. It needs no Go, no Python and no network.

usage: evenbed COMMAND ...

`)
	for _, c := range commands() {
		if !c.hidden {
			fmt.Fprintf(&b, "  %-10s %s\n", c.name, c.summary)
		}
	}
	b.WriteString("\nevenbed COMMAND --help tells more about a command.\n")
	return b.String()
}

func (c command) help(flags *flag.FlagSet) string {
	var b strings.Builder
	fmt.Fprintf(&b, "usage: evenbed %s\n\n%s\n", strings.TrimSpace(c.name+" "+c.usage), c.about)
	first := true
	flags.VisitAll(func(f *flag.Flag) {
		if first {
			b.WriteString("\n")
		}
		first = false
		value, usage := flag.UnquoteUsage(f)
		dashes := "--"
		if len(f.Name) == 1 {
			dashes = "-"
		}
		fmt.Fprintf(&b, "  %-20s %s\n", strings.TrimSpace(dashes+f.Name+" "+value), usage)
	})
	return b.String()
}
