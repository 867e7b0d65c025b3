package spec

import (
	"fmt"
	"path/filepath"
	"slices"
	"strings"
)

// A System is what the place of a kernelspec depends on.
type System struct {
	OS        string                                     // as runtime.GOOS has it
	Home      string                                     // the user's home folder; "" if not known
	LookupEnv func(name string) (value string, set bool) // os.LookupEnv
	Program   string                                     // this program; "" if not known
}

func (s System) getenv(name string) string {
	value, _ := s.LookupEnv(name)
	return value
}

// userData returns the folder of the user's Jupyter data by the rules of
// jupyter_core (paths.py, jupyter_data_dir): JUPYTER_DATA_DIR if set, else the
// platform's own folders if JUPYTER_PLATFORM_DIRS is on, else Jupyter's.
func (s System) userData() (string, error) {
	if dir := s.getenv("JUPYTER_DATA_DIR"); dir != "" {
		return filepath.Abs(dir)
	}
	if s.Home == "" {
		return "", fmt.Errorf("the home folder is not known; set JUPYTER_DATA_DIR, or give --prefix DIR")
	}
	switch s.OS {
	case "darwin":
		if s.platformDirs() {
			return filepath.Join(s.Home, "Library", "Application Support", "Jupyter"), nil
		}
		return filepath.Join(s.Home, "Library", "Jupyter"), nil
	case "windows":
		if s.platformDirs() {
			if local := s.getenv("LOCALAPPDATA"); local != "" {
				return filepath.Join(local, "Jupyter"), nil
			}
			return filepath.Join(s.Home, "AppData", "Local", "Jupyter"), nil
		}
		if roaming := s.getenv("APPDATA"); roaming != "" {
			return filepath.Join(roaming, "jupyter"), nil
		}
		return filepath.Join(s.Home, ".jupyter", "data"), nil
	}
	if data := s.getenv("XDG_DATA_HOME"); data != "" {
		return filepath.Join(data, "jupyter"), nil
	}
	return filepath.Join(s.Home, ".local", "share", "jupyter"), nil
}

// HistoryEnv is the environment variable that, as "off", keeps the kernel from
// writing a history file.
const HistoryEnv = "EVENBED_HISTORY"

// HistoryFile returns where the kernel keeps the cells of earlier sessions: in
// the user's folder for such files, which is that of the XDG Base Directory
// Specification where there is no other. It is "" if no history is to be kept,
// or no folder is known.
func (s System) HistoryFile() string {
	folder := filepath.Join(s.Home, ".local", "state")
	switch {
	case s.getenv(HistoryEnv) == "off":
		return ""
	case s.OS == "windows" && s.getenv("LOCALAPPDATA") != "":
		folder = s.getenv("LOCALAPPDATA")
	case s.OS == "windows":
		folder = filepath.Join(s.Home, "AppData", "Local")
	case s.OS == "darwin":
		folder = filepath.Join(s.Home, "Library", "Application Support")
	case filepath.IsAbs(s.getenv("XDG_STATE_HOME")): // the specification ignores others
		return filepath.Join(s.getenv("XDG_STATE_HOME"), "evenbed", "history.jsonl")
	}
	if !filepath.IsAbs(folder) {
		return ""
	}
	return filepath.Join(folder, "evenbed", "history.jsonl")
}

// platformDirs reads Jupyter's switch: on if set, unless to a word for no.
func (s System) platformDirs() bool {
	on, _ := s.isOn("JUPYTER_PLATFORM_DIRS")
	return on
}

// isOn reads one of Jupyter's switches (jupyter_core, paths.py: envset).
func (s System) isOn(name string) (on, set bool) {
	value, set := s.LookupEnv(name)
	return set && !slices.Contains([]string{"no", "n", "false", "off", "0", "0.0"}, strings.ToLower(value)), set
}

// environmentFirst reports whether Jupyter looks into the environment before
// the user's folder (jupyter_core, paths.py: prefer_environment_over_user).
func (s System) environmentFirst() bool {
	if on, set := s.isOn("JUPYTER_PREFER_ENV_PATH"); set {
		return on
	}
	conda := s.getenv("CONDA_DEFAULT_ENV")
	return s.getenv("VIRTUAL_ENV") != "" || conda != "" && conda != "base"
}

// environment returns the folder of the active virtual environment.
func (s System) environment() (string, error) {
	for _, name := range []string{"VIRTUAL_ENV", "CONDA_PREFIX"} {
		if dir := s.getenv(name); dir != "" {
			return dir, nil
		}
	}
	return "", fmt.Errorf("--sys-prefix needs an active environment, but neither VIRTUAL_ENV nor CONDA_PREFIX is set; " +
		"activate one, or give its folder with --prefix DIR")
}
