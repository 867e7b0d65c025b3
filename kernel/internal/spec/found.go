package spec

import (
	"os"
	"path/filepath"
	"slices"
)

// A Found is a kernelspec of ours that Jupyter may see.
type Found struct {
	Name, DisplayName string
	Folder            string
	Program           string // that it starts
	Hidden            bool   // by another of the same name in an earlier folder
	Packaged          bool   // it came with pip
}

// Search returns the folders in which Jupyter looks for data, in its order,
// and the kernelspecs of ours that are there. A Jupyter in an environment
// other than the active one also looks into its own: that of this program is
// among the folders if pip put it there.
func Search(s System) (folders []string, found []Found) {
	add := func(dir string) {
		if dir != "" && !slices.Contains(folders, dir) {
			folders = append(folders, dir)
		}
	}
	for _, dir := range filepath.SplitList(s.getenv("JUPYTER_PATH")) {
		add(dir)
	}
	user, err := s.userData()
	if err != nil {
		user = ""
	}
	if !s.environmentFirst() {
		add(user)
	}
	if environment, err := s.environment(); err == nil {
		add(filepath.Join(environment, "share", "jupyter"))
	}
	add(s.packagedData())
	add(user)
	if s.OS == "windows" {
		if data := s.getenv("PROGRAMDATA"); data != "" {
			add(filepath.Join(data, "jupyter"))
		}
	} else {
		add("/usr/local/share/jupyter")
		add("/usr/share/jupyter")
	}
	seen := map[string]bool{}
	for _, dir := range folders {
		kernels, err := os.ReadDir(filepath.Join(dir, "kernels"))
		if err != nil {
			continue
		}
		for _, k := range kernels {
			folder := filepath.Join(dir, "kernels", k.Name())
			hidden := seen[k.Name()]
			seen[k.Name()] = true
			file, err := ours(folder, s)
			if err != nil {
				continue
			}
			found = append(found, Found{Name: k.Name(), DisplayName: file.DisplayName, Folder: folder, Program: file.program(folder), Hidden: hidden, Packaged: file.packaged()})
		}
	}
	return folders, found
}
