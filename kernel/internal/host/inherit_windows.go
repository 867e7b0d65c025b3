package host

import (
	"fmt"
	"os"
	"os/exec"
	"syscall"
)

// inherit lets cmd have the two files.
func inherit(cmd *exec.Cmd, r, w *os.File) {
	handles := []syscall.Handle{syscall.Handle(r.Fd()), syscall.Handle(w.Fd())}
	for _, h := range handles {
		syscall.SetHandleInformation(h, syscall.HANDLE_FLAG_INHERIT, syscall.HANDLE_FLAG_INHERIT)
	}
	cmd.SysProcAttr = &syscall.SysProcAttr{
		AdditionalInheritedHandles: handles,
		CreationFlags:              syscall.CREATE_NEW_PROCESS_GROUP,
	}
	cmd.Env = append(cmd.Env, fmt.Sprintf("%s=%d,%d", Env, handles[0], handles[1]))
}
