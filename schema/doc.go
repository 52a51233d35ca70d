// Package schema says what a record looks like: one JSON Schema (2020-12) for
// every kind of record at every version that was ever written, one for the
// envelope of an event, and one for what each computation takes.
//
// It promises that the schemas are the same for everyone: the files that
// Schemas serves are those that Validate uses. A refusal names every fault at
// once, each with a JSON Pointer, what stood there, what may stand there and
// what to do. Shapes are asserted by pattern, never by format, and nothing is
// ever loaded from a network or a disk.
//
// It refuses to judge what one record alone cannot show: whether shares add up,
// whether a day exists in its month, whether what is named is on record. That
// is for registry.CheckBody and registry.Decide, which come after it. It does
// not limit the size of the input; callers do, before they read it.
package schema
