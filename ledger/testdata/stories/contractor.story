# People of another firm.

story who works for another firm is an outsider, whatever role the co-op gave them
rule  1910.147(f)(2)(i)
given ready
invite nia inv-hal person={hal hal "Harrow Millwrights" authorised trained-until=+1000d} once-key=once-hal expires=+10d
join hal inv-hal key=hal signed-by=hal,once-hal
lock hal feeder job=boot-1
lock hal control job=boot-1
sign-on hal boot-1                          -> flagged NO_EXCHANGE
work boot-1                                 -> NO_EXCHANGE hal
exchange-procedures mara stonebend "Harrow Millwrights" hal
exchange-procedures mara millrow "Harrow Millwrights" hal
work boot-1                                 -> may start
