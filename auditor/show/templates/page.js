"use strict";
/* Better with this, readable without: frames under the pointer or the arrow keys, tables that sort. */
const frames = JSON.parse(document.getElementById("frames").textContent);
const feet = () => document.getElementById("in-ft").checked;

function made(name, text, options = {}) {
  const part = document.createElement(name);
  if (text) part.textContent = text;
  return Object.assign(part, options);
}

function named(frame) {
  const file = frame[0].split("/").pop();
  const part = frame[1] ? made("a", file, { href: frame[1] }) : made("span", file);
  const isolated = made("bdi", "", { className: "file" });
  isolated.append(part);
  return isolated;
}

function thumbnail(frame) {
  if (!frame[2]) return "";
  const held = frame[2].startsWith("#") ? document.querySelector(frame[2]).src : "data:image/jpeg;base64," + frame[2];
  return made("img", "", { src: held, alt: "" });
}

const describe = (frame) => [frame[feet() ? 4 : 3], frame[5], frame[6], frame[7]].filter(Boolean).join(" · ");

for (const stage of document.querySelectorAll(".stage")) {
  const marks = [...stage.querySelectorAll("[data-f]")];
  if (!marks.length) continue;
  const look = stage.closest("[data-lens], main").querySelector(".look");
  let at = -1;
  look.hidden = false;
  look.replaceChildren(made("p", "Point at a dot, or use the arrow keys in the picture; a click opens the file."));
  const set = (name, value) => stage.setAttribute(name, value);
  for (const [name, value] of [["role", "slider"], ["tabindex", "0"], ["aria-label", "Frames by distance"],
    ["aria-valuemin", 1], ["aria-valuemax", marks.length], ["aria-valuenow", 1], ["aria-valuetext", marks.length + " to look through"]]) set(name, value);

  const show = (number) => {
    marks[at]?.classList.remove("at");
    at = Math.max(0, Math.min(marks.length - 1, number));
    marks[at].classList.add("at");
    const rows = marks[at].dataset.f.split(" ").map((row) => frames[row]).filter(Boolean);
    set("aria-valuenow", at + 1);
    set("aria-valuetext", rows.map((frame) => frame[0].split("/").pop() + ", " + describe(frame)).slice(0, 3).join("; "));
    const part = made("div", "", { className: rows.length > 1 ? "strip" : "one" });
    for (const frame of rows) {
      const one = made("figure", "", {});
      const words = made("div");
      words.append(named(frame), made("br"), describe(frame));
      one.append(thumbnail(frame), words);
      if (rows.length > 1) part.append(one); else part.append(...one.childNodes);
    }
    look.replaceChildren(part);
    return rows;
  };
  const open = () => {
    const rows = (marks[at]?.dataset.f ?? "").split(" ").map((row) => frames[row]).filter(Boolean);
    if (rows.length === 1 && rows[0][1]) window.open(rows[0][1], "_blank", "noopener");
  };
  const nearest = (event) => {
    let [best, least] = [-1, 400];
    marks.forEach((mark, number) => {
      const box = mark.getBoundingClientRect();
      const [x, y] = [Math.max(box.left - event.clientX, 0, event.clientX - box.right), Math.max(box.top - event.clientY, 0, event.clientY - box.bottom)];
      if (x * x + y * y < least) [best, least] = [number, x * x + y * y];
    });
    return best;
  };
  stage.addEventListener("pointermove", (event) => {
    const number = nearest(event);
    if (number >= 0 && number !== at) show(number);
  });
  stage.addEventListener("click", (event) => {
    const number = nearest(event);
    if (number < 0) return;
    show(number);
    if (event.pointerType !== "touch") open();
  });
  stage.addEventListener("focus", () => { if (at < 0) show(0); });
  stage.addEventListener("keydown", (event) => {
    const step = { ArrowRight: 1, ArrowUp: 1, ArrowLeft: -1, ArrowDown: -1, PageUp: 10, PageDown: -10 }[event.key];
    if (step) show(at + step);
    else if (event.key === "Home") show(0);
    else if (event.key === "End") show(marks.length - 1);
    else if (event.key === "Enter") open();
    else return;
    event.preventDefault();
  });
}

function reach() {
  for (const box of document.querySelectorAll(".scroll, .look")) {
    if (box.scrollWidth > box.clientWidth + 1) box.tabIndex = 0;
    else box.removeAttribute("tabindex");
  }
}
addEventListener("resize", reach);
for (const part of document.querySelectorAll("details")) part.addEventListener("toggle", reach);
document.addEventListener("change", reach);
reach();

for (const table of document.querySelectorAll("table.sortable")) {
  const heads = [...table.tHead.rows[0].cells];
  heads.forEach((head, column) => {
    const button = made("button", "", { type: "button" });
    button.append(...head.childNodes);
    head.append(button);
    button.addEventListener("click", () => sort(table, heads, column));
  });
}

function sort(table, heads, column) {
  const down = heads[column].getAttribute("aria-sort") === "descending" || column === 0 && !heads[0].hasAttribute("aria-sort");
  const direction = down ? 1 : -1;
  heads.forEach((head) => head.removeAttribute("aria-sort"));
  heads[column].setAttribute("aria-sort", down ? "ascending" : "descending");
  const value = (row) => {
    const cell = row.cells[column];
    return cell.dataset.sort === undefined ? cell.textContent.trim() : Number(cell.dataset.sort.replace("inf", "Infinity"));
  };
  const rows = [...table.tBodies[0].rows].filter((row) => !row.classList.contains("total"));
  rows.sort((a, b) => {
    const [x, y] = [value(a), value(b)];
    if (typeof x === "string") return direction * x.localeCompare(y, "en", { numeric: true });
    if (Number.isNaN(x) || Number.isNaN(y)) return Number.isNaN(x) - Number.isNaN(y);
    return direction * (x - y || 0);
  });
  table.tBodies[0].append(...rows);
}
