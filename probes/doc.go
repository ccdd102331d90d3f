// Package probes holds the device profiles that come with the program: one
// TOML file a device, named like the profile. The file names become part of
// the binary; nothing else knows what a device sends. The folder firmware has a
// board's own program, in C, and a guide to building the board.
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
// "ohmkeep probe check" shows what the port receives and what the profile makes of it;
// change the file until no line is bad. An unknown key is refused with its line.
// "ohmkeep probe record" writes what the port receives into a file, and "ohmkeep
// probe replay" reads it by the profile without the device.
//
// To ship a profile, begin its file with examples: what the device sends, an arrow
// and what that means. A test reads each of them:
//
//	#     T1 21.5   -> 1 temperature 21.5 degC
//	#     T1 ERR    -> 1 temperature faulty
//	#     T1        -> bad
//
// # The head and the port
//
//	name   = "cabinet"       # letters, digits, - and _
//	title  = "Cabinet board" # what people call it
//	source = "datasheet of …" # chip, standard or datasheet that the profile follows; a shipped one must say it
//	accuracy_source = "…"    # where the ranges at the end are from: a datasheet, memory, an assumption
//	kind   = "lines"         # "lines": sends by itself; "scpi": answers queries; "hwmon": the kernel reads it;
//	                         # "modbus": one of several slaves on a line, whose registers are read;
//	                         # "display": a handheld meter that sends its display;
//	                         # "mqtt": a board that publishes at a broker
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
// Opening a serial port raises DTR, which resets many boards: what comes
// during settle_milliseconds is ignored. A port without that wire, such as a
// pseudo-terminal, is ready at once. A line that is under way when the port
// becomes ready is skipped, because its beginning is missing.
//
// # A board that prints lines
//
//	[line]
//	pattern  = 'T(?P<id>\d) (?P<celsius>\S+)'  # a Go regular expression for the whole line
//	comment  = "#"                             # lines that begin so say nothing …
//	identity = '# serial .+'                   # … but these identify the board
//
//	[[line.field]]
//	group = "celsius"        # the group of the pattern that holds the value
//	unit  = "degC"           # V, mV, uV, A, mA, uA or degC
//
// The group id is the probe's channel in the run file; without it every value
// is of channel "1". Where a group named fault matches, it is the board's report of a
// fault: the line has no values, and the watch marks the report. A group named serial
// is the serial number of the channel's sensor, which is shown with the board's
// identity. An identity line at an unusual time, or with another text, means that the
// board has restarted; the watch marks it. A field states what its group holds in one
// of four ways:
//
//   - unit = "mV": a decimal number of that unit;
//   - unit_group = "unit": a decimal number whose unit is in that other group;
//   - quantity = "voltage" and per_count = 1.25e-3: a whole number of register
//     counts, each so many volts. With shunt_milliohms and quantity = "current"
//     the counts are volts across that shunt. lowest and highest are the smallest
//     and the largest valid count; beyond them the value is saturated, and is stored
//     without a value;
//   - register = "bus": the word of a register of the chip that [line] names.
//
// A line that the pattern does not match, or whose number cannot be read, is
// counted as bad and never stored. Lines are at most 512 bytes long. If the board
// computes a current itself, shunt_milliohms is the shunt that it used; then a
// corrected shunt can be applied later.
//
// # A board that prints register words
//
//	[line]
//	chip        = "ina226"   # ina219, ina226, ina228, ina228-40mV (ADCRANGE = 1)
//	pattern     = '(?P<id>\d) (?P<shunt>\S+) (?P<flags>\S+)'
//	await_ready = true       # a value without the chip's conversion-ready flag is unsettled
//
//	[[line.field]]
//	group           = "shunt"
//	register        = "shunt" # shunt, bus, current, temperature, flags: as the chip has them
//	base            = 16      # or 10; 16 where it is left out
//	shunt_milliohms = 2.0     # of register shunt; register current wants current_lsb_microamps
//	highest         = 31000   # lowest and highest are the chip's own where they are left out
//
//	[[line.field]]
//	group    = "flags"
//	register = "flags"
//
// A word is the whole register, most significant byte first: the INA219's bus word
// with its flags, 24 bits of the INA228. A chip that reports an overflow makes every
// value of its line saturated. Prefer register shunt to register current, which is
// only as good as what the board wrote into the chip.
//
// # A meter that answers queries
//
//	[query]
//	identity = "*IDN?"
//	error    = "SYST:ERR?"           # sent after every command until the answer is 0; "" = never
//	start    = ["*CLS"]              # sent once after opening
//	finish   = ["SYST:LOC"]          # sent once before closing
//	overload = ["OVLD"]              # answers that mean overload, beside 9.9E37
//	voltage  = ["CONF:VOLT:DC 10", "READ?"]  # the last is a query, the others are commands
//	current  = ["MEAS:CURR:DC?"]
//	timeout_milliseconds = 5000      # for one answer
//	every_milliseconds   = 1000      # between two readings
//	turn_readings        = 30        # of one quantity before the next has its turn
//
//	[[query.function]]               # in place of one list: set only when it changes
//	quantity = "temperature"
//	up_to    = 200                   # several ranges of a quantity: the smallest that holds the value
//	select   = ["CONF:TEMP"]
//	read     = "READ?"
//	state    = "CONF?"               # its answer must stay as it was after select
//	settle_milliseconds = 2000       # what is read before is unsettled and never stored
//
// Give voltage, current, temperature, or several of them, in SI units or °C.
//
// # A handheld meter that sends its display
//
//	[display]
//	chip = "fs9721"          # or "es51922": the chip that drives the display
//	celsius_bit = 1          # fs9721 only: the user bit of byte 14 that is the meter's °C
//
// Its channel has the id "display". Many cables take their supply from DTR and RTS: dtr and rts of [port] say which
// is high. Of the family of the ES51922, ES51986 and ES51978 are left out, because no source for their function codes
// was found. The last digit shows the meter's range, which chooses the accuracy: give each range its resolution.
//
// # A device that the kernel reads
//
//	name   = "shelf"
//	title  = "Shelf thermometer"
//	kind   = "hwmon"
//
//	[hwmon]                          # in place of [port]
//	names = ["lm75"]                 # what the device's file "name" says
//	every_milliseconds = 1000
//
//	[[hwmon.value]]
//	file    = "temp1_input"          # in…_input, curr…_input or temp…_input
//	id      = "1"                    # the channel; curr…_input may have shunt_file as well
//	lowest  = -55000                 # as the file says it; beyond it is saturated
//	highest = 125000
//
// # A slave on a Modbus line
//
//	[port]                           # that of the whole line: the same in every profile on it
//	baud      = 9600
//	stop_bits = 2                    # the document wants two without parity
//
//	[modbus]
//	every_milliseconds   = 1000      # from one reading to the next, where the run file states none
//	timeout_milliseconds = 1000      # for one answer; a request is sent three times
//
//	[[modbus.register]]
//	id         = "volts"             # the channel
//	function   = "input"             # "input": function 4; "holding": function 3
//	address    = 0                   # of the first register, from 0 as in the message
//	type       = "uint32"            # uint16, int16: one register; uint32, int32, float32: two
//	word_order = "low first"         # of two registers; "high first" where it is left out
//	scale      = 0.01                # the number is the register's times this; 1 where it is left out
//	unit       = "V"                 # as in a field of a line
//	bad        = [65535]             # contents that mean that there is no value
//	lowest     = 0                   # contents beyond which the value is saturated
//	highest    = 30000
//
// Manuals often number registers from 1 or write 30001 for input register 0 and 40001 for holding
// register 0. The address of the slave is in the run file's probe, slave = 1. A value keeps the digits
// of its scale: 480 at 0.01 V is 4.80 V. Registers that follow each other are read by one request.
// An example's answer is written in hexadecimal, that of slave 1. Nothing is ever written to a slave.
//
// # A board that publishes at a broker
//
//	[mqtt]                           # in place of [port]; the run file names the broker
//	format = "json"                  # or "text": each message is one number
//
//	[[mqtt.value]]
//	id    = "volts"                  # the channel
//	topic = "rail/1"                 # below the topic of the run file's probe; left out = that topic itself
//	path  = "bus.0.volts"            # members and elements of the JSON text; left out = it is a number itself
//	unit  = "V"                      # as in a field of a line
//	bad   = ["-999"]                 # what means that there is no value, beside null, nan and unavailable
//
//	[[mqtt.value]]
//	topic = "+/amps"                 # without id: the level that stands for + is the channel
//	path  = "amps"
//	unit  = "A"
//
// A number keeps its digits, and may be written as a JSON string. What a message does not hold is left out;
// a message that holds nothing of the profile is bad.
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
