package demo

import "syscall"

// childAttr makes a replica die with the demo, however the demo ends, and keeps
// a Ctrl-C at the terminal from reaching it before the demo.
func childAttr() *syscall.SysProcAttr {
	return &syscall.SysProcAttr{Setpgid: true, Pdeathsig: syscall.SIGKILL}
}
