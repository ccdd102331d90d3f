// Package page writes results as HTML pages that need nothing else: no script, no font,
// no picture from elsewhere. They print on A4, can be read on a phone, and serve
// as a record to hand over.
package page
