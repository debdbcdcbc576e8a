/* What was answered: kept in the browser under the sample's identity, merged over tabs, saved as a file. */
const KEY = `sheet ${data.sample}`;
const frameOf = new Map(data.frames.map((frame) => [frame.file, frame]));
const inOrder = data.frames.map((frame) => frame.file);
let state = { presets: data.presets, starts: [], sensors: {}, markers: {}, frames: {}, settingsAt: "", options: { feet: data.units === "ft", goesOn: true, letters: true } };
let stored = true;
let savedAt = "";
const undone = [];
const listeners = [];

const now = () => new Date().toISOString();
const answerOf = (file) => state.frames[file] ?? {};

function readStored() {
  try {
    return JSON.parse(localStorage.getItem(KEY) ?? "null");
  } catch {
    stored = false;
    return null;
  }
}

/** Merge another tab's or file's answers: of two answers to one frame the later one holds. */
function mergeIn(other) {
  for (const [file, answer] of Object.entries(other.frames ?? {})) {
    if (frameOf.has(file) && (answer.answered ?? "") > (answerOf(file).answered ?? "")) state.frames[file] = answer;
  }
  if ((other.settingsAt ?? "") > state.settingsAt) {
    for (const name of ["presets", "starts", "sensors", "markers", "settingsAt"]) state[name] = other[name];
  }
}

function keep() {
  const other = readStored();
  if (other) mergeIn(other);
  try {
    localStorage.setItem(KEY, JSON.stringify(state));
  } catch {
    stored = false;
  }
  for (const listener of listeners) listener();
}

function changeFrame(file, change) {
  undone.push({ file, before: structuredClone(state.frames[file] ?? null), at: place });
  state.frames[file] = { ...answerOf(file), ...change, answered: now() };
  keep();
}

function changeSettings(change) {
  undone.push({ settings: structuredClone([state.presets, state.starts, state.sensors, state.markers]) });
  change();
  state.settingsAt = now();
  keep();
}

function undo(part) {
  const index = undone.findLastIndex((step) => (part === "settings") === Boolean(step.settings));
  if (index < 0) return null;
  const [step] = undone.splice(index, 1);
  if (step.settings) {
    [state.presets, state.starts, state.sensors, state.markers] = step.settings;
    state.settingsAt = now();
  } else {
    state.frames[step.file] = { ...(step.before ?? {}), answered: now() };
  }
  keep();
  return step;
}

const isDone = (answer) => answer.sharp !== undefined && (answer.people?.length > 0 || answer.nobody === true);

/** The setting on the lens when a frame was taken: the last change of its camera and session before it. */
function settingOf(frame) {
  const before = state.starts.filter((start) => start.camera === frame.camera && start.session === frame.session && start.rank <= frame.rank);
  const last = before.reduce((one, start) => (one === null || start.rank >= one.rank ? start : one), null);
  return last === null ? null : state.presets.find((preset) => preset.name === last.preset) ?? null;
}

function focalOf(frame) {
  const preset = settingOf(frame);
  const typed = parseFloat(String(preset?.focal_length ?? "").replace(",", "."));
  return frame.focal_mm ?? (typed > 0 ? typed : null);
}

const sensorOf = (frame) => sensorSides(state.sensors[frame.camera]) ?? frame.sensor;

/** Distance of one person: measured by a share, typed, or left at the guess. */
function distanceOf(frame, person) {
  if (person.measure === "typed") return { m: person.m, sd: null };
  if (person.measure === "by eye") return { m: person.m, sd: judged().guess_sd ?? data.guess_sd };
  const [focal, height] = [focalOf(frame), pictureHeight(sensorOf(frame), frame.width, frame.height)];
  return focal && height ? distanceOfShare(person.share, person.measure, focal, height, person.reading) : null;
}

function guessPairs() {
  return inOrder.flatMap((file) => {
    const [answer, frame] = [answerOf(file), frameOf.get(file)];
    const person = answer.people?.[0];
    if (answer.skipped || !answer.guess || !person?.share) return [];
    const measured = distanceOf(frame, person);
    return measured ? [{ guess: answer.guess, ...measured }] : [];
  });
}

const judged = () => judgeGuesses(guessPairs());

/** The contents of sheet.json. */
function sheetFile() {
  const rounded = (value, digits) => (Number.isFinite(value) ? Number(value.toPrecision(digits)) : null);
  const frames = inOrder.filter((file) => answerOf(file).answered).map((file) => {
    const [frame, answer] = [frameOf.get(file), answerOf(file)];
    const people = answer.people ?? [];
    const measured = people.map((person) => distanceOf(frame, person));
    return {
      file, measure: people[0]?.measure ?? (answer.nobody ? "nobody" : null), share: rounded(people[0]?.share, 6),
      distances: measured[0] ? measured.filter(Boolean).map((one) => rounded(one.m, 5)) : [], sd: rounded(measured[0]?.sd, 4),
      guess: rounded(answer.guess, 5), sharp: answer.sharp ?? null, sharp_seen: answer.sharp_seen ?? null,
      shown_px: answer.shown_px ?? null, reason: answer.reason ?? null, skipped: answer.skipped === true, answered: answer.answered,
    };
  });
  const cameras = data.cameras.map(({ name }) => ({ name, sensor: state.sensors[name] ?? null }));
  return {
    sample: data.sample, cameras, presets: state.presets, stretches: stretchesOf(state.starts),
    markers: Object.keys(state.markers).filter((name) => state.markers[name] === true), frames,
  };
}

/** Changes as stretches: each begins with its frame and ends where the next one of its camera and session does. */
function stretchesOf(starts) {
  const sorted = starts.toSorted((a, b) => a.rank - b.rank);
  return sorted.filter((start) => start.preset !== null).map((start) => {
    const next = sorted.find((other) => other.camera === start.camera && other.session === start.session && other.rank > start.rank);
    const stretch = { preset: start.preset, from: start.label };
    if (next) stretch.to = next.label;
    if (start.camera) stretch.camera = start.camera;
    return stretch;
  });
}

/** Take a sheet.json back into the page. */
function loadSheet(sheet) {
  if (sheet?.sample !== data.sample || !Array.isArray(sheet.frames)) return false;
  const frames = {};
  for (const one of sheet.frames) {
    const answer = { answered: one.answered, skipped: one.skipped === true };
    for (const name of ["guess", "sharp", "sharp_seen", "shown_px", "reason"]) if (one[name] !== null) answer[name] = one[name];
    const [first, ...others] = one.distances ?? [];
    if (one.share) answer.people = [{ measure: one.measure, share: one.share, reading: data.reading_sd }];
    else if (first) answer.people = [{ measure: one.measure === "by eye" ? "by eye" : "typed", m: first }];
    else if (one.measure === "nobody") answer.nobody = true;
    for (const m of others) answer.people?.push({ measure: "typed", m });
    frames[one.file] = answer;
  }
  mergeIn({ frames });
  const shots = new Map(data.rolls.flatMap((roll) => roll.groups.flatMap((group) => group.frames)).map((shot) => [shot.label, shot]));
  if (sheet.stretches?.length || sheet.cameras?.some((camera) => camera.sensor)) {
    const starts = [];
    for (const stretch of sheet.stretches ?? []) {
      const from = shots.get(stretch.from);
      if (from) starts.push({ ...placeOf(from), preset: stretch.preset });
      const to = shots.get(stretch.to);
      if (to && !sheet.stretches.some((other) => other.from === stretch.to)) starts.push({ ...placeOf(to), preset: null });
    }
    const sensors = Object.fromEntries((sheet.cameras ?? []).filter((camera) => camera.sensor).map((camera) => [camera.name, camera.sensor]));
    const markers = Object.fromEntries((sheet.markers ?? []).map((name) => [name, true]));
    mergeIn({ presets: sheet.presets ?? [], starts, sensors, markers, settingsAt: now() });
  }
  keep();
  return true;
}

const placeOf = (shot) => ({ camera: shot.camera, session: shot.session, rank: shot.rank, label: shot.label });

function saveFile() {
  const link = document.createElement("a");
  link.href = URL.createObjectURL(new Blob([`${JSON.stringify(sheetFile(), null, 1)}\n`], { type: "application/json" }));
  link.download = "sheet.json";
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 60000);
  savedAt = now();
}
