package demo

import (
	"fmt"
	"net"
	"os"
	"strings"
)

const tellsOwners = true

// owner is the yard whose process dialled a connection on loopback, "" for this
// process. It reads the sockets' tables of proc(5). It returns false when no process
// holds the connection any more.
func owner(c net.Conn, pids map[string]int) (yard string, ok bool) {
	there, isTCP := c.RemoteAddr().(*net.TCPAddr)
	here, _ := c.LocalAddr().(*net.TCPAddr)
	if !isTCP {
		return "", false
	}
	table, err := os.ReadFile("/proc/net/tcp")
	if err != nil {
		return "", false
	}
	from, to := fmt.Sprintf(":%04X", there.Port), fmt.Sprintf(":%04X", here.Port)
	socket := ""
	for line := range strings.Lines(string(table)) {
		f := strings.Fields(line) // sl, local, remote, state, queues, timer, retransmits, uid, timeout, inode
		if len(f) > 9 && strings.HasSuffix(f[1], from) && strings.HasSuffix(f[2], to) {
			socket = "socket:[" + f[9] + "]"
		}
	}
	if holds(os.Getpid(), socket) {
		return "", true
	}
	for y, pid := range pids {
		if holds(pid, socket) {
			return y, true
		}
	}
	return "", false
}

// holds reports whether a process has a socket open.
func holds(pid int, socket string) bool {
	dir := fmt.Sprintf("/proc/%d/fd", pid)
	files, err := os.ReadDir(dir)
	if err != nil {
		return false
	}
	for _, f := range files {
		if to, err := os.Readlink(dir + "/" + f.Name()); err == nil && to == socket {
			return true
		}
	}
	return false
}
