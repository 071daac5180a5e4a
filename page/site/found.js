// A reading on the screen: the sentence, how sure it is, the list, the pictures, and its actions.
import { ask, askOfFile, cancel } from "./reader.js";
import { button, chooser, download, fileName, h, line, reportBody, shareFiles } from "./parts.js";
import { keep } from "./store.js";
import { WORDS } from "./words.js";

/** Reads a recording and shows the findings in `place`; returns whether it could be read. */
export async function readInto(place, error, file, mono, { recorded = false } = {}) {
  const doing = line();
  const progress = h("progress", { "aria-label": WORDS.reading(file.name), max: 1, value: 0 });
  const passed = h("p", { class: "note", id: "passed" });
  place.replaceChildren(doing, progress, passed, button(WORDS.cancel, cancel));
  doing.say(WORDS.reading(file.name));
  const pace = new Pace(progress, passed);
  const { answer } = await askOfFile({ ask: "read", mono }, file, {
    progress: share => pace.told(share),
    decoding: name => doing.say(WORDS.decoding(name)),
  });
  pace.ended(!answer.refused);
  place.replaceChildren();
  if (answer.refused) {
    error.say(answer.refused);
    if (recorded) place.append(button(WORDS.saveSound, () => download(file.name, file, "audio/wav")));
    return false;
  }
  show(place, { ...answer, name: file.name }, recorded ? file : null);
  place.querySelector("h2").focus();
  return true;
}

/** Time that the analysis of a recording took here the last time, seconds; before the first one, a slow phone's. */
let lastS = 8;

/**
 * Progress of a reading: while the file is decoded, its share; the analysis itself doesn't tell how far it is, so from then on the
 * time against that of the last reading, never quite to the end, and the seconds that have passed.
 */
class Pace {
  constructor(bar, passed) {
    Object.assign(this, { bar, passed, began: performance.now(), decoded: null, share: 0 });
    this.clock = setInterval(() => this.tick(), 100);
  }

  told(share) {
    this.share = share;
    this.decoded = performance.now();
    this.tick();
  }

  tick() {
    const now = performance.now();
    const worked = this.decoded === null ? 0 : (now - this.decoded) / 1000 / lastS;
    this.bar.value = this.share + (0.99 - this.share) * (1 - Math.exp(-1.5 * worked));
    this.passed.textContent = WORDS.passed(Math.floor((now - this.began) / 1000));
  }

  ended(read) {
    clearInterval(this.clock);
    if (read && this.decoded !== null) lastS = Math.max(0.5, (performance.now() - this.decoded) / 1000);
  }
}

/** Shows a reading, new or stored. */
export function show(place, reading, sound) {
  const sentence = h("p", { class: "sentence" }, reading.sentence);
  const notes = (reading.notes ?? []).map(note => h("li", {}, note));
  const report = reportBody(reading.html);
  const list = report.querySelector("dl");
  const pictures = h("div", {});
  let at = report.querySelector("h2");
  while (at) {
    const next = at.nextSibling;
    pictures.append(at);
    at = next;
  }
  const parts = [
    h("h2", { tabindex: "-1" }, WORDS.engineer), sentence,
    h("p", { class: "place" }, h("span", { class: "faint" }, `${WORDS.place}: `), reading.place),
    notes.length > 0 ? h("ul", { class: "notes" }, ...notes) : null,
    actions(reading, sound),
    h("h2", {}, WORDS.found), list, pictures,
  ];
  place.append(...parts.filter(Boolean));
}

const today = () => new Date().toLocaleDateString("sv");

function actions(reading, sound) {
  const said = line();
  const venue = h("input", { type: "text", maxlength: 60, value: reading.venue ?? "", autocomplete: "off", id: "venue" });
  const date = h("input", { type: "date", value: reading.date ?? today(), id: "date" });
  const called = () => fileName(`${venue.value || "line check"} ${date.value}`);
  const feed = () => venue.value || "as measured";
  const rig = existing => ask({ ask: "save", measured: reading.rig ?? "", existing, name: feed() });
  const saveRig = async existing => {
    const { answer } = await rig(existing);
    if (answer.refused) said.say(answer.refused);
    else download(`${called()}.toml`, answer.rig, "application/toml");
    return answer.rig;
  };
  const shareIt = async () => {
    const { answer } = await rig("");
    const files = [
      new File([reading.html], `${called()}.html`, { type: "text/html" }),
      ...(answer.rig ? [new File([answer.rig], `${called()}.toml.txt`, { type: "text/plain" })] : []),
    ];
    if (!(await shareFiles(files, called(), reading.sentence))) said.say(WORDS.shareRefused);
  };
  const keepIt = async () => {
    try {
      await keep({ ...reading, venue: venue.value, date: date.value });
      said.say(WORDS.keptNow);
    } catch {
      said.say(WORDS.keepFailed);
    }
  };
  return h("div", { class: "actions" },
    h("div", { class: "row" },
      h("label", { class: "field" }, WORDS.venue, venue), h("label", { class: "field" }, WORDS.date, date)),
    h("div", { class: "row" },
      button(WORDS.keep, keepIt, { class: "button first", id: "keep" }),
      navigator.share ? button(WORDS.share, shareIt, { class: "button", id: "share" }) : null,
      button(WORDS.saveJson, () => download(`${called()}.json`, `${reading.json}\n`, "application/json"), { class: "button", id: "save-json" }),
      button(WORDS.savePage, () => download(`${called()}.html`, reading.html, "text/html"), { class: "button", id: "save-page" }),
      sound ? button(WORDS.saveSound, () => download(sound.name, sound, "audio/wav"), { class: "button", id: "save-sound" }) : null),
    reading.rig
      ? h("div", { class: "row" },
        button(WORDS.saveRig, () => saveRig(""), { class: "button", id: "save-rig" }),
        chooser(WORDS.addTo, async ([file]) => saveRig(await file.text()), { accept: ".toml,text/plain", id: "add-rig" }))
      : h("p", { class: "note" }, WORDS.noFeed),
    said);
}
