// Package server shows the registry over HTTP: pages for people, which need no
// script in the browser, the owner's decision page behind its link, and an
// interface for programs under /api/v1.
//
// It promises that reading changes nothing, that an act is recorded once
// however often it is sent, that a link's token is never written to a log, and
// that every refusal says what happened and what to do. It decides nothing by
// itself: every act goes through package workshop. It never imports store.
package server
