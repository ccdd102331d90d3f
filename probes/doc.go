// Package probes holds the device profiles that come with the program: one
// TOML file a device, named like the profile. The file names become part of
// the binary; nothing else knows how a device speaks.
//
// # How to write a profile for a new device
//
// Copy the shipped profile that is most like your device to a file of your own,
// such as cabinet.toml, and name that file in the run file's probe:
//
//	[[probe]]
//	name    = "board"
//	profile = "cabinet.toml"
//	port    = "/dev/serial/by-id/…"
//
// Then let "ohmkeep probe check" show what the port says and what was
// understood, and change the file until no line is bad. A key that is not known
// is refused with its line.
//
// # The head and the port
//
//	name   = "cabinet"       # letters, digits, - and _
//	title  = "Cabinet board" # what people call it
//	kind   = "lines"         # "lines": speaks by itself; "scpi": answers when asked
//	errors = "each"          # "each": a sensor at every place; "common": one meter for all
//
//	[port]
//	baud = 115200            # the only key that must be there
//	data_bits = 8            # 5 to 8
//	parity = "none"          # none, odd, even, mark, space
//	stop_bits = 1            # 1 or 2
//	dtr = false              # true, false; left out = as the system leaves it
//	rts = false
//	settle_milliseconds = 1500
//	terminator = "\n"        # "\n", "\r\n" or "\r": what ends a line we send
//
// Opening a serial port raises DTR, which resets many boards: whatever comes
// during settle_milliseconds is ignored. A port without that wire, such as a
// pseudo-terminal, is ready at once. A line that is under way when the port
// becomes ready is left out, because its beginning is not known.
//
// # A board that prints lines
//
//	[line]
//	pattern = 'T(?P<id>\d) (?P<celsius>\S+)'  # a Go regular expression for the whole line
//	comment = "#"                             # lines that begin so say nothing
//
//	[[line.field]]
//	group = "celsius"        # the group of the pattern that holds the value
//	unit  = "degC"           # V, mV, uV, A, mA, uA or degC
//
// The group id is the probe's channel in the run file; without it every value
// is of channel "1". A group named fault, where it matches, is what the board
// says is wrong: no value of that line is used. A field says what its group
// holds in one of three ways:
//
//   - unit = "mV": a decimal number of that unit;
//   - unit_group = "unit": a decimal number whose unit is in that other group;
//   - quantity = "voltage" and per_count = 1.25e-3: a whole number of register
//     counts, each so many volts. With shunt_milliohms and quantity = "current"
//     the counts are volts across that shunt. lowest and highest are the counts
//     that still mean something; beyond them the sensor is at its end, and the
//     value is reported as saturated and never stored.
//
// A line that the pattern does not match, or whose number is no number, is
// counted as bad and never stored. Lines are at most 512 bytes long.
//
// # A meter that is asked
//
//	[query]
//	identity = "*IDN?"
//	error    = "SYST:ERR?"           # asked after every command until it says 0; "" = never
//	start    = ["*CLS"]              # sent once after opening
//	finish   = ["SYST:LOC"]          # sent once before closing
//	voltage  = ["CONF:VOLT:DC 10", "READ?"]  # the last is a query, the others are commands
//	current  = ["MEAS:CURR:DC?"]
//	timeout_milliseconds = 5000      # for one answer
//
// Give voltage, current, temperature, or several of them, in SI units or °C.
//
// # Accuracy
//
//	[[range]]                # the smallest range that holds the value applies
//	quantity   = "voltage"
//	up_to      = 36.0        # left out = no end
//	resolution = 1.25e-3     # one count
//	percent    = 0.1         # within ±(percent of reading + counts), limits, not sigmas
//	counts     = 6
//
// It applies where the run file's probe names no meter.
package probes
