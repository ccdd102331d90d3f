// Package drift follows the resistances of a run from night to night and gives each a
// verdict: steady, drifting, stepped (it has jumped), intermittent or unproven.
//
// It is a fold: a State and a day's readings make the next State. A State holds what was
// found and a bounded number of nights, so that a night costs the same after ten years as
// after one. It is stored as JSON between nights. Folding all stored readings again returns
// the same State. A change is called (reported) once; its beginning and its size are computed
// from all nights whenever a History is made.
//
// # How a change is called
//
// Package nightly turns a day into one value for each element, a point of its series. The
// difference of two sensors, which the nights' dark scans show, is subtracted from the drop, in
// blocks of ten nights, so that gains which follow the weather do not look like resistance.
// The noise of a series is learned from how far neighbouring nights differ; before
// fewestPairs pairs of nights nothing is called. The full test is made only if a CUSUM or an EWMA
// exceeds its limit. The jump and the ramp that explain the latest stretch best must lower the weighted sum of
// squares by 40, be at least 5 mΩ and a part of the wire's resistance, exceed the scatter of the
// nights, and last for the next nights. One shape must explain clearly more than the other.
// Positively autocorrelated nights count for fewer.
//
// A night far from both its neighbours is an outlier and counts as a burst. A shift that the
// drop in the dark shows as well, or that a neighbour shows with the other sign, is a
// sensor's (sensors.go). In a run fed from several sides, a contact that goes bad in one
// conductor moves current between plus and minus. The apparent changes of copper and other
// feeds are marked as its effect and not called.
//
// # Decisions
//
// A joint's resistance in a known step follows from measured currents, not from what the
// step should draw: ageing and limiters change that. Where no current is measured a joint has
// no series. An element that has jumped keeps that verdict until a repair is noted. A fall is a change
// like a rise: the value before it may have been wrong.
//
// # What is not found
//
// A change in the middle of a ring, where hardly any current flows, is unproven or called
// late. The size of a change in one conductor of a ring is known only within a fifth. A drift
// below 5 mΩ and 4.5 % of the wire in all is not called, because a thermometer may miss a third
// of the seasons. Where no temperature is read, neither is a jump of less than 5 mΩ and 9 % of
// the wire, because a week's weather causes as much.
//
// The beginning of a slow drift is known no better than the scatter of the nights over its
// slope. With drops that scatter by 0.9 mV + 1.2 mV/A, half of the checks missing and a
// thermometer that follows the weather by two thirds, drifts of 60 to 150 mΩ a year cannot be
// dated within four days: the Cramér-Rao bound is a standard deviation of 6 days. Of 48 dates
// 34 were within four days (9 days root mean square). Each date therefore has its 95 %
// interval, which held 45 of the 48.
//
// Of 400 healthy run-years with each of the disturbances of rough_test.go in turn, none of 2,370 series
// had a false verdict, and 242 were unproven.
//
// rough_test.go, years_test.go, delay_test.go and tradeoff_test.go measure what is found and
// print tables.
package drift
