# What somebody remarks about a job: it is kept for whoever reads the job's history,
# and changes nothing about who is protected.

story anybody remarks on a job, and nothing comes of it but the record
rule  common practice, no source
given ready
remark dov boot-1 "the ladder at the boot is wet"
work boot-1                                 -> may start
hold lena-feeder                            -> on

story it is said of a job that is closed as well, and flagged for one that nobody knows
rule  a fact is never refused (design.md)
given ready
remark dov boot-9 "which job was this?"     -> flagged REMARK_ON_NO_JOB
remark lena boot-1 "a guard bolt is missing" at=eastfork

story it has to say something, in one line
rule  record.proto, Remark
given ready
remark dov boot-1 ""                        -> refused BAD_FIELD
