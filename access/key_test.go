package access

import (
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/asfound/access/passkeytest"
	"example.org/asfound/registry"
)

// TestMadeKey: the key that a device makes is read in the form in which records
// hold it, and only where it was asked for.
func TestMadeKey(t *testing.T) {
	here := Place{Host: "localhost", Origin: "http://localhost:8350"}
	device := passkeytest.New(here.Host, here.Origin, registry.AlgorithmES256)
	challenge, user := []byte("a challenge of some length"), []byte("somebody")
	made := []byte(device.Make(challenge))
	key, err := here.MadeKey(challenge, user, made)
	require.NoError(t, err)
	require.Equal(t, Key{passkeytest.Text(device.Credential), device.PublicKey(), registry.AlgorithmES256}, key)

	_, err = here.MadeKey([]byte("a challenge of another kind"), user, made)
	refused(t, err, CodeWrong)
	_, err = Place{Host: "localhost", Origin: "http://localhost:9999"}.MadeKey(challenge, user, made)
	refused(t, err, CodeWrong)
	_, err = here.MadeKey(challenge, user, []byte("{}"))
	refused(t, err, CodeWrong)
	device.Flags = 0x01
	_, err = here.MadeKey(challenge, user, []byte(device.Make(challenge)))
	refused(t, err, CodeWrong)

	c, err := ReadConfirmed([]byte(device.Confirm(challenge)))
	require.NoError(t, err)
	require.Equal(t, here.Origin, c.Origin())
	_, err = ReadConfirmed([]byte("[]"))
	refused(t, err, CodeWrong)
}

func TestPersonsAs(t *testing.T) {
	w := &Who{Grants: []Grant{{Role: Mechanic, Person: "tamsin"}, {Role: Owner, Machine: "drover", Person: "imogen"}, {Role: Owner, Machine: "other", Person: "cora"}}}
	require.Equal(t, []string{"imogen", "tamsin"}, w.Persons("drover"))
	require.Equal(t, []string{"imogen"}, w.PersonsAs("drover", Owner, CoOwner))
	require.Empty(t, w.PersonsAs("drover", Second))
	require.Equal(t, []string{"tamsin"}, w.Persons("third"))
}
