// Package packing describes chromatography columns, media and slurries, and
// what follows from their geometry.
//
// A [Column], a [Medium] and a [Slurry] are described first; volumes, heights,
// flows and the void after compression follow. [SlurrySamples] give the slurry's
// concentration with its error, [Pour] how much of it to prepare, [Found] the ways
// on when the bed settled otherwise than planned, and [Packed] the compression
// factor with its error. The packages below take them up:
//
//	units       quantities with their unit: 2 * units.Bar
//	liquid      density and viscosity of the liquid
//	bed         settling, and measured pressure-flow curves
//	plan        packing methods as tables of steps
//	record      what an instrument exported
//	efficiency  the pulse test, transitions, breakthrough
//
// A result is a struct of numbers. Its method Page returns what it shows, made
// anew at each call: result.Page().HTML(), Markdown(), String(), and SVG() for its
// figure. A notebook asks for no more than that. Result.String() is the page as
// text. Methods such as Table and Figure return parts as data; a figure draws
// itself with SVG().
//
// Heights: a bed settled by gravity has the height L0, packed it has L; the
// compression factor is CF = L0/L. A velocity is always superficial, flow over
// the area of the empty tube. A slurry's concentration is settled bed volume
// over slurry volume.
package packing
