package appearance

// cove is an invented run: fed at both ends, starving in its middle at 30 % white.
const cove = `schema = 1
name = "Cove"
[strip]
volts = 5.0
pixels_per_metre = 60
channel_milliamps = 12.0
idle_milliamps = 0.8
loop_milliohms_per_metre = 80.0
[[supply]]
name = "A"
volts = 5.1
amps = 20
milliohms = 5
[[reel]]
name = "west"
metres = 4.0
[[reel]]
name = "north"
metres = 5.0
[[reel]]
name = "east"
metres = 4.0
[[feed]]
name = "near"
from = "A"
to = "west.start"
metres = 2.4
conductor = "18 AWG"
[[feed]]
name = "far"
from = "A"
to = "east.end"
metres = 7.5
conductor = "16 AWG"
[[step]]
name = "dark"
[[step]]
name = "white 5 %"
red = 0.05
green = 0.05
blue = 0.05
[[step]]
name = "white 12 %"
red = 0.12
green = 0.12
blue = 0.12
[[step]]
name = "white 30 %"
red = 0.3
green = 0.3
blue = 0.3
[limits]
design_step = "white 5 %"
`
