// Package faults_test runs whole replicas (raft, badger, TLS, gRPC, journal) of
// three yards in one process under faults, in the virtual time of a
// testing/synctest bubble and on a network in memory, while people at the yards
// lock, release, open, enter, ask, energise and read with the public client.
//
// Faults: partitions of every shape, one-way loss, slow and broken links, silence
// of a machine, crashes of one, two or all yards at one instant, also after so
// many messages, restarts, clock jumps; half of them at the leader. Afterwards
// everything is mended and drained, and these must hold:
//
//   - what anybody was told is in the ledger of every yard, as it was told;
//   - the histories are the same bytes, under the root RFC 6962 gives them;
//   - no energising was taken under a lock, a sign-on, a promise or an ended
//     request, by a walk over the entries that uses none of the ledger's rules;
//   - every point's history is linearizable, by porcupine.
//
// The long run, some three hours on two quiet cores:
//
//	TMPDIR=/dev/shm go test ./replica/faults -run TestScenarios -seeds 10000 -timeout 0 -v
//
// A seed fixes the plan: who does what, which faults, when. Elections, back-off
// and the order of goroutines stay the runtime's own, so a failure may need its
// seed more than once: -seed S -count 20.
//
// Left out: a crash keeps all that was written, synced or not, so a missing sync
// shows in the tests of replica/store and replica/yard, not here; a slow or full
// disk; changes of membership; snapshots. A crash comes when the disks stand
// still; a machine that is silent still runs.
package faults_test
