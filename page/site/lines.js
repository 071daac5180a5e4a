// The view of a line check.
import { Check } from "./check.js";
import { ask } from "./reader.js";
import { button, h, line, tick } from "./parts.js";
import { joined, wavOf } from "./sound.js";
import { readInto } from "./found.js";
import { WORDS } from "./words.js";

/** Levels to choose from, dBFS. */
const LEVELS = { min: -50, max: -6, start: -50 };

const dbfs = power => (power > 0 ? WORDS.dbfs(10 * Math.log10(power)) : WORDS.silent);

export function linesView(view) {
  let check = null;
  const advice = h("ul", { class: "caution" });
  const error = line("error");
  const how = h("fieldset", {}, h("legend", {}, WORDS.connect));
  const choices = ["usb", "adapter", "listen"].map((value, n) => {
    const input = h("input", { type: "radio", name: "connect", value, checked: n === 0, change: () => show() });
    how.append(h("label", { class: "tick" }, input, h("span", {}, WORDS[value])));
    return input;
  });
  const otherMono = tick(WORDS.otherMono, { change: () => show() });
  how.append(otherMono);
  const chosen = () => choices.find(input => input.checked).value;
  const isMono = () => chosen() === "adapter" || (chosen() === "listen" && otherMono.input.checked);

  const start = button("", () => begin(), { class: "button first", id: "start" });
  const before = h("div", {}, h("h2", {}, WORDS.caution), advice, how, h("p", { class: "note" }, WORDS.asked), start);

  const slider = h("input", {
    type: "range", id: "level", min: LEVELS.min, max: LEVELS.max, step: 1, value: LEVELS.start, "data-quiet": true,
    "aria-label": WORDS.level,
    input: () => { check.setLevel(Number(slider.value)); levelNow(); },
  });
  const levelText = h("output", { for: "level" });
  const levelNow = () => {
    levelText.textContent = WORDS.dbfs(Number(slider.value));
    slider.setAttribute("aria-valuetext", levelText.textContent);
  };
  const levels = h("div", { class: "level", "data-quiet": true }, h("label", { for: "level" }, WORDS.level), slider, levelText,
    h("p", { class: "note" }, WORDS.levelHint));
  const figures = ["input", "noise", "clipping"].map(name => h("dd", { "data-figure": name }));
  const meter = h("meter", { min: -70, max: 0, low: -40, high: -3, optimum: -20, value: -70, "aria-label": WORDS.input });
  const meters = h("div", {}, meter, h("dl", { class: "figures" },
    ...["input", "noise", "clipping"].flatMap((name, n) => [h("dt", {}, WORDS[name]), figures[n]])));
  const doing = line();
  const part = h("p", { class: "part" });
  const progress = h("progress", { max: 1, value: 0, "aria-label": WORDS.lines });
  const send = button(WORDS.sendTest, () => { error.say(""); check.send(); }, { class: "button first", id: "send", "data-quiet": true });
  const readIt = button(WORDS.readIt, () => check.stop(null), { class: "button first", id: "stop", "data-quiet": true });
  const treated = h("p", { class: "note" });
  const during = h("div", { class: "during" }, doing, part, progress, levels, meters, treated, send, readIt);

  const readAnyway = button(WORDS.readRecorded, () => read(), { class: "button first", id: "read" });
  const again = button(WORDS.again, () => { error.say(""); show(); before.scrollIntoView(); }, { class: "button", id: "again" });
  const after = h("div", { class: "row" }, readAnyway, again);
  const found = h("div", { class: "found" });
  view.append(error, before, during, after, found);

  async function show() {
    check = null;
    found.replaceChildren();
    otherMono.hidden = chosen() !== "listen";
    start.textContent = chosen() === "listen" ? WORDS.startListening : WORDS.startTone;
    [before.hidden, during.hidden, after.hidden] = [false, true, true];
    // Nothing starts before the advice has been shown.
    start.disabled = true;
    const { answer } = await ask({ ask: "signal", rate_hz: 48000, mono: isMono() });
    if (answer.refused) return error.say(answer.refused);
    start.disabled = false;
    advice.replaceChildren(...(answer.advice ?? []).map(text => h("li", {}, text)));
  }

  async function begin() {
    if (check && check.ended === null) {
      error.say(WORDS.running);
      return;
    }
    error.say("");
    const now = new Check(chosen(), isMono(), () => told(now));
    check = now;
    slider.value = LEVELS.start;
    levelNow();
    try {
      await now.open(LEVELS.start);
    } catch (refused) {
      if (check === now) check = null;
      error.say(refused);
    }
  }

  function told(now) {
    if (now !== check) return;
    if (now.ended !== null && now.state === "closed") return ended(now);
    const { state, microphone } = now;
    [before.hidden, during.hidden, after.hidden] = [true, false, true];
    levels.hidden = send.hidden = state !== "tone";
    readIt.hidden = state !== "listening";
    progress.hidden = part.hidden = state !== "sending" || now.began === undefined;
    const text = { tone: WORDS.toneOn, sending: WORDS.testOn, listening: WORDS.listening }[state] ?? "";
    if (doing.textContent !== text) doing.say(text);
    if (!progress.hidden) {
      const { name, left, share } = now.part();
      part.textContent = WORDS.next(name, Math.ceil(left));
      progress.value = share;
    }
    meter.value = microphone.power > 0 ? Math.max(-70, 10 * Math.log10(microphone.power)) : -70;
    const texts = [
      dbfs(microphone.peak ** 2),
      microphone.noise === null ? WORDS.silent : dbfs(microphone.noise),
      microphone.clipped > 0 ? WORDS.clipped(microphone.clipped) : WORDS.clippedNone,
    ];
    figures.forEach((figure, n) => { if (figure.textContent !== texts[n]) figure.textContent = texts[n]; });
    const left = microphone.treatments();
    treated.textContent = [
      left === null ? WORDS.notSaid : left.length > 0 ? WORDS.stillOn(left.join(", ")) : "",
      now.note,
    ].join(" ").trim();
  }

  function ended(now) {
    [before.hidden, during.hidden, after.hidden] = [true, true, false];
    if (now.ended) error.say(now.ended);
    readAnyway.hidden = now.microphone.pieces.length === 0;
    if (!now.ended) read();
  }

  async function read() {
    const { microphone, mono } = check;
    readAnyway.hidden = true;
    error.say("");
    const name = `line check ${new Date().toLocaleString("sv").replaceAll(":", "-")}.wav`;
    const sound = new File([wavOf([joined(microphone.pieces)], microphone.rate)], name, { type: "audio/wav" });
    await readInto(found, error, sound, mono, { recorded: true });
  }

  show();
  return { leave: () => check?.stop?.(WORDS.stopped) };
}
