package dossier

import (
	"bytes"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/asfound/registry"
)

func TestKeyChange(t *testing.T) {
	key := func(seed byte) (string, string) {
		s, v, err := NewKey(bytes.NewReader(bytes.Repeat([]byte{seed}, 32)), "registry.example/aldmouth")
		require.NoError(t, err)
		return s, v
	}
	s1, v1 := key(1)
	s2, v2 := key(2)
	s3, v3 := key(3)
	at := time.Date(2030, 5, 6, 7, 8, 9, 0, time.UTC)
	sign := func(k KeyChange, signers ...string) []byte {
		text, err := SignKeyChange(k, signers...)
		require.NoError(t, err)
		return text
	}
	first := sign(KeyChange{v1, v2, BecauseRotation, at}, s1, s2)
	second := sign(KeyChange{v2, v3, BecauseRotation, at}, s2, s3)

	k, byOld, err := OpenKeyChange(first)
	require.NoError(t, err)
	require.True(t, byOld)
	require.Equal(t, KeyChange{v1, v2, BecauseRotation, at}, k)

	keys, err := TrustedKeys([]string{v1}, [][]byte{first, second})
	require.NoError(t, err)
	require.Equal(t, []string{v1, v2, v3}, keys)

	refused := func(pinned string, changes ...[]byte) {
		t.Helper()
		_, err := TrustedKeys([]string{pinned}, changes)
		require.Equal(t, registry.CodeTampered, registry.CodeOf(err), "%v", err)
	}
	refused(v1, second)                                                      // out of order
	refused(v3, first)                                                       // of another registry
	refused(v1, sign(KeyChange{v1, v2, BecauseLost, at}, s2))                // nobody trusted signed it
	refused(v1, sign(KeyChange{v1, v2, BecauseRotation, at}, s1))            // the new key has not signed
	refused(v1, sign(KeyChange{v1, v2, BecauseCompromised, at}, s1, s2))     // a thief could have signed
	refused(v1, sign(KeyChange{v1, v2, BecauseRotation, at}, s2, s3))        // by a stranger
	refused(v1, []byte(strings.Replace(string(first), "2030", "2031", 1)))   // changed afterwards
	refused(v1, []byte(strings.Replace(string(first), "rotat", "rotar", 1))) // of no kind
	refused(v1, nil)

	_, err = SignKeyChange(KeyChange{v1, v1, BecauseRotation, at}, s1)
	require.Equal(t, registry.CodeInvalid, registry.CodeOf(err))
	_, err = SignKeyChange(KeyChange{v1, v2, "a whim", at}, s1)
	require.Equal(t, registry.CodeInvalid, registry.CodeOf(err))
}
