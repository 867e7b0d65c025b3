//go:build !unix

package record

import "os"

// mapFile maps nothing here: the file is read.
func mapFile(*os.File, int64) (content, bool) { return content{}, false }
