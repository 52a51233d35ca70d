//go:build asfound_nosync

package store

// syncWrites is off in a program that is built to lose: the power cut test
// holds it against the true one, so that the test is seen to be able to fail.
const syncWrites = false
