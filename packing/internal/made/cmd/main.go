// Command cmd writes the invented data into the folder it is given.
package main

import (
	"fmt"
	"os"
	"path/filepath"

	"github.com/evenbed/evenbed/packing/internal/made"
)

func main() {
	if len(os.Args) != 2 {
		fmt.Fprintln(os.Stderr, "usage: go run ./packing/internal/made/cmd FOLDER")
		os.Exit(2)
	}
	for _, f := range made.Files() {
		if err := os.WriteFile(filepath.Join(os.Args[1], f.Name), f.Data, 0o644); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
	}
}
