package certs

import (
	"crypto/ecdsa"
	"crypto/x509"
	"encoding/pem"
	"errors"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"time"

	"example.org/asfound/registry"
)

// The files of an authority, in PEM. The root has no key: see Authority.
const (
	rootFile   = "root.crt"
	issuerFile = "issuer.crt"
	keyFile    = "issuer.key"
)

// Open reads the authority in a folder, or makes one for the names when there
// is no such folder. Codes: CodeTampered when a file is damaged, missing or
// open to others, CodeExpired when the authority has ended. A damaged authority
// is never replaced, because every phone would have to trust the new one.
func Open(folder string, names Names, now func() time.Time, random io.Reader) (*Authority, error) {
	_, err := os.Stat(folder)
	if errors.Is(err, fs.ErrNotExist) {
		a, err := makeAuthority(names, now, random)
		if err != nil {
			return nil, err
		}
		return a, a.write(folder)
	}
	if err != nil {
		return nil, err
	}
	a := &Authority{now: now, random: random}
	if err := a.read(folder); err != nil {
		return nil, err
	}
	return a, a.goodAt(now())
}

// write lays the files down in a folder that appears whole or not at all.
func (a *Authority) write(folder string) error {
	key, err := x509.MarshalPKCS8PrivateKey(a.key)
	if err != nil {
		return err
	}
	part, err := os.MkdirTemp(filepath.Dir(folder), filepath.Base(folder)+".part-") // mode 0700
	if err != nil {
		return err
	}
	err = errors.Join(writePEM(filepath.Join(part, rootFile), "CERTIFICATE", a.root.Raw),
		writePEM(filepath.Join(part, issuerFile), "CERTIFICATE", a.issuer.Raw),
		writePEM(filepath.Join(part, keyFile), "PRIVATE KEY", key))
	if err == nil {
		err = os.Rename(part, folder)
	}
	if err != nil {
		return errors.Join(err, os.RemoveAll(part))
	}
	return nil
}

func writePEM(name, kind string, der []byte) error {
	f, err := os.OpenFile(name, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return err
	}
	return errors.Join(pem.Encode(f, &pem.Block{Type: kind, Bytes: der}), f.Sync(), f.Close())
}

// read loads the files and holds them against each other.
func (a *Authority) read(folder string) (err error) {
	if err := ownersAlone(folder, filepath.Join(folder, keyFile)); err != nil {
		return err
	}
	if a.root, err = readCertificate(folder, rootFile); err != nil {
		return err
	}
	if a.issuer, err = readCertificate(folder, issuerFile); err != nil {
		return err
	}
	der, err := readPEM(folder, keyFile, "PRIVATE KEY")
	if err != nil {
		return err
	}
	key, err := x509.ParsePKCS8PrivateKey(der)
	if err != nil {
		return damaged(folder, keyFile)
	}
	var ok bool
	if a.key, ok = key.(*ecdsa.PrivateKey); !ok || !a.key.PublicKey.Equal(a.issuer.PublicKey) {
		return damaged(folder, keyFile)
	}
	if !a.issuer.IsCA || a.issuer.CheckSignatureFrom(a.root) != nil {
		return damaged(folder, issuerFile)
	}
	if a.root.CheckSignatureFrom(a.root) != nil {
		return damaged(folder, rootFile)
	}
	return nil
}

func readCertificate(folder, name string) (*x509.Certificate, error) {
	der, err := readPEM(folder, name, "CERTIFICATE")
	if err != nil {
		return nil, err
	}
	c, err := x509.ParseCertificate(der)
	if err != nil {
		return nil, damaged(folder, name)
	}
	return c, nil
}

func readPEM(folder, name, kind string) ([]byte, error) {
	text, err := os.ReadFile(filepath.Join(folder, name))
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, err
	}
	block, _ := pem.Decode(text)
	if block == nil || block.Type != kind {
		return nil, damaged(folder, name)
	}
	return block.Bytes, nil
}

func damaged(folder, name string) error {
	return registry.Refuse(registry.CodeTampered, "Bring the folder back from a backup; or move it away, and the next start makes a new authority, which every phone must install.",
		"%s in %s is damaged or missing, and no other authority is made in its place unasked", name, folder)
}

// ownersAlone refuses a key that other users of the machine can read.
func ownersAlone(folder, key string) error {
	if runtime.GOOS == "windows" { // whose rights a mode does not tell
		return nil
	}
	for _, name := range []string{folder, key} {
		info, err := os.Stat(name)
		if err == nil && info.Mode().Perm()&0o077 != 0 {
			return registry.Refuse(registry.CodeTampered, "If nobody else has used this machine, take the rights away with \"chmod go= "+name+"\"; otherwise move the folder away, and the next start makes a new authority.",
				"Other users of this machine can open %s, whose key must be the owner's alone", name)
		}
	}
	return nil
}
