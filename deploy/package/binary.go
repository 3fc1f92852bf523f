package main

import (
	"context"
	"fmt"
)

// targets are what Go calls Debian's architectures. For armhf it is version 6, so
// that one package serves all boards: a Pi 1 and a Pi Zero have no more, and
// Raspberry Pi OS calls its 32-bit system for them armhf as well. What version 7
// would win was not measured; the agent mostly waits.
var targets = map[string][]string{
	"arm64": {"GOARCH=arm64", "GOARM64=v8.0"},
	"armhf": {"GOARCH=arm", "GOARM=6"},
	"amd64": {"GOARCH=amd64", "GOAMD64=v1"},
}

// buildEnv has everything set that changes what comes out, whatever the
// environment of who builds has.
func buildEnv(arch string) []string {
	return append([]string{"CGO_ENABLED=0", "GOOS=linux", "GOFLAGS=-mod=readonly", "GOWORK=off", "GOEXPERIMENT=", "GODEBUG="}, targets[arch]...)
}

// build compiles the agent into the file out.
func build(ctx context.Context, root, version, arch, out string) error {
	_, err := output(ctx, root, buildEnv(arch), "go", "build", "-trimpath", "-buildvcs=false",
		"-ldflags", "-s -w -buildid= -X main.version="+version, "-o", out, "./agent")
	if err != nil {
		return fmt.Errorf("build the agent: %w", err)
	}
	return nil
}
