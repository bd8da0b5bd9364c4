package daemon

import (
	"io"
	"net/http"
	"net/http/httptest"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"yardhasp/replica"
)

// TestAdmin: a monitor on the same machine reads the state of a replica, and
// nobody from outside does.
func TestAdmin(t *testing.T) {
	for _, bad := range []string{"0.0.0.0:9464", ":9464", "192.0.2.7:9464", "box.example:9464", "9464"} {
		if _, err := serveAdmin(bad, nil); err == nil || !strings.Contains(err.Error(), "this machine alone") {
			t.Errorf("--admin %s: %v, want it refused", bad, err)
		}
	}
	dir := filepath.Join(t.TempDir(), "data")
	if code, _, errs := run(foundArgs(dir, "--address", "127.0.0.1:1")...); code != exitOK {
		t.Fatal(errs)
	}
	r, err := replica.Open(replica.Config{Dir: dir, Listen: "127.0.0.1:0"})
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	s := httptest.NewServer(adminHandler(r))
	defer s.Close()
	get := func(path string) (int, string) {
		t.Helper()
		res, err := http.Get(s.URL + path)
		if err != nil {
			t.Fatal(err)
		}
		defer res.Body.Close()
		b, err := io.ReadAll(res.Body)
		if err != nil {
			t.Fatal(err)
		}
		return res.StatusCode, string(b)
	}
	code, text := get("/metrics")
	for until := time.Now().Add(20 * time.Second); !strings.Contains(text, "yardhasp_ledger_entries 1") && time.Now().Before(until); {
		code, text = get("/metrics") // its first entry is applied once it leads itself
	}
	for _, want := range []string{`yardhasp_histories_differ{yard="stonebend"} 0`, "yardhasp_voters 1", "yardhasp_journal_undrained 0", "yardhasp_disk_free_bytes"} {
		if code != http.StatusOK || !strings.Contains(text, want) {
			t.Errorf("/metrics: %d, %q is not in it:\n%s", code, want, text)
		}
	}
	if code, text := get("/healthz"); code != http.StatusOK {
		t.Errorf("/healthz: %d %s", code, text)
	}
	if code, _ := get("/readyz"); code != http.StatusOK && code != http.StatusServiceUnavailable {
		t.Errorf("/readyz: %d", code)
	}
	if code, _ := get("/anything"); code != http.StatusNotFound {
		t.Errorf("/anything: %d", code)
	}
}
