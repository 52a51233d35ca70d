package server

import (
	"net/http"
	"time"
)

// NewHTTPServer gives a server with limits that a slow or greedy peer cannot
// wear out. The caller listens, serves and shuts it down.
func NewHTTPServer(addr string, handler http.Handler) *http.Server {
	return &http.Server{
		Addr:              addr,
		Handler:           handler,
		ReadHeaderTimeout: 10 * time.Second,
		// Large uploads come over poor lines: the body has its size limit, and
		// ten minutes.
		ReadTimeout:    10 * time.Minute,
		WriteTimeout:   15 * time.Minute,
		IdleTimeout:    2 * time.Minute,
		MaxHeaderBytes: 32 << 10,
	}
}
