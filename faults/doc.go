// Package faults holds the tests that hurt the whole program: it is killed, its
// power is cut, its disk fills up, fails and changes bits, its clock jumps. It
// has no code of its own.
//
// In short (as "go test" runs it) each is tried a few times; ASFOUND_FAULTS=long
// tries them as often as is needed to believe it. What needs root or a tool that
// is not there is skipped.
package faults
