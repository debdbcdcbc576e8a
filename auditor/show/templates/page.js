"use strict";
/* Better with this, readable without: tables that sort, and a filter by lens and session. */
for (const table of document.querySelectorAll("table.sortable")) {
  const heads = [...table.tHead.rows[0].cells];
  heads.forEach((head, column) => {
    const button = document.createElement("button");
    button.type = "button";
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

const lens = document.getElementById("pick-lens");
const session = document.getElementById("pick-session");
const note = document.querySelector(".filter-note");
for (const part of document.querySelectorAll(".filter")) part.hidden = false;
for (const select of [lens, session]) select?.addEventListener("change", filter);

function filter() {
  const [wantedLens, wantedSession] = [lens?.value ?? "", session?.value ?? ""];
  const whole = wantedLens === "" && wantedSession === "";
  for (const part of document.querySelectorAll("[data-lens], [data-session], [data-of-session], [data-whole]")) {
    const { lens: own, session: when, ofSession } = part.dataset;
    const misfit = own !== undefined && wantedLens !== "" && own !== wantedLens
      || when !== undefined && wantedSession !== "" && when !== wantedSession
      || ofSession !== undefined && ofSession !== wantedSession
      || part.dataset.whole !== undefined && !whole;
    if (part.closest("svg")) part.classList.toggle("aside", misfit);
    else part.hidden = misfit;
  }
  for (const nothing of document.querySelectorAll(".nothing")) {
    nothing.hidden = nothing.parentElement.querySelector("tbody tr:not([hidden])") !== null;
  }
  note.hidden = whole;
  note.textContent = whole ? "" : note.dataset.text;
}
