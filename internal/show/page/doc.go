// Package page writes results as HTML pages that need nothing else: no script, no font,
// no picture from elsewhere. They print on A4 and can be read on a phone, and are meant
// to be handed over as proof.
package page
