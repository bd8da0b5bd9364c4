package demo

import "syscall"

// childAttr makes a replica end with the demo, however the demo ends. It also keeps a
// Ctrl-C at the terminal from reaching the replica before the demo.
func childAttr() *syscall.SysProcAttr {
	return &syscall.SysProcAttr{Setpgid: true, Pdeathsig: syscall.SIGKILL}
}
