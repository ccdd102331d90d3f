// The questions that describe a run, one at a time. The server checks each answer and draws the run.

const form = document.getElementById("draft"), $ = (id) => document.getElementById(id);
const questions = form ? [...form.querySelectorAll("fieldset")] : [];
let at = 0, asked = null, checks = 0, width = 0, file = "";

const changed = new Set(); // the questions that were answered; the others follow from them

function answers() {
  return Object.fromEntries([...new FormData(form)].filter(([key]) => changed.has(key)));
}

// shown are the questions that make sense with the answers so far, and the last page.
function shown() {
  return questions.filter((q) => !asked || q.dataset.key === "file" || asked.includes(q.dataset.key));
}

async function send(path) {
  width = $("picture").clientWidth || width; // it is hidden where its ways to be fed are shown
  const answer = await fetch(path, { method: "POST", headers: { "Content-Type": "application/json" },
    body: JSON.stringify({ answers: answers(), file: form.elements.file.value.trim(), width }) });
  return [answer.ok, await answer.json()];
}

// check returns whether the answers up to the question that is shown are right.
async function check() {
  const mine = ++checks;
  let ok, body;
  try {
    [ok, body] = await send("/new/check");
  } catch {
    $("run").textContent = "The program does not answer. Try again.";
    return false;
  }
  if (mine !== checks) return false;
  if (!ok) {
    $("run").textContent = body.error;
    return false;
  }
  asked = body.asked;
  file = body.file;
  for (const q of questions) q.querySelector(".fault").textContent = body.faults[q.dataset.key] ?? "";
  for (const [key, value] of Object.entries(body.values)) {
    if (changed.has(key)) continue;
    const box = form.querySelector(`[name="${key}"]`);
    if (box.type !== "radio") box.value = value;
  }
  $("run").textContent = body.run;
  if (body.picture) $("picture").innerHTML = body.picture; // the server's own picture, whose texts are escaped
  for (const [word, svg] of Object.entries(body.fed ?? {})) {
    const place = form.querySelector(`[data-key="fed"] [data-word="${word}"]`);
    if (svg) place.innerHTML = svg;
  }
  return !body.faults[shown()[at].dataset.key];
}

function show(to) {
  const list = shown();
  at = Math.max(0, Math.min(to, list.length - 1));
  for (const q of questions) q.hidden = q !== list[at];
  $("walk").classList.toggle("again", list[at].dataset.key === "fed");
  document.body.classList.toggle("walking", at > 0);
  $("before").hidden = at > 0;
  $("back").disabled = at === 0;
  $("next").textContent = at === list.length - 1 ? "Write the file and begin" : "Next";
  $("count").textContent = at === list.length - 1 ? "" : `Question ${at + 1} of ${list.length - 1}`;
  const first = list[at].querySelector("input:checked") ?? list[at].querySelector("input");
  first.focus();
  if (first.type !== "radio") first.select();
  if (list[at].dataset.key === "file" && !changed.has("file")) first.value = file;
}

async function write() {
  const fault = questions.at(-1).querySelector(".fault");
  $("next").disabled = true;
  try {
    const [ok, body] = await send("/new/write");
    if (ok) location.assign(body.to);
    else fault.textContent = body.error;
  } catch {
    fault.textContent = "The program does not answer. Try again.";
  } finally {
    $("next").disabled = false;
  }
}

if (form) {
  form.onsubmit = async (event) => {
    event.preventDefault();
    if (shown()[at].dataset.key === "file") await write();
    else if (await check()) show(at + 1);
  };
  form.oninput = (event) => changed.add(event.target.name);
  form.onchange = () => check();
  $("back").onclick = () => show(at - 1);
  check();
  show(0);
}
