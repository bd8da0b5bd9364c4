# What must hold on whole replicas. "given leader" names the yard that leads, home,
# and another, far; point and job are those of home.

story a lock that came off again ended the request all the same
rule  protocol.md 3.2: Lock voids every open request of its points
given leader
clear-area nia job at=far
notice nia job at=far
request nia start-1 job point deadline=+1m at=far
asked start-1                               -> approved
lock lena point job=job at=home as=hers
release lena hers at=home
clear-area nia job at=far
notice nia job at=far
energise nia start-1 point at=far           -> refused NOT_APPROVED
# Asked again, it goes on: the refusal was the lock's.
request nia start-2 job point deadline=+1m at=far
asked start-2                               -> approved
energise nia start-2 point at=far
