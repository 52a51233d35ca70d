package server

import (
	"net/http"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestLookingAgain(t *testing.T) {
	b := drover(t)
	const work = "/machines/drover-1957/work"
	for _, path := range []string{work + "/recheck", work + "/usage"} {
		readPage(t, b.get(path).Body.String()).landmarks()
	}
	status, page := typedIn(b, work+"/recheck", "what", "chain and spokes", "after", "5", "unit", "mi", "cycles", "1")
	require.Equal(t, http.StatusSeeOther, status, pageText(t, page))
	require.Contains(t, pageText(t, page), "Chain and spokes: in 5 mi (8.0 km), or in 1 heat cycle")
	status, page = typedIn(b, work+"/usage", "distance", "10", "unit", "km", "cycles", "0")
	require.Equal(t, http.StatusSeeOther, status, pageText(t, page))
	text := pageText(t, page)
	require.Contains(t, text, "it has gone 10 km (6.2 mi) and been hot 0 times")
	require.Contains(t, text, "due Chain and spokes: 1.2 mi (1.9 km) past")
	for _, c := range []struct {
		path   string
		fields []string
		says   string
	}{
		{"/recheck", []string{"what", "chain"}, "It is not said when to look again"},
		{"/recheck", []string{"what", "chain", "cycles", "1.5"}, "This is not a whole number"},
		{"/usage", []string{"distance", "", "unit", "km"}, "There is no number here"},
		{"/usage", []string{"distance", "5", "unit", "km"}, "The machine cannot have done less than before"},
	} {
		status, page := typedIn(b, work+c.path, c.fields...)
		require.Equal(t, http.StatusUnprocessableEntity, status)
		require.Contains(t, pageText(t, page), c.says)
	}
	form := readPage(t, b.get(work+"/check").Body.String())
	require.Contains(t, form.text(), "chain and spokes", "the check can name the recheck")
}
