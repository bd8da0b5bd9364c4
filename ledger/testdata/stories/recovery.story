# A yard that lost its journal is walked down by two managers.

story a walkdown says who is inside and what hangs when it was walked, not weeks after
rule  protocol.md 3.3; the limit is ours
given ready
given ines
recover-yard nia stonebend ines 2 key=second-disk address=127.0.0.1:9 old-machine-off=yes keep=walk
time +20d
send walk                                   -> refused WALKDOWN_TOO_OLD
recover-yard nia stonebend ines 2 key=second-disk address=127.0.0.1:9 old-machine-off=yes

story nor with a time of capture ahead of the ledger's
rule  protocol.md 3.3; the limit is ours
given ready
given ines
recover-yard nia stonebend ines 2 key=second-disk address=127.0.0.1:9 old-machine-off=yes captured=+40d keep=walk
time +20d
send walk                                   -> refused POSTDATED
recover-yard nia stonebend ines 2 key=second-disk address=127.0.0.1:9 old-machine-off=yes
