package bench

import (
	"testing"
	"time"
)

// TestPerformance measures everything, one after another. With
// ASFOUND_PERFORMANCE set it writes the documents.
func TestPerformance(t *testing.T) {
	begin := time.Now()
	x := &results{figures: map[string]float64{}, texts: map[string]string{}, binary: theProgram(t)}
	for _, m := range []struct {
		name string
		run  func(*testing.T, *results)
	}{
		{"appends", measureAppends},
		{"import", measureImport},
		{"registers", measureRegisters},
		{"rescore", measureRescore},
		{"figures", measureFigures},
		{"scale", measureScale},
	} {
		t.Run(m.name, func(t *testing.T) {
			begin := time.Now()
			m.run(t, x)
			t.Logf("%.1f s", time.Since(begin).Seconds())
		})
	}
	t.Log(x.markdown())
	asksForWhatIsMeasured(t, x)
	if whole() && !tenth() && !t.Failed() {
		x.write(t, time.Since(begin))
	}
}
