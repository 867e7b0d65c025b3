package spec

import (
	"bytes"
	"encoding/json"
	"image/png"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// system returns a system with only the given environment.
func system(goos, home string, env map[string]string) System {
	return System{OS: goos, Home: home, LookupEnv: func(name string) (string, bool) {
		value, set := env[name]
		return value, set
	}}
}

func TestFolder(t *testing.T) {
	type env = map[string]string
	for _, tc := range []struct {
		os     string
		env    env
		place  Place
		want   string
		source string
	}{
		{"linux", nil, Place{}, "/h/.local/share/jupyter", "jupyter_core, paths.py: jupyter_data_dir"},
		{"freebsd", nil, Place{}, "/h/.local/share/jupyter", "same"},
		{"linux", env{"XDG_DATA_HOME": "/x"}, Place{}, "/x/jupyter", "same"},
		{"linux", env{"JUPYTER_PLATFORM_DIRS": "1"}, Place{}, "/h/.local/share/jupyter", "platformdirs on Linux is the same folder"},
		{"darwin", nil, Place{}, "/h/Library/Jupyter", "jupyter_data_dir"},
		{"darwin", env{"JUPYTER_PLATFORM_DIRS": "1"}, Place{}, "/h/Library/Application Support/Jupyter", "platformdirs, user_data_dir"},
		{"darwin", env{"JUPYTER_PLATFORM_DIRS": "False"}, Place{}, "/h/Library/Jupyter", "envset: words for no"},
		{"darwin", env{"JUPYTER_PLATFORM_DIRS": ""}, Place{}, "/h/Library/Application Support/Jupyter", "envset: empty is set"},
		{"windows", env{"APPDATA": "/a"}, Place{}, "/a/jupyter", "jupyter_data_dir"},
		{"windows", nil, Place{}, "/h/.jupyter/data", "jupyter_data_dir without APPDATA"},
		{"windows", env{"JUPYTER_PLATFORM_DIRS": "1", "LOCALAPPDATA": "/l", "APPDATA": "/a"}, Place{}, "/l/Jupyter", "platformdirs: not roaming"},
		{"darwin", env{"JUPYTER_DATA_DIR": "/d", "JUPYTER_PLATFORM_DIRS": "1"}, Place{}, "/d", "JUPYTER_DATA_DIR comes first"},
		{"linux", env{"VIRTUAL_ENV": "/v", "CONDA_PREFIX": "/c"}, Place{SysPrefix: true}, "/v/share/jupyter", "ENV_JUPYTER_PATH"},
		{"linux", env{"CONDA_PREFIX": "/c"}, Place{SysPrefix: true}, "/c/share/jupyter", "same"},
		{"linux", env{"JUPYTER_DATA_DIR": "/d"}, Place{Prefix: "/p"}, "/p/share/jupyter", "same"},
	} {
		got, err := tc.place.Folder(system(tc.os, "/h", tc.env), "")
		if want := filepath.FromSlash(tc.want + "/kernels/evenbed"); err != nil || got != want {
			t.Errorf("%s %v %+v: %s, %v; want %s (%s)", tc.os, tc.env, tc.place, got, err, want, tc.source)
		}
	}
}

// The folders are those of the XDG Base Directory Specification 0.8 and of the
// platforms' own rules, as platformdirs has them for user_state_dir.
func TestHistoryFile(t *testing.T) {
	type env = map[string]string
	for _, tc := range []struct {
		os, home string
		env      env
		want     string
	}{
		{"linux", "/h", nil, "/h/.local/state"},
		{"linux", "/h", env{"XDG_STATE_HOME": "/s"}, "/s"},
		{"linux", "/h", env{"XDG_STATE_HOME": "relative"}, "/h/.local/state"},
		{"linux", "", nil, ""},
		{"linux", "/h", env{HistoryEnv: "off"}, ""},
		{"darwin", "/h", nil, "/h/Library/Application Support"},
		{"windows", "/h", env{"LOCALAPPDATA": "/l"}, "/l"},
		{"windows", "/h", nil, "/h/AppData/Local"},
	} {
		if tc.want != "" {
			tc.want = filepath.FromSlash(tc.want + "/evenbed/history.jsonl")
		}
		if got := system(tc.os, tc.home, tc.env).HistoryFile(); got != tc.want {
			t.Errorf("%s %q %v: %s, want %s", tc.os, tc.home, tc.env, got, tc.want)
		}
	}
}

func TestNoHistory(t *testing.T) {
	program := filepath.Join(t.TempDir(), "evenbed")
	if err := os.WriteFile(program, []byte("program"), 0o755); err != nil {
		t.Fatal(err)
	}
	for _, off := range []bool{false, true} {
		folder, err := Install{Place: Place{Prefix: t.TempDir()}, Program: program, NoHistory: off}.Install(system("linux", "/h", nil))
		if err != nil {
			t.Fatal(err)
		}
		data, err := os.ReadFile(filepath.Join(folder, "kernel.json"))
		if err != nil || strings.Contains(string(data), `"EVENBED_HISTORY": "off"`) != off {
			t.Errorf("%v: %s, %v", off, data, err)
		}
	}
}

func TestMemoryLimit(t *testing.T) {
	program := filepath.Join(t.TempDir(), "evenbed")
	if err := os.WriteFile(program, []byte("program"), 0o755); err != nil {
		t.Fatal(err)
	}
	s := system("linux", "/h", nil)
	for limit, want := range map[string]string{"": "", "4GB": "4GB", "much": "error"} {
		prefix := t.TempDir()
		folder, err := Install{Place: Place{Prefix: prefix}, Program: program, MemoryLimit: limit}.Install(s)
		if want == "error" {
			if err == nil || !strings.Contains(err.Error(), "such as 4GB") {
				t.Errorf("%q: %v", limit, err)
			}
			continue
		}
		if err != nil {
			t.Fatal(err)
		}
		data, err := os.ReadFile(filepath.Join(folder, "kernel.json"))
		if err != nil {
			t.Fatal(err)
		}
		var k struct{ Env map[string]string }
		if err := json.Unmarshal(data, &k); err != nil || k.Env["EVENBED_MEMORY_LIMIT"] != want || bytes.Contains(data, []byte("env\"")) != (want != "") {
			t.Errorf("%q: %s", limit, data)
		}
		if _, err := Uninstall(s, Place{Prefix: prefix}, ""); err != nil {
			t.Error(err)
		}
	}
}

func TestFolderErrors(t *testing.T) {
	for _, tc := range []struct {
		home, name string
		place      Place
		want       string
	}{
		{"/h", "", Place{SysPrefix: true}, "--prefix DIR"},
		{"/h", "", Place{SysPrefix: true, Prefix: "/p"}, "not both"},
		{"", "", Place{}, "JUPYTER_DATA_DIR"},
		{"/h", "Go", Place{}, "lower-case"},
		{"/h", "..", Place{}, "letter or digit first"},
		{"/h", "a/b", Place{}, "lower-case"},
	} {
		got, err := tc.place.Folder(system("linux", tc.home, nil), tc.name)
		if err == nil || !strings.Contains(err.Error(), tc.want) {
			t.Errorf("%+v: %q, %v; want an error with %q", tc, got, err, tc.want)
		}
	}
}

// program writes something to install.
func program(t *testing.T, content string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "built")
	if err := os.WriteFile(path, []byte(content), 0o700); err != nil {
		t.Fatal(err)
	}
	return path
}

func TestInstallAndUninstall(t *testing.T) {
	prefix := t.TempDir()
	linux := system("linux", "", nil)
	in := Install{Place: Place{Prefix: prefix}, Name: "go-columns", DisplayName: "Columns", Program: program(t, "first")}
	folder, err := in.Install(linux)
	if err != nil {
		t.Fatal(err)
	}
	data, err := os.ReadFile(filepath.Join(folder, "kernel.json"))
	if err != nil {
		t.Fatal(err)
	}
	var k kernelFile
	if err := json.Unmarshal(data, &k); err != nil {
		t.Fatal(err)
	}
	installed := filepath.Join(folder, "evenbed")
	if !filepath.IsAbs(k.Argv[0]) || strings.Join(k.Argv, " ") != installed+" kernel {connection_file}" {
		t.Errorf("argv %q", k.Argv)
	}
	if k.DisplayName != "Columns" || k.Language != "go" || k.InterruptMode != "message" {
		t.Errorf("kernel.json: %s", data)
	}
	for name, want := range map[string]int{"logo-64x64.png": 64, "logo-32x32.png": 32} {
		data, err := os.ReadFile(filepath.Join(folder, name))
		if err != nil {
			t.Fatal(err)
		}
		c, err := png.DecodeConfig(bytes.NewReader(data))
		if err != nil || c.Width != want || c.Height != want {
			t.Errorf("%s: %dx%d, %v", name, c.Width, c.Height, err)
		}
	}
	in.Program = program(t, "second")
	if _, err := in.Install(linux); err != nil {
		t.Errorf("again: %v", err)
	}
	if got, _ := os.ReadFile(installed); string(got) != "second" {
		t.Errorf("the program is %q after a second installation", got)
	}
	if info, err := os.Stat(installed); err != nil || info.Mode().Perm() != 0o755 {
		t.Errorf("mode %v, %v", info.Mode(), err)
	}
	in.Program = installed
	if _, err := in.Install(linux); err != nil {
		t.Errorf("from the installed program: %v", err)
	}
	if got, _ := os.ReadFile(installed); string(got) != "second" {
		t.Errorf("the program is %q after it installed itself", got)
	}
	entries, _ := os.ReadDir(folder)
	if len(entries) != 5 {
		t.Errorf("%d files in the folder, want 5: %v", len(entries), entries)
	}
	if _, err := Uninstall(linux, in.Place, in.Name); err != nil {
		t.Error(err)
	}
	if _, err := os.Stat(folder); !os.IsNotExist(err) {
		t.Errorf("the folder is still there: %v", err)
	}
	if _, err := Uninstall(linux, in.Place, in.Name); err == nil || !strings.Contains(err.Error(), "nothing to remove") {
		t.Errorf("a second removal: %v", err)
	}
}

func TestForeignKernelIsLeftAlone(t *testing.T) {
	place := Place{Prefix: t.TempDir()}
	linux := system("linux", "", nil)
	folder, err := place.Folder(linux, "")
	if err != nil {
		t.Fatal(err)
	}
	if err := os.MkdirAll(folder, 0o755); err != nil {
		t.Fatal(err)
	}
	foreign := []byte(`{"argv":["python3","-m","something","-f","{connection_file}"]}`)
	path := filepath.Join(folder, "kernel.json")
	if err := os.WriteFile(path, foreign, 0o644); err != nil {
		t.Fatal(err)
	}
	_, errInstall := Install{Place: place, Program: program(t, "x")}.Install(linux)
	_, errUninstall := Uninstall(linux, place, "")
	for _, err := range []error{errInstall, errUninstall} {
		if err == nil || !strings.Contains(err.Error(), "another kernel") {
			t.Errorf("%v", err)
		}
	}
	if got, _ := os.ReadFile(path); !bytes.Equal(got, foreign) {
		t.Errorf("kernel.json is now %s", got)
	}
}

func TestUninstallKeepsWhatUsersAdded(t *testing.T) {
	place := Place{Prefix: t.TempDir()}
	linux := system("linux", "", nil)
	folder, err := Install{Place: place, Program: program(t, "x")}.Install(linux)
	if err != nil {
		t.Fatal(err)
	}
	notes := filepath.Join(folder, "notes.txt")
	if err := os.WriteFile(notes, nil, 0o644); err != nil {
		t.Fatal(err)
	}
	if _, err := Uninstall(linux, place, ""); err == nil || !strings.Contains(err.Error(), "other files") {
		t.Errorf("%v", err)
	}
	if _, err := os.Stat(notes); err != nil {
		t.Error(err)
	}
	if _, err := os.Stat(filepath.Join(folder, "kernel.json")); !os.IsNotExist(err) {
		t.Errorf("kernel.json is still there: %v", err)
	}
}

// A kernelspec that came with pip is found by the place of the program in its
// environment, which need not be active, and is pip's to change.
func TestPackaged(t *testing.T) {
	prefix := t.TempDir()
	linux := system("linux", t.TempDir(), nil)
	place := Place{Prefix: prefix}
	folder, err := place.Folder(linux, "")
	if err != nil {
		t.Fatal(err)
	}
	if err := os.MkdirAll(folder, 0o755); err != nil {
		t.Fatal(err)
	}
	for _, f := range Packaged("linux") {
		if err := os.WriteFile(filepath.Join(folder, f.Name), f.Data, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	command := filepath.Join(prefix, "bin", "evenbed")
	if _, found := Search(linux); len(found) != 0 {
		t.Errorf("found %+v without its environment", found)
	}
	inside, active := linux, system("linux", linux.Home, map[string]string{"VIRTUAL_ENV": prefix})
	inside.Program = command
	for _, s := range []System{inside, active} {
		_, found := Search(s)
		if want := (Found{Name, DisplayName, folder, command, false, true}); len(found) != 1 || found[0] != want {
			t.Errorf("found %+v, want %+v", found, want)
		}
	}
	_, errInstall := Install{Place: place, Program: program(t, "x")}.Install(linux)
	_, errUninstall := Uninstall(linux, place, "")
	for _, err := range []error{errInstall, errUninstall} {
		if err == nil || !strings.Contains(err.Error(), "came with pip") {
			t.Errorf("%v", err)
		}
	}
	if entries, _ := os.ReadDir(folder); len(entries) != len(Packaged("linux")) {
		t.Errorf("the folder has %v", entries)
	}
	if _, err := (Install{Place: place, Name: "second", Program: program(t, "x")}).Install(linux); err != nil {
		t.Errorf("another name: %v", err)
	}
}

// Jupyter looks into an environment first where jupyter_core 5.9 does (paths.py,
// prefer_environment_over_user).
func TestOrderOfFolders(t *testing.T) {
	type env = map[string]string
	for _, tc := range []struct {
		env   env
		first string
	}{
		{nil, "/h/.local/share/jupyter"},
		{env{"VIRTUAL_ENV": "/v"}, "/v/share/jupyter"},
		{env{"VIRTUAL_ENV": "/v", "JUPYTER_PREFER_ENV_PATH": "0"}, "/h/.local/share/jupyter"},
		{env{"CONDA_PREFIX": "/c", "CONDA_DEFAULT_ENV": "base"}, "/h/.local/share/jupyter"},
		{env{"CONDA_PREFIX": "/c", "CONDA_DEFAULT_ENV": "base", "JUPYTER_PREFER_ENV_PATH": "yes"}, "/c/share/jupyter"},
		{env{"CONDA_PREFIX": "/c", "CONDA_DEFAULT_ENV": "work"}, "/c/share/jupyter"},
		{env{"VIRTUAL_ENV": "/v", "JUPYTER_PATH": "/p"}, "/p"},
	} {
		if folders, _ := Search(system("linux", "/h", tc.env)); folders[0] != filepath.FromSlash(tc.first) {
			t.Errorf("%v: %v, want %s first", tc.env, folders, tc.first)
		}
	}
}

func TestTemporaryBuildIsRefused(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "go-build123", "b001", "exe")
	if err := os.MkdirAll(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(dir, "evenbed")
	if err := os.WriteFile(path, nil, 0o755); err != nil {
		t.Fatal(err)
	}
	_, err := Install{Place: Place{Prefix: t.TempDir()}, Program: path}.Install(system("linux", "", nil))
	if err == nil || !strings.Contains(err.Error(), "temporary build") {
		t.Errorf("%v", err)
	}
}
