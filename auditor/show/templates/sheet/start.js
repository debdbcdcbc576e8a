/* Puts the page together: the three parts, the keys, and what is kept. */
let part = "";
let reminded = false;
let startsEmpty = false;
const notice = byId("notice");

function notify(text, lasting = false) {
  notice.hidden = !text;
  notice.firstElementChild.textContent = text;
  clearTimeout(notify.timer);
  if (!lasting && text) notify.timer = setTimeout(() => { notice.hidden = true; }, 8000);
}
notice.querySelector("button").addEventListener("click", () => notify(""));

function show(wanted) {
  stayHere();
  part = wanted;
  for (const name of ["settings", "frames", "over"]) byId(name).hidden = name !== wanted;
  for (const button of document.querySelectorAll("nav [data-part]")) button.setAttribute("aria-current", String(button.dataset.part === wanted));
  document.body.classList.toggle("looking", wanted === "frames");
  if (wanted === "settings") drawSettings();
  if (wanted === "over") drawOver();
  if (wanted === "frames" && inOrder.length) {
    const open = inOrder.findIndex((file) => !isDone(answerOf(file)) && !answerOf(file).skipped);
    if (open < 0) finish();
    else goTo(isDone(answerOf(current())) || answerOf(current()).skipped ? open : place);
  }
}

function drawProgress() {
  const answers = inOrder.map(answerOf);
  const done = answers.filter((answer) => isDone(answer) && !answer.skipped).length;
  const skipped = answers.filter((answer) => answer.skipped).length;
  byId("count").textContent = `${done} of ${inOrder.length}${skipped ? `, ${skipped} skipped` : ""}`;
  [...byId("ticks").children].forEach((tick, i) => {
    tick.className = `${answers[i].skipped ? "skipped" : isDone(answers[i]) ? "done" : ""}${part === "frames" && i === place ? " here" : ""}`;
  });
  if (done >= 20 && !savedAt && !reminded) {
    reminded = true;
    notify(stored ? "This browser keeps what is done. Save the file once in a while all the same: it is what is handed over." : "This browser keeps nothing from here: save the file before you close it.", true);
  }
}

listeners.push(drawProgress, () => {
  if (startsEmpty) notify("");
  startsEmpty = false;
  if (part === "settings") drawSettings();
  if (part === "over") drawOver();
});
byId("ticks").append(...inOrder.map(() => document.createElement("i")));
for (const button of document.querySelectorAll("[data-part]")) button.addEventListener("click", () => { show(button.dataset.part); drawProgress(); });
for (const name of ["save", "save-too"]) byId(name).addEventListener("click", () => { saveFile(); notify(`Saved as sheet.json. Go on with: ${data.command}`, true); });
byId("copy").addEventListener("click", () => navigator.clipboard?.writeText(data.command).then(() => notify("Copied.")).catch(() => notify("Select it by hand.")));
byId("load").addEventListener("click", () => byId("load-file").click());
byId("load-file").addEventListener("change", async (event) => {
  let taken = 0;
  for (const file of event.target.files) {
    try {
      taken += loadSheet(JSON.parse(await file.text()));
    } catch { /* said below */ }
  }
  notify(taken ? "Loaded. Of two answers to one picture the later one holds." : "That is no sheet.json of this sample.", true);
  event.target.value = "";
  show(part);
  drawProgress();
});
for (const [id, name] of [["feet", "feet"], ["goes-on", "goesOn"], ["letters", "letters"]]) {
  byId(id).addEventListener("change", (event) => { state.options[name] = event.target.checked; keep(); });
}

addEventListener("storage", (event) => {
  if (event.key !== KEY || !event.newValue) return;
  mergeIn(JSON.parse(event.newValue));
  drawProgress();
  if (part === "frames" && !drag) drawFrame();
  else if (part !== "frames") show(part);
});

const LETTERS = {
  sharp: { y: () => judgeSharp("yes"), n: () => judgeSharp("no"), u: () => judgeSharp("unsure"), s: () => judgeSharp("no", "soft"), m: () => judgeSharp("no", "moved"), l: () => toggleLoupe() },
  guess: { 0: noGuess },
  measure: { b: leaveByEye, p: nobody, o: () => { if (!byId("another").hidden) another(); }, t: () => { byId("typing").open = true; byId("type-form").elements.distance.focus(); } },
};
const ALWAYS = { x: skip, z: undoHere, j: () => byId("back").click() };

addEventListener("keydown", (event) => {
  const typing = event.target.matches("input, textarea, select");
  if (event.key === "Escape") {
    toggleLoupe(false);
    stayHere();
    if (typing) event.target.blur();
  }
  if (typing || event.ctrlKey || event.metaKey || event.altKey || !state.options.letters) return;
  const key = event.key.toLowerCase();
  if (part === "settings") {
    if (key === "z") undo("settings");
    else if (key === "0") choose(null);
    else if (/^[1-9]$/.test(key) && state.presets[key - 1]) choose(state.presets[key - 1].name);
    return;
  }
  if (part !== "frames" || !current() || stage.parentElement.hidden) {
    if (part === "frames" && key === "z") undoHere();
    return;
  }
  const at = step();
  const moves = { ArrowUp: [0, -1], ArrowDown: [0, 1], ArrowLeft: [-1, 0], ArrowRight: [1, 0] }[event.key];
  if (moves && !loupe.hidden) {
    loupeAt = loupeAt.map((share, i) => Math.min(Math.max(share + 0.02 * moves[i], 0), 1));
    drawLoupe();
    event.preventDefault();
  } else if (at === "guess" && /^[1-9.,]$/.test(key)) {
    byId("guess").focus(); // the key itself goes into the field
  } else if (at === "measure" && /^[1-6]$/.test(key)) {
    pickMeasure(Object.keys(data.measures)[key - 1]);
  } else if (key === "enter" && at === "measure" && !event.target.matches("button, summary")) {
    accept();
  } else {
    const act = LETTERS[at][key] ?? ALWAYS[key];
    if (act) {
      event.preventDefault();
      act();
    }
  }
  drawProgress();
});

const before = readStored();
if (before) {
  state = { ...state, ...before, options: { ...state.options, ...before.options } };
  mergeIn({ frames: before.frames ?? {} });
} else {
  startsEmpty = true;
  notify("This sheet starts empty here. Filled before, in another browser, or in a folder that has moved? Load your sheet.json.", true);
}
for (const [id, name] of [["feet", "feet"], ["goes-on", "goesOn"], ["letters", "letters"]]) byId(id).checked = state.options[name];
buildMeasures();
buildRolls();
place = Math.max(0, inOrder.findIndex((file) => !isDone(answerOf(file)) && !answerOf(file).skipped));
show(before && inOrder.length && Object.keys(before.frames ?? {}).length ? "frames" : data.rolls.length || data.cameras.some((camera) => camera.assumed) ? "settings" : inOrder.length ? "frames" : "over");
drawProgress();
