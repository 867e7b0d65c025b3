//go:build !windows

package host

import (
	"os"
	"os/exec"
	"syscall"
)

// inherit lets cmd have the two files.
func inherit(cmd *exec.Cmd, r, w *os.File) {
	cmd.ExtraFiles = []*os.File{r, w}
	cmd.Env = append(cmd.Env, Env+"=3,4")
	// A terminal's Ctrl-C is for the front, which passes it on in its own way.
	cmd.SysProcAttr = &syscall.SysProcAttr{Setpgid: true}
}
