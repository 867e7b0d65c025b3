package notebook

import "slices"

// Strip takes away outputs and execution counts, but not the outputs of cells
// tagged keep_output. It reports whether there was anything to take away.
func (nb *Notebook) Strip() bool {
	before := string(nb.Bytes())
	for _, c := range nb.Cells {
		if c.Kind != Code {
			continue
		}
		c.setCount(0)
		if !slices.Contains(c.Tags, tagKeep) {
			c.setOutputs(nil)
		}
	}
	return string(nb.Bytes()) != before
}
