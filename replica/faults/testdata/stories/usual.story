# What the acts of these scenarios say unless a scenario says otherwise.
usual open-job responsible=ravi crew=lena,dov affected=nia purpose="clear the plugged boot"
usual clear-area tools-out=yes guards-on=yes people-clear=yes
usual notice when=after people=nia means="in person"
usual register-point holes=6
usual register-box holes=6
usual found-lock seen="a red padlock, no tag"
usual removal not-here="not at any yard, by the gate list" tried-to-reach="called twice"
short test request kind=test
