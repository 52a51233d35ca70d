// Package bench holds what measures the whole program against a limit, each
// figure beside its baseline in the same run. It has no code of its own.
//
// In short (as "go test" runs it) small registers are made and every figure is
// taken once, as a check that the measuring works; no time is asked for.
// "make performance" makes registers of ten to 100,000 machines in the folder
// for temporary files, keeps them for the next run, and writes
// docs/performance.md and the figures of docs/scale.md.
package bench
