package idle

import (
	"os"
	"regexp"
	"strconv"
	"syscall"
)

// releaseProgram gives back what this process has mapped of the program's file,
// if that is more than worth: a start runs through all of the program once, of which a
// cell needs little. That is mapped again when it is used; the file stays in the
// operating system's cache.
func releaseProgram(worth int) {
	exe, err := os.Readlink("/proc/self/exe")
	if err != nil {
		return
	}
	smaps, err := os.ReadFile("/proc/self/smaps")
	if err != nil {
		return
	}
	found, resident := pieces(smaps, exe)
	if resident <= worth {
		return
	}
	for _, p := range found {
		// An error leaves the pages where they are.
		syscall.Syscall(syscall.SYS_MADVISE, p.from, p.to-p.from, syscall.MADV_DONTNEED)
	}
}

// A piece of a file that is mapped in memory.
type piece struct{ from, to uintptr }

// unwritten matches, in the text of smaps of proc(5), a private piece of a file
// that cannot be written and was not: what a linker has relocated before it took
// the right to write away would be lost.
const unwritten = `(?m)^([0-9a-f]+)-([0-9a-f]+) r-.p .*? (/.*)\n` + fields + `Rss: +(\d+) kB\n` + fields + `Anonymous: +0 kB\n` + fields + `Swap: +0 kB$`

const fields = `(?:[A-Z]\w*:.*\n)*?`

// pieces returns what can be given back of a file, and how many bytes of it are
// in memory.
func pieces(smaps []byte, file string) (found []piece, resident int) {
	for _, m := range regexp.MustCompile(unwritten).FindAllSubmatch(smaps, -1) {
		if string(m[3]) != file {
			continue
		}
		from, _ := strconv.ParseUint(string(m[1]), 16, 64)
		to, _ := strconv.ParseUint(string(m[2]), 16, 64)
		kilobytes, _ := strconv.Atoi(string(m[4]))
		found = append(found, piece{uintptr(from), uintptr(to)})
		resident += kilobytes << 10
	}
	return found, resident
}
