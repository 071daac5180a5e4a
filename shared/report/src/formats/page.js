"use strict";
const list = document.querySelector("#presets tbody");
const sheets = document.getElementById("sheets");
const heads = [...document.querySelectorAll("#presets thead th")];
const rows = [...list.rows];
const sheetOf = new Map(rows.map(row => [row, document.getElementById(row.dataset.sheet)]));
const numbers = new Map(rows.map(row => [row, [...row.cells].map(cell => parseFloat(cell.dataset.value))]));

function order(column, down) {
  const words = heads[column].dataset.kind === "words";
  const compare = (a, b) => {
    if (words) return a.cells[column].innerText.localeCompare(b.cells[column].innerText) * (down ? -1 : 1);
    const [x, y] = [numbers.get(a)[column], numbers.get(b)[column]];
    // Cells without a figure stay at the end, in either order.
    if (Number.isNaN(x) || Number.isNaN(y)) return Number.isNaN(x) - Number.isNaN(y);
    return x === y ? 0 : (x < y ? -1 : 1) * (down ? -1 : 1);
  };
  rows.sort(compare);
  list.append(...rows);
  sheets.append(...rows.map(row => sheetOf.get(row)));
  heads.forEach((head, i) => {
    if (i === column) head.setAttribute("aria-sort", down ? "descending" : "ascending");
    else head.removeAttribute("aria-sort");
  });
}
heads.forEach((head, i) => head.querySelector("button").addEventListener("click", () =>
  order(i, head.getAttribute("aria-sort") === "ascending")));

const search = document.getElementById("search");
const boxes = [...document.querySelectorAll("input[name=outcome]")];
const count = document.getElementById("count");
function filter() {
  const text = search.value.toLowerCase();
  const wanted = new Set(boxes.filter(box => box.checked).map(box => box.value));
  let shown = 0;
  for (const row of rows) {
    const show = wanted.has(row.dataset.outcome) && row.dataset.name.includes(text);
    row.hidden = sheetOf.get(row).hidden = !show;
    shown += show;
  }
  count.textContent = shown === rows.length ? "" : shown + " of " + rows.length + " shown";
}
search.addEventListener("input", filter);
boxes.forEach(box => box.addEventListener("change", filter));
document.querySelector("form").addEventListener("submit", event => event.preventDefault());
