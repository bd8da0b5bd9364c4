//go:build !linux

package demo

import "syscall"

// childAttr asks for nothing special: the demo ends its replicas itself.
func childAttr() *syscall.SysProcAttr { return nil }
