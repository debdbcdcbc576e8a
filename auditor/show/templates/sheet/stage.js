/* The picture: as large as the window shows it, the next one lying behind it; strokes, handles and the loupe. */
const stage = document.getElementById("stage");
const mat = document.getElementById("mat");
const loupe = document.getElementById("loupe");
const pictures = new Map(); // file -> img
const ACROSS = new Set(["pupils", "shoulders"]);
const SLANTED = new Set(["face", "pupils", "shoulders"]); // read along the stroke; the others straight down
let ends = []; // of the stroke, each [x, y] as shares of the picture's width and height
let looked = false; // whether the loupe was used on this picture
let loupeAt = [0.5, 0.5];
let fetching = null;

function pictureOf(file) {
  if (!pictures.has(file)) {
    const frame = frameOf.get(file);
    const image = new Image();
    image.decoding = "sync";
    image.alt = "";
    image.draggable = false;
    image.addEventListener("error", () => {
      image.broken = true;
      if (file === current()) layOut();
    });
    image.addEventListener("load", () => { if (file === current()) drawFrame(); });
    image.src = frame.src ?? frame.preview?.uri ?? "";
    pictures.set(file, image);
  }
  return pictures.get(file);
}

/** Size of the picture within the stage, in CSS pixels. */
function fit(frame) {
  const style = getComputedStyle(stage);
  const inside = stage.clientWidth - parseFloat(style.paddingLeft) - parseFloat(style.paddingRight);
  const narrow = getComputedStyle(stage.parentElement).display === "block";
  const tall = narrow ? 0.7 * innerHeight : stage.clientHeight - parseFloat(style.paddingTop) - parseFloat(style.paddingBottom);
  const shape = frame.width && frame.height ? frame.width / frame.height : 1.5;
  const width = Math.max(120, Math.min(inside, tall * shape));
  return [Math.round(width), Math.round(width / shape)];
}

/** Put the current picture in front and the next ones behind it, decoded. */
function layOut() {
  const file = current();
  if (!file) return;
  const [width, height] = fit(frameOf.get(file));
  mat.style.width = `${width}px`;
  mat.style.height = `${height}px`;
  const image = pictureOf(file);
  for (const other of pictures.values()) if (other !== image) putBehind(other);
  image.className = "now";
  image.alt = "The picture to judge";
  image.ariaHidden = null;
  if (image.parentNode !== mat) mat.prepend(image);
  clearTimeout(fetching);
  fetching = setTimeout(fetchNext, image.complete ? 120 : 600); // the one that is looked at comes first
  mat.querySelector(".gone")?.remove();
  if (image.broken || !image.getAttribute("src")) {
    mat.append(element("p", { className: "gone", textContent: image.broken ? "This picture is no longer where it was. Run auditor prepare again where the photographs are now." : "Nothing in this file can be shown. Skip it." }));
  }
}

function putBehind(image) {
  image.className = "later";
  image.alt = "";
  image.ariaHidden = "true";
  if (image.parentNode !== mat) mat.prepend(image);
}

/** Lay the next pictures behind the one that is shown, so that they are decoded and painted when their turn comes. */
function fetchNext() {
  const near = [current(), ...following(1)];
  for (const [other, image] of pictures) {
    if (near.includes(other)) continue;
    image.remove();
    pictures.delete(other);
  }
  for (const other of near.slice(1)) putBehind(pictureOf(other));
}

/** Width shown and width of the file, both in device pixels; the second NaN until it is known. */
function widths() {
  const image = pictures.get(current());
  return [Math.round(mat.clientWidth * devicePixelRatio), image?.naturalWidth || NaN];
}

const inPicture = (event) => {
  const box = mat.getBoundingClientRect();
  return [Math.min(Math.max((event.clientX - box.left) / box.width, 0), 1), Math.min(Math.max((event.clientY - box.top) / box.height, 0), 1)];
};

/** Share of the picture's height between two ends. */
function shareBetween([a, b], measure) {
  const shape = mat.clientWidth / mat.clientHeight;
  return SLANTED.has(measure) ? Math.hypot((b[0] - a[0]) * shape, b[1] - a[1]) : Math.abs(b[1] - a[1]);
}

function drawEnds() {
  const held = document.activeElement?.dataset.end;
  for (const old of mat.querySelectorAll(".ends, .handle")) old.remove();
  if (!ends.length) return;
  const [width, height] = [mat.clientWidth, mat.clientHeight];
  const at = ends.map(([x, y]) => [x * width, y * height]);
  const across = ACROSS.has(measure);
  const lines = at.map(([x, y]) => (across ? [x, y - 22, x, y + 22] : [x - 30, y, x + 30, y]));
  if (at.length === 2) lines.push(SLANTED.has(measure) ? [...at[0], ...at[1]] : [at[0][0], at[0][1], at[0][0], at[1][1]]);
  const space = "http://www.w3.org/2000/svg";
  const svg = document.createElementNS(space, "svg");
  svg.setAttribute("class", "ends");
  svg.setAttribute("aria-hidden", "true");
  for (const kind of ["under", "over"]) {
    lines.forEach((line, i) => {
      const drawn = document.createElementNS(space, "line");
      ["x1", "y1", "x2", "y2"].forEach((name, k) => drawn.setAttribute(name, line[k]));
      drawn.setAttribute("class", `${kind}${i > 1 && kind === "over" ? " between" : ""}`);
      svg.append(drawn);
    });
  }
  mat.append(svg);
  at.forEach(([x, y], i) => {
    const handle = element("button", { type: "button", className: "handle" });
    const outward = i === 0 ? -1 : 1;
    handle.style.left = `${x + (across ? outward * 22 : 46 * (x > width - 60 ? -1 : 1))}px`;
    handle.style.top = `${y + (across ? 34 : 0)}px`;
    const words = data.measures[measure].ends[i];
    handle.setAttribute("role", "slider");
    handle.setAttribute("aria-label", words[0].toUpperCase() + words.slice(1));
    handle.setAttribute("aria-orientation", across ? "horizontal" : "vertical");
    const value = 100 * ends[i][across ? 0 : 1];
    handle.setAttribute("aria-valuemin", "0");
    handle.setAttribute("aria-valuemax", "100");
    handle.setAttribute("aria-valuenow", value.toFixed(1));
    handle.setAttribute("aria-valuetext", `${value.toFixed(1)} % from the ${across ? "left" : "top"}`);
    handle.dataset.end = String(i);
    mat.append(handle);
    if (held === String(i)) handle.focus();
  });
}

function moveEnd(i, x, y) {
  ends[i] = [Math.min(Math.max(x, 0), 1), Math.min(Math.max(y, 0), 1)];
  drawEnds();
}

let drag = null;
mat.addEventListener("pointerdown", (event) => {
  if (!loupe.hidden) {
    loupeAt = inPicture(event);
    drawLoupe();
  }
  if (event.button !== 0 || step() === "sharp") return;
  const handle = event.target.closest(".handle");
  stayHere();
  if (handle) {
    const i = Number(handle.dataset.end);
    const at = inPicture(event);
    drag = { i, by: [ends[i][0] - at[0], ends[i][1] - at[1]], moved: false };
    mat.setPointerCapture(event.pointerId);
    event.preventDefault();
    return;
  }
  if (step() === "guess") return say("First by eye: click the staff, or leave the guess out.");
  if (event.pointerType === "touch") { // a finger scrolls; only a tap measures
    drag = { tap: inPicture(event), from: [event.clientX, event.clientY] };
    return;
  }
  event.preventDefault();
  drag = { from: [event.clientX, event.clientY], start: inPicture(event), moved: false };
  mat.setPointerCapture(event.pointerId);
});

mat.addEventListener("pointermove", (event) => {
  if (!loupe.hidden) {
    loupeAt = inPicture(event);
    drawLoupe();
  }
  if (!drag || drag.tap) return;
  const at = inPicture(event);
  if (drag.i !== undefined) {
    drag.moved = true;
    moveEnd(drag.i, at[0] + drag.by[0], at[1] + drag.by[1]);
    showReading();
  } else if (drag.moved || Math.hypot(event.clientX - drag.from[0], event.clientY - drag.from[1]) > 5) {
    drag.moved = true;
    ends = [drag.start, at];
    drawEnds();
    showReading();
  }
});

mat.addEventListener("pointerup", (event) => {
  const ended = drag;
  drag = null;
  if (!ended) return;
  if (ended.i !== undefined) {
    if (ends.length === 2 && ended.moved) measured(false);
  } else if (ended.moved) {
    measured(true);
  } else if (!ended.tap || Math.hypot(event.clientX - ended.from[0], event.clientY - ended.from[1]) < 12) {
    ends = ends.length === 1 ? [ends[0], ended.tap ?? ended.start] : [ended.tap ?? ended.start];
    drawEnds();
    if (ends.length === 2) measured(true);
    else showReading();
  }
});
mat.addEventListener("pointercancel", () => {
  if (drag && drag.moved && drag.i === undefined) ends = [];
  drag = null;
  drawEnds();
});

mat.addEventListener("keydown", (event) => {
  const handle = event.target.closest(".handle");
  const steps = { ArrowUp: [0, -1], ArrowDown: [0, 1], ArrowLeft: [-1, 0], ArrowRight: [1, 0] }[event.key];
  if (!handle || !steps) return;
  event.preventDefault();
  stayHere();
  const i = Number(handle.dataset.end);
  const by = event.shiftKey ? 10 : 1;
  moveEnd(i, ends[i][0] + by * steps[0] / mat.clientWidth, ends[i][1] + by * steps[1] / mat.clientHeight);
  if (ends.length === 2) measured(false);
});

function toggleLoupe(wanted = loupe.hidden) {
  const image = pictures.get(current());
  loupe.hidden = !wanted || !image?.naturalWidth;
  document.getElementById("look").setAttribute("aria-pressed", String(!loupe.hidden));
  if (loupe.hidden) return;
  looked = true;
  loupe.firstElementChild.src = image.src;
  drawLoupe();
}

/** The picture at its own pixels: one of the file on one of the screen. */
function drawLoupe() {
  const image = pictures.get(current());
  const [x, y] = loupeAt;
  const [width, height] = [image.naturalWidth / devicePixelRatio, image.naturalHeight / devicePixelRatio];
  const box = mat.getBoundingClientRect();
  const around = stage.getBoundingClientRect();
  const size = loupe.offsetWidth;
  loupe.style.left = `${box.left - around.left + x * box.width - size / 2}px`;
  loupe.style.top = `${box.top - around.top + y * box.height - size / 2}px`;
  const inner = loupe.firstElementChild;
  inner.style.width = `${width}px`;
  inner.style.height = `${height}px`;
  inner.style.left = `${loupe.clientWidth / 2 - x * width}px`;
  inner.style.top = `${loupe.clientHeight / 2 - y * height}px`;
}
function fitAgain() {
  if (part !== "frames") return;
  layOut();
  drawFrame();
}
addEventListener("resize", fitAgain);
new ResizeObserver(fitAgain).observe(stage); // a notice comes or goes above it
