package daemon

import (
	"fmt"
	"io"
	"net"
	"net/http"
	"strings"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/promhttp"

	"yardhasp/client/words"
	"yardhasp/replica"
)

// serveAdmin serves monitors on this machine. They can read counts and yard names.
// They can sign and change nothing. An empty address serves nothing. The server asks
// for no key, so it takes only a loopback address.
func serveAdmin(address string, r *replica.Replica) (io.Closer, error) {
	if address == "" {
		return io.NopCloser(nil), nil
	}
	host, _, err := net.SplitHostPort(address)
	if ip := net.ParseIP(host); err != nil || host != "localhost" && (ip == nil || !ip.IsLoopback()) {
		return nil, &usageError{fmt.Errorf("--admin %q is not an address of this machine alone, such as 127.0.0.1:9464", address)}
	}
	l, err := net.Listen("tcp", address)
	if err != nil {
		return nil, fmt.Errorf("can't serve monitors on %s: %w", address, err)
	}
	s := &http.Server{Handler: adminHandler(r), ReadHeaderTimeout: 5 * time.Second}
	go s.Serve(l)
	return s, nil
}

func adminHandler(r *replica.Replica) http.Handler {
	reg := prometheus.NewPedanticRegistry()
	reg.MustRegister(r.Gauges())
	mux := http.NewServeMux()
	mux.Handle("GET /metrics", promhttp.HandlerFor(reg, promhttp.HandlerOpts{}))
	mux.HandleFunc("GET /healthz", func(w http.ResponseWriter, _ *http.Request) { fmt.Fprintln(w, "running") })
	mux.HandleFunc("GET /readyz", func(w http.ResponseWriter, _ *http.Request) {
		if wrong := r.Health(); len(wrong) > 0 {
			http.Error(w, strings.Join(words.English.List(wrong), "\n"), http.StatusServiceUnavailable)
			return
		}
		fmt.Fprintln(w, "this replica finds nothing wrong with itself; that says nothing about any machine or point")
	})
	return mux
}
