package language

import "context"

type contextKey struct{}

// With keeps the language in which something is to be made, for whoever makes it.
func With(ctx context.Context, l *Language) context.Context {
	return context.WithValue(ctx, contextKey{}, l)
}

// Of is the language that With kept; English when none was.
func Of(ctx context.Context) *Language {
	if l, ok := ctx.Value(contextKey{}).(*Language); ok && l != nil {
		return l
	}
	return English
}
