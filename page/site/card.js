// The view of the rig card: from a rig file, from judged presets, or from both.
import { ask } from "./reader.js";
import { button, chooser, download, h, line, reportBody, shareFiles } from "./parts.js";
import { WORDS } from "./words.js";

/** Longest text that is read, bytes. */
const MOST_BYTES = 64 << 20;

export function cardView(view) {
  const error = line("error");
  const used = h("p", { class: "note", id: "used" }, WORDS.cardFrom);
  const paper = h("select", { id: "paper", change: () => make() },
    ...Object.entries(WORDS.papers).map(([value, text]) => h("option", { value }, text)));
  const found = h("div", { class: "found" });
  let rig = null;
  let takes = [];
  let round = 0;

  const chooseRig = chooser(WORDS.chooseCardRig, async ([file]) => {
    const text = await read(file);
    if (text) make({ rig: text });
  }, { accept: ".toml,text/plain", id: "card-rig" });
  const chooseTakes = chooser(WORDS.chooseTakes, async files => {
    const texts = [];
    for (const file of files) {
      const text = await read(file);
      if (!text) return;
      texts.push(text);
    }
    make({ takes: texts });
  }, { accept: ".json,application/json", multiple: true, id: "card-takes" });
  view.append(error, used, h("div", { class: "row" }, chooseRig, chooseTakes,
    h("label", { class: "field" }, WORDS.paper, paper)), found);

  async function read(file) {
    error.say("");
    if (file.size > MOST_BYTES) return error.say(WORDS.tooLong(file.name));
    return { name: file.name, text: await file.text() };
  }

  /** Makes the card with what is new; what doesn't give a card isn't kept. */
  async function make(fresh = {}) {
    const [wantedRig, wantedTakes] = [fresh.rig ?? rig, fresh.takes ?? takes];
    if (!wantedRig && wantedTakes.length === 0) return;
    const mine = ++round;
    const question = { ask: "card", rig: wantedRig ?? { name: "", text: "" }, takes: wantedTakes, letter: paper.value === "letter" };
    const { answer } = await ask({ ...question, pdf: false });
    if (mine !== round) return;
    error.say(answer.refused ?? "");
    if (answer.refused) return;
    [rig, takes] = [wantedRig, wantedTakes];
    used.textContent = [
      rig ? WORDS.usedRig(rig.name) : WORDS.noRig,
      takes.length > 0 ? WORDS.usedTakes(takes.map(one => one.name)) : "",
    ].join(" ").trim();
    show(answer, question);
  }

  function show(answer, question) {
    const said = line();
    const pdf = async () => {
      const { answer: made, bytes } = await ask({ ...question, pdf: true });
      if (made.refused) said.say(made.refused);
      return made.refused ? null : new File([bytes], `${WORDS.cardName}.pdf`, { type: "application/pdf" });
    };
    const save = async () => {
      const file = await pdf();
      if (file) download(file.name, file, file.type);
    };
    const share = async () => {
      const file = await pdf();
      if (file && !(await shareFiles([file], WORDS.card, ""))) said.say(WORDS.shareRefused);
    };
    const notes = (answer.notes ?? []).map(note => h("li", {}, note));
    found.replaceChildren(
      h("div", { class: "row" },
        button(WORDS.savePdf, save, { class: "button first", id: "save-pdf" }),
        navigator.share ? button(WORDS.share, share, { class: "button", id: "share" }) : null),
      said,
      notes.length > 0 ? h("ul", { class: "notes" }, ...notes) : "",
      card(answer.html));
  }

  /** The card in running text: its places on paper, and its rules, are left out. */
  function card(html) {
    const body = reportBody(html);
    for (const element of body.querySelectorAll("[style]")) element.removeAttribute("style");
    for (const drawing of body.querySelectorAll("svg")) drawing.remove();
    // The view has a heading already.
    for (const heading of body.querySelectorAll("h2, h1")) {
      const lower = h(heading.nodeName === "H1" ? "h2" : "h3", {}, ...heading.childNodes);
      heading.replaceWith(lower);
    }
    return h("div", { class: "card" }, body);
  }
}
