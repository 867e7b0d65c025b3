package main

// ours are patterns of this module's packages for users; internal packages and
// programs among them are passed over.
var ours = []string{
	module + "/packing/...",
	module + "/kernel/display",
}

// libraries are the packages of other modules that are linked in.
var libraries = []string{
	"github.com/go-gota/gota/dataframe",
	"github.com/go-gota/gota/series",
	"gonum.org/v1/gonum/diff/fd",
	"gonum.org/v1/gonum/dsp/fourier",
	"gonum.org/v1/gonum/dsp/window",
	"gonum.org/v1/gonum/floats",
	"gonum.org/v1/gonum/floats/scalar",
	"gonum.org/v1/gonum/integrate",
	"gonum.org/v1/gonum/integrate/quad",
	"gonum.org/v1/gonum/interp",
	"gonum.org/v1/gonum/mat",
	"gonum.org/v1/gonum/optimize",
	"gonum.org/v1/gonum/stat",
	"gonum.org/v1/gonum/stat/combin",
	"gonum.org/v1/gonum/stat/distuv",
	"gonum.org/v1/plot",
	"gonum.org/v1/plot/font",
	"gonum.org/v1/plot/palette",
	"gonum.org/v1/plot/palette/brewer",
	"gonum.org/v1/plot/palette/moreland",
	"gonum.org/v1/plot/plotter",
	"gonum.org/v1/plot/plotutil",
	"gonum.org/v1/plot/text",
	"gonum.org/v1/plot/vg",
	"gonum.org/v1/plot/vg/draw",
	"gonum.org/v1/plot/vg/vgimg",
	"gonum.org/v1/plot/vg/vgpdf",
	"gonum.org/v1/plot/vg/vgsvg",
}

// standard are the packages of the standard library that a notebook can use.
// Left out, with the reason told to the user in symbols/missing.go: net,
// net/http, os/exec, os/signal, plugin, syscall, unsafe, flag and testing.
var standard = []string{
	"archive/tar",
	"archive/zip",
	"bufio",
	"bytes",
	"compress/bzip2",
	"compress/flate",
	"compress/gzip",
	"compress/zlib",
	"container/heap",
	"container/list",
	"container/ring",
	"context",
	"crypto/hmac",
	"crypto/md5",
	"crypto/rand",
	"crypto/sha1",
	"crypto/sha256",
	"crypto/sha512",
	"encoding",
	"encoding/base32",
	"encoding/base64",
	"encoding/binary",
	"encoding/csv",
	"encoding/gob",
	"encoding/hex",
	"encoding/json",
	"encoding/xml",
	"errors",
	"fmt",
	"hash",
	"hash/adler32",
	"hash/crc32",
	"hash/crc64",
	"hash/fnv",
	"hash/maphash",
	"html",
	"html/template",
	"image",
	"image/color",
	"image/color/palette",
	"image/draw",
	"image/gif",
	"image/jpeg",
	"image/png",
	"io",
	"io/fs",
	"io/ioutil",
	"log",
	"log/slog",
	"math",
	"math/big",
	"math/bits",
	"math/cmplx",
	"math/rand",
	"math/rand/v2",
	"mime",
	"net/url",
	"os",
	"path",
	"path/filepath",
	"reflect",
	"regexp",
	"runtime",
	"runtime/debug",
	"sort",
	"strconv",
	"strings",
	"sync",
	"sync/atomic",
	"text/scanner",
	"text/tabwriter",
	"text/template",
	"time",
	"unicode",
	"unicode/utf16",
	"unicode/utf8",
}

// named are packages of which only the names are kept, so that an attempt to
// use them can be answered: everything useful in them is generic.
var named = []string{"cmp", "iter", "maps", "slices"}

// An override binds a name to a function of package tables instead.
type override struct {
	function string
	note     string // added to the comment
}

// overrides take the place of functions that would end the engine.
var overrides = map[string]map[string]override{
	"log": {
		"Fatal":   {"fatal", endsCell},
		"Fatalf":  {"fatalf", endsCell},
		"Fatalln": {"fatalln", endsCell},
	},
	"os": {"Exit": {"exit", endsCell}},
}

const endsCell = "In a notebook it ends the cell, with an error, and not the program."

// left are names kept out of the tables for a reason of their own.
var left = map[string]map[string]string{
	"runtime": {"Goexit": "it would end the goroutine that runs the cell; return from the function instead"},
}
