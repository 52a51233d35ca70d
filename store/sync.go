//go:build !asfound_nosync

package store

// syncWrites brings every commit to the disk before it is acknowledged.
const syncWrites = true
