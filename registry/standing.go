package registry

import "context"

type standing struct{}

// AsItStands marks reads that need not look for what others have written since
// a moment ago. A ledger that must ask another machine for that may answer them
// from what it has.
func AsItStands(ctx context.Context) context.Context {
	return context.WithValue(ctx, standing{}, true)
}

// ReadsAsItStands says whether a context was marked by AsItStands.
func ReadsAsItStands(ctx context.Context) bool { return ctx.Value(standing{}) != nil }
