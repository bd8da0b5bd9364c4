//go:build netns && linux

package demo

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"net"
	"os"
	"os/exec"
	"runtime"
	"slices"
	"strings"
	"syscall"
	"testing"

	"yardhasp/client/words"
	"yardhasp/ledger"
	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
)

// spaces is a network of real links: each yard has a network namespace, joined
// by a veth pair to a bridge in a namespace of its own. The addresses are of
// RFC 5737's 198.51.100.0/24, and exist only there.
type spaces struct {
	tag   string
	hosts map[string]int // by yard: the last byte of its address
}

const spacePort = 7443

func newSpaces() (network, error) {
	n := &spaces{tag: fmt.Sprintf("yh%06x", rand.IntN(1<<24)), hosts: map[string]int{}}
	err := n.ip("netns", "add", n.hub())
	for _, args := range []string{"link add bridge0 type bridge", "link set bridge0 up"} {
		err = errors.Join(err, n.in(n.hub(), args))
	}
	if err != nil {
		return nil, errors.Join(err, n.close())
	}
	return n, nil
}

func (n *spaces) hub() string              { return n.tag + "-hub" }
func (n *spaces) space(yard string) string { return n.tag + "-" + yard }
func (n *spaces) plug(yard string) string  { return "to-" + yard }

// ip runs one command of iproute2.
func (n *spaces) ip(args ...string) error {
	if out, err := exec.Command("ip", args...).CombinedOutput(); err != nil {
		return fmt.Errorf("ip %s: %w: %s", strings.Join(args, " "), err, bytes.TrimSpace(out))
	}
	return nil
}

func (n *spaces) in(space, args string) error {
	return n.ip(append([]string{"-n", space}, strings.Fields(args)...)...)
}

func (n *spaces) host(yard string) string { return fmt.Sprintf("198.51.100.%d", n.hosts[yard]) }

func (n *spaces) place(yard string) (listen, address string, err error) {
	n.hosts[yard] = 11 + len(n.hosts)
	err = n.ip("netns", "add", n.space(yard))
	for _, step := range []struct{ space, args string }{
		{n.hub(), "link add " + n.plug(yard) + " type veth peer name wan netns " + n.space(yard)},
		{n.hub(), "link set " + n.plug(yard) + " master bridge0"},
		{n.hub(), "link set " + n.plug(yard) + " up"},
		{n.space(yard), "link set lo up"},
		{n.space(yard), "addr add " + n.host(yard) + "/24 dev wan"},
		{n.space(yard), "link set wan up"},
	} {
		if err == nil {
			err = n.in(step.space, step.args)
		}
	}
	address = fmt.Sprintf("%s:%d", n.host(yard), spacePort)
	return address, address, err
}

func (n *spaces) command(yard, exe string, args ...string) *exec.Cmd {
	return exec.Command("ip", append([]string{"netns", "exec", n.space(yard), exe}, args...)...)
}

func (n *spaces) runs(string, int) {}

// dial connects from within a yard's namespace: a socket stays in the one that
// its thread was in when it was made.
func (n *spaces) dial(ctx context.Context, yard, address string) (net.Conn, error) {
	var c net.Conn
	err := n.within(yard, func() (err error) {
		c, err = new(net.Dialer).DialContext(ctx, "tcp4", address)
		return err
	})
	return c, err
}

// setns is the number of the system call: package syscall lacks it.
var setns = map[string]uintptr{"amd64": 308, "arm64": 268}

// within runs fn in a yard's namespace. The thread goes back afterwards and must
// not end: the replicas that it started would end with it (childAttr).
func (n *spaces) within(yard string, fn func() error) error {
	number, ok := setns[runtime.GOARCH]
	if !ok {
		return fmt.Errorf("the number of setns on %s is not known here", runtime.GOARCH)
	}
	runtime.LockOSThread()
	own, err := os.Open("/proc/thread-self/ns/net")
	if err != nil {
		runtime.UnlockOSThread()
		return err
	}
	defer own.Close()
	there, err := os.Open("/run/netns/" + n.space(yard))
	if err != nil {
		runtime.UnlockOSThread()
		return err
	}
	defer there.Close()
	enter := func(f *os.File) error {
		if _, _, no := syscall.Syscall(number, f.Fd(), syscall.CLONE_NEWNET, 0); no != 0 {
			return fmt.Errorf("enter %s: %w", f.Name(), no)
		}
		return nil
	}
	err = enter(there)
	if err == nil {
		err = fn()
		if back := enter(own); back != nil {
			return errors.Join(err, back) // the thread stays locked: nothing else may run on it
		}
	}
	runtime.UnlockOSThread()
	return err
}

func (n *spaces) cut(yard string) error  { return n.in(n.hub(), "link set "+n.plug(yard)+" down") }
func (n *spaces) mend(yard string) error { return n.in(n.hub(), "link set "+n.plug(yard)+" up") }

// deafen drops what a yard sends to the others, and lets through what they send:
// a link that works one way. listen ends it.
func (n *spaces) deafen(yard string) error { return n.oneWay(yard, "add") }
func (n *spaces) listen(yard string) error { return n.oneWay(yard, "del") }

func (n *spaces) oneWay(yard, what string) error {
	var errs []error
	for other := range n.hosts {
		if other != yard {
			errs = append(errs, n.in(n.space(yard), "route "+what+" blackhole "+n.host(other)+"/32"))
		}
	}
	return errors.Join(errs...)
}

// close removes every namespace, and with it every link and address.
func (n *spaces) close() error {
	errs := []error{n.ip("netns", "del", n.hub())}
	for yard := range n.hosts {
		errs = append(errs, n.ip("netns", "del", n.space(yard)))
	}
	return errors.Join(errs...)
}

// spaced returns the link-down scenario on real links, or false after saying
// that it can't run here (decisions on CI: NOT RUN, and a failure only when
// CI_FULL=1 asks for it).
func spaced(t *testing.T) (scenario, bool) {
	t.Helper()
	why := ""
	if _, err := exec.LookPath("ip"); err != nil {
		why = "ip (iproute2) is missing"
	} else if os.Geteuid() != 0 {
		why = "network namespaces need root"
	} else if n := (&spaces{tag: "yh-try"}); n.ip("netns", "add", n.hub()) != nil {
		why = "no network namespace can be made here"
	} else if err := n.close(); err != nil {
		t.Fatal(err)
	}
	if why != "" && os.Getenv("CI_FULL") == "1" {
		t.Fatalf("%s, and CI_FULL asks for it", why)
	}
	if why != "" {
		fmt.Println("NOT RUN:", why)
	}
	sc := named(t, "link-down")
	sc.network = newSpaces
	return sc, why == ""
}

// noneLeft checks that no namespace of this test is left.
func noneLeft(t *testing.T, n *spaces) {
	t.Helper()
	out, err := exec.Command("ip", "netns", "list").Output()
	if err != nil || strings.Contains(string(out), n.tag) {
		t.Errorf("namespaces left: %s %v", out, err)
	}
}

// TestNetnsLinkDown plays the whole scenario, each of its checks included, over
// links that are really cut: three replicas as processes in three network
// namespaces.
func TestNetnsLinkDown(t *testing.T) {
	sc, ok := spaced(t)
	if !ok {
		return
	}
	t.Setenv("TMPDIR", t.TempDir())
	var made *spaces
	sc.network = func() (network, error) {
		n, err := newSpaces()
		made, _ = n.(*spaces)
		return n, err
	}
	page := &bytes.Buffer{}
	if err := run(t.Context(), page, sc, false, program); err != nil {
		t.Fatalf("%v\n%s", err, page)
	}
	downPage(t, page.String())
	noneLeft(t, made)
	fmt.Println("netns: a link really cut: the lock bound at once, the start involving that yard waited, the other went on")
}

// TestNetnsOneWay: a yard that hears the others, and that nobody hears, promises
// by itself and counts as not heard; a start that involves it waits.
func TestNetnsOneWay(t *testing.T) {
	sc, ok := spaced(t)
	if !ok {
		return
	}
	t.Setenv("TMPDIR", t.TempDir())
	var made *spaces
	sc.network = func() (network, error) {
		n, err := newSpaces()
		made, _ = n.(*spaces)
		return n, err
	}
	sc.chapters = []func(*story){twoJobs, goesDeaf, oneWayLock, startAsked, otherJob, heardAgain}
	page := &bytes.Buffer{}
	if err := run(t.Context(), page, sc, false, program); err != nil {
		t.Fatalf("%v\n%s", err, page)
	}
	order(t, page.String(), []string{
		`yards not heard from: millrow \(since `,
		`locked millrow/bridge/transfer-pan +no entry +HELD LOCALLY`,
		`start-1 is AWAITING; confirmed by stonebend; not yet by millrow`,
		`start-lift approved`,
		`start-1 is void: tomas locked millrow/bridge/transfer-pan`,
	})
	noneLeft(t, made)
	fmt.Println("netns: a link that works one way: the same")
}

func goesDeaf(s *story) {
	if s.err != nil || !s.must(s.fleet.net.(*spaces).deafen(cutYard), "drop what "+cutYard+" sends") {
		return
	}
	var b *recordv1.Board
	s.until("a confirmed board without "+cutYard, func() (ok bool) {
		var err error
		b, err = s.board(s.who["mara"], servicev1.Consistency_CONSISTENCY_CONFIRMED)
		return err == nil && unheard(b.GetAsOf(), cutYard)
	})
	s.until(cutYard+" says that it is cut off", func() (ok bool) {
		alone, err := s.board(s.eyes[cutYard], servicev1.Consistency_CONSISTENCY_UNSPECIFIED)
		return err == nil && !alone.GetAsOf().GetConfirmed()
	})
	if s.err == nil {
		s.page.asOf(b.GetAsOf())
		s.sinceWhen(b.GetAsOf())
	}
}

func oneWayLock(s *story) { s.tomasLocks(ownPoint) }

func heardAgain(s *story) {
	if s.err != nil {
		return
	}
	from := s.size()
	s.must(s.fleet.net.(*spaces).listen(cutYard), "let "+cutYard+" be heard again")
	o := s.entryOf("the lock", from, func(o *recordv1.Outcome) bool { return o.GetRef() == s.locks[0].ref && o.GetAccepted() })
	s.expect(slices.ContainsFunc(o.GetDid(), func(f *recordv1.Finding) bool {
		return code.Is(f, ledger.RequestVoid) && slices.Contains(code.Names(f, "request"), "start-1")
	}), "the lock does %v", o.GetDid())
	for _, c := range words.English.Changes(o) {
		s.page.say("| %s", c)
	}
	s.sameRoot(cutYard)
}
