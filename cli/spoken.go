package cli

import (
	"context"

	"example.org/asfound/dossier"
	"example.org/asfound/language"
	"example.org/asfound/registry"
)

// spoken is embedded in the commands that print.
type spoken struct {
	Language string `help:"${language_help}" default:"${language}"`
}

// speak is the context in which a document is made in the language asked for.
// Codes: CodeInvalid for one that is not known.
func (s spoken) speak(ctx context.Context) (context.Context, error) {
	l := language.Named(s.Language)
	if s.Language == "en" {
		l = language.English
	}
	if l == nil {
		return nil, registry.Refuse(registry.CodeInvalid, "Write en-GB or de.", "There is no language %q here", s.Language)
	}
	return language.With(ctx, l), nil
}

// saidIn is the language of a context, for a document.
func saidIn(ctx context.Context) dossier.Language {
	l := language.Of(ctx)
	return dossier.Language{Tag: l.Tag, Say: l.Text}
}
