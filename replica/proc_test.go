package replica_test

import (
	"bytes"
	"context"
	"os"
	"os/exec"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"google.golang.org/grpc/health/grpc_health_v1"
)

// built is the directory of the program under test, once a test asked for it.
var built string

var build = sync.OnceValues(func() (string, error) {
	dir, err := os.MkdirTemp("", "yardhaspd-test-")
	if err != nil {
		return "", err
	}
	built = dir
	bin := filepath.Join(dir, "yardhaspd")
	cmd := exec.Command("go", "build", "-o", bin, "yardhasp/cmd/yardhaspd")
	cmd.Stderr = os.Stderr
	return bin, cmd.Run()
})

func TestMain(m *testing.M) {
	code := m.Run()
	if built != "" {
		os.RemoveAll(built)
	}
	os.Exit(code)
}

// processes makes each replica a process of its own.
func processes(t testing.TB) func(*cluster) {
	bin, err := build()
	if err != nil {
		t.Fatalf("yardhaspd can't be built: %v", err)
	}
	return func(c *cluster) { c.bin = bin }
}

// run starts a yard's process and waits until it answers.
func (c *cluster) run(yard string) {
	c.t.Helper()
	cmd := exec.Command(c.bin, "--data", c.dirs[yard])
	said := &bytes.Buffer{} // read only once the process has ended
	cmd.Stderr = said
	if os.Getenv("YARDHASP_TEST_LOG") != "" {
		cmd.Args, cmd.Stderr = append(cmd.Args, "--verbose"), os.Stderr
	}
	c.said = append(c.said, saying{yard, said})
	if err := cmd.Start(); err != nil {
		c.t.Fatal(err)
	}
	c.procs[yard] = cmd
	h := grpc_health_v1.NewHealthClient(c.dial(testKey("stranger"), yard))
	c.until(yard+" answers", func() bool {
		ctx, cancel := context.WithTimeout(context.Background(), time.Second)
		defer cancel()
		_, err := h.Check(ctx, &grpc_health_v1.HealthCheckRequest{})
		return err == nil
	})
}

// saying is what a process wrote to its standard error.
type saying struct {
	yard string
	text *bytes.Buffer
}

// kill ends a yard's process as kill -9 does.
func (c *cluster) kill(yard string) {
	c.t.Helper()
	cmd := c.procs[yard]
	if cmd == nil {
		return
	}
	delete(c.procs, yard)
	if err := cmd.Process.Kill(); err != nil {
		c.t.Errorf("killing %s: %v", yard, err)
	}
	_ = cmd.Wait() // it says "killed"
}
