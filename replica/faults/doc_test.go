// Package faults_test runs whole replicas (raft, badger, TLS, gRPC, journal) of
// three yards in one process under faults, in the virtual time of a
// testing/synctest bubble and on a network in memory, while people at the yards
// lock, release, open, enter, ask, energise and read with the public client.
//
// In half of the scenarios others beside them find and claim locks, hand over,
// remove locks of absent people, and put keys into boxes and take them out.
//
// In every other scenario tests are asked for in the middle of the work, and
// holders stand clear for them; some try to for others, or for an older request.
//
// Faults: partitions of every shape, one-way loss, slow and broken links, silence
// of a machine, crashes of one, two or all yards at one instant, also after so
// many messages, restarts, clock jumps, slow, low and full disks; half of them at
// the leader. In half of the crashes the history falls back to what it was at the
// yard's start, since nothing syncs it; in a third of the scenarios raft takes a
// snapshot every 8 entries and keeps 4. A replica that stops by itself is started
// again, as a service manager would. Afterwards
// everything is mended and drained, and these must hold:
//
//   - what anybody was told is in the ledger of every yard, as it was told;
//   - the histories are the same bytes, under the root RFC 6962 gives them;
//   - no energising was taken under a lock but one whose holder stood clear for that
//     very test, nor under a sign-on, a promise or an ended
//     request, and no lock went but by its holder, a hand-over signed by both, or
//     two managers, by a walk over the entries that uses none of the ledger's rules;
//   - every point's history is linearizable, by porcupine.
//
// The long run, half a second of processor time a scenario, so some 40 minutes on
// two quiet cores for 10,000; it tells how far it is every 500, and -seed goes on
// from there:
//
//	go test -c -o faults.test ./replica/faults
//	TMPDIR=/dev/shm ./faults.test -test.run TestScenarios -seeds 10000 -test.timeout 0
//
// A seed fixes the plan: who does what, which faults, when. Elections, back-off
// and the order of goroutines stay the runtime's own, so a failure may need its
// seed more than once: -seed S -count 20.
//
// In scenarios of their own (-growing, -losing) a fourth yard joins and gets its vote
// amid the faults, or a yard's disk is lost for good and a fresh machine takes the
// yard up by the walkdown that two managers sign.
//
// Left out: replaced keys, switches and machines found on.
// A crash comes when the disks stand still, so the journal, which is synced before
// each answer, loses nothing, and a missing sync shows in the tests of replica/store
// and replica/yard; a slow disk slows raft's log alone, since a bubble's clock stands
// while the journal's lock is held. A machine that is silent still runs.
package faults_test
