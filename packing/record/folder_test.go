package record

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/evenbed/evenbed/packing/trace"
	. "github.com/evenbed/evenbed/packing/units"
)

// season writes invented exports into a folder and changes to it.
func season(t *testing.T, files map[string]string) {
	t.Helper()
	t.Chdir(t.TempDir())
	for name, text := range files {
		if err := os.MkdirAll(filepath.Dir(name), 0o777); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(name, []byte(text), 0o666); err != nil {
			t.Fatal(err)
		}
	}
}

// cycle is an export with a peak of some height at 3 min.
func cycle(height int) string {
	return fmt.Sprintf("Time (min),UV (mAU),Remark\n0,0,\n1,0,sample\n2,0,\n3,%d,\n4,0,\n5,0,\n", height)
}

func TestFolder(t *testing.T) {
	season(t, map[string]string{
		"cycles/cycle-2.csv": cycle(2), "cycles/cycle-10.csv": cycle(10), "cycles/cycle-1.csv": cycle(1),
		"cycles/cycle-03.csv": cycle(3), "cycles/notes.txt": "nothing", "cycles/broken-1.csv": "Time (min),UV (mAU)\n0,1\n1,x\n2,3\n",
	})
	files, err := Folder{Glob: "cycles/*.csv", Signal: "UV"}.Files()
	if err != nil {
		t.Fatal(err)
	}
	want := []string{"cycles/broken-1.csv", "cycles/cycle-1.csv", "cycles/cycle-2.csv", "cycles/cycle-03.csv", "cycles/cycle-10.csv"}
	if !slices.Equal(files.Names(), want) {
		t.Errorf("files %q, want %q", files.Names(), want)
	}
	for i, name := range want[1:] {
		tr, err := files.Open(i + 1)
		if err != nil {
			t.Fatal(err)
		}
		alone, err := Read(name)
		if err != nil {
			t.Fatal(err)
		}
		uv, err := alone.Signal("UV")
		if err != nil {
			t.Fatal(err)
		}
		if !slices.Equal(tr.Values(), uv.Values()) || !slices.Equal(tr.Positions(), uv.Positions()) || tr.From != uv.From {
			t.Errorf("%s: %v, want %v", name, tr, uv)
		}
	}
	var e Error
	if _, err := files.Open(0); !errors.As(err, &e) || e.File != "cycles/broken-1.csv" || e.Line != 3 {
		t.Errorf("the broken file gives %v", err)
	}
	if text := files.String(); !strings.Contains(text, "5 files of cycles/*.csv, signal UV") || !strings.Contains(text, "- cycles/cycle-10.csv") {
		t.Errorf("the list reads\n%s", text)
	}

	// A file that went away since is an error of that file.
	if err := os.Remove("cycles/cycle-1.csv"); err != nil {
		t.Fatal(err)
	}
	if _, err := files.Open(1); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("a file that is gone gives %v", err)
	}
}

func TestFolderZeroAndAxis(t *testing.T) {
	season(t, map[string]string{"a.csv": cycle(5)})
	for _, tc := range []struct {
		folder Folder
		first  Time
	}{
		{Folder{Glob: "a.csv", Signal: "UV"}, 0},
		{Folder{Glob: "*.csv", Signal: "UV", Against: "Time"}, 0},
		{Folder{Glob: "?.csv", Signal: "UV", Zero: "sample"}, -1 * Minute}, // by hand: the sample came after a minute
		{Folder{Glob: "a.csv", Signal: "UV", Options: Options{Units: map[string]string{"Time": "s"}}, Zero: "sample"}, -1 * Second},
	} {
		files, err := tc.folder.Files()
		if err != nil {
			t.Fatal(err)
		}
		tr, err := files.Open(0)
		if err != nil {
			t.Fatal(err)
		}
		if x, _ := tr.XY(0); Time(x) != tc.first || tr.Axis() != trace.Time {
			t.Errorf("%+v begins at %v, want %v", tc.folder, Time(x), tc.first)
		}
	}
	files, err := Folder{Glob: "a.csv", Signal: "UV", Zero: "wash"}.Files()
	if err != nil {
		t.Fatal(err)
	}
	if _, err := files.Open(0); err == nil || !strings.Contains(err.Error(), `no event "wash"`) {
		t.Errorf("an event that is not there gives %v", err)
	}
}

func TestFolderRefusals(t *testing.T) {
	season(t, map[string]string{"cycles/a1.csv": cycle(1)})
	for want, f := range map[string]Folder{
		"no pattern was given":     {Signal: "UV"},
		"no signal was named":      {Glob: "cycles/*.csv"},
		"no file has such a name":  {Glob: "cycles/*.txt", Signal: "UV"},
		`did you mean "cycles/a1`:  {Glob: "cycles/a.csv", Signal: "UV"},
		"not a pattern":            {Glob: "cycles/[", Signal: "UV"},
		"without cutting":          {Glob: "cycles/*.csv", Signal: "UV", Options: Options{Run: 2}},
		"looks from its own folde": {Glob: "nowhere/a.csv", Signal: "UV"},
	} {
		if files, err := f.Files(); err == nil || !strings.Contains(err.Error(), want) || files.Len() != 0 {
			t.Errorf("%+v: %v, want %q", f, err, want)
		}
	}
}

func TestNaturalOrder(t *testing.T) {
	want := []string{"a", "a1", "a01", "a1b", "a2", "a2-3", "a2-20", "a10", "b", "b00000000000000000000000000000002", "b99999999999999999999999999999999"}
	for seed := range want {
		got := append(slices.Clone(want[seed:]), want[:seed]...)
		slices.SortStableFunc(got, natural)
		if !slices.Equal(got, want) {
			t.Fatalf("order %q, want %q", got, want)
		}
	}
	for _, a := range want {
		for _, b := range want {
			if natural(a, b) != -natural(b, a) || (natural(a, b) == 0) != (a == b) {
				t.Errorf("%q and %q do not have one order", a, b)
			}
		}
	}
}
