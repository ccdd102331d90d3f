// The page of a walk. The server decides what is asked; this shows it and sends what was done.

import { listen, showGone } from "./stream.js";
import * as say from "./say.js";

const $ = (id) => document.getElementById(id);
const mayWrite = $("walk").dataset.write === "true";
let state = null, live = { on: false }, started = false, picture = "", asked = "", spoken = "", taking = false, refused = "", typing = false;

// typed reports whether the value is typed: no meter on a port measures it, or the person types that of another one.
const typed = () => state.typed || state.own && typing;

// moment names what is asked now.
const moment = () => state.number + asked;

// order sends what was done, one order at a time. A later state that comes back is shown, also with a refusal.
async function order(what, more = {}) {
  if (taking || !state) return;
  taking = true;
  refused = moment(); // unless it is carried out
  document.body.setAttribute("aria-busy", "true");
  try {
    const answer = await fetch("/walk/do", { method: "POST", headers: { "Content-Type": "application/json" },
      body: JSON.stringify({ seen: state.number, do: what, place: state.task === "read" ? state.place : { step: state.step }, ...more }) });
    const body = await answer.json();
    $("fault").textContent = answer.ok ? "" : body.error;
    if (answer.ok && what === "type") $("number").value = "";
    const later = answer.ok ? body : body.state;
    if (answer.ok) refused = "";
    if (later) show(later);
  } catch {
    $("fault").textContent = "The program did not answer. Nothing was lost; try again.";
  } finally {
    taking = false;
    document.body.removeAttribute("aria-busy");
    showLive();
  }
}

function only(id) {
  for (const part of ["set", "read", "learning", "paused", "done"]) $(part).hidden = part !== id;
}

function list(at, texts) {
  at.replaceChildren(...(texts ?? []).map((text) => Object.assign(document.createElement("li"), { textContent: text })));
}

async function drawPicture() {
  const box = $("picture"), name = state.picture + " " + box.clientWidth;
  if (name === picture || box.clientWidth === 0) return;
  picture = name;
  const answer = await fetch("/walk/picture?width=" + box.clientWidth).catch(() => null);
  const drawn = answer?.ok ? await answer.text().catch(() => "") : "";
  if (name !== picture) return;
  if (!drawn) return void (picture = ""); // the next state tries again
  box.innerHTML = drawn; // the server's own picture, whose texts are escaped
  const lit = [...box.querySelectorAll("text")].filter((t) => ["1", "2", "A"].includes(t.textContent)).slice(-state.leads?.length);
  if (state.task !== "read" || !lit.length) return;
  const middle = lit.reduce((sum, t) => sum + t.getBoundingClientRect().top, 0) / lit.length;
  box.scrollTop += middle - box.getBoundingClientRect().top - box.clientHeight / 2;
}

function showLeads() {
  const tips = state.leads.length === 1 ? [["clamp", "A"]] : [["red", "1 red"], ["black", "2 black"]];
  $("leads").replaceChildren(...state.leads.map((at, i) => {
    const line = document.createElement("li");
    line.append(Object.assign(document.createElement("span"), { className: "tip " + tips[i][0], textContent: tips[i][1] }),
      document.createTextNode(state.leads.length === 1 ? "feed " + at : at));
    return line;
  }));
}

function showReading() {
  showLeads();
  $("clamp").hidden = state.leads.length > 1;
  $("long").hidden = !state.long;
  $("long").textContent = state.long ? "This needs " + state.long.replace(/^with /, "") + "." : "";
  $("number").readOnly = !typed() || !mayWrite;
  $("keys").hidden = !typed() || !mayWrite;
  $("autolabel").hidden = typed() || !mayWrite;
  $("owner").hidden = !state.own || !mayWrite;
  $("own").textContent = typing ? "Use the meter on the port" : "Type what another meter shows";
  const units = typed() ? state.units : [live.unit || state.units[0]];
  if (units.join() !== [...$("unit").options].map((o) => o.value).join()) {
    $("unit").replaceChildren(...units.map((u) => new Option(u === "degC" ? "°C" : u, u)));
  }
  $("unit").disabled = !typed();
}

function showLive() {
  if (!state || state.task !== "read" || typed()) {
    $("why").textContent = "";
    $("number").classList.remove("settled");
    $("take").ariaDisabled = "false";
    return;
  }
  const here = live.on && (!live.text || JSON.stringify(live.place) === JSON.stringify(state.place)); // not of the place before
  const settled = here && live.settled;
  $("number").value = here ? live.text : "";
  if (live.unit && $("unit").value !== live.unit) $("unit").replaceChildren(new Option(live.unit, live.unit));
  if (settled && !$("number").classList.contains("settled")) say.tones.settled();
  if (settled && $("auto").checked && mayWrite && !state.again && !taking && refused !== moment()) order("take"); // what is refused is left to the person
  $("number").classList.toggle("settled", settled);
  $("why").textContent = settled ? "settled" : here ? live.why : "no value from the meter yet";
  $("take").ariaDisabled = String(!here || !live.text); // a button that is disabled would lose the focus at each place
}

// tell speaks and sounds what is new.
function tell() {
  const now = state.number + state.task + state.spoken + state.again;
  if (now === spoken || !started) return;
  spoken = now;
  if (state.task === "done") say.tones.done();
  else if (state.again) say.tones.again();
  else say.tones.next();
  say.speak(state.spoken);
}

function show(next) {
  if (state && (next.number < state.number || next.number === state.number && next.learned < state.learned)) return; // it comes late
  state = next;
  $("plan").textContent = !state.ready ? state.problem || "The plan is being made …" : state.begun ? "This walk goes on: " + state.progress + "." :
    state.task === "done" ? state.headline : state.left + " readings are planned.";
  list($("ahead"), state.warnings);
  $("begin").disabled = !state.ready;
  if (mayWrite && state.begun) $("begin").textContent = "Go on";
  if (!started || !state.ready) return;
  $("progress").textContent = state.progress + (state.problem ? ". " + state.problem : "");
  $("again").hidden = !state.again;
  $("again").textContent = state.again;
  $("skip").textContent = state.again ? "Withdraw it" : "Leave out";
  $("walk").classList.toggle("again", Boolean(state.again));
  $("walk").classList.toggle("ended", state.task === "done");
  document.body.classList.toggle("walking", !state.paused && state.task !== "done");
  document.body.dataset.shown = state.number + " " + state.learned;
  only(state.paused ? "paused" : { step: "set", read: "read", learning: "learning", done: "done" }[state.task]);
  if (state.task === "step") {
    $("step").textContent = state.step;
    $("levels").textContent = state.levels;
    $("lights").hidden = !state.lit;
  }
  if (state.task === "read") {
    const place = JSON.stringify(state.place);
    if (asked !== place && typed()) $("number").value = "";
    asked = place;
    showReading();
  }
  if (state.task === "done") {
    $("headline").textContent = state.headline;
    $("verdict").hidden = !state.verdict;
    list($("rest"), state.rest);
    $("verdict").className = "verdict " + state.verdict;
    $("verdict").querySelector("b").textContent = state.verdict.toUpperCase();
    $("verdict").querySelector("span").textContent = state.failing ? "over its limit: " + state.failing : "";
    $("settled").open = true;
    $("truth").textContent = state.truth ? "The simulated fault: " + state.truth + "." : "";
  }
  list($("warnings"), [...(state.missed ?? []), ...(state.warnings ?? [])]);
  $("results").replaceChildren(...(state.results ?? []).map((e) => {
    const line = document.createElement("tr");
    line.innerHTML = '<td><span class="word"></span></td><th scope="row" class="what"></th><td class="n"></td>';
    line.querySelector(".word").classList.add(e.verdict);
    line.querySelector(".word").textContent = e.verdict;
    line.querySelector("th").textContent = e.name;
    line.querySelector(".n").textContent = e.value;
    return line;
  }));
  $("undo").disabled = !mayWrite || !state.undo;
  $("redo").disabled = !mayWrite || !state.redo;
  $("pause").disabled = !mayWrite || state.paused || state.task === "done";
  for (const id of ["shown", "skipstep", "skip", "take", "resume", "anew"]) $(id).disabled = !mayWrite;
  showLive();
  drawPicture();
  tell();
}

function key(text) {
  const at = $("number");
  if (text === "⌫") at.value = at.value.slice(0, -1);
  else if (text === "±") at.value = at.value.startsWith("-") ? at.value.slice(1) : "-" + at.value;
  else at.value += text;
}

for (const text of ["1", "2", "3", "4", "5", "6", "7", "8", "9", "0", "±", ".", "⌫"]) {
  const button = Object.assign(document.createElement("button"), { type: "button", textContent: text });
  button.setAttribute("aria-label", { "⌫": "Delete the last digit", "±": "Change the sign", ".": "Point" }[text] ?? text);
  if (text === "⌫") button.classList.add("delete");
  button.onclick = () => key(text);
  $("keys").append(button);
}

$("begin").onclick = () => {
  started = true;
  say.unlock();
  $("start").hidden = true;
  $("walk").classList.add("going");
  $("going").hidden = false;
  if (state?.paused && mayWrite) order("resume");
  if (state) show(state);
};
$("shown").onclick = () => order("shown");
$("skipstep").onclick = () => order("skip step");
$("auto").onchange = showLive;
$("own").onclick = () => {
  typing = !typing;
  $("number").value = "";
  show(state);
};
$("skip").onclick = () => order("skip");
$("value").onsubmit = (event) => {
  event.preventDefault();
  if ($("take").ariaDisabled === "true") return;
  if (typed()) order("type", { value: $("number").value, unit: $("unit").value });
  else order("take");
};
for (const id of ["undo", "redo", "pause", "resume"]) $(id).onclick = () => order(id);
$("anew").onclick = () => order("again");
$("noteform").onsubmit = async (event) => {
  event.preventDefault();
  await order("note", { text: $("note").value });
  if (!$("fault").textContent) {
    $("note").value = "";
    $("noting").open = false;
  }
};
for (const name of ["tone", "speech"]) {
  const button = $(name);
  const label = () => button.textContent = (name === "tone" ? "Tone" : "Speech") + (say.on[name] ? " on" : " off");
  label();
  button.onclick = () => {
    say.set(name, !say.on[name]);
    label();
    if (name === "speech" && say.on.speech && state) say.speak(state.spoken);
  };
}
$("speech").hidden = !say.canSpeak;
addEventListener("resize", () => state && started && drawPicture());

listen("/walk/events", { walk: show, live: (now) => { live = now; showLive(); } }, (well, why) => {
  if (well) refused = ""; // it may be sent again
  showGone(document.querySelector(".gone"), well, why);
});
