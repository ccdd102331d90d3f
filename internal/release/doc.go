// Package release holds what a release is made of beside the program: the unit
// and the udev rule of a Linux system, and the script that makes Debian packages.
//
//	internal/release/deb 1.0.0 arm64 out/
//
// makes out/ohmkeep_1.0.0_arm64.deb from the source; the architectures are amd64,
// arm64 and armhf (ARMv6 with floating point, as small boards want it). The package
// brings a user of its own and a unit that is not enabled: there is no run yet.
// Removing it, even for good, leaves the readings.
package release
