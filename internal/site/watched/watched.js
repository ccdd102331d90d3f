// Keeps the pages of a watched run up to date.

import { listen, showGone } from "./stream.js";

const page = document.querySelector(".run");
const said = document.querySelector("#said");

// How far the watch's clock is ahead of this device's, ms.
let ahead = Number(page.dataset.now) - Date.now();

// say tells a reader of the screen something, once.
function say(text) {
  if (said && said.textContent !== text) said.textContent = text;
}

// age writes how long ago a moment was, both in ms.
function age(ms) {
  const s = Math.max(0, Math.round(ms / 1000));
  if (s < 120) return s + " s ago";
  if (s < 7200) return Math.round(s / 60) + " min ago";
  if (s < 172800) return Math.round(s / 3600) + " h ago";
  return Math.round(s / 86400) + " days ago";
}

// showAges brings the ages in the tables up to date.
function showAges() {
  for (const row of document.querySelectorAll("[data-channel]")) {
    const text = row.dataset.time ? age(Date.now() + ahead - Number(row.dataset.time)) : "";
    const cell = row.querySelector(".age");
    if (cell.textContent !== text) cell.textContent = text;
  }
}

// set writes a text into an element of the page, if it is there and differs.
function set(element, text) {
  if (element && element.textContent !== text) element.textContent = text;
}

// showLive writes a Live into the page; see live.go.
function showLive(live) {
  for (const c of live.channels) {
    for (const row of document.querySelectorAll(`[data-channel="${CSS.escape(c.probe + "/" + c.id)}"]`)) {
      row.dataset.time = c.time ? String(Date.parse(c.time)) : "";
      set(row.querySelector(".value"), c.text || "none yet");
      const state = row.querySelector(".state");
      set(state, c.state);
      state.hidden = c.state === "current";
    }
  }
  set(document.querySelector("#step-now"), live.step || "not known");
  showAges();
  const state = JSON.stringify([live.revision, live.watch, live.notes]);
  if (shown === null ? page.dataset.revision !== String(live.revision) : shown !== state) refresh();
  shown = state;
}

// What decides how the page looks beside its live values; null before the first Live.
let shown = null;

// refresh loads the page again and puts its changed parts in place. A part that has the focus
// keeps it on the link that leads to the same address.
async function refresh() {
  if (refreshing) return void (again = true);
  refreshing = true;
  await replaceParts();
  refreshing = false;
  if (again) setTimeout(refresh, 1000);
  again = false;
}

let refreshing = false, again = false;

async function replaceParts() {
  const answer = await fetch(location.href, { headers: { Accept: "text/html" } }).catch(() => null);
  if (!answer || !answer.ok) return;
  const fresh = new DOMParser().parseFromString(await answer.text(), "text/html");
  const verdicts = () => [...document.querySelectorAll(".verdict")].map((bar) => bar.textContent).join("; ");
  const before = verdicts();
  for (const part of document.querySelectorAll("[data-part]")) {
    const now = fresh.querySelector(`[data-part="${part.dataset.part}"]`);
    if (!now || now.innerHTML === part.innerHTML) continue;
    const focused = part.contains(document.activeElement) ? document.activeElement.getAttribute("href") : null;
    part.replaceChildren(...now.childNodes);
    if (focused) part.querySelector(`a[href="${CSS.escape(focused)}"]`)?.focus();
  }
  document.title = fresh.title;
  if (before !== verdicts()) say("The verdict has changed: " + verdicts());
  showAges();
}

// announce sends a step without leaving the page.
async function announce(event) {
  event.preventDefault();
  const form = event.target, fault = form.querySelector(".fault");
  const body = JSON.stringify({ step: form.step.value, settle: Number(form.settle.value) });
  const answer = await fetch(form.action, { method: "POST", headers: { "Content-Type": "application/json" }, body }).catch(() => null);
  fault.textContent = !answer ? "The watch does not answer." : answer.ok ? "" : await answer.text();
  if (answer?.ok) say(form.step.value ? "Step announced: " + form.step.value : "The step is not known from now on.");
}

document.querySelector("#step-form")?.addEventListener("submit", announce);
setInterval(showAges, 1000);
showAges();
const gone = document.querySelector(".gone");
listen("live/events", { live: showLive, time: (ms) => { ahead = ms - Date.now(); showAges(); } }, (well, why) => showGone(gone, well, why));
