package main

import (
	"bytes"
	"debug/buildinfo"
	"debug/elf"
	"debug/macho"
	"debug/pe"
	"encoding/binary"
	"fmt"
	"os"
	"regexp"
	"strings"

	"golang.org/x/mod/module"
	"golang.org/x/mod/semver"
)

// A program is built for one system.
type program struct {
	data    []byte
	system  system
	version string // as PEP 440 has it
}

// A system is an operating system and a processor, as Go names them.
type system struct{ os, arch string }

// platforms are pip's names of the systems (PEP 425, 600 and 656). Go 1.26 makes
// Linux programs without a C library and needs macOS 12.
var platforms = map[system][]string{
	{"linux", "amd64"}:   {"manylinux_2_17_x86_64", "manylinux2014_x86_64", "musllinux_1_1_x86_64"},
	{"linux", "arm64"}:   {"manylinux_2_17_aarch64", "manylinux2014_aarch64", "musllinux_1_1_aarch64"},
	{"darwin", "amd64"}:  {"macosx_12_0_x86_64"},
	{"darwin", "arm64"}:  {"macosx_12_0_arm64"},
	{"windows", "amd64"}: {"win_amd64"},
}

// tag returns the part of a wheel's name that says where it can be installed.
func (s system) tag() string { return "py3-none-" + strings.Join(platforms[s], ".") }

// read reads a program that Go built, and checks that it is what pip's name of
// its system promises.
func read(name string) (program, error) {
	data, err := os.ReadFile(name)
	if err != nil {
		return program{}, err
	}
	info, err := buildinfo.Read(bytes.NewReader(data))
	if err != nil {
		return program{}, fmt.Errorf("%s: %w", name, err)
	}
	p := program{data: data}
	for _, s := range info.Settings {
		switch s.Key {
		case "GOOS":
			p.system.os = s.Value
		case "GOARCH":
			p.system.arch = s.Value
		}
	}
	if platforms[p.system] == nil {
		return program{}, fmt.Errorf("%s is built for %s/%s, for which there is no wheel", name, p.system.os, p.system.arch)
	}
	if p.version, err = pythonVersion(info.Main.Version); err != nil {
		return program{}, fmt.Errorf("%s: %w", name, err)
	}
	if err := p.check(); err != nil {
		return program{}, fmt.Errorf("%s: %w", name, err)
	}
	return p, nil
}

// check looks for what would keep the program from starting where it is
// installed.
func (p program) check() error {
	r := bytes.NewReader(p.data)
	switch p.system.os {
	case "linux":
		f, err := elf.NewFile(r)
		if err != nil {
			return err
		}
		if libraries, err := f.ImportedLibraries(); err != nil || len(libraries) > 0 || f.Section(".interp") != nil {
			return fmt.Errorf("needs the C library of one kind of Linux %v; build it with CGO_ENABLED=0", libraries)
		}
	case "darwin":
		f, err := macho.NewFile(r)
		if err != nil {
			return err
		}
		const codeSignature = 0x1d // LC_CODE_SIGNATURE of mach-o/loader.h
		for _, load := range f.Loads {
			if binary.LittleEndian.Uint32(load.Raw()) == codeSignature {
				return nil
			}
		}
		if p.system.arch == "arm64" {
			return fmt.Errorf("is not signed, so that macOS would not start it; Go's linker signs it if nothing changes it afterwards")
		}
	case "windows":
		f, err := pe.NewFile(r)
		if err != nil {
			return err
		}
		header, ok := f.OptionalHeader.(*pe.OptionalHeader64)
		if !ok || header.Subsystem != pe.IMAGE_SUBSYSTEM_WINDOWS_CUI {
			return fmt.Errorf("is no 64-bit program for the console")
		}
	}
	return nil
}

var candidate = regexp.MustCompile(`^-(alpha|beta|rc)\.?([0-9]+)$`)

// pythonVersion spells a module's version as PEP 440 has it. Between releases
// it is a development release with its commit, unless Go knew none.
func pythonVersion(version string) (string, error) {
	if version == "" || version == "(devel)" {
		return "0.0.0.dev0", nil
	}
	local := ""
	if rest, dirty := strings.CutSuffix(version, "+dirty"); dirty {
		version, local = rest, "+dirty"
	}
	release := strings.TrimPrefix(strings.TrimSuffix(semver.Canonical(version), semver.Prerelease(version)), "v")
	if module.IsPseudoVersion(version) {
		at, err := module.PseudoVersionTime(version)
		if err != nil {
			return "", err
		}
		commit, err := module.PseudoVersionRev(version)
		if err != nil {
			return "", err
		}
		return release + ".dev" + at.Format("20060102150405") + "+" + strings.ReplaceAll(commit+local, "+", "."), nil
	}
	switch m := candidate.FindStringSubmatch(semver.Prerelease(version)); {
	case m != nil:
		release += map[string]string{"alpha": "a", "beta": "b", "rc": "rc"}[m[1]] + m[2]
	case release == "" || semver.Prerelease(version) != "":
		return "", fmt.Errorf("version %s is none that Python has; tag v1.2.3, or v1.2.3-alpha.1, -beta.1 or -rc.1", version)
	}
	return release + local, nil
}
