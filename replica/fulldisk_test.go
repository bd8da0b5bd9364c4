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

	"yardhasp/client"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
	"yardhasp/replica"
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
	c.moveMillrow(filepath.Join(disk, "data"))
	c.until("the ballast", func() bool { return ballast(t, c.dirs["millrow"]) })
	c.until("a lock there", func() bool { return c.lockAt("millrow") == nil })
	c.stopsInTime(disk)
	c.refusedForSpace()
	c.staysUp(disk)
	c.startsWithNoSpace()

	c.empty(disk)
	c.run("millrow")
	c.until("a lock there", func() bool { return c.lockAt("millrow") == nil })
	c.fill(disk, 60*mb)
	c.until("it says that the disk is full again", c.saysOf(string(replica.DiskFull)))
	c.empty(disk)
	c.until("it is well by itself", func() bool { return !c.saysOf("DISK_")() && c.lockAt("millrow") == nil })
	c.same(c.size("stonebend"), "millrow", "stonebend", "eastfork")
	b, err := c.board("millrow", servicev1.Consistency_CONSISTENCY_CONFIRMED)
	if err != nil || len(b.GetHolds()) < 24 {
		t.Errorf("%d holds, %v", len(b.GetHolds()), err)
	}
	c.end("millrow", 0)
	fmt.Println("full disk: refused before the end, stayed up with no byte free, went on by itself")
}

// moveMillrow moves the yard, stopped, to another directory, and gives up the old one.
func (c *cluster) moveMillrow(data string) {
	c.t.Helper()
	c.end("millrow", 0)
	if err := errors.Join(os.CopyFS(data, os.DirFS(c.dirs["millrow"])), os.Chmod(filepath.Join(data, "replica.key"), 0o600)); err != nil {
		c.t.Fatal(err)
	}
	c.t.Cleanup(func() { c.kill("millrow") }) // before the disk is unmounted
	c.dirs["millrow"] = data
	c.run("millrow")
}

func (c *cluster) lockAt(yard string) error {
	_, err := c.submitAt("ravi", yard, 20_000, lockOn(legOne, "", ""))
	return err
}

// saysOf asks whether millrow's health has the word.
func (c *cluster) saysOf(word string) func() bool {
	return func() bool { return strings.Contains(c.ill("millrow"), word) }
}

// stopsInTime: a low disk still takes locks, and the yard stops while there is room.
func (c *cluster) stopsInTime(disk string) {
	c.t.Helper()
	c.fill(disk, 120*mb)
	c.until("it says that the disk is low", c.saysOf(string(replica.DiskShort)))
	if err := c.lockAt("millrow"); err != nil {
		c.t.Errorf("a lock on a low disk: %v", err)
	}
	c.fill(disk, 60*mb)
	c.until("it says that the disk is full", c.saysOf(string(replica.DiskFull)))
	if left := c.free(disk); left < 60*mb {
		c.t.Errorf("only %d MB were left when it stopped", left/mb)
	}
}

func (c *cluster) refusedForSpace() {
	c.t.Helper()
	err := c.lockAt("millrow")
	c.wantErr(err, codes.Unavailable, client.ReasonNotServing)
	if err == nil || !strings.Contains(err.Error(), string(replica.DiskFull)) {
		c.t.Errorf("the refusal: %v", err)
	}
}

// staysUp: with not one byte free the yard refuses, takes nothing and lives on, though
// elections ask for its vote, which is written. The others go on.
func (c *cluster) staysUp(disk string) {
	c.t.Helper()
	c.fill(disk, 0)
	size := c.holds("millrow")
	for range 20 {
		c.refusedForSpace()
		if err := c.lockAt("eastfork"); err != nil {
			c.t.Fatalf("the others stopped too: %v", err)
		}
	}
	if n := c.holds("millrow"); n > size+1 { // one may have been under way
		c.t.Errorf("the full disk took %d entries", n-size)
	}
	for _, y := range []string{"stonebend", "eastfork", "stonebend"} {
		c.kill(y)
		c.cutOff("millrow")
		c.run(y)
		c.until("the others go on", func() bool { return c.lockAt("eastfork") == nil })
		c.refusedForSpace()
	}
}

// startsWithNoSpace: it ends in order, and a start refuses in one sentence.
func (c *cluster) startsWithNoSpace() {
	c.t.Helper()
	c.end("millrow", 0)
	for range 3 {
		out, err := exec.Command(c.bin, "--data", c.dirs["millrow"]).CombinedOutput()
		if err == nil || !strings.Contains(string(out), "free some space, then start again") || strings.Count(string(out), "\n") != 1 {
			c.t.Errorf("started with no space: %v\n%s", err, out)
		}
	}
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
