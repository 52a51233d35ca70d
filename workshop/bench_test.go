package workshop

import (
	"context"
	"testing"

	"github.com/stretchr/testify/require"
)

// BenchmarkReport shows a machine of the size of the demonstration: cold, as
// after a start; warm, as after something was recorded elsewhere. A page is to
// take less than 50 ms.
func BenchmarkReport(b *testing.B) {
	w := drafted(b)
	ctx := context.Background()
	show := func(b *testing.B) {
		_, err := w.Report(ctx, drover, ReportOptions{})
		require.NoError(b, err)
	}
	b.Run("cold", func(b *testing.B) {
		for b.Loop() {
			w.histories.drop(drover)
			show(b)
		}
	})
	b.Run("warm", func(b *testing.B) {
		for b.Loop() {
			show(b)
		}
	})
}

// BenchmarkWeigh weighs every option of the demonstration: the work behind the
// page of options.
func BenchmarkWeigh(b *testing.B) {
	w := drafted(b)
	for b.Loop() {
		_, _, err := w.Weigh(context.Background(), Request{Machine: drover, Actor: "mechanic"}, nil, false)
		require.NoError(b, err)
	}
}
