package main

import (
	"bytes"
	"compress/gzip"
	"flag"
	"fmt"
	"io"
	"runtime"
	"runtime/debug"

	"github.com/evenbed/evenbed/kernel/internal/packed"
)

// version returns the version that the program was built from.
func version() string {
	if info, ok := debug.ReadBuildInfo(); ok && info.Main.Version != "" && info.Main.Version != "(devel)" {
		return info.Main.Version
	}
	return "devel"
}

func versionCommand() command {
	return command{
		name: "version", summary: "print the version, or the licences of all that is linked in",
		usage: "[--licences]",
		about: `Prints the version of this program and of the Go that built it.`,
		prepare: func(flags *flag.FlagSet) func([]string, io.Writer, io.Writer) error {
			all := flags.Bool("licences", false, "print the licence notices of all that is linked in")
			return func(args []string, stdout, _ io.Writer) error {
				if len(args) > 0 {
					return usageError(fmt.Sprintf("does not know what to do with %q", args[0]))
				}
				if !*all {
					fmt.Fprintf(stdout, "evenbed %s (%s, %s/%s)\n", version(), runtime.Version(), runtime.GOOS, runtime.GOARCH)
					return nil
				}
				notices, err := packed.Notices.Read()
				if err != nil {
					return err
				}
				r, err := gzip.NewReader(bytes.NewReader(notices))
				if err != nil {
					return err
				}
				_, err = io.Copy(stdout, r)
				return err
			}
		},
	}
}
