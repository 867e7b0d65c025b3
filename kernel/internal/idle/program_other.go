//go:build !linux

package idle

// releaseProgram does nothing where a process cannot say which pages of the
// program's file it has written.
func releaseProgram(int) {}
