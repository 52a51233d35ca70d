// Package clitest makes the binary of a test be asfound as well, so that a test
// can run the program as a process of its own, and the test cache still knows
// what the test depends on.
package clitest

import (
	"context"
	"crypto/rand"
	"os"
	"os/exec"
	"os/signal"
	"syscall"
	"time"

	"example.org/asfound/cli"
)

const asProgram = "ASFOUND_TEST_AS_PROGRAM"

// Main runs the command line and ends the process, when Command started it.
// Otherwise it does nothing. TestMain calls it first.
func Main(now func() time.Time) {
	if os.Getenv(asProgram) == "" {
		return
	}
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	status := cli.Run(ctx, os.Args[1:], cli.Env{Stdin: os.Stdin, Stdout: os.Stdout, Stderr: os.Stderr, Getenv: os.Getenv, Now: now, Random: rand.Reader})
	stop()
	os.Exit(status)
}

// Command is a command of asfound, by this test's own binary or, when that is
// not "", by another one. It is interrupted when the context ends.
func Command(ctx context.Context, binary string, args ...string) *exec.Cmd {
	if binary == "" {
		self, err := os.Executable()
		if err != nil {
			panic(err)
		}
		binary = self
	}
	c := exec.CommandContext(ctx, binary, args...)
	c.Env = append(os.Environ(), asProgram+"=1")
	c.Cancel = func() error { return c.Process.Signal(os.Interrupt) }
	c.WaitDelay = 10 * time.Second
	return c
}
