package demo

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"os/exec"
	"sync"
)

// wires is a network on loopback. The registered address of each yard is a door in
// this process. The door carries connections on to the yard's real port while the
// links on the way are up. A person at a yard dials its real port.
type wires struct {
	*links
	mu    sync.Mutex
	doors []*door
	pids  map[string]int
	conns map[*gated]bool
	shut  bool
	wg    sync.WaitGroup
}

type door struct {
	net.Listener
	yard, real string
}

// newWires fails on a system where owner can't tell the process behind a connection.
func newWires() (network, error) {
	if !tellsOwners {
		return nil, errors.New("this scenario cuts links on Linux only: the default one runs here too")
	}
	return &wires{links: newLinks(), pids: map[string]int{}, conns: map[*gated]bool{}}, nil
}

func (w *wires) place(yard string) (listen, address string, err error) {
	if listen, err = freeAddr(); err != nil {
		return "", "", err
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return "", "", fmt.Errorf("the door of %s: %w", yard, err)
	}
	d := &door{Listener: l, yard: yard, real: listen}
	w.mu.Lock()
	w.doors = append(w.doors, d)
	w.mu.Unlock()
	w.wg.Go(func() { w.serve(d) })
	return listen, l.Addr().String(), nil
}

func (w *wires) command(_, exe string, args ...string) *exec.Cmd { return exec.Command(exe, args...) }

func (w *wires) runs(yard string, pid int) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.pids[yard] = pid
}

func (w *wires) cut(yard string) error  { w.set(yard, true); return nil }
func (w *wires) mend(yard string) error { w.set(yard, false); return nil }

// dial connects a person straight to the real port, through the same gate that a
// replica's connection passes at the door.
func (w *wires) dial(ctx context.Context, yard, address string) (net.Conn, error) {
	w.mu.Lock()
	var to *door
	for _, d := range w.doors {
		if d.Addr().String() == address {
			to = d
		}
	}
	w.mu.Unlock()
	if to == nil {
		return nil, fmt.Errorf("no yard has the address %s", address)
	}
	if !w.pass(yard, to.yard, ctx.Done()) {
		return nil, fmt.Errorf("the link to %s carries nothing: %w", to.yard, ctx.Err())
	}
	c, err := new(net.Dialer).DialContext(ctx, "tcp", to.real)
	if err != nil {
		return nil, err
	}
	return gate(c, w.links, yard, to.yard), nil
}

// serve carries each connection that comes to a door.
func (w *wires) serve(d *door) {
	for {
		c, err := d.Accept()
		if err != nil {
			return
		}
		w.mu.Lock()
		pids := make(map[string]int, len(w.pids))
		for y, p := range w.pids {
			pids[y] = p
		}
		w.mu.Unlock()
		from, ok := owner(c, pids)
		if !ok {
			c.Close() // the caller is gone
			continue
		}
		w.wg.Go(func() { w.carry(c, from, d) })
	}
}

// carry copies in both directions until one end closes. The other end learns of it
// only while the link is up.
func (w *wires) carry(in net.Conn, from string, d *door) {
	g := gate(in, w.links, from, d.yard)
	defer g.Close()
	if !w.keep(g) || !w.pass(from, d.yard, g.quit) {
		return
	}
	defer w.drop(g)
	out, err := net.Dial("tcp", d.real)
	if err != nil {
		return // the machine is off
	}
	defer out.Close()
	done := make(chan struct{})
	go func() {
		defer close(done)
		_, _ = io.Copy(out, g) // data passes only while the link is up
		g.Close()
	}()
	h := gate(out, w.links, from, d.yard)
	stop := context.AfterFunc(quits(g), func() { h.Close() })
	_, _ = io.Copy(g, h)
	g.Close()
	h.Close()
	stop()
	<-done
}

// quits is a context that ends when the connection closes.
func quits(g *gated) context.Context {
	ctx, cancel := context.WithCancel(context.Background())
	go func() { <-g.quit; cancel() }()
	return ctx
}

func (w *wires) keep(g *gated) bool {
	w.mu.Lock()
	defer w.mu.Unlock()
	if !w.shut {
		w.conns[g] = true
	}
	return !w.shut
}

func (w *wires) drop(g *gated) {
	w.mu.Lock()
	defer w.mu.Unlock()
	delete(w.conns, g)
}

// close ends every door and every connection.
func (w *wires) close() error {
	w.mu.Lock()
	w.shut = true
	var errs []error
	for _, d := range w.doors {
		errs = append(errs, d.Close())
	}
	for g := range w.conns {
		g.Close()
	}
	w.mu.Unlock()
	w.wg.Wait()
	return errors.Join(errs...)
}
