package demo

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"time"
)

// fleet holds the yards' replicas, each in its own process.
type fleet struct {
	exe, dir string
	net      network // nil: plain loopback, which is never cut
	mu       sync.Mutex
	by       map[string]*box
}

// box is one yard's machine.
type box struct {
	yard, dir    string
	listen, addr string // where it listens, and where others reach it
	cmd          *exec.Cmd
	up, gone     chan struct{}
}

func newFleet(exe, dir string) *fleet { return &fleet{exe: exe, dir: dir, by: map[string]*box{}} }

// add gives a yard a data directory and an address.
func (f *fleet) add(yard string) (*box, error) {
	b := &box{yard: yard, dir: filepath.Join(f.dir, yard)}
	var err error
	if f.net != nil {
		b.listen, b.addr, err = f.net.place(yard)
	} else {
		b.listen, err = freeAddr()
		b.addr = b.listen
	}
	if err != nil {
		return nil, err
	}
	f.mu.Lock()
	defer f.mu.Unlock()
	f.by[yard] = b
	return b, os.MkdirAll(f.dir, 0o700)
}

// freeAddr finds a port on loopback on which nobody listens. It takes a port below the
// range for outgoing connections. So the port is still free when a killed replica
// starts again.
func freeAddr() (string, error) {
	for range 200 {
		addr := fmt.Sprintf("127.0.0.1:%d", 20000+rand.IntN(12000))
		if l, err := net.Listen("tcp", addr); err == nil {
			return addr, l.Close()
		}
	}
	return "", errors.New("no free port found on 127.0.0.1 between 20000 and 32000")
}

// once runs the program with arguments and waits for its end.
func (f *fleet) once(ctx context.Context, args ...string) error {
	out, err := exec.CommandContext(ctx, f.exe, args...).CombinedOutput()
	if err != nil {
		return fmt.Errorf("yardhaspd %s: %w: %s", args[0], err, strings.TrimSpace(string(out)))
	}
	return nil
}

// start runs a yard's replica. It returns when the replica says that it is up.
func (f *fleet) start(ctx context.Context, b *box, args ...string) error {
	log, err := os.OpenFile(b.dir+".log", os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o600)
	if err != nil {
		return err
	}
	args = append(args, "--data", b.dir)
	cmd := exec.Command(f.exe, args...)
	if f.net != nil {
		cmd = f.net.command(b.yard, f.exe, args...)
	}
	cmd.SysProcAttr, cmd.Stderr = childAttr(), log
	said, err := cmd.StdoutPipe()
	if err == nil {
		err = cmd.Start()
	}
	if err != nil {
		return errors.Join(fmt.Errorf("start the replica of %s: %w", b.yard, err), log.Close())
	}
	if f.net != nil {
		f.net.runs(b.yard, cmd.Process.Pid)
	}
	up, gone := make(chan struct{}), make(chan struct{})
	f.mu.Lock()
	b.cmd, b.up, b.gone = cmd, up, gone
	f.mu.Unlock()
	go func() {
		defer close(gone)
		defer log.Close()
		lines := bufio.NewScanner(said)
		for first := true; lines.Scan(); {
			if first && strings.HasPrefix(lines.Text(), "yard "+b.yard+" is up on ") {
				close(up)
				first = false
			}
			fmt.Fprintln(log, lines.Text())
		}
		_, _ = io.Copy(log, said)
		_ = cmd.Wait()
	}()
	late := time.NewTimer(30 * time.Second)
	defer late.Stop()
	select {
	case <-up:
		return nil
	case <-gone:
		return fmt.Errorf("the replica of %s ended before it was up", b.yard)
	case <-late.C:
		return fmt.Errorf("the replica of %s is not up after 30 s", b.yard)
	case <-ctx.Done():
		return ctx.Err()
	}
}

// kill ends a replica at once, as a power cut would.
func (f *fleet) kill(yard string) error {
	b := f.by[yard]
	if err := b.cmd.Process.Kill(); err != nil {
		return fmt.Errorf("kill the replica of %s: %w", yard, err)
	}
	<-b.gone
	return nil
}

// end stops every replica. kindly lets each stop in its own time, for data that stays;
// otherwise they are killed.
func (f *fleet) end(kindly bool) error {
	f.mu.Lock()
	defer f.mu.Unlock()
	var errs []error
	for _, b := range f.by {
		if b.cmd == nil {
			continue
		}
		if kindly {
			_ = b.cmd.Process.Signal(os.Interrupt)
		} else {
			_ = b.cmd.Process.Kill()
		}
	}
	for _, b := range f.by {
		if b.cmd == nil {
			continue
		}
		late := time.NewTimer(10 * time.Second)
		select {
		case <-b.gone:
		case <-late.C:
			errs = append(errs, fmt.Errorf("the replica of %s did not stop and was killed", b.yard))
			_ = b.cmd.Process.Kill()
			<-b.gone
		}
		late.Stop()
	}
	if f.net != nil {
		errs = append(errs, f.net.close())
	}
	return errors.Join(errs...)
}

// complaints is the last part of what each replica logged.
func (f *fleet) complaints() string {
	f.mu.Lock()
	defer f.mu.Unlock()
	var out strings.Builder
	var yards []string
	for y := range f.by {
		yards = append(yards, y)
	}
	slices.Sort(yards)
	for _, y := range yards {
		raw, err := os.ReadFile(f.by[y].dir + ".log")
		if err != nil {
			continue
		}
		lines := strings.Split(strings.TrimSpace(string(raw)), "\n")
		for _, l := range lines[max(0, len(lines)-5):] {
			fmt.Fprintf(&out, "  %s: %s\n", y, l)
		}
	}
	return out.String()
}
