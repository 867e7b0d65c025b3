// Wheel packs a built program for pip: the program, the kernelspec that finds
// it from its own place, and no Python.
//
//	go run ./kernel/internal/wheel -out FOLDER PROGRAM
//
// System and version are read from the program. The same program gives the same
// bytes. The format is PyPA's binary distribution format 1.0, formerly PEP 427.
package main

import (
	"flag"
	"fmt"
	"os"
	"path/filepath"
)

func main() {
	out := flag.String("out", ".", "write the wheel to this `folder`, in place of others for the same system")
	flag.Parse()
	if flag.NArg() != 1 {
		fmt.Fprintln(os.Stderr, "wheel: give one built program")
		os.Exit(2)
	}
	if err := write(*out, flag.Arg(0)); err != nil {
		fmt.Fprintln(os.Stderr, "wheel:", err)
		os.Exit(1)
	}
}

func write(folder, program string) error {
	p, err := read(program)
	if err != nil {
		return err
	}
	name, data, err := p.wheel()
	if err != nil {
		return err
	}
	if err := os.MkdirAll(folder, 0o755); err != nil {
		return err
	}
	old, err := filepath.Glob(filepath.Join(folder, fmt.Sprintf("%s-*-%s.whl", project, p.system.tag())))
	if err != nil {
		return err
	}
	for _, name := range old {
		if err := os.Remove(name); err != nil {
			return err
		}
	}
	if err := os.WriteFile(filepath.Join(folder, name), data, 0o644); err != nil {
		return err
	}
	fmt.Printf("%s: %.1f MB\n", filepath.Join(folder, name), float64(len(data))/1e6)
	return nil
}
