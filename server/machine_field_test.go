package server

import (
	"context"
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/asfound/registry"
	"example.org/asfound/workshop"
)

// TestFormsDoNotGrowWithTheRegister: up to a hundred machines are listed, and a
// larger register takes an id.
func TestFormsDoNotGrowWithTheRegister(t *testing.T) {
	b := newBench(t)
	take := func(i int) {
		_, err := b.w.Record(context.Background(), workshop.Request{Machine: fmt.Sprintf("m-%03d", i), Actor: "tamsin"},
			&registry.Machine{Common: id("machine"), Make: "Skerrow Engineering", Model: "Drover 350", Year: "1957", Invented: true})
		require.NoError(t, err)
	}
	for i := range machinesOffered {
		take(i)
	}
	listed := b.get("/import").Body.String()
	require.Equal(t, machinesOffered, strings.Count(listed, `<option value="m-`))
	take(machinesOffered)
	typed := b.get("/import?machine=m-050").Body.String()
	require.NotContains(t, typed, `<option value="m-`)
	require.Contains(t, typed, "as the list of machines and every search show it")
	require.Contains(t, typed, `name="machine" value="m-050"`)
}
