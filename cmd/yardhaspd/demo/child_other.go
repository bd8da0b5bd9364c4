//go:build !linux

package demo

import "syscall"

// childAttr asks for nothing: here the demo itself ends its replicas.
func childAttr() *syscall.SysProcAttr { return nil }
