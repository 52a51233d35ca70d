package server

import (
	"net/http"
	"net/url"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/asfound/registry"
)

// mappingsOn keeps mappings in memory.
func mappingsOn(kept *[]Mapping) *Mappings {
	return &Mappings{Sheets: []MappableSheet{{Name: "film", Title: "Readings of a film gauge", Columns: []MappableColumn{{"reading", "what the gauge showed", true}}}},
		List: func() ([]Mapping, error) { return *kept, nil },
		Save: func(m Mapping) error {
			if m.Name == "" {
				return &registry.Error{Code: registry.CodeInvalid, Message: "no name", Fields: []registry.Field{{Pointer: "/name", Message: "The name is missing", Fix: "Write one."}}}
			}
			*kept = append(*kept, m)
			return nil
		},
		Remove: func(string) error { *kept = nil; return nil }}
}

func TestColumnsAreMappedOnAPage(t *testing.T) {
	b := drover(t)
	b.s.Mappings = nil
	require.Equal(t, http.StatusNotImplemented, b.get("/import/mappings").Code)
	kept := &[]Mapping{}
	b.s.Mappings = mappingsOn(kept)
	page := readPage(t, b.get("/import/mappings").Body.String())
	page.landmarks()
	require.Contains(t, page.text(), "What the sheets ask for")

	typed := url.Values{"name": {""}, "sheet": {"film"}, "columns": {"reading: R1; R2\r\nunit = µm"}, "skip": {"3"}, "decimal": {"comma"}, "no_headings": {"yes"}}
	rec := b.post("/import/mappings", typed.Encode())
	require.Equal(t, http.StatusUnprocessableEntity, rec.Code)
	require.Contains(t, rec.Body.String(), "reading: R1; R2\r\nunit = µm", "nothing typed is lost")
	require.Contains(t, readPage(t, rec.Body.String()).text(), "The name is missing. Write one.")
	typed.Set("skip", "three")
	typed.Set("name", "gauge-b")
	rec = b.post("/import/mappings", typed.Encode())
	require.Contains(t, readPage(t, rec.Body.String()).text(), "This is not a whole number")
	require.Empty(t, *kept)

	typed.Set("skip", "3")
	rec = b.post("/import/mappings", typed.Encode())
	require.Equal(t, http.StatusSeeOther, rec.Code)
	require.Equal(t, []Mapping{{Name: "gauge-b", Sheet: "film", Decimal: "comma", Skip: 3, NoHeadings: true, Columns: []string{"reading: R1; R2", "unit = µm"}}}, *kept)
	require.Contains(t, b.get(rec.Header().Get("Location")).Body.String(), "The columns gauge-b are saved.")
	require.Contains(t, b.get("/import").Body.String(), `<option value="gauge-b">`)
	require.Contains(t, b.get("/import/mappings?change=gauge-b").Body.String(), `value="3"`)
	require.Equal(t, http.StatusNotFound, b.get("/import/mappings?change=other").Code)

	rec = b.post("/import/mappings/remove", url.Values{"name": {"gauge-b"}}.Encode())
	require.Equal(t, http.StatusSeeOther, rec.Code)
	require.Empty(t, *kept)
}
