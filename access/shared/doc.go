// Package shared keeps the list of people in a cluster, so that every node of
// one registry knows the same accounts, sessions and revocations. It exists
// because a person who was let in by one node stands before another one a
// moment later, and somebody whose rights were taken must meet that everywhere.
//
// The list is one value under one key, written whole and only over the revision
// that was read. Each node keeps a copy of it that the cluster changes as soon
// as anybody writes, and asks again every few seconds, so that a lost message
// is made up for.
package shared
