// Package tables holds one generated table per package that the interpreter
// can import. It fills gomacro's list of packages when it is initialised.
package tables

import (
	"fmt"
	"log"
)

// An ExitError is what interpreted code panics with where compiled code would
// end the process.
type ExitError struct {
	Call string // such as "os.Exit(3)"
	Code int    // the exit status asked for
}

func (e ExitError) Error() string { return e.Call + " was called" }

// The functions below take the place of those that end the process; see the
// generator's list. The methods of a *log.Logger cannot be replaced: its
// Fatal, Fatalf and Fatalln still end the process.

func exit(code int) { panic(ExitError{fmt.Sprintf("os.Exit(%d)", code), code}) }

func fatal(v ...any) {
	report(fmt.Sprint(v...))
	panic(ExitError{"log.Fatal", 1})
}

func fatalf(format string, v ...any) {
	report(fmt.Sprintf(format, v...))
	panic(ExitError{"log.Fatalf", 1})
}

func fatalln(v ...any) {
	report(fmt.Sprintln(v...))
	panic(ExitError{"log.Fatalln", 1})
}

// report logs the line. A failure to write it changes nothing for the caller,
// as in package log.
func report(line string) { _ = log.Output(3, line) }
