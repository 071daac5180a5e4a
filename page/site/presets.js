// The view that judges presets.
import { ask, askOfFile, cancel } from "./reader.js";
import { button, chooser, download, h, line, reportBody } from "./parts.js";
import { rigFields } from "./rig.js";
import { WORDS } from "./words.js";

export function presetsView(view) {
  let bounces = [];
  let round = 0;
  const error = line("error");
  const doing = line();
  const refusals = h("ul", { class: "refusals" });
  const found = h("div", { class: "found" });
  const rig = rigFields(error, () => { again.hidden = bounces.length === 0; });
  const again = button(WORDS.judgeAgain, () => judge(), { class: "button", id: "again", hidden: true });
  const drop = h("div", {
    class: "drop",
    dragover: event => { event.preventDefault(); drop.classList.add("over"); },
    dragleave: () => drop.classList.remove("over"),
    drop: event => {
      event.preventDefault();
      drop.classList.remove("over");
      take([...event.dataTransfer.files]);
    },
  }, chooser(WORDS.chooseBounces, take, { multiple: true, accept: "audio/*,video/*,.w64,.caf,.rf64", id: "bounces" }),
  h("span", { class: "faint wide-only" }, WORDS.drop));
  view.append(error, drop, rig.element, again, doing, refusals, found);

  function take(files) {
    bounces = files;
    judge();
  }

  async function judge() {
    const mine = ++round;
    cancel();
    error.say("");
    refusals.replaceChildren();
    again.hidden = true;
    const begun = await ask({ ask: "begin", rig: rig.text() });
    if (begun.answer.refused) {
      again.hidden = false;
      return error.say(rig.withoutLine(begun.answer.refused));
    }
    const progress = h("progress", { max: bounces.length, value: 0, "aria-label": WORDS.presets });
    found.replaceChildren(progress, button(WORDS.cancel, () => { round += 1; cancel(); ended(); }));
    // Below the settings, where these are open.
    found.scrollIntoView({ block: "nearest" });
    for (const [number, file] of bounces.entries()) {
      doing.say(WORDS.preset(number + 1, bounces.length, file.name));
      const { answer } = await askOfFile({ ask: "add" }, file, {
        progress: share => { progress.value = number + share; },
        decoding: name => doing.say(WORDS.decoding(name)),
      });
      if (mine !== round) return;
      if (answer.refused) refusals.append(h("li", {}, answer.refused));
    }
    const { answer } = await ask({ ask: "set" });
    if (mine !== round) return;
    ended();
    if (!answer.presets) return error.say(WORDS.noPresets);
    show(answer);
  }

  function ended() {
    doing.say("");
    found.replaceChildren();
    again.hidden = bounces.length === 0;
  }

  async function show(answer) {
    const report = reportBody(answer.html);
    found.append(
      h("div", { class: "row" },
        button(WORDS.savePage, () => download("presets.html", answer.html, "text/html"), { class: "button", id: "save-page" }),
        button(WORDS.saveJson, () => download("presets.json", `${answer.json}\n`, "application/json"), { class: "button", id: "save-json" })),
      h("div", { class: "report" }, report));
    // The report's own sorting and filtering; a module runs only once for each address.
    await import(`./set.js?${mine()}`);
    found.querySelector("h1").setAttribute("tabindex", "-1");
    found.querySelector("h1").focus();
  }

  let shown = 0;
  const mine = () => ++shown;
}
