// Package certs keeps the certificates under which the pages are served with
// encryption. It exists because a browser lends a page the camera's queue, the
// clipboard and offline storage only over an encrypted connection, and a garage
// has no name that a public authority would vouch for.
//
// An Authority belongs to one registry and can vouch for the names of one
// machine and nothing else. Files are a certificate that somebody else made.
// Both are asked at each handshake, so that a certificate is renewed without a
// restart. Clock and randomness are handed in.
package certs
