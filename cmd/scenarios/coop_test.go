package scenarios

import (
	"bytes"
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"net"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"yardhasp/client"
	"yardhasp/client/keys"
	"yardhasp/cmd/yardhasp/cli"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	"yardhasp/replica"
)

// coop is three yards and the people of the cast, in one process.
type coop struct {
	dir   string
	clock *clock
	wires *wires
	up    []*replica.Replica
}

// clock is the wall clock, moved on by a story.
type clock struct {
	mu   sync.Mutex
	plus time.Duration
}

func (c *clock) now() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	return time.Now().Add(c.plus)
}

func (c *clock) later(d time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.plus += d
}

// member is one of the cast: inventions of ours.
type member struct {
	id, yard, employer string
	args               []string
}

const grainCoop = "Three Forks Grain Co-op"

var cast = []member{
	{"ines", "eastfork", "", []string{"--role", "manager"}},
	{"mara", "stonebend", "", []string{"--role", "supervisor", "--role", "authorised"}},
	{"ravi", "stonebend", "", []string{"--role", "authorised", "--qualified"}},
	{"tomas", "millrow", "", []string{"--role", "authorised"}},
	{"wren", "stonebend", "", []string{"--role", "authorised"}},
	{"dov", "stonebend", "", []string{"--role", "affected"}},
	{"lena", "millrow", "Harrow Millwrights", []string{"--role", "contractor", "--qualified"}},
}

var yards = []string{"stonebend", "millrow", "eastfork"}

// yardOf is where somebody stands; nia, the first manager, at stonebend.
func yardOf(person string) string {
	for _, m := range cast {
		if m.id == person {
			return m.yard
		}
	}
	return "stonebend"
}

func (c *coop) profile(person string) string {
	return filepath.Join(c.dir, "people", person, "profile.yaml")
}

// begin founds the ledger and lets every yard and everybody in, as a co-op would.
func (c *coop) begin() error {
	listen := map[string]net.Listener{}
	for _, y := range yards {
		l, err := net.Listen("tcp", "127.0.0.1:0")
		if err != nil {
			return err
		}
		listen[y] = l
		c.wires.place(y, l.Addr().String())
	}
	key, err := keys.Generate(rand.Reader)
	if err != nil {
		return err
	}
	at := func(y string) string { return filepath.Join(c.dir, "yards", y) }
	address := listen["stonebend"].Addr().String()
	id, err := replica.Found(replica.Founding{Dir: at("stonebend"), Coop: grainCoop, Yard: "stonebend", YardName: "Stonebend", Listen: address, Address: address, Timers: "lan",
		Manager: &recordv1.Person{Id: "nia", Name: "Nia", Roles: []recordv1.Role{recordv1.Role_ROLE_MANAGER, recordv1.Role_ROLE_SUPERVISOR}}, ManagerKey: key}, c.clock.now())
	if err != nil {
		return err
	}
	public, err := replica.PublicKey(at("stonebend"))
	if err != nil {
		return err
	}
	if err := c.open(at("stonebend"), "stonebend", listen["stonebend"]); err != nil {
		return err
	}
	p := &client.Profile{Ledger: id, Coop: grainCoop, Person: "nia", Key: "nia.key", Yard: "stonebend", Device: "desk",
		Yards: []client.Yard{{ID: "stonebend", Name: "Stonebend", Address: address, Key: public}}}
	if err := errors.Join(p.Save(c.profile("nia")), keys.Write(filepath.Join(filepath.Dir(c.profile("nia")), "nia.key"), key, "")); err != nil {
		return err
	}
	if err := c.until("nia", func(out string) bool { return strings.Contains(out, "One yard") }, "status"); err != nil {
		return err
	}
	for _, y := range yards[1:] {
		token, err := c.token("invite", "yard", y, "--name", y)
		if err != nil {
			return err
		}
		ctx, cancel := context.WithTimeout(context.Background(), 30*time.Second)
		_, err = replica.Join(ctx, replica.Joining{Dir: at(y), Listen: listen[y].Addr().String(), Address: listen[y].Addr().String(), Timers: "lan", Token: token})
		cancel()
		if err != nil {
			return fmt.Errorf("%s joins: %w", y, err)
		}
		if err := c.open(at(y), y, listen[y]); err != nil {
			return err
		}
	}
	if err := c.until("nia", func(out string) bool { return strings.Contains(out, "3 of 3 voters") }, "status", "--update-profile"); err != nil {
		return err
	}
	for _, m := range cast {
		if err := c.enrol(m); err != nil {
			return err
		}
	}
	return nil
}

func (c *coop) enrol(m member) error {
	name := strings.ToUpper(m.id[:1]) + m.id[1:]
	a := append([]string{"invite", "person", m.id, "--name", name, "--trained-until", c.clock.now().AddDate(1, 0, 0).Format(time.DateOnly)}, m.args...)
	if m.employer != "" {
		a = append(a, "--employer", m.employer)
	}
	token, err := c.token(a...)
	if err != nil {
		return err
	}
	if code, out := c.run(m.id, "join", token, "--no-passphrase", "--device", m.id+"-phone"); code != 0 {
		return fmt.Errorf("%s joins: exit %d: %s", m.id, code, out)
	}
	p, err := client.LoadProfile(c.profile(m.id))
	if err != nil {
		return err
	}
	p.Yard = m.yard
	return p.Save(c.profile(m.id))
}

// token is what an invitation prints.
func (c *coop) token(args ...string) (string, error) {
	code, out := c.run("nia", args...)
	for _, f := range strings.Fields(out) {
		if code == 0 && strings.HasPrefix(f, "yardhasp-invitation-") {
			return f, nil
		}
	}
	return "", fmt.Errorf("nia: %v: exit %d: %s", args, code, out)
}

func (c *coop) open(dir, yard string, l net.Listener) error {
	r, err := replica.Open(replica.Config{Dir: dir, Listener: l, Now: c.clock.now, Dial: func(ctx context.Context, to, address string) (net.Conn, error) {
		return c.wires.dial(ctx, yard, address)
	}})
	if err == nil {
		c.up = append(c.up, r)
	}
	return err
}

// run has somebody type a command, and gives its exit code and all it printed.
func (c *coop) run(person string, args ...string) (code int, out string) {
	code, stdout, stderr := c.typed(person, args...)
	return code, stdout + stderr
}

func (c *coop) typed(person string, args ...string) (code int, stdout, stderr string) {
	var o, e bytes.Buffer
	a := &cli.App{In: strings.NewReader(""), Out: &o, Err: &e, Now: c.clock.now, Env: func(string) string { return "" }, State: filepath.Join(c.dir, "people", person, "state"),
		Dial: func(ctx context.Context, address string) (net.Conn, error) {
			return c.wires.dial(ctx, yardOf(person), address)
		}}
	code = a.Run(context.Background(), append([]string{"--profile", c.profile(person)}, args...))
	return code, o.String(), e.String()
}

// until types a command until its output is as wanted; each try waits for answers,
// so nothing spins for long.
func (c *coop) until(person string, ok func(string) bool, args ...string) error {
	out := ""
	for end := time.Now().Add(30 * time.Second); time.Now().Before(end); {
		if _, out = c.run(person, args...); ok(out) {
			return nil
		}
	}
	return fmt.Errorf("%s: %v: not within 30 s; last:\n%s", person, args, out)
}

func (c *coop) end() {
	var wg sync.WaitGroup
	for _, r := range c.up {
		wg.Go(func() { _ = r.Close() })
	}
	wg.Wait()
}
