/* Part three, handing over: the command to go on with, how well the eye judges, and what was left open. */
function drawOver() {
  const answers = inOrder.map((file) => answerOf(file));
  const skipped = answers.filter((answer) => answer.skipped).length;
  const done = answers.filter((answer) => isDone(answer) && !answer.skipped).length;
  const begun = answers.filter((answer) => !answer.skipped && !isDone(answer) && (answer.sharp || answer.guess)).length;
  const more = [begun && `${begun} begun`, skipped && `${skipped} skipped`].filter(Boolean).map((one) => `, ${one}`).join("");
  byId("over-lead").textContent = `${done} of ${inOrder.length} pictures are done${more}. You may stop at any time: what was said counts, even if the rest stays open.`;
  byId("command").textContent = data.command;
  drawJudged();
  drawDone();
}

function drawJudged() {
  const [pairs, eye] = [guessPairs(), judged()];
  const box = byId("judged");
  const costs = byId("costs");
  costs.replaceChildren();
  if (eye.n < 3) {
    box.innerHTML = `<p>Guesses are held against what was measured afterwards; ${eye.n} so far. It takes ${data.judging.fewest}.</p>`;
    costs.innerHTML = "<p>Follows from it.</p>";
    return;
  }
  const per = (value) => Math.round(100 * Math.abs(Math.expm1(value)));
  const leaning = (bias) => (per(bias) < 2 ? "right" : `${per(bias)} % ${bias < 0 ? "short" : "long"}`);
  const used = eye.guess_sd === null ? `From ${data.judging.fewest} guesses on this replaces the ${Math.round(100 * data.guess_sd)} % that count now.`
    : `Guesses now count as ${Math.round(100 * eye.guess_sd)} % uncertain, in place of the ${Math.round(100 * data.guess_sd)} % before.`;
  const errorsOf = (some) => some.map((pair) => Math.log(pair.guess / pair.m));
  const [near, far] = [errorsOf(pairs.filter((pair) => pair.m <= 2.5)), errorsOf(pairs.filter((pair) => pair.m > 2.5))];
  const byRange = Math.min(near.length, far.length) < 5 ? "" : ` Up to ${written(2.5, feet())}: ${leaning(median(near))} (${near.length} guesses); beyond: ${leaning(median(far))} (${far.length}).`;
  const dots = pairs.map((pair) => `<circle class="dot" r="4.500" cx="${x(pair.m)}" cy="${up(Math.log(pair.guess / pair.m))}"/>`).join("");
  const ticks = (feet() ? [3, 5, 7, 10, 15, 30].map((ft) => ft * METRES_PER_FOOT) : [1, 2, 3, 5, 10]).map((m) => `<text class="soft" text-anchor="middle" x="${x(m)}" y="222">${written(m, feet())}</text>`).join("");
  const band = [eye.bias + eye.spread, eye.bias - eye.spread].map(up);
  box.innerHTML = `<p>Your guess is ${leaning(eye.bias)} on the whole. Two guesses in three lie from ${per(-eye.spread)} % below to ${per(eye.spread)} % above that.${byRange} ${used}</p>
<svg viewBox="0 0 460 230" role="img" aria-label="${eye.n} guesses against measures">
<rect class="band" x="20" width="340" y="${band[0]}" height="${band[1] - band[0]}"/><line class="axis" x1="20" x2="360" y1="${up(0)}" y2="${up(0)}"/>
<text class="soft" x="368" y="${up(Math.log(1.5)) + 4}">half more</text><text class="soft" x="368" y="${up(0) + 4}">right</text><text class="soft" x="368" y="${up(Math.log(2 / 3)) + 4}">a third less</text>${dots}${ticks}</svg>
<p class="hint">${eye.n} guesses made before measuring. The band holds two in three.</p>`;
  drawCosts(costs, eye);
}

const x = (m) => 30 + 320 * Math.min(Math.max(Math.log(m / 0.7) / Math.log(15 / 0.7), 0), 1);
const up = (error) => 105 - 95 * Math.min(Math.max(error / Math.log(1.8), -1), 1);

function drawCosts(box, eye) {
  const preset = commonPreset();
  if (!preset) {
    box.innerHTML = "<p>It needs a preset with focal length, f-number and ring: What was set.</p>";
    return;
  }
  const shown = (feet() ? [3, 5, 7, 8, 10, 13, 16, 23].map((ft) => ft * METRES_PER_FOOT) : [1, 1.5, 2, 2.5, 3, 4, 5, 7]);
  const rows = shown.map((m, i) => {
    const share = shareInside(m, preset.zone, eye);
    return `<text x="60" y="${24 + 26 * i}" text-anchor="end">${written(m, feet())}</text><rect class="frame" x="72" y="${11 + 26 * i}" width="300" height="17"/><rect class="bar-of" x="72" y="${11 + 26 * i}" width="${300 * share}" height="17"/><text x="382" y="${24 + 26 * i}">${Math.round(100 * share)}</text>`;
  }).join("");
  box.innerHTML = `<p>${escaped(preset.name)}: sharp from ${written(preset.zone.near, feet())} to ${written(preset.zone.far, feet())} by the handbook's criterion. Of 100 subjects that you take for …, so many stand inside:</p><svg viewBox="0 0 430 224" role="img" aria-label="Subjects inside the sharp zone, by the distance guessed">${rows}</svg>`;
}

/** The preset most of the drawn frames were taken with, and its zone. */
function commonPreset() {
  const counts = new Map();
  for (const frame of data.frames) {
    const preset = settingOf(frame);
    const given = preset ? { name: preset.name, focal: parseFloat(preset.focal_length), stop: Number(preset.f_number), focus: parseDistance(preset.focus_distance ?? "") } : frame.setting;
    const sensor = sensorOf(frame);
    if (!given || !(given.focal > 0) || !(given.stop > 0) || !given.focus || !sensor) continue;
    const one = counts.get(given.name) ?? { n: 0, name: given.name, zone: zoneOf(given.focal, given.stop, given.focus, Math.hypot(...sensor) / data.handbook_divisor) };
    one.n += 1;
    counts.set(given.name, one);
  }
  return [...counts.values()].toSorted((a, b) => b.n - a.n)[0] ?? null;
}

function drawDone() {
  const rows = new Map();
  for (const frame of data.frames) {
    const name = settingOf(frame)?.name ?? frame.setting?.name ?? "setting not known";
    const [row, answer] = [rows.get(name) ?? [0, 0, 0, 0, 0], answerOf(frame.file)];
    row[0] += 1;
    if (answer.skipped) row[4] += 1;
    else {
      row[1] += ["yes", "no"].includes(answer.sharp);
      row[2] += answer.sharp === "unsure";
      row[3] += (answer.people?.length ?? 0) > 0;
    }
    rows.set(name, row);
  }
  const cells = (tag, values) => values.map((value) => element(tag, { textContent: String(value) }));
  const head = element("tr", {}, ...cells("th", ["Preset", "Drawn", "Sharp or not", "Unsure", "With a distance", "Skipped"]));
  byId("done").replaceChildren(element("thead", {}, head), element("tbody", {}, ...[...rows].map(([name, row]) => element("tr", {}, ...cells("th", [name]), ...cells("td", row)))));
  for (const cell of byId("done").querySelectorAll("th")) cell.scope = cell.closest("thead") ? "col" : "row";
}

function escaped(text) {
  return element("p", { textContent: text }).innerHTML;
}
