package replica_test

import (
	"io"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/reflection/grpc_reflection_v1"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
)

// TestStop: a stop ends in seconds with a watcher, a health watcher, and a client
// that does not read what it asked for.
func TestStop(t *testing.T) {
	t.Parallel()
	c := one(t)
	long := strings.Repeat("a long reason ", 140)
	for range 60 {
		// Journal records of some size, more than a connection's window together.
		rec := &recordv1.Record{Act: &recordv1.Record_FoundLock{FoundLock: &recordv1.FoundLock{Target: &recordv1.Target{On: &recordv1.Target_Point{Point: fanOne}}, Seen: long[:1900]}}}
		c.do("nia", "stonebend", rec)
	}
	watch, err := c.raw("nia", "stonebend").Watch(c.ctx(), &servicev1.WatchRequest{})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := watch.Recv(); err != nil {
		t.Fatal(err)
	}
	conn := c.dial(c.keys["nia"], "stonebend")
	health := grpc_health_v1.NewHealthClient(conn)
	for service, want := range map[string]grpc_health_v1.HealthCheckResponse_ServingStatus{"": grpc_health_v1.HealthCheckResponse_SERVING,
		"ledger.read": grpc_health_v1.HealthCheckResponse_SERVING, "ledger.write": grpc_health_v1.HealthCheckResponse_SERVING} {
		c.until("health of "+service, func() bool {
			got, err := health.Check(c.ctx(), &grpc_health_v1.HealthCheckRequest{Service: service})
			return err == nil && got.GetStatus() == want
		})
	}
	reflect, err := grpc_reflection_v1.NewServerReflectionClient(conn).ServerReflectionInfo(c.ctx())
	if err != nil {
		t.Fatal(err)
	}
	if err := reflect.Send(&grpc_reflection_v1.ServerReflectionRequest{MessageRequest: &grpc_reflection_v1.ServerReflectionRequest_ListServices{}}); err != nil {
		t.Fatal(err)
	}
	list, err := reflect.Recv()
	if err != nil || !strings.Contains(list.String(), "yardhasp.service.v1.LedgerService") || !strings.Contains(list.String(), "grpc.health.v1.Health") {
		t.Errorf("reflection: %v %v", list, err)
	}
	stuck, err := c.raw("nia", "stonebend").Export(c.ctx(), &servicev1.ExportRequest{})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := stuck.Recv(); err != nil {
		t.Fatal(err)
	}
	from := time.Now()
	c.halt("stonebend")
	if d := time.Since(from); d > 10*time.Second {
		t.Errorf("the stop took %s", d)
	}
	for err == nil {
		_, err = watch.Recv()
	}
	if err == io.EOF {
		t.Error("the watch ended as if it were complete")
	}
	c.start("stonebend")
	b, err := c.board("stonebend", servicev1.Consistency_CONSISTENCY_CONFIRMED)
	if err != nil || len(b.GetHolds()) != 61 {
		t.Errorf("after the stop: %d holds, %v", len(b.GetHolds()), err)
	}
}

// TestHealthWithoutQuorum: the standard health service says what works.
func TestHealthWithoutQuorum(t *testing.T) {
	t.Parallel()
	c := three(t)
	c.size("millrow")
	c.halt("stonebend")
	c.halt("eastfork")
	health := grpc_health_v1.NewHealthClient(c.dial(testKey("stranger"), "millrow"))
	for service, want := range map[string]grpc_health_v1.HealthCheckResponse_ServingStatus{"": grpc_health_v1.HealthCheckResponse_SERVING,
		"ledger.read": grpc_health_v1.HealthCheckResponse_SERVING, "ledger.write": grpc_health_v1.HealthCheckResponse_NOT_SERVING} {
		c.until("health of "+service, func() bool {
			got, err := health.Check(c.ctx(), &grpc_health_v1.HealthCheckRequest{Service: service})
			return err == nil && got.GetStatus() == want
		})
	}
}
