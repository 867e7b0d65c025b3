package idle

import (
	"os"
	"strings"
	"testing"
)

// What was mapped of the program is given back if it is more than it is worth,
// and the program goes on.
func TestReleaseProgram(t *testing.T) {
	exe, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	resident := func() int {
		smaps, err := os.ReadFile("/proc/self/smaps")
		if err != nil {
			t.Fatal(err)
		}
		found, bytes := pieces(smaps, exe)
		if len(found) < 2 {
			t.Fatalf("%d pieces of %s, want its code and its constants, in:\n%s", len(found), exe, smaps)
		}
		return bytes
	}
	before := resident()
	releaseProgram(before + least)
	if after := resident(); after < before {
		t.Errorf("%d of %d bytes stayed, though they are not worth it", after, before)
	}
	releaseProgram(before / 2)
	if after := resident(); after > before/2 {
		t.Errorf("%d of %d bytes stayed", after, before)
	}
}

// What was written, or can be, is not given back.
func TestPieces(t *testing.T) {
	const written = `00400000-00500000 r-xp 00000000 fe:00 12                  /opt/a program
Size:               1024 kB
Rss:                 512 kB
Anonymous:             0 kB
Swap:                  0 kB
VmFlags: rd ex
00500000-00600000 r--p 00100000 fe:00 12                  /opt/a program
Rss:                 256 kB
Anonymous:             4 kB
Swap:                  0 kB
00600000-00700000 r--p 00100000 fe:00 12                  /opt/a program
Rss:                 256 kB
Anonymous:             0 kB
Swap:                  4 kB
00700000-00800000 rw-p 00200000 fe:00 12                  /opt/a program
Rss:                 128 kB
Anonymous:             0 kB
Swap:                  0 kB
00800000-00900000 r--p 00000000 fe:00 13                  /opt/another
Rss:                  64 kB
Anonymous:             0 kB
Swap:                  0 kB
00900000-00a00000 r--p 00000000 00:00 0
Rss:                  64 kB
Anonymous:             0 kB
Swap:                  0 kB
00a00000-00b00000 r--p 00400000 fe:00 12                  /opt/a program
Rss:                  32 kB
Anonymous:             0 kB
Swap:                  0 kB
`
	found, resident := pieces([]byte(written), "/opt/a program")
	if len(found) != 2 || found[0] != (piece{0x400000, 0x500000}) || found[1] != (piece{0xa00000, 0xb00000}) || resident != 544<<10 {
		t.Errorf("%x, %d bytes", found, resident)
	}
	// A system that does not say what was written.
	if found, _ := pieces([]byte(strings.ReplaceAll(written, "Anonymous:", "Other:")), "/opt/a program"); found != nil {
		t.Errorf("%x", found)
	}
}
