package workshop

import (
	"context"

	"example.org/asfound/registry"
)

// Acting says what somebody who was recognised may see and under whom they
// record. It travels with a request's context; without one, everything goes,
// as it does on the command line and at an owner's link.
type Acting struct {
	// Sees says whether a machine may be known to be there.
	Sees func(machine string) bool
	// As gives the actor to record for the one that was named, or says why it
	// cannot be. fresh says that the machine is just taken in.
	As func(machine, named string, fresh bool) (string, error)
}

type actingKey struct{}

// WithActing puts who acts into a context.
func WithActing(ctx context.Context, a *Acting) context.Context {
	return context.WithValue(ctx, actingKey{}, a)
}

func actingIn(ctx context.Context) *Acting {
	a, _ := ctx.Value(actingKey{}).(*Acting)
	return a
}

// MaySee refuses a machine that is hidden from who acts, in the words that are
// used for one that is not there.
func MaySee(ctx context.Context, machine string) error {
	if a := actingIn(ctx); a != nil && !a.Sees(machine) {
		return noMachine(machine)
	}
	return nil
}

func noMachine(machine string) error {
	return registry.Refuse(registry.CodeNotFound, "List the machines to see their names.", "There is no machine %q in this registry", machine)
}

// actor is whom the records of a request are made by.
func actor(ctx context.Context, req Request, d *registry.Dossier, bodies []registry.Body) (string, error) {
	if err := ownActs(d, req, bodies); err != nil {
		return "", err
	}
	a := actingIn(ctx)
	if a == nil {
		return req.Actor, nil
	}
	if !a.Sees(req.Machine) {
		return "", noMachine(req.Machine)
	}
	return a.As(req.Machine, req.Actor, d.Version() == 0)
}
