// Package parts has what the pages in a browser share: the layout, the style sheet, the scripts,
// and events that a server sends to open pages.
//
// A page is a template that defines "main", put into the layout. Nothing of it is inline: scripts
// are modules and styles are sheets, served from Root, so that the strictest content security
// policy fits. The style sheet is that of the reports, for a light and a dark screen and for
// paper, from 360 to 1920 px. Everything that can be pressed is at least 48 px high.
//
//	//go:embed *.html *.css *.js
//	var files embed.FS
//
//	var page = parts.NewPage(files, "walk.html", nil)
//
//	mux.Handle("GET "+parts.Root, parts.Files(files))
//	page.Write(w, r, http.StatusOK, parts.Head{Title: "Walk", Styles: []string{"walk.css"}, Scripts: []string{"walk.js"}}, data)
//
// The style sheet has these classes for pages:
//
//	verdict pass|fail|unproven  a bar with the verdict of something, as in the reports; <b> is its word
//	word pass|fail|unproven     a verdict's word in a line or a cell
//	care                        cautions in a frame
//	act                         the main button or link of a place
//	row                         controls beside each other, below each other on a phone
//	number                      one large number
//	live                        a value that changes by itself
//	gone                        a notice at the top that the server does not answer; see stream.js
//	quiet                       text of lesser weight
//	scroll                      a box around a wide table
//	plain                       a list without more room than its lines need
//	back                        the link to the page above
//	choices, choice             links of which one is chosen, which has aria-current
//	w                           a cell that is not broken into lines
//	off                         only for readers of the screen
//
// stream.js exports listen, which keeps an event stream open; see its comment. Pictures of
// package chart written by Picture.Inline take the page's colours.
package parts
