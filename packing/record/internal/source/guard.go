package source

import (
	"runtime/debug"
	"unsafe"
)

// Guarded does work that reads data, which may be a mapped file. Where another
// program has made the file shorter, the pages beyond its end cannot be read:
// that ends the work with an error, in place of the program. It holds for the
// goroutine that calls it alone.
func Guarded(data []byte, work func()) (err error) {
	defer debug.SetPanicOnFault(debug.SetPanicOnFault(true))
	defer func() {
		p := recover()
		if p == nil {
			return
		}
		fault, ok := p.(interface{ Addr() uintptr })
		start := uintptr(unsafe.Pointer(unsafe.SliceData(data)))
		if !ok || fault.Addr() < start || fault.Addr()-start >= uintptr(len(data)) {
			panic(p) // nothing of ours
		}
		err = Error{Problem: "the file became shorter while it was read", Remedy: "copy it first and read the copy"}
	}()
	work()
	return nil
}
