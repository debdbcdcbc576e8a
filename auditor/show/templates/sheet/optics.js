"use strict";
/* Distances, zones and judging by eye, from the numbers that the page was written with; tested against them. */
const data = JSON.parse(document.getElementById("data").textContent);
const METRES_PER_FOOT = 0.3048;

/** Sides of a sensor in mm from "36x24", "1.5x" or a pair; null where it is not one. */
function sensorSides(text) {
  if (Array.isArray(text)) return text;
  const cleaned = String(text ?? "").trim().toLowerCase().replaceAll("×", "x").replaceAll(",", ".");
  const sides = cleaned.match(/^(\d+(?:\.\d+)?) ?(?:mm)? ?x ?(\d+(?:\.\d+)?) ?(?:mm)?$/);
  if (sides) return [Number(sides[1]), Number(sides[2])];
  const crop = cleaned.match(/^(\d+(?:\.\d+)?) ?x$/);
  return crop && Number(crop[1]) > 0 ? [36 / Number(crop[1]), 24 / Number(crop[1])] : null;
}

/** Height on the sensor of the picture as shown: the long side where it stands upright; null where cut. */
function pictureHeight(sensor, width, height) {
  if (!sensor || !width || !height) return null;
  const [long, short] = [Math.max(...sensor), Math.min(...sensor)];
  const shape = Math.max(width, height) / Math.min(width, height);
  if (Math.abs(shape / (long / short) - 1) > data.shape_tolerance) return null;
  return height > width ? long : short;
}

/** Distance from the sensor [m] and its relative sd, for a share of the picture's height. */
function distanceOfShare(share, measure, focal, heightMm, readingSd) {
  const body = data.measures[measure];
  const reduction = body.mean_mm / (share * heightMm);
  if (!(reduction > 1)) return null;
  const fromLens = focal * (1 + reduction) / 1000;
  const tilt = data.tilt_sd_rad * body.below_eye_m / fromLens;
  const own = Math.hypot(body.sd_mm / body.mean_mm, readingSd / share, body.other_sd, tilt) * (reduction - 1) / (reduction + 1);
  return { m: focal * (2 + reduction + 1 / reduction) / 1000, sd: Math.hypot(own, data.focal_length_sd) };
}

/** Sharp zone [m] of a setting, from the sensor; the far limit may be infinite. */
function zoneOf(focal, fNumber, focus, coc) {
  const f = focal / 1000;
  const spread = fNumber * coc / 1000;
  const fromSensor = (u) => (u === Infinity ? u : u + f * u / (u - f));
  const s = focus === Infinity ? focus : (focus + Math.sqrt(focus * focus - 4 * f * focus)) / 2;
  if (s === Infinity) return { near: fromSensor(f * f / spread), far: s };
  const far = f * f - spread * (s - f);
  return { near: fromSensor(s * f * f / (f * f + spread * (s - f))), far: far > 0 ? fromSensor(s * f * f / far) : Infinity };
}

function median(values) {
  const sorted = values.toSorted((a, b) => a - b);
  const middle = sorted.length >> 1;
  return sorted.length % 2 ? sorted[middle] : (sorted[middle - 1] + sorted[middle]) / 2;
}

/** Bias and spread of guesses, as pairs {guess, m, sd}. */
function judgeGuesses(pairs) {
  const errors = pairs.map((pair) => Math.log(pair.guess / pair.m));
  const n = errors.length;
  const bias = n ? median(errors) : NaN;
  if (n < 2) return { n, bias, spread: NaN, guess_sd: null };
  const seen = 1.4826 * median(errors.map((error) => Math.abs(error - bias)));
  const own = pairs.reduce((sum, pair) => sum + pair.sd ** 2, 0) / n;
  const spread = Math.sqrt(Math.max(seen ** 2 - own, data.judging.least_sd ** 2));
  return { n, bias, spread, guess_sd: n >= data.judging.fewest ? Math.hypot(bias, spread) : null };
}

/** Normal distribution function (Abramowitz & Stegun 26.2.17, error below 1e-7). */
function normal(x) {
  const t = 1 / (1 + 0.2316419 * Math.abs(x));
  const tail = Math.exp(-x * x / 2) / Math.sqrt(2 * Math.PI) * t * (0.31938153 + t * (-0.356563782 + t * (1.781477937 + t * (-1.821255978 + t * 1.330274429))));
  return x > 0 ? 1 - tail : tail;
}

function shareInside(guess, zone, judged) {
  const middle = Math.log(guess) - judged.bias;
  const below = (limit) => (limit === Infinity ? 1 : normal((Math.log(limit) - middle) / judged.spread));
  return below(zone.far) - below(zone.near);
}

/** Metres from "2.5m", "250 cm", "7ft", "6ft 6in", "inf"; a bare number only where the unit stands beside it. */
function parseDistance(text, unit) {
  const cleaned = text.trim().toLowerCase().replaceAll(",", ".");
  if (["inf", "infinity", "∞"].includes(cleaned)) return Infinity;
  if (/^(\d+\.?\d*|\.\d+)$/.test(cleaned)) return unit && Number(cleaned) > 0 ? Number(cleaned) * (unit === "ft" ? METRES_PER_FOOT : 1) : null;
  const per = { m: 1, cm: 0.01, mm: 0.001, ft: METRES_PER_FOOT, "'": METRES_PER_FOOT, in: METRES_PER_FOOT / 12, '"': METRES_PER_FOOT / 12 };
  const whole = cleaned.match(/^(\d+\.?\d*|\.\d+) ?(m|cm|mm|ft|in|'|")(?: ?(\d+\.?\d*) ?(in|"))?$/);
  if (!whole || (whole[3] && !["ft", "'"].includes(whole[2]))) return null;
  const metres = Number(whole[1]) * per[whole[2]] + (whole[3] ? Number(whole[3]) * per[whole[4]] : 0);
  return metres > 0 ? metres : null;
}

function written(metres, feet) {
  if (metres === Infinity) return "∞";
  const value = feet ? metres / METRES_PER_FOOT : metres;
  return `${value.toFixed(value < 10 && !feet ? 2 : 1).replace(/\.?0+$/, "")} ${feet ? "ft" : "m"}`;
}
