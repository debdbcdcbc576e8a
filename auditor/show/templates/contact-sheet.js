"use strict";
/* Quicker with this, complete without: shares are drawn over the picture, and the notes are saved as a file. */
const tools = document.querySelector(".tools");
const figures = [...document.querySelectorAll("figure")];
let unsaved = false;
tools.hidden = false;

for (const figure of figures) {
  const shot = figure.querySelector(".shot:not(.empty)");
  if (shot) shot.addEventListener("pointerdown", (event) => measure(event, figure, shot));
  for (const input of figure.querySelectorAll("input")) input.addEventListener("change", () => typed(input));
}

function measure(start, figure, shot) {
  if (start.button !== 0) return;
  start.preventDefault();
  shot.setPointerCapture(start.pointerId);
  const box = shot.getBoundingClientRect();
  const within = (event) => Math.min(Math.max((event.clientY - box.top) / box.height, 0), 1);
  const from = within(start);
  const part = tools.elements.part.value;
  const band = shot.querySelector(`.band.${part}`) ?? document.createElement("div");
  band.className = `band ${part}`;
  shot.append(band);
  const input = figure.querySelector(`[data-column="${part}"]`);
  const move = (event) => {
    const to = within(event);
    band.style.top = `${100 * Math.min(from, to)}%`;
    band.style.height = `${100 * Math.abs(to - from)}%`;
    input.value = `${(100 * Math.abs(to - from)).toFixed(1)}%`;
  };
  const end = (event) => {
    shot.removeEventListener("pointermove", move);
    const share = Math.abs(within(event) - from);
    if (event.type === "pointercancel" || share < 0.005) {
      band.remove();
      input.value = "";
    }
    count(true);
  };
  move(start);
  shot.addEventListener("pointermove", move);
  for (const kind of ["pointerup", "pointercancel"]) shot.addEventListener(kind, end, { once: true });
}

function typed(input) {
  const share = input.dataset.column.endsWith("_share");
  const text = input.value.trim().replace(",", ".");
  if (share && /^\d+(\.\d+)?$/.test(text) && Number(text) >= 1) input.value = `${text}%`;
  const right = share ? /^$|^0?\.\d+$|^\d+(\.\d+)?\s*%$/ : /^$|^\d.*[a-z'"′″]\s*$/i;
  input.setCustomValidity(right.test(input.value.trim().replace(",", ".")) ? "" : share ? "Like 47% or 0.47." : "With its unit: 2.5m or 8ft.");
  count(true);
}

function count(changed) {
  unsaved ||= changed;
  const done = figures.filter((figure) => [...figure.querySelectorAll("input")].some((input) => input.value.trim()));
  tools.querySelector("output").textContent = `${done.length} of ${figures.length}`;
}

document.addEventListener("keydown", (event) => {
  if (event.target.matches("figcaption input") || event.ctrlKey || event.metaKey || event.altKey) return;
  const part = { s: "standing_share", f: "face_share" }[event.key.toLowerCase()];
  if (part) tools.elements.part.value = part;
});

tools.addEventListener("submit", (event) => {
  event.preventDefault();
  const wrong = document.querySelector("figcaption input:invalid");
  if (wrong) {
    wrong.reportValidity();
    return;
  }
  const columns = tools.dataset.columns.split(",");
  const quoted = (text) => /[",\n\r]/.test(text) ? `"${text.replaceAll('"', '""')}"` : text;
  const rows = figures.map((figure) => columns.map((column) => column === "file"
    ? figure.dataset.cell
    : figure.querySelector(`[data-column="${column}"]`)?.value.trim() ?? ""));
  const text = [columns, ...rows].map((row) => row.map(quoted).join(",")).join("\n") + "\n";
  const link = document.createElement("a");
  link.href = URL.createObjectURL(new Blob([text], { type: "text/csv" }));
  link.download = tools.dataset.notes;
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 60000);
  unsaved = false;
});

window.addEventListener("beforeunload", (event) => {
  if (unsaved) event.preventDefault();
});
count(false);
