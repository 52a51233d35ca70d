// Asfound is an originality and preservation registry for historic motorcycles.
//
// It keeps, for someone who revives a largely unrestored machine, what was
// found before anything was touched, what is known of each component and how,
// what every candidate repair would change now and destroy for good, what the
// owner decided, what was done, and what was proved before the first ride; and
// it hands all of it back as a dossier that a stranger can check.
//
// Run "asfound demo" to see the whole job on an invented machine, and
// "asfound --help" for the commands.
package main

import (
	"context"
	"crypto/rand"
	"os"
	"os/signal"
	"syscall"
	"time"

	"example.org/asfound/cli"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	info, err := os.Stderr.Stat()
	status := cli.Run(ctx, os.Args[1:], cli.Env{Stdin: os.Stdin, Stdout: os.Stdout, Stderr: os.Stderr,
		Getenv: os.Getenv, Now: time.Now, Random: rand.Reader,
		Terminal: err == nil && info.Mode()&os.ModeCharDevice != 0})
	stop()
	os.Exit(status)
}
