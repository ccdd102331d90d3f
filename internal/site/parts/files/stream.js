// The event stream of a page.

// beat is the longest time between two events of a server that is well, ms; see streams.go.
const beat = 5000;

// listen opens the event stream at a path and keeps it open.
//   on:    functions by the name of the event; each gets the event's JSON as a value.
//   state: is called with true when the server answers, and with false and a sentence when it does
//          not. The browser tries again until it does.
// While the page is hidden its stream is closed, because a browser holds few connections to one
// server. The server sends the newest of everything when the stream is opened again.
// The function that is returned ends the stream.
export function listen(path, on, state) {
  let source = null, watchdog = 0, again = 0, answered = null, tries = 0;

  function tell(well, why = "") {
    if (answered === well && well) return;
    answered = well;
    state(well, why);
  }

  function heard() {
    tries = 0;
    tell(true);
    clearTimeout(watchdog);
    watchdog = setTimeout(() => lost("No answer since " + new Date().toLocaleTimeString() + "."), 3 * beat);
  }

  function close() {
    clearTimeout(watchdog);
    clearTimeout(again);
    if (source) source.close();
    source = null;
  }

  function lost(why) {
    close();
    tell(false, why);
    if (!document.hidden) again = setTimeout(open, Math.min(1000 * 2 ** tries++, 15000));
  }

  function open() {
    close();
    source = new EventSource(path);
    source.addEventListener("beat", heard);
    source.addEventListener("end", () => lost("The program has ended."));
    source.onerror = () => lost("The connection is lost.");
    for (const [name, use] of Object.entries(on)) {
      source.addEventListener(name, (event) => {
        heard();
        use(JSON.parse(event.data));
      });
    }
  }

  function seen() {
    if (document.hidden) close();
    else if (!source) open();
  }
  document.addEventListener("visibilitychange", seen);
  addEventListener("pagehide", close);
  addEventListener("pageshow", seen);
  seen();
  return () => {
    document.removeEventListener("visibilitychange", seen);
    removeEventListener("pagehide", close);
    removeEventListener("pageshow", seen);
    close();
  };
}

// showGone shows or removes the notice that the server does not answer: an element of the class
// "gone" with role "alert", which the page has at its top.
export function showGone(notice, well, why) {
  notice.hidden = well;
  const text = well ? "" : why + " What is shown here is no longer up to date. Trying again …";
  if (notice.textContent !== text) notice.textContent = text;
  document.body.classList.toggle("stale", !well);
}
