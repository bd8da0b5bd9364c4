//go:build root && linux

package replica_test

import (
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"google.golang.org/grpc/codes"

	servicev1 "yardhasp/proto/yardhasp/service/v1"
	"yardhasp/replica/store"
)

// A real disk, small for its kind, and the shipped limits: low at 256 MiB free, full
// at 64, a ballast of 32.
const diskMB = 400

// small mounts the disk, or returns false after saying that it can't here.
func small(t *testing.T) (dir string, ok bool) {
	t.Helper()
	dir = t.TempDir()
	err := syscall.Mount("tmpfs", dir, "tmpfs", 0, fmt.Sprintf("size=%dm", diskMB))
	if errors.Is(err, syscall.EPERM) && os.Getenv("CI_FULL") != "1" {
		fmt.Println("NOT RUN: a disk of its own is mounted by root only")
		return "", false
	}
	if err != nil {
		t.Fatalf("a disk of its own can't be mounted: %v", err)
	}
	t.Cleanup(func() {
		if err := syscall.Unmount(dir, 0); err != nil {
			t.Errorf("the disk stays mounted on %s: %v", dir, err)
		}
	})
	return dir, true
}

func (c *cluster) free(dir string) uint64 {
	c.t.Helper()
	n, err := store.FreeBytes(dir)
	if err != nil {
		c.t.Fatal(err)
	}
	return n
}

// fill writes real bytes into a file of somebody else's until so much is free.
func (c *cluster) fill(disk string, leave uint64) {
	c.t.Helper()
	f, err := os.OpenFile(filepath.Join(disk, "somebody-elses-file"), os.O_APPEND|os.O_CREATE|os.O_WRONLY, 0o600)
	if err != nil {
		c.t.Fatal(err)
	}
	defer f.Close()
	for free := c.free(disk); free > leave; free = c.free(disk) {
		if _, err := f.Write(make([]byte, min(free-leave, mb))); err != nil && !errors.Is(err, syscall.ENOSPC) {
			c.t.Fatal(err)
		}
	}
}

// TestFullDisk: a real disk fills up under a real process, by another's file. The yard
// on it stops accepting while there is still room, says so, and stays up even with not
// one byte free; stopped, it ends in order; started again it refuses in one sentence;
// once there is space it goes on by itself, and the others never stopped
// (decisions.md 28).
func TestFullDisk(t *testing.T) {
	disk, ok := small(t)
	if !ok {
		return
	}
	c := three(t, processes(t))
	c.twoPoints()
	c.end("millrow", 0)
	// The yard moves to the small disk, stopped, and the old directory is given up.
	data := filepath.Join(disk, "data")
	if err := errors.Join(os.CopyFS(data, os.DirFS(c.dirs["millrow"])), os.Chmod(filepath.Join(data, "replica.key"), 0o600)); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { c.kill("millrow") }) // before the disk is unmounted
	c.dirs["millrow"] = data
	c.run("millrow")
	at := func(word string) func() bool {
		return func() bool { return strings.Contains(c.ill("millrow"), word) }
	}
	lock := func(yard string) error {
		_, err := c.submitAt("ravi", yard, 20_000, lockOn(legOne, "", ""))
		return err
	}
	c.until("the ballast", func() bool { return ballast(t, data) })
	c.until("a lock there", func() bool { return lock("millrow") == nil })

	c.fill(disk, 120*mb)
	c.until("it says that the disk is low", at("DISK LOW"))
	if err := lock("millrow"); err != nil {
		t.Errorf("a lock on a low disk: %v", err)
	}
	c.fill(disk, 60*mb)
	c.until("it says that the disk is full", at("DISK FULL"))
	if left := c.free(disk); left < 60*mb {
		t.Errorf("only %d MB were left when it stopped", left/mb)
	}
	refused := func() {
		t.Helper()
		err := lock("millrow")
		c.wantErr(err, codes.Unavailable, "NOT_SERVING")
		if err == nil || !strings.Contains(err.Error(), "nothing is written here until 256 MB are free") {
			t.Errorf("the refusal: %v", err)
		}
	}
	refused()

	c.fill(disk, 0)
	size := c.holds("millrow")
	for range 20 {
		refused()
		if err := lock("eastfork"); err != nil {
			t.Fatalf("the others stopped too: %v", err)
		}
	}
	if n := c.holds("millrow"); n > size+1 { // one may have been under way
		t.Errorf("the full disk took %d entries", n-size)
	}
	// Elections ask for its vote, which is written.
	for _, y := range []string{"stonebend", "eastfork", "stonebend"} {
		c.kill(y)
		c.cutOff("millrow")
		c.run(y)
		c.until("the others go on", func() bool { return lock("eastfork") == nil })
		refused()
	}
	c.end("millrow", 0)
	for range 3 {
		out, err := exec.Command(c.bin, "--data", data).CombinedOutput()
		if err == nil || !strings.Contains(string(out), "free some space, then start again") || strings.Count(string(out), "\n") != 1 {
			t.Errorf("started with no space: %v\n%s", err, out)
		}
	}

	c.empty(disk)
	c.run("millrow")
	c.until("a lock there", func() bool { return lock("millrow") == nil })
	c.fill(disk, 60*mb)
	c.until("it says that the disk is full again", at("DISK FULL"))
	c.empty(disk)
	c.until("it is well by itself", func() bool { return !at("DISK")() && lock("millrow") == nil })
	c.same(c.size("stonebend"), "millrow", "stonebend", "eastfork")
	b, err := c.board("millrow", servicev1.Consistency_CONSISTENCY_CONFIRMED)
	if err != nil || len(b.GetHolds()) < 24 {
		t.Errorf("%d holds, %v", len(b.GetHolds()), err)
	}
	c.end("millrow", 0)
	fmt.Println("full disk: refused before the end, stayed up with no byte free, went on by itself")
}

// empty removes somebody else's file.
func (c *cluster) empty(disk string) {
	c.t.Helper()
	if err := os.Remove(filepath.Join(disk, "somebody-elses-file")); err != nil {
		c.t.Fatal(err)
	}
}

// end asks a yard's process to stop, and wants its exit code.
func (c *cluster) end(yard string, code int) {
	c.t.Helper()
	cmd := c.procs[yard]
	delete(c.procs, yard)
	if err := cmd.Process.Signal(syscall.SIGTERM); err != nil {
		c.t.Fatal(err)
	}
	if _ = cmd.Wait(); cmd.ProcessState.ExitCode() != code {
		c.t.Fatalf("%s ended with code %d, want %d", yard, cmd.ProcessState.ExitCode(), code)
	}
}
