// Package catalog holds what is known of motorcycles in general: the anatomy,
// assemblies and priors, signs and what they say, the ladder of treatments,
// cautions, standpoints, gates, openings, the as-found picture list, plain
// words, and complaints with their causes and the tests that tell these apart.
// It exists so that every number that is a convention or an assumption
// stands in data that can be read, versioned and replaced, and none in code.
//
// The house's data lie in data/*.json and are embedded. A pack, written by
// somebody who knows one kind of machine, may be laid over them: it changes
// items by id and adds new ones. The package promises
//
//   - a strict load: an unknown key, a state that does not exist, a reference
//     that leads nowhere or a distribution that does not sum to 1 is refused,
//     and all faults of all files are listed at once;
//   - that what it hands out is the caller's own copy;
//   - that every item says who supplied it (Basis.From) and on what it rests, a
//     published source or a stated assumption;
//   - that Identity names exactly what was in force, so that an estimate can
//     be repeated.
//
// It refuses packs that remove or weaken a caution, a gate, the need for the
// owner's approval or the mark of an act that cannot be undone. It computes
// nothing but the leak of what SymptomModel picks: posteriors and indices are
// the business of scoring.
package catalog
