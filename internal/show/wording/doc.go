// Package wording puts results into words: a line for each element, the headline, the
// advice for what fails, what to read next. Terminal, pages and pictures say the same
// because all of them take it from here. What is shown depends on the arguments alone,
// and names from a run file are put on one line even if they contain line breaks.
package wording
