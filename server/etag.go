package server

import (
	"net/http"
	"strconv"
	"strings"

	"example.org/asfound/registry"
)

// versionTag is the strong ETag of a machine's record.
func versionTag(version uint64) string { return `"` + strconv.FormatUint(version, 10) + `"` }

// hasTag says whether the asker holds the tag already (If-None-Match).
func hasTag(r *http.Request, tag string) bool {
	for _, given := range strings.Split(r.Header.Get("If-None-Match"), ",") {
		given = strings.TrimPrefix(strings.TrimSpace(given), "W/")
		if given == tag || given == "*" {
			return true
		}
	}
	return false
}

// seenVersion reads If-Match: the version that the caller has seen.
func seenVersion(r *http.Request) (*uint64, error) {
	given := strings.TrimSpace(r.Header.Get("If-Match"))
	if given == "" {
		return nil, registry.Refuse(codeNeedsVersion, "", "The request does not say which version of the record it was made on")
	}
	v, err := strconv.ParseUint(strings.Trim(given, `"`), 10, 64)
	if err != nil || len(given) < 3 || given[0] != '"' {
		return nil, registry.Refuse(codeStale, "", "%s is not the ETag of a machine", quoted(given))
	}
	return &v, nil
}

// staleWhen turns a conflict of versions under If-Match into "stale": the
// record is not at the version that the caller saw.
func (s *Server) staleWhen(r *http.Request, machine string, seen *uint64, err error) error {
	if seen == nil || registry.CodeOf(err) != registry.CodeConflict {
		return err
	}
	head, headErr := s.Workshop.Ledger.Head(r.Context(), machine)
	if headErr != nil || head.Version == *seen {
		return err
	}
	return registry.Refuse(codeStale, "", "You saw version %d of %s; the record is at %d now", *seen, machine, head.Version)
}

// mustStand refuses when the record is not at the version that was seen.
func (s *Server) mustStand(r *http.Request, machine string, seen *uint64) error {
	head, err := s.Workshop.Ledger.Head(r.Context(), machine)
	switch {
	case err != nil:
		return err
	case head.Version == 0:
		return noMachine(machine)
	case seen != nil && head.Version != *seen:
		return registry.Refuse(codeStale, "", "You saw version %d of %s; the record is at %d now", *seen, machine, head.Version)
	}
	return nil
}

func noMachine(machine string) error {
	return registry.Refuse(registry.CodeNotFound, "List the machines to see their names.", "There is no machine %s in this registry", quoted(machine))
}
