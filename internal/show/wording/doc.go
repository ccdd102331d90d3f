// Package wording puts results into words: a line for each element, the headline, the advice for
// what fails, what to read next. Terminal, pages and pictures all use it, so that they agree. The
// text depends on the arguments alone. Names from a run file are put on one line even if they
// contain line breaks.
package wording
