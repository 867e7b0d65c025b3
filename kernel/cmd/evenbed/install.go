package main

import (
	"flag"
	"fmt"
	"io"
	"os"
	"runtime"

	"github.com/evenbed/evenbed/kernel/internal/spec"
)

// place declares the flags for where a kernelspec is.
func place(flags *flag.FlagSet) func() (spec.Place, string, error) {
	user := flags.Bool("user", false, "in the user's own Jupyter folder, which is the usual place")
	sys := flags.Bool("sys-prefix", false, "in the active virtual environment")
	prefix := flags.String("prefix", "", "in the environment whose folder is `DIR`")
	name := flags.String("name", spec.Name, "by which notebooks find the kernel: `NAME`, usually "+spec.Name)
	return func() (spec.Place, string, error) {
		if *user && (*sys || *prefix != "") || *sys && *prefix != "" {
			return spec.Place{}, "", usageError("give only one of --user, --sys-prefix and --prefix")
		}
		return spec.Place{SysPrefix: *sys, Prefix: *prefix}, *name, nil
	}
}

func system() spec.System {
	home, err := os.UserHomeDir()
	if err != nil {
		home = "" // matters only if the place depends on it
	}
	program, err := os.Executable()
	if err != nil {
		program = ""
	}
	return spec.System{OS: runtime.GOOS, Home: home, LookupEnv: os.LookupEnv, Program: program}
}

func installCommand() command {
	return command{
		name: "install", summary: "tell Jupyter about the kernel",
		usage: "[--user | --sys-prefix | --prefix DIR] [--name NAME] [--display-name TEXT] [--memory-limit SIZE] [--no-history]",
		about: `Copies this program, with its logo, to where Jupyter looks for kernels. The
copy is what Jupyter starts; this file may be moved or removed afterwards.
An older evenbed there is replaced, even while it runs.

A memory limit ends a cell that uses more, and all variables with it; a new
engine then takes its place. The environment variable EVENBED_MEMORY_LIMIT sets
one for evenbed run and check too.

The kernel keeps the text of the cells it runs, and nothing that they show, in a
file that only the user can read, so that a console finds them the next time.
With --no-history, or with EVENBED_HISTORY=off, it keeps none. Run and check
never do.`,
		prepare: func(flags *flag.FlagSet) func([]string, io.Writer, io.Writer) error {
			where := place(flags)
			display := flags.String("display-name", spec.DisplayName, "what Jupyter shows: `TEXT`, usually \""+spec.DisplayName+"\"")
			limit := flags.String("memory-limit", "", "how much memory cells may use: `SIZE`, as 4GB; usually no limit")
			forget := flags.Bool("no-history", false, "keep no cells for the history of later sessions")
			return func(args []string, stdout, _ io.Writer) error {
				at, name, err := where()
				if err != nil {
					return err
				}
				if len(args) > 0 {
					return usageError(fmt.Sprintf("does not know what to do with %q", args[0]))
				}
				program, err := os.Executable()
				if err != nil {
					return err
				}
				folder, err := spec.Install{Place: at, Name: name, DisplayName: *display, Program: program, MemoryLimit: *limit, NoHistory: *forget}.Install(system())
				if err != nil {
					return err
				}
				fmt.Fprintf(stdout, "Installed the kernel %q, shown as %q, in\n  %s\nTo check: jupyter kernelspec list\n", name, *display, folder)
				return nil
			}
		},
	}
}

func uninstallCommand() command {
	return command{
		name: "uninstall", summary: "remove the kernel from Jupyter",
		usage: "[--user | --sys-prefix | --prefix DIR] [--name NAME]",
		about: `Removes what install wrote, and nothing else. Give the same flags. The history
of cells stays; evenbed doctor says where it is.`,
		prepare: func(flags *flag.FlagSet) func([]string, io.Writer, io.Writer) error {
			where := place(flags)
			return func(args []string, stdout, _ io.Writer) error {
				at, name, err := where()
				if err != nil {
					return err
				}
				if len(args) > 0 {
					return usageError(fmt.Sprintf("does not know what to do with %q", args[0]))
				}
				folder, err := spec.Uninstall(system(), at, name)
				if err != nil {
					return err
				}
				fmt.Fprintf(stdout, "Removed the kernel %q from\n  %s\n", name, folder)
				return nil
			}
		},
	}
}
