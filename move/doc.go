// Package move copies a whole registry from one engine into another and proves
// that nothing was lost on the way. It exists so that the choice of an engine
// can be taken back: a workshop that outgrew one folder goes to a cluster, and
// comes home again.
//
// Commits keep their ID, machine, version and every byte; positions are the new
// engine's own. A move that was stopped anywhere is done again from the start,
// and adds only what is missing.
package move
