// Package importers exists to turn files that people already have (survey
// sheets, lists of evidence and parts, JSON, folders of photos) into drafts of
// records.
//
// It promises that every row of a file comes out once, in order, with the
// place where it stood: as a draft that passed every check that can be made
// without knowing the machine, or with all of its faults at once. A bad row
// never ends an import; a file that cannot be read at all is one error. Memory
// does not grow with the file, except by a few bytes a row for finding
// duplicates. It refuses to guess: an encoding, a word or a number that can be
// read in two ways is a fault with its place, not a silent choice.
//
// It records nothing. Whether a draft fits the machine's record is decided by
// whoever takes it.
package importers
