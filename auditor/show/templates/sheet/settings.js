/* Part one, what was set: presets as chips, each camera's frames in order of time, dark frames offered. */
const rollsBox = document.getElementById("rolls");
const chipsBox = document.getElementById("chips");
const presetForm = document.getElementById("new-preset");
let chosen = null; // a preset's name; null for not known
let lanes = []; // [button, shot]

function element(tag, properties = {}, ...children) {
  const made = Object.assign(document.createElement(tag), properties);
  made.append(...children);
  return made;
}

const presetWords = (preset) => [
  preset.focal_length?.replace(/(\d)(mm)/, "$1 $2"), preset.f_number ? `f/${preset.f_number}` : "",
  preset.focus_distance ? `ring on ${preset.focus_distance.replace(/(\d)([a-z])/, "$1 $2")}` : "",
].filter(Boolean).join(" ");

function drawChips() {
  const chip = (name, words, number) => {
    const button = element("button", { type: "button" });
    button.setAttribute("aria-pressed", String(chosen === name));
    const swatch = element("span", { className: `swatch ${name === null ? "" : `p${Math.min(number - 1, 5)}`}` });
    button.append(swatch, element("b", { textContent: name ?? "not known" }), ` ${words} `, element("kbd", { textContent: String(number) }));
    button.addEventListener("click", () => choose(name));
    return button;
  };
  const another = element("button", { type: "button", textContent: "+ another" });
  another.addEventListener("click", () => { presetForm.hidden = false; presetForm.elements.name.focus(); });
  const back = element("button", { type: "button", className: "plain", textContent: "Undo" });
  back.append(" ", element("kbd", { textContent: "Z" }));
  back.addEventListener("click", () => undo("settings"));
  chipsBox.replaceChildren(...state.presets.map((preset, i) => chip(preset.name, presetWords(preset), i + 1)), chip(null, "", 0), another, back);
}

function choose(name) {
  chosen = name;
  drawChips();
}

function addPreset(event) {
  event.preventDefault();
  const wrong = presetForm.querySelector(".wrong");
  const given = Object.fromEntries([...new FormData(presetForm)].map(([name, value]) => [name, value.trim()]));
  const preset = { name: given.name };
  const focal = given.focal_length.replace(",", ".").match(/^(\d+(?:\.\d+)?) ?(?:mm)?$/i);
  const stop = given.f_number.replace(",", ".").match(/^f? ?\/? ?(\d+(?:\.\d+)?)$/i);
  const fault = !given.name ? "Give it a name."
    : state.presets.some((other) => other.name === given.name) ? "That name is taken."
    : given.focal_length && !(focal && Number(focal[1]) > 0) ? "Write the focal length like 28 or 28mm."
    : given.f_number && !(stop && Number(stop[1]) > 0) ? "Write the f-number like 8."
    : given.focus_distance && parseDistance(given.focus_distance) === null ? "Write the ring's mark with its unit: 2.5m, 8ft or inf." : "";
  wrong.textContent = fault;
  if (fault) return;
  if (focal) preset.focal_length = `${focal[1]}mm`;
  if (stop) preset.f_number = Number(stop[1]);
  if (given.focus_distance) preset.focus_distance = given.focus_distance;
  changeSettings(() => { state.presets = [...state.presets, preset]; });
  presetForm.reset();
  presetForm.hidden = true;
  choose(preset.name);
  chipsBox.querySelector("[aria-pressed=true]").focus();
}

function drawCameras() {
  const box = document.getElementById("cameras");
  box.replaceChildren(...data.cameras.filter((camera) => camera.assumed).map((camera) => {
    const stated = state.sensors[camera.name];
    const part = element("div", { className: `camera${stated ? " stated" : ""}` });
    part.append(element("b", { textContent: camera.name ? `${camera.name}: how large is its sensor?` : "How large is the sensor, or the film?" }));
    part.append(element("p", { className: "hint", textContent: stated ? `Said: ${stated}.` : "Its files do not tell. Without it no distance can be measured." }));
    const row = element("div", { className: "chips" });
    for (const [words, sensor] of [["36×24 mm", "36x24"], ["APS-C, 1.5×", "23.6x15.7"], ["Four Thirds", "17.3x13"], ["1 inch", "13.2x8.8"]]) {
      const button = element("button", { type: "button", textContent: words });
      button.setAttribute("aria-pressed", String(stated === sensor));
      button.addEventListener("click", () => changeSettings(() => { state.sensors = { ...state.sensors, [camera.name]: sensor }; }));
      row.append(button);
    }
    const input = element("input", { size: 8, placeholder: "or 36x24" });
    input.addEventListener("change", () => {
      if (sensorSides(input.value)) changeSettings(() => { state.sensors = { ...state.sensors, [camera.name]: input.value.trim() }; });
      else input.setCustomValidity("In mm like 36x24, or a crop factor like 1.5x.");
      input.reportValidity();
    });
    input.addEventListener("input", () => input.setCustomValidity(""));
    row.append(element("label", {}, "in mm ", input));
    part.append(row);
    return part;
  }));
}

function buildRolls() {
  lanes = [];
  rollsBox.replaceChildren();
  for (const roll of data.rolls) {
    const section = element("section");
    section.append(element("h2", { textContent: roll.title }));
    for (const group of roll.groups) {
      const row = element("div", { className: "group" });
      row.append(element("p", { className: "when" }, element("b", { textContent: group.at }), group.why, group.more ? ` ${group.more} more not shown` : ""));
      const strip = element("div", { className: "strip" });
      for (const shot of group.frames) {
        const button = element("button", { type: "button" });
        button.append(shot.small ? element("img", { src: shot.small, alt: "", loading: "lazy" }) : element("span", { className: "none", textContent: shot.label }), element("span", { className: "lane" }));
        button.addEventListener("click", () => setStart(shot));
        strip.append(button);
        lanes.push([button, shot]);
        if (shot.dark_run) strip.append(offerMarker(shot, group));
      }
      row.append(strip);
      section.append(row);
    }
    rollsBox.append(section);
  }
  if (!data.rolls.length) rollsBox.append(element("p", { textContent: "Every session says what was set. There is nothing to do here." }));
}

function setStart(shot, name = chosen) {
  changeSettings(() => {
    const others = state.starts.filter((start) => start.label !== shot.label);
    const same = state.starts.some((start) => start.label === shot.label && start.preset === name);
    state.starts = same ? others : [...others, { ...placeOf(shot), preset: name }];
  });
}

/** One dark frame means the next preset, two the one after. */
function meantBy(shot) {
  if (!state.presets.length) return null;
  const before = state.presets.findIndex((preset) => preset.name === settingOf({ ...shot, rank: shot.rank - shot.dark_run })?.name);
  return state.presets[(before + shot.dark_run) % state.presets.length].name;
}

function offerMarker(shot) {
  const box = element("span", { className: "dark" });
  const words = element("span");
  const yes = element("button", { type: "button", textContent: "Yes" });
  const no = element("button", { type: "button", textContent: "No" });
  box.append(words, yes, no);
  const answer = (isMarker) => changeSettings(() => {
    const names = shot.dark_labels;
    state.markers = { ...state.markers, ...Object.fromEntries(names.map((name) => [name, isMarker])) };
    if (isMarker && shot.after && state.presets.length) {
      state.starts = [...state.starts.filter((start) => start.label !== shot.after.label), { ...placeOf(shot.after), preset: meantBy(shot) }];
    }
  });
  yes.addEventListener("click", () => answer(true));
  no.addEventListener("click", () => answer(false));
  box.refresh = () => {
    const said = state.markers[shot.label];
    yes.hidden = no.hidden = said !== undefined;
    const count = shot.dark_run > 1 ? `${shot.dark_run} dark frames` : "a dark frame";
    const to = meantBy(shot);
    words.textContent = said === true ? `${count}: a marker, no picture of the walk` : said === false ? "a picture like any other"
      : `${count}: ${to && shot.after ? `a change to ${to}?` : "a marker?"}`;
    yes.setAttribute("aria-label", `Yes, ${shot.label} marks a change`);
    no.setAttribute("aria-label", `No, ${shot.label} is a picture`);
  };
  return box;
}

function drawSettings() {
  drawCameras();
  drawChips();
  const number = new Map(state.presets.map((preset, i) => [preset.name, Math.min(i, 5)]));
  for (const [button, shot] of lanes) {
    const preset = state.markers[shot.label] === true ? null : settingOf(shot)?.name ?? shot.preset;
    button.querySelector(".lane").className = `lane${preset ? ` p${number.get(preset) ?? 5}` : ""}`;
    button.classList.toggle("begins", state.starts.some((start) => start.label === shot.label));
    button.setAttribute("aria-label", `${shot.label}${shot.at && `, ${shot.at}`}: ${preset || "not known"}`);
  }
  for (const box of rollsBox.querySelectorAll(".dark")) box.refresh();
}

presetForm.addEventListener("submit", addPreset);
document.getElementById("no-preset").addEventListener("click", () => { presetForm.hidden = true; });
