// The rig that presets are judged for: a rig file, or lines and limits that are set here and written as one.
import { button, chooser, h, tick } from "./parts.js";
import { WORDS } from "./words.js";

const LIMITS = Object.keys(WORDS.limitNames);

function number(label, key) {
  const input = h("input", { type: "text", inputmode: "text", size: 6, "data-key": key, autocomplete: "off" });
  return Object.assign(h("label", { class: "field" }, label, input), { input });
}

/** A number as typed; other text is passed on as text, so that the rig file's own error appears. */
function typed(text) {
  const plain = text.trim().replace("−", "-").replace(",", ".");
  return /^[+-]?\d+(\.\d+)?$/.test(plain) ? plain : JSON.stringify(text);
}

export function rigFields(error, changed) {
  let file = null;
  const used = h("p", { class: "note" });
  const lines = ["left", "right"].map(side => {
    const ticks = [tick(WORDS.flipped), tick(WORDS.unplugged)];
    const numbers = [number(WORDS.gain, "gain_db"), number(WORDS.delay, "delay_ms"), number(WORDS.highPass, "high_pass_hz")];
    const text = () => [
      `[${side}]`,
      ticks[0].input.checked ? 'polarity = "flipped"' : "",
      ticks[1].input.checked ? "unplugged = true" : "",
      ...numbers.filter(one => one.input.value.trim()).map(one => `${one.input.dataset.key} = ${typed(one.input.value)}`),
    ].filter(Boolean).join("\n");
    return { element: h("fieldset", {}, h("legend", {}, WORDS[side]), ...ticks, ...numbers), text };
  });
  const sum = h("select", { id: "sum" }, ...Object.entries(WORDS.sums).map(([value, text]) => h("option", { value }, text)));
  const limits = LIMITS.map(key => number(WORDS.limitNames[key], key));
  const fields = h("div", {}, ...lines.map(one => one.element), h("label", { class: "field" }, WORDS.sum, sum),
    h("fieldset", {}, h("legend", {}, WORDS.limits), ...limits));
  const forget = button(WORDS.forget, () => { file = null; show(); changed(); }, { class: "button" });
  const choose = chooser(WORDS.chooseRig, async ([chosen]) => {
    error.say("");
    file = { name: chosen.name, text: await chosen.text() };
    show();
    changed();
  }, { accept: ".toml,text/plain", id: "rig" });
  function show() {
    fields.hidden = file !== null;
    forget.hidden = file === null;
    used.textContent = file ? WORDS.usedRig(file.name) : WORDS.plain;
  }
  show();
  const element = h("details", { input: changed }, h("summary", {}, WORDS.rigAndLimits), used, h("div", { class: "row" }, choose, forget), fields);
  const made = () => [
    sum.value === "average" ? "" : `sum = "${sum.value}"`,
    ...lines.map(one => one.text()),
    "[limits]",
    ...limits.filter(one => one.input.value.trim()).map(one => `${one.input.dataset.key} = ${typed(one.input.value)}`),
  ].filter(Boolean).join("\n");
  return {
    element,
    text: () => file ?? { name: "", text: `${made()}\n` },
    // A line number has no meaning when no file was chosen.
    withoutLine: complaint => (file ? complaint : complaint.replace(/^line \d+: /, "")),
  };
}
