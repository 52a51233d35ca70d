package server

import (
	"context"
	"encoding/json"
	"net/http"

	"example.org/asfound/registry"
	"example.org/asfound/workshop"
)

// HandOverRequest hands a machine's record over to another registry.
type HandOverRequest struct {
	// Because is needed where the owner's permission is not on record.
	Because string `json:"because,omitempty"`
	By      string `json:"by,omitempty"`
}

// TakeBackRequest takes a handing over back that nobody has answered.
type TakeBackRequest struct {
	Why string `json:"why"`
	By  string `json:"by,omitempty"`
}

// ConfirmTransferRequest is the receipt of the registry that took a record over.
type ConfirmTransferRequest struct {
	Receipt json.RawMessage `json:"receipt"`
	// Trust is that registry's fingerprint, got from it by another way, or its
	// public key.
	Trust string `json:"trust"`
}

// apiMoves is a handler that records, for a program, that a record goes or stays.
func apiMoves[T any](do func(ctx context.Context, w *workshop.Workshop, req workshop.Request, in T) (workshop.Receipt, error), by func(T) string) handler {
	return func(s *Server, r *http.Request) (answer, error) {
		id, seen, err := s.prepare(r)
		if err != nil {
			return nil, err
		}
		var in T
		if err := readJSON(r, &in); err != nil {
			return nil, err
		}
		actor, err := s.actorOn(r, id, by(in), nil)
		if err != nil {
			return nil, err
		}
		receipt, err := do(r.Context(), s.Workshop, workshop.Request{Machine: id, Actor: actor, Expect: seen, Key: apiKey(r)}, in)
		if err != nil {
			return nil, s.staleWhen(r, id, seen, err)
		}
		return jsonAnswer{status: http.StatusCreated, value: receipt, etag: versionTag(receipt.Version)}, nil
	}
}

var (
	apiHandOver = apiMoves(func(ctx context.Context, w *workshop.Workshop, req workshop.Request, in HandOverRequest) (workshop.Receipt, error) {
		return w.HandOver(ctx, req, in.Because)
	}, func(in HandOverRequest) string { return in.By })
	apiTakeBack = apiMoves(func(ctx context.Context, w *workshop.Workshop, req workshop.Request, in TakeBackRequest) (workshop.Receipt, error) {
		return w.TakeBackHandOver(ctx, req, in.Why)
	}, func(in TakeBackRequest) string { return in.By })
)

// apiTakeOver takes over the record in a bundle. Sent again, it changes nothing.
func apiTakeOver(s *Server, r *http.Request) (answer, error) {
	if s.TakeOver == nil {
		return nil, notOffered("Taking records over")
	}
	trust := r.URL.Query().Get("trust")
	if trust == "" {
		return nil, invalidQuery("/trust", "", "a fingerprint such as 12ab 34cd 56ef 7890, or a public key", "Without the giving registry's fingerprint anybody could have made the bundle")
	}
	f, size, err := spooled(r)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	out, err := s.TakeOver(r.Context(), TakeOverQuestion{Bundle: f, Size: size, Trust: trust, Actor: keeperName(r)})
	if err != nil {
		return nil, err
	}
	return jsonAnswer{status: http.StatusCreated, value: out, location: "/api/v1/machines/" + out.Machine}, nil
}

// apiConfirmTransfer records that the other registry has taken the record over.
func apiConfirmTransfer(s *Server, r *http.Request) (answer, error) {
	id, _, err := s.machineHead(r)
	if err != nil {
		return nil, err
	}
	var in ConfirmTransferRequest
	if err := readJSON(r, &in); err != nil {
		return nil, err
	}
	receipt, err := s.confirm(r.Context(), id, in.Receipt, in.Trust)
	if err != nil {
		return nil, err
	}
	return jsonAnswer{status: http.StatusCreated, value: receipt, etag: versionTag(receipt.Version)}, nil
}

// confirm records a receipt.
func (s *Server) confirm(ctx context.Context, machine string, receipt []byte, trust string) (workshop.Receipt, error) {
	if s.ConfirmTransfer == nil {
		return workshop.Receipt{}, notOffered("Confirming transfers")
	}
	return s.ConfirmTransfer(ctx, machine, receipt, trust)
}

// SentAtFault says of what was sent, and is not what it says it is, that it
// cannot be used: nothing is wrong with what is stored here.
func SentAtFault(err error) error {
	if registry.CodeOf(err) == registry.CodeTampered {
		return registry.Refuse(registry.CodeInvalid, "Send it as it was written.", "%s", err)
	}
	return err
}
