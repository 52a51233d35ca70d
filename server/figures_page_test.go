package server

import (
	"context"
	"io"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/asfound/language"
)

// TestDownloadsSpeakAsThePages hands the reader's language to whoever prints.
func TestDownloadsSpeakAsThePages(t *testing.T) {
	b := drover(t)
	speak := func(ctx context.Context, out io.Writer) error {
		_, err := io.WriteString(out, language.Of(ctx).Tag)
		return err
	}
	b.s.PDF = func(ctx context.Context, out io.Writer, _ string, _ bool) error { return speak(ctx, out) }
	b.s.Condition = b.s.PDF
	b.s.Labels = func(ctx context.Context, out io.Writer, _, _, _ string) error { return speak(ctx, out) }
	b.s.Card = func(ctx context.Context, out io.Writer, _, _ string) error { return speak(ctx, out) }
	for _, path := range []string{"dossier.pdf", "condition.pdf", "work/labels.pdf", "work/card/any/card.pdf"} {
		for _, tag := range []string{"de", "en-GB"} {
			r := httptest.NewRequest(http.MethodGet, "/machines/drover-1957/"+path, nil)
			r.AddCookie(&http.Cookie{Name: languageCookie, Value: tag})
			rec := b.ask(r)
			require.Equal(t, http.StatusOK, rec.Code, path)
			require.Equal(t, tag, rec.Body.String(), path)
			require.Contains(t, rec.Header().Get("Vary"), "Cookie")
		}
	}
}

// TestADecimalCommaIsRead types as German readers do, and as English ones.
func TestADecimalCommaIsRead(t *testing.T) {
	b := drover(t)
	send := func(accept, distance string) (int, string) {
		form := url.Values{"by": {"tamsin"}, "key": {newKey()}, "distance": {distance}, "unit": {"km"}, "cycles": {"0"}}
		r := httptest.NewRequest(http.MethodPost, "/machines/drover-1957/work/usage", strings.NewReader(form.Encode()))
		r.Header.Set("Content-Type", formType)
		r.Header.Set("Accept-Language", accept)
		rec := b.ask(r)
		return rec.Code, rec.Body.String()
	}
	code, page := send("en", "1,234")
	require.Equal(t, http.StatusUnprocessableEntity, code)
	require.Contains(t, pageText(t, page), "Write 1234 for the large one, or 1.2340 for the small one.")
	require.Contains(t, page, `value="1,234"`, "what was typed is lost")
	code, _ = send("de", "1.234")
	require.Equal(t, http.StatusUnprocessableEntity, code)
	code, _ = send("de", "1,234")
	require.Equal(t, http.StatusSeeOther, code)
	require.Contains(t, pageText(t, b.get("/machines/drover-1957/work").Body.String()), "it has gone 1.234 km (0.7668 mi)") // 1.234 / 1.609344
	code, _ = send("de", "1.234,5")
	require.Equal(t, http.StatusSeeOther, code)
	require.Contains(t, pageText(t, b.get("/machines/drover-1957/work").Body.String()), "it has gone 1234.5 km (767.08 mi)")
}
