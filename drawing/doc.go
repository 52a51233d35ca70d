// Package drawing is the side view of a motorcycle: geometry tables in, shapes
// out, once for pages and for print. The machine is nobody's: its proportions
// are invented, of the kind of the 1930s to the 1960s (wheelbase 1400 mm, 19
// inch wheels). Every shape belongs to a group of the anatomy, so that whoever
// draws it can shade a group by what is known of it.
//
// All lengths are in millimetres of the machine. x runs to the right and y
// down, as on a page.
package drawing
