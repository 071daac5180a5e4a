// The view of stored readings.
import { button, h, line } from "./parts.js";
import { show } from "./found.js";
import { kept, remove } from "./store.js";
import { WORDS } from "./words.js";

export async function keptView(view) {
  const said = line();
  const list = h("ul", { class: "kept" });
  const found = h("div", { class: "found" });
  view.append(said, list, found);
  await fill();

  async function fill() {
    const all = await kept().catch(() => []);
    if (all.length === 0) said.say(WORDS.noneKept);
    list.replaceChildren(...all.map(reading => h("li", {},
      h("p", {}, h("strong", {}, reading.venue || reading.name), ` · ${reading.date}`),
      h("p", { class: "note" }, reading.sentence),
      h("div", { class: "row" },
        button(WORDS.open, () => { found.replaceChildren(); show(found, reading, null); found.querySelector("h2").focus(); }),
        button(WORDS.remove, async () => { await remove(reading.id); said.say(WORDS.removed); found.replaceChildren(); fill(); })))));
  }
}
