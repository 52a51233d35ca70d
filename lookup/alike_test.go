package lookup

import (
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func TestApart(t *testing.T) {
	for _, c := range []struct {
		a, b string
		want int
	}{
		{"SK 6018", "sk-6018", 0}, {"SK6018", "SK6O18", 1}, {"5K6018", "SK6O18", 2}, {"SK6018", "SK6038", -1},
		{"SK6018", "SK60181", -1}, {"D350", "0350", 1}, {"Él 7", "EL7", 0},
	} {
		require.Equal(t, c.want, Apart(c.a, c.b), "%s and %s", c.a, c.b)
		require.Equal(t, c.want, Apart(c.b, c.a))
	}
}

func TestAlikeIsOfOneForm(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := rapid.String().Draw(t, "number")
		require.Equal(t, Alike(s), Alike(Alike(s)))
		require.Equal(t, 0, Apart(s, s))
	})
}
