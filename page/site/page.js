// The page: its views, and which of them is shown.
import { button, chooser, h, line, tick } from "./parts.js";
import { cardView } from "./card.js";
import { keptView } from "./kept.js";
import { linesView } from "./lines.js";
import { presetsView } from "./presets.js";
import { readInto } from "./found.js";
import { WORDS } from "./words.js";

const VIEWS = { lines: linesView, recording: recordingView, presets: presetsView, card: cardView, kept: keptView };

let shown = null;

function recordingView(view) {
  const error = line("error");
  const mono = tick(WORDS.chooseMono);
  const found = h("div", { class: "found" });
  const choose = chooser(WORDS.choose, ([file]) => {
    error.say("");
    readInto(found, error, file, mono.input.checked);
  }, { accept: "audio/*,video/*,.caf,.w64,.rf64", id: "recording" });
  view.append(error, choose, mono, found);
}

function home(view) {
  const tasks = Object.keys(VIEWS).map(name => h("li", {},
    h("a", { href: `#${name}`, class: "task" }, h("strong", {}, WORDS[name]), h("span", {}, WORDS[`${name}Hint`]))));
  view.append(h("ul", { class: "tasks", "aria-label": WORDS.tasks }, ...tasks), h("p", { class: "note" }, WORDS.stays));
}

function show() {
  shown?.leave?.();
  const name = location.hash.slice(1);
  const view = h("main", { id: "view" });
  const heading = h("h1", { tabindex: "-1" }, WORDS[name in VIEWS ? name : "title"]);
  const back = h("nav", { hidden: !(name in VIEWS), "aria-label": WORDS.home }, h("a", { href: "#" }, `‹ ${WORDS.title}`));
  document.title = name in VIEWS ? `${WORDS[name]} · ${WORDS.title}` : WORDS.title;
  view.append(heading);
  document.body.replaceChildren(back, view);
  const made = (VIEWS[name] ?? home)(view);
  shown = typeof made?.leave === "function" ? made : null;
  if (name in VIEWS) heading.focus();
}

/** Whether the browser lacks a feature that the page requires. */
const tooOld = () => typeof DecompressionStream === "undefined"
  // The smallest module that uses SIMD: a function that makes a vector and drops it.
  || !WebAssembly.validate(new Uint8Array([0, 97, 115, 109, 1, 0, 0, 0, 1, 4, 1, 96, 0, 0, 3, 2, 1, 0, 10, 9, 1, 7, 0, 65, 0, 253, 15, 26, 11]));

addEventListener("hashchange", () => {
  // Anchors within a report belong to the report.
  if (location.hash.startsWith("#sheet-")) return;
  show();
});
show();
if (tooOld()) document.body.prepend(h("p", { class: "line error", role: "alert" }, WORDS.tooOld));
if ("serviceWorker" in navigator) navigator.serviceWorker.register("sw.js").catch(() => {});
