/* Part two, one picture at a time: how sharp, then how far by eye, then measured. */
const side = document.getElementById("side");
const staff = document.getElementById("staff");
const byId = (id) => document.getElementById(id);
const [NEAREST, FARTHEST] = [0.5, 20];
let place = 0; // in the order of the draw
let measure = Object.keys(data.measures)[0];
let adding = false; // one more person in this frame
let hovered = null;
let timer = null;

const current = () => inOrder[place];
const following = (n) => inOrder.slice(place + 1, place + 1 + n);
const feet = () => state.options.feet;

/** What this picture is asked next. */
function step() {
  const answer = answerOf(current());
  if (answer.sharp === undefined || answer.skipped) return "sharp";
  if (answer.guess === undefined && !answer.people?.length && !answer.nobody) return "guess";
  return "measure";
}

function say(text) {
  byId("said").textContent = text;
  notify(text);
}

function stayHere() {
  clearTimeout(timer);
  timer = null;
  byId("next").classList.remove("soon");
}

function goTo(index) {
  stayHere();
  byId("finished").hidden = true;
  stage.parentElement.hidden = false;
  place = index;
  [ends, adding, looked, loupeAt] = [[], false, false, [0.5, 0.5]];
  toggleLoupe(false);
  if (byId("typing").contains(document.activeElement)) document.activeElement.blur(); // the next key is no text
  byId("typing").open = false;
  const frame = frameOf.get(current());
  const first = answerOf(current()).people?.[0];
  if (first?.ends) [ends, measure] = [structuredClone(first.ends), first.measure];
  else propose(frame);
  layOut();
  drawFrame();
}

/** Handles proposed from the pictures: shown when the frame's turn comes, never as an answer. */
function propose(frame) {
  const proposal = frame.proposals?.[0];
  if (!proposal || !data.measures[proposal.measure]) return;
  measure = proposal.measure;
  ends = structuredClone(proposal.ends);
}

function next() {
  const open = (index) => !isDone(answerOf(inOrder[index])) && !answerOf(inOrder[index]).skipped;
  const later = inOrder.findIndex((_, index) => index > place && open(index));
  const any = later >= 0 ? later : inOrder.findIndex((_, index) => open(index));
  if (any >= 0) goTo(any);
  else finish();
}

function finish() {
  stayHere();
  byId("finished").hidden = false;
  stage.parentElement.hidden = true;
  byId("finished").querySelector("h2").focus();
}

function judgeSharp(sharp, reason) {
  const [shown, own] = widths();
  if (sharp !== "unsure" && tooFew()) return;
  const change = { sharp, sharp_seen: looked ? "pixels" : "shown", shown_px: looked ? own : shown, reason, skipped: false };
  toggleLoupe(false);
  changeFrame(current(), change);
  drawFrame();
  byId(step() === "guess" ? "ask-guess" : "ask-measure").querySelector("h2").focus({ preventScroll: true });
}

function tooFew() {
  const [shown, own] = widths();
  return own < 0.99 * shown;
}

function guess(metres) {
  changeFrame(current(), { guess: metres });
  drawFrame();
  byId("measure-title").focus({ preventScroll: true });
}

function setPerson(person, isNew = true) {
  const people = [...(answerOf(current()).people ?? [])];
  if (adding && isNew) people.push(person);
  else people[adding ? people.length - 1 : 0] = person;
  changeFrame(current(), { people, nobody: undefined });
}

/** A stroke is finished, or a handle was moved: the reading is the answer. */
function measured(isNew) {
  const share = shareBetween(ends, measure);
  if (share < 0.004) {
    ends = [];
    drawEnds();
    return;
  }
  const frame = frameOf.get(current());
  setPerson({ measure, share, reading: data.pointing_px * Math.SQRT2 / mat.clientHeight, ends: structuredClone(ends) }, isNew);
  drawFrame();
  if (isNew && state.options.goesOn && distanceOf(frame, { measure, share, reading: 0 }) && !matchMedia("(prefers-reduced-motion: reduce)").matches) {
    byId("next").classList.add("soon");
    timer = setTimeout(next, data.goes_on_ms);
  }
}

function leaveByEye() {
  const metres = answerOf(current()).guess;
  if (!metres) return;
  setPerson({ measure: "by eye", m: metres });
  next();
}

const y = (metres) => 100 - 100 * Math.log(metres / NEAREST) / Math.log(FARTHEST / NEAREST);
/** A distance as people would say it. */
function nice(metres) {
  const unit = feet() ? METRES_PER_FOOT : 1;
  const value = metres / unit;
  const grain = feet() ? (value < 8 ? 0.5 : value < 20 ? 1 : 5) : value < 2 ? 0.1 : value < 4 ? 0.25 : value < 8 ? 0.5 : 1;
  return Number((Math.max(grain, Math.round(value / grain) * grain) * unit).toFixed(4));
}

function drawStaff() {
  const answer = answerOf(current());
  staff.classList.toggle("asking", step() === "guess");
  const height = staff.clientHeight;
  const roomy = height > 190;
  const marks = feet() ? [2, 3, ...(roomy ? [4] : []), 5, 7, 10, 15, 20, 30, 50].map((ft) => ft * METRES_PER_FOOT) : [0.5, 0.7, 1, ...(roomy ? [1.5] : []), 2, ...(height > 250 ? [2.5] : []), 3, ...(roomy ? [4] : []), 5, 7, 10, 15];
  const at = (metres) => y(Math.min(Math.max(metres, NEAREST), FARTHEST)) / 100 * (height - 16) + 8;
  const parts = [`<line x1="84" x2="84" y1="4" y2="${height - 4}"/>`];
  for (const mark of marks) parts.push(`<line x1="78" x2="90" y1="${at(mark)}" y2="${at(mark)}"/><text x="98" y="${at(mark) + 4}">${written(mark, feet())}</text>`);
  if (answer.guess) parts.push(`<path class="eye" d="M76 ${at(answer.guess)}l-11 -6v12z"/><text x="60" y="${at(answer.guess) + 4}" text-anchor="end">by eye</text>`);
  const reading = readNow();
  if (reading && step() === "measure") {
    const sd = reading.sd ?? 0;
    parts.push(`<rect class="zone" x="79" width="10" y="${at(reading.m * (1 + sd))}" height="${Math.max(2, at(reading.m * (1 - sd)) - at(reading.m * (1 + sd)))}"/><line class="at" x1="72" x2="96" y1="${at(reading.m)}" y2="${at(reading.m)}"/><text x="152" y="${at(reading.m) + 4}" font-weight="600">${written(reading.m, feet())}</text>`);
  }
  if (hovered && step() === "guess") parts.push(`<line class="hover" x1="70" x2="140" y1="${at(hovered)}" y2="${at(hovered)}"/><text x="152" y="${at(hovered) + 4}" font-weight="600">${written(hovered, feet())}</text>`);
  staff.innerHTML = `<svg aria-hidden="true">${parts.join("")}</svg>`;
  const value = answer.guess ?? hovered ?? 2;
  staff.setAttribute("aria-valuemin", String(NEAREST));
  staff.setAttribute("aria-valuemax", String(FARTHEST));
  staff.setAttribute("aria-valuenow", value.toFixed(2));
  staff.setAttribute("aria-valuetext", answer.guess ? written(answer.guess, feet()) : hovered ? written(hovered, feet()) : "not said");
  staff.setAttribute("aria-disabled", String(step() !== "guess"));
}

/** What the handles or the last answer tell. */
function readNow() {
  const frame = frameOf.get(current());
  if (ends.length === 2) return distanceOf(frame, { measure, share: shareBetween(ends, measure), reading: data.pointing_px * Math.SQRT2 / mat.clientHeight });
  const person = answerOf(current()).people?.at(-1);
  return person ? distanceOf(frame, person) : null;
}

function showReading() {
  const reading = readNow();
  const frame = frameOf.get(current());
  byId("reading").textContent = reading ? written(reading.m, feet()) : "";
  const share = ends.length === 2 ? `${(100 * shareBetween(ends, measure)).toFixed(1)} % of the height` : "";
  const why = !focalOf(frame) ? "the lens is not known yet: What was set" : !sensorOf(frame) ? "the sensor is not known yet: What was set"
    : !pictureHeight(sensorOf(frame), frame.width, frame.height) ? "this picture was cut, or its sensor has another shape" : "";
  byId("reading-sd").textContent = reading?.sd ? `± ${written(reading.m * reading.sd, feet())} · ${data.measures[measure]?.name ?? ""}`
    : share && why ? `${share}; no distance, since ${why}` : share;
  drawStaff();
}

function drawFrame() {
  if (!current()) return;
  const [frame, answer, at] = [frameOf.get(current()), answerOf(current()), step()];
  const [shown, own] = widths();
  byId("which").textContent = `${frame.name} · ${place + 1} of ${inOrder.length}`;
  byId("shown-as").textContent = `${frame.src ? "" : "preview, "}${own ? `${own} px, ` : ""}${shown} px shown`;
  for (const name of ["sharp", "guess", "measure"]) byId(`ask-${name}`).hidden = at !== name;
  staff.hidden = at === "sharp";
  byId("guess-form").hidden = at !== "guess";
  byId("measure-tools").hidden = at !== "measure";
  mat.classList.toggle("measuring", at === "measure");
  const few = tooFew();
  byId("too-few").hidden = !few;
  byId("too-few").textContent = `The file has ${own} pixels across and ${shown} are shown: too few to tell, so only unsure can be said.`;
  for (const button of document.querySelectorAll("[data-sharp]")) {
    button.disabled = few && button.dataset.sharp !== "unsure";
    const pressed = answer.sharp === button.dataset.sharp && (answer.reason ?? "") === (button.dataset.reason ?? "");
    button.setAttribute("aria-pressed", String(pressed));
  }
  if (at === "measure") drawEnds();
  else for (const old of mat.querySelectorAll(".ends, .handle")) old.remove();
  const has = answer.people?.length > 0;
  byId("measure-title").textContent = adding ? "One more person." : has ? "Measured." : ends.length === 2 ? "Right like this? Move the handles, or draw anew." : `Draw from ${data.measures[measure].ends[0]} to ${data.measures[measure].ends[1]}.`;
  byId("by-eye").hidden = !answer.guess || has;
  byId("by-eye").innerHTML = `Leave it at about ${answer.guess ? written(answer.guess, feet()) : ""} <kbd>B</kbd>`;
  byId("another").hidden = !has || (adding && ends.length < 2);
  byId("verdict").hidden = at === "sharp";
  byId("verdict").firstElementChild.textContent = `${{ yes: "Sharp enough", no: "Not sharp enough", unsure: "Unsure" }[answer.sharp] ?? ""}${answer.reason ? `, ${answer.reason}` : ""}`;
  byId("nobody").hidden = has;
  byId("next").disabled = !has && !(ends.length === 2);
  for (const button of byId("measures").children) button.setAttribute("aria-pressed", String(button.dataset.measure === measure));
  for (const unit of document.querySelectorAll(".unit")) unit.textContent = feet() ? "ft" : "m";
  byId("back").disabled = place === 0;
  showReading();
}

const DRAWN = { standing: "M6 3h12M6 29h12", head_shoulder: "M6 3h12M6 9.6h12", face: "M7 5h10M7 8h10", pupils: "M10.2 2v5M13.8 2v5", shoulders: "M6.5 7v8M17.5 7v8", seated: "M6 3h12M6 18h12" };
function buildMeasures() {
  const body = `<path class="body" d="M12 3a3 3 0 0 1 1.5 5.4l4 2 .8 9h-2l-.8 9.6h-2.5L12 20l-1 9H8.500l-.8-9.600h-2l.8-9 4-2A3 3 0 0 1 12 3z"/>`;
  Object.entries(data.measures).forEach(([name, { name: words }], i) => {
    const button = element("button", { type: "button", title: words });
    button.dataset.measure = name;
    button.innerHTML = `<svg viewBox="0 0 24 32" aria-hidden="true">${body}<path class="span" d="${DRAWN[name]}"/></svg><kbd>${i + 1}</kbd><span class="unseen"> ${words}</span>`;
    button.addEventListener("click", () => pickMeasure(name));
    byId("measures").append(button);
  });
}

function pickMeasure(name) {
  stayHere();
  measure = name;
  if (answerOf(current()).people?.length && !adding && ends.length === 2) ends = [];
  drawFrame();
}

function typeIt(event) {
  event.preventDefault();
  stayHere();
  const form = event.target.elements;
  const wrong = byId("typing").querySelector(".wrong");
  const share = form.share.value.trim().replace(",", ".").match(/^(\d+(?:\.\d+)?) ?%$|^(0?\.\d+)$/);
  const metres = form.distance.value.split(";").filter((one) => one.trim()).map((one) => parseDistance(one, feet() ? "ft" : "m"));
  wrong.textContent = "";
  if (form.share.value.trim() && share) {
    const value = share[1] ? Number(share[1]) / 100 : Number(share[2]);
    setPerson({ measure, share: value, reading: data.reading_sd });
    ends = [];
    drawFrame();
  } else if (metres.length && metres.every((m) => m && m !== Infinity)) {
    const [people, typed] = [answerOf(current()).people ?? [], metres.map((m) => ({ measure: "typed", m }))];
    changeFrame(current(), { people: adding ? [...people, ...typed] : [...typed, ...people.slice(typed.length)], nobody: undefined });
    event.target.reset();
    next();
    return;
  } else {
    wrong.textContent = "Write 2.5m, for several people 6ft; 13ft, or a share like 47%.";
    return;
  }
  event.target.reset();
}

function undoHere() {
  const done = undo("frames");
  if (!done) return;
  goTo(done.at ?? inOrder.indexOf(done.file));
}

new ResizeObserver(() => { if (current() && part === "frames") drawStaff(); }).observe(staff);
staff.addEventListener("pointermove", (event) => { if (step() === "guess") { hovered = atStaff(event); drawStaff(); } });
staff.addEventListener("pointerleave", () => { hovered = null; drawStaff(); });
staff.addEventListener("click", (event) => { if (step() === "guess") { hovered = null; guess(atStaff(event)); } });
function atStaff(event) {
  const box = staff.getBoundingClientRect();
  const share = Math.min(Math.max((event.clientY - box.top - 8) / (box.height - 16), 0), 1);
  return nice(NEAREST * (FARTHEST / NEAREST) ** (1 - share));
}
staff.addEventListener("keydown", (event) => {
  if (step() !== "guess") return;
  const by = { ArrowUp: 1.1, ArrowRight: 1.1, ArrowDown: 1 / 1.1, ArrowLeft: 1 / 1.1, PageUp: 1.5, PageDown: 1 / 1.5 }[event.key];
  if (by) {
    const before = hovered ?? 2;
    hovered = Math.min(Math.max(nice(before * by) === before ? before * by ** 2 : nice(before * by), NEAREST), FARTHEST);
    event.preventDefault();
    drawStaff();
  } else if (event.key === "Enter" && hovered) {
    event.preventDefault();
    event.stopPropagation();
    const metres = hovered;
    hovered = null;
    guess(metres);
  }
});
byId("guess-form").addEventListener("submit", (event) => {
  event.preventDefault();
  const metres = parseDistance(byId("guess").value, feet() ? "ft" : "m");
  if (!metres || metres === Infinity) return say("Write it like 2.5, 2.5m or 8ft.");
  byId("guess").value = "";
  guess(metres);
});
byId("no-guess").addEventListener("click", noGuess);
function noGuess() {
  changeFrame(current(), { guess: null });
  drawFrame();
  byId("measure-title").focus({ preventScroll: true });
}
for (const button of document.querySelectorAll("[data-sharp]")) button.addEventListener("click", () => judgeSharp(button.dataset.sharp, button.dataset.reason));
byId("look").addEventListener("click", () => toggleLoupe());
byId("judge-again").addEventListener("click", () => {
  stayHere();
  changeFrame(current(), { sharp: undefined });
  looked = false;
  drawFrame();
});
byId("look-again").addEventListener("click", () => goTo(0));
byId("by-eye").addEventListener("click", leaveByEye);
byId("nobody").addEventListener("click", nobody);
byId("another").addEventListener("click", another);
byId("type-form").addEventListener("submit", typeIt);
byId("next").addEventListener("click", accept);
byId("skip").addEventListener("click", skip);
byId("undo").addEventListener("click", undoHere);
byId("back").addEventListener("click", () => { if (place) goTo(place - 1); });

function nobody() {
  changeFrame(current(), { nobody: true, people: [] });
  next();
}
function another() {
  stayHere();
  [adding, ends] = [true, []];
  drawFrame();
}
function skip() {
  changeFrame(current(), { skipped: true });
  next();
}
/** Next; handles that were proposed and left as they are count as an answer. */
function accept() {
  if (step() !== "measure") return;
  if (!answerOf(current()).people?.length && ends.length === 2) measured(false);
  if (answerOf(current()).people?.length) next();
}
