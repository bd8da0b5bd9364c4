# Names, usual values and short acts that every story here may use. How a line is
# read stands at the head of testdata/story.

# The leg at stonebend: its feeder is in stonebend's motor control centre, its
# control voltage comes from millrow.
name feeder  stonebend/mcc-1/feeder
name control millrow/panel-2/control
name both    stonebend/mcc-1/feeder,millrow/panel-2/control
name zone    stonebend/leg-boot
name motor   stonebend/leg-motor
name leg     stonebend/leg
name coil    stonebend/coil
name buckets stonebend/loaded-buckets
# With the main breaker ahead of the feeder ("given drawn-with-main").
name main    stonebend/mcc-1/main
name room    stonebend/mcc-room
# A bin at eastfork, its job, and the five points that isolate it.
name bin      eastfork/bin-3
name bin-plan eastfork/deck/spout-blank,eastfork/fan/duct-blank,eastfork/mcc-1/main,eastfork/mcc-1/sweep,eastfork/tunnel/tunnel-blank

usual open-job affected=dov purpose=service
usual notice means="in person"
usual clear-area tools-out=yes guards-on=yes people-clear=yes
usual reading instrument="meter 4" proved-before=yes proved-after=yes phase-to-phase=yes phase-to-ground=yes
usual stored-released how="belt clamp set"
usual found-live what="a lamp lit"
usual found-started what="heard it run"
usual found-lock seen="a red padlock, no tag"
usual correct-found-live cause="a second feed, taken off"
usual request deadline=+2h
usual register-point holes=2
usual register-box holes=6
usual register-padlock keys-cut=1
usual removal not-here="gate log, both yards walked" tried-to-reach="called twice, asked at home"
usual narrow-zone why="traced: the cable ends in the old panel"
usual record-training certificate="roll of the day"
usual air-reading instrument="gas meter 2" proved-before=yes proved-after=yes
usual stand-watch station="at the roof door" contact=sight equipped=yes rescue-trained=yes
usual fumigation-recorded fumigant=phosphine placard="on the door"
usual fumigation-cleared instrument="gas meter 2" proved-before=yes proved-after=yes applicator="the applicator, by the log of the airing"
usual found-choked seen="boot full to the inspection door"
usual clear-choke dug-out=yes how="dug out with shovels, boot swept"
usual review-lock seen="boot still open"
usual publish-procedure text="1. open the feeder; 2. lock it" machines="leg 2, work house" points=stonebend/mcc-1/feeder,millrow/panel-2/control
usual approve-procedure text-hash="1. open the feeder; 2. lock it"
usual inspect-procedure date=now machine="leg 2"
usual exchange-procedures host-procedures="co-op rules, version 4" outside-procedures="Harrow rules, version 2" date=now hazards="grain dust in the leg casing" emergency="gate 2, call the scale house"
usual withdraw why="not needed"
usual revoke-key why=stolen

short tell-before    notice when=before people=dov
short tell-after     notice when=after people=dov
short test           request kind=test
short meter          reading kind=meter medium=electricity
short look           reading kind=sight
short equipment-lock lock equipment=yes review=+10d
short bin-permit     issue-permit job=crust-3 ends=+4h bin-entry={entrants=lena,tomas observers=mara,olga hung-grain=clear from-above=yes line=harness-and-lifeline stops-at-waist=yes rescue-equipment="tripod and winch at the roof door, litter, grain panels" ventilation=natural nobody-walks-grain=yes}
short hot-permit     issue-permit job=boot-1 ends=+4h hot-work={place="the leg's head, work floor" workers=lena fire-watch=tomas combustibles-cleared=yes openings-covered=yes dust-cleaned=yes extinguisher="two of 10 lb and a hose"}
short clean-air      air-reading values={oxygen 20900},{combustible-gas 0},{carbon-monoxide 0},{carbon-dioxide 400000}
short no-gas         air-reading job=boot-1 zone=stonebend/leg-boot level=work values={combustible-gas 0}
short observe        stand-watch duty=observer
short fire-watch     stand-watch duty=fire-watch
short trained        record-training training=authorised
