package cli

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"example.org/asfound/dossier"
	"example.org/asfound/registry"
)

type keyCommand struct {
	Show    keyShowCommand    `cmd:"" default:"1" help:"print the public key, its fingerprint and every change of it"`
	Replace keyReplaceCommand `cmd:"" help:"sign with a new key from now on, and say why"`
}

// keyChangesFile holds every change of the registry's key, as signed notes with
// a line of "=" between.
const keyChangesFile = "key-changes.txt"

const betweenChanges = "=====\n"

// keyReport is what is public about the registry's key.
type keyReport struct {
	Key         string   `json:"key"`
	Fingerprint string   `json:"fingerprint"`
	Changes     []string `json:"changes,omitempty"`
}

type keyShowCommand struct{}

// Run prints what is public about the key.
func (keyShowCommand) Run(c *call) error {
	verifier, err := c.ownKey()
	if err != nil {
		return err
	}
	changes, err := c.keyChanges()
	if err != nil {
		return err
	}
	return c.print(keyReport{verifier, dossier.Fingerprint(verifier), changes}, func(w io.Writer) {
		fmt.Fprintf(w, "%s\nFingerprint: %s\n", verifier, dossier.Fingerprint(verifier))
		for _, text := range changes {
			fmt.Fprintf(w, "\n%s", text)
		}
	})
}

// ownKey is the public key. Where there is one, the registry is not opened: it
// is asked for over the telephone, while the server runs.
func (c *call) ownKey() (string, error) {
	if _, err := os.Stat(c.keyPath(publicKeyFile)); err == nil {
		_, verifier, err := c.key()
		return verifier, err
	}
	o, err := c.open()
	if err != nil {
		return "", err
	}
	return o.verifier, nil
}

func (c *call) keyChanges() ([]string, error) {
	text, err := os.ReadFile(c.keyPath(keyChangesFile))
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	return strings.Split(string(text), betweenChanges), nil
}

type keyReplaceCommand struct {
	Because string `required:"" enum:"rotation,lost,compromised" help:"rotation: in good order; lost: nobody holds the old key; compromised: somebody else may hold it"`
	Name    string `help:"the registry's name in the new key, best a domain and path of your own; the old one when left out"`
}

// Run makes a new key and a signed statement of the change.
func (k *keyReplaceCommand) Run(c *call) error {
	public, err := os.ReadFile(c.keyPath(publicKeyFile))
	if err != nil {
		return registry.Refuse(registry.CodeNotFound, "Choose the registry with --dir.", "There is no key of a registry in %s", filepath.Dir(c.keyPath(keyFile)))
	}
	change := dossier.KeyChange{Old: strings.TrimSpace(string(public)), Because: k.Because, At: c.Now().UTC().Truncate(1e9)}
	var signers []string
	if k.Because == dossier.BecauseLost {
		if _, err := os.Stat(c.keyPath(keyFile)); err == nil {
			return registry.Refuse(registry.CodeInvalid, "Say --because rotation or compromised; the old key then signs the change too.", "The key is not lost: it lies in %s", filepath.Dir(c.keyPath(keyFile)))
		}
	} else {
		signer, _, err := c.key()
		if err != nil {
			return err
		}
		signers = append(signers, signer)
	}
	name := k.Name
	if name == "" {
		name = dossier.KeyName(change.Old)
	}
	signer, verifier, err := dossier.NewKey(c.Random, name)
	if err != nil {
		return err
	}
	change.New = verifier
	statement, err := dossier.SignKeyChange(change, append(signers, signer)...)
	if err != nil {
		return err
	}
	changes, err := c.keyChanges()
	if err != nil {
		return err
	}
	// The statement comes first: a key without it would be one that nobody
	// announced. A crash before the key is written leaves the old key in use.
	if err := writeFile(c.keyPath(keyChangesFile), func(w io.Writer) error {
		_, err := io.WriteString(w, strings.Join(append(changes, string(statement)), betweenChanges))
		return err
	}); err != nil {
		return err
	}
	if err := c.writeKey(signer, verifier); err != nil {
		return err
	}
	return c.print(keyReport{verifier, dossier.Fingerprint(verifier), []string{string(statement)}}, func(w io.Writer) {
		fmt.Fprintf(w, "The registry signs with %s from now on; before, it was %s.\n\n%s\n", dossier.Fingerprint(verifier), dossier.Fingerprint(change.Old), statement)
		switch k.Because {
		case dossier.BecauseRotation:
			fmt.Fprintln(w, "Give this statement to those who hold the old key: \"asfound verify --key-change\" follows it.")
		default:
			fmt.Fprintln(w, "Nobody can follow this by signatures. Tell those who hold dossiers, by another way, what the new fingerprint is and when the old key went.")
		}
	})
}
