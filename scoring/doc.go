// Package scoring turns tables of evidence, weights and credits into numbers
// with ranges and reasons: what a part probably is (Origin), how original a
// machine is (Index), and what an intervention costs as the machine then
// stands and for good (Effect). One question is one file.
//
// It is pure: no files, no clock, no randomness, nothing kept between calls.
// Inputs and results are plain structs whose JSON form is what `asfound calc`
// reads and prints and what an estimate keeps for ever, so the package promises
//
//   - the same input gives the same result to the last bit on every machine
//     (see number.go for how), whatever the order of keys inside a JSON object;
//     only the order of arrays may show in the last digits;
//   - a method never changes its answers: a better method gets a new version
//     (see method.go) and the old one stays;
//   - no result holds a NaN or an infinity.
//
// It refuses what it cannot answer honestly: every refusal is a
// *registry.Error that says where the fault stands (a JSON Pointer into the
// input), what was found, what is allowed and what to do. Priors, credits,
// weights and likelihoods are the caller's: this package holds none.
package scoring
