# Who used a procedure: they do not inspect it, and are retrained when it changes.

story who took a job over used its procedure, also behind locks for another job
rule  1910.147(c)(6)(i)(A)
given drawn-with-main
invite nia inv-wim person={wim wim "Three Forks Grain Co-op" authorised trained-until=+1000d} once-key=once-wim expires=+10d
join wim inv-wim key=wim signed-by=wim,once-wim
publish-procedure mara zone 1
approve-procedure nia zone 1
open-job mara boot-2 zone both ravi
open-job mara other-1 room feeder wim
lock wim feeder job=other-1 as=a
lock wim control job=other-1 as=b
take-over wim boot-2 ravi
release wim a
release wim b
clear-area wim boot-2
close-job wim boot-2
inspect-procedure wim zone 1 employees=ravi,lena -> refused INSPECTS_OWN_WORK

story who was locked on until a month ago used the procedure until then
rule  1910.147(c)(6)(i)(A)
given approved
open-job mara boot-2 zone both ravi
lock tomas feeder tomas-1 boot-2 as=his
time +400d
release tomas his
time +30d
trained nia tomas +100d done=now
inspect-procedure tomas zone 1 employees=ravi,lena -> refused INSPECTS_OWN_WORK

story so did who was signed on
rule  1910.147(c)(6)(i)(A)
given approved
open-job mara boot-2 zone both ravi
sign-on tomas boot-2 as=in
time +400d
sign-off tomas in
time +30d
trained nia tomas +100d done=now
inspect-procedure tomas zone 1 employees=ravi,lena -> refused INSPECTS_OWN_WORK

story who takes a job over behind locks for another zone uses its procedure
rule  1910.147(c)(7)(iii)
given drawn-with-main
open-job mara boot-1 zone both ravi lena
open-job mara room-1 room main mara
lock tomas feeder tomas-1 room-1
lock tomas control tomas-2 room-1
take-over tomas boot-1 ravi
publish-procedure mara zone 1
approve-procedure nia zone 1
retrain tomas                               -> RETRAIN zone

story who was found inside by a walkdown uses the procedure
rule  1910.147(c)(7)(iii); protocol.md 3.3
given drawn-with-main
given ines
open-job mara boot-1 zone both ravi lena
recover-yard nia stonebend ines 2 key=second-disk address=127.0.0.1:9 old-machine-off=yes inside={tomas boot-1}
publish-procedure mara zone 1
approve-procedure nia zone 1
retrain tomas                               -> RETRAIN zone

story who used a zone is retrained on it by the name that a revision gives it as well
rule  1910.147(c)(7)(iii); decisions.md 32
given drawn-with-main
open-job mara boot-1 zone both ravi lena
drawing nia stonebend 3 zones={boot-of-leg-1 label="boot of the leg" parts={leg motion},{leg-motor electricity},{coil electricity}} without=zones/leg-boot
open-job mara boot-2 stonebend/boot-of-leg-1 both ravi
open-job mara room-1 room main ravi
work boot-2                                 -> RETRAIN ravi
work room-1                                 -> NOT_OPEN, no RETRAIN
trained nia ravi +1000d done=now covers=stonebend/boot-of-leg-1
work boot-2                                 -> NOT_OPEN, no RETRAIN
