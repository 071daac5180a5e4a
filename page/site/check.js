// A line check in progress: tone, signal, microphone, and everything that can end it.
import { ask } from "./reader.js";
import { Microphone } from "./microphone.js";
import { WORDS } from "./words.js";

/** Stretch of the signal's first tone that is repeated until the level is right, from and to, seconds: a whole number of periods. */
const TONE_S = [1, 3];
/** Length of a fade, seconds. */
const FADE_S = 0.06;
/** What is recorded after the signal, seconds: the room's decay, and the browser's latency. */
const BEHIND_S = 1.5;

/** Longest time for the browser to begin to play, milliseconds. */
const PATIENCE_MS = 8000;

/** Name of the lock: one check in all windows of this browser. */
const LOCK = "sumproof-check";

export class Check {
  /** `how` is `usb`, `adapter` or `listen`; `told` is called after every change. */
  constructor(how, mono, told) {
    Object.assign(this, { how, mono, told, state: "closed", ended: null, note: "" });
    this.interrupted = () => document.hidden && this.stop(WORDS.hidden);
    this.frozen = () => this.stop(WORDS.hidden);
    this.touched = event => {
      if (this.state !== "closed" && !event.target.closest?.("[data-quiet]")) this.stop(WORDS.stopped);
    };
  }

  get plays() {
    return this.how !== "listen";
  }

  /** Opens microphone and sound, and begins with the soft tone. Rejects with a line that says what to do. */
  async open(levelDbfs) {
    this.release = await locked();
    if (!this.release) throw WORDS.running;
    try {
      if (navigator.audioSession) navigator.audioSession.type = "play-and-record";
      this.context = new AudioContext({ latencyHint: "playback" });
      // Without an audio output some browsers wait for ever.
      await Promise.race([this.context.resume(), pause(PATIENCE_MS).then(() => Promise.reject(WORDS.soundRefused))]);
      this.microphone = await Microphone.open(this.context);
      const { answer, bytes } = await ask({ ask: "signal", rate_hz: this.context.sampleRate, mono: this.mono });
      if (answer.refused) throw answer.refused;
      this.signal = answer;
      this.buffer = this.bufferOf(bytes);
    } catch (error) {
      this.close();
      throw typeof error === "string" ? error : WORDS.soundRefused;
    }
    this.gain = new GainNode(this.context, { gain: 0 });
    this.gain.connect(this.context.destination);
    this.microphone.heard = () => this.told();
    this.microphone.gone = () => this.stop(WORDS.microphoneGone);
    this.context.addEventListener("statechange", () => {
      if (this.context.state === "interrupted" || this.context.state === "suspended") this.stop(WORDS.hidden);
    });
    document.addEventListener("visibilitychange", this.interrupted);
    document.addEventListener("freeze", this.frozen);
    addEventListener("pagehide", this.frozen);
    await this.stayAwake();
    if (this.ended !== null) return;
    this.state = this.plays ? "quiet" : "listening";
    this.told();
    if (this.plays) await this.listenFirst(levelDbfs);
  }

  /** Records the place without the signal, for its noise; then plays the tone. */
  async listenFirst(levelDbfs) {
    while (this.state === "quiet" && this.microphone.noise === null) await pause(50);
    if (this.state !== "quiet") return;
    this.setLevel(levelDbfs);
    this.source = new AudioBufferSourceNode(this.context, { buffer: this.buffer, loop: true });
    [this.source.loopStart, this.source.loopEnd] = TONE_S;
    this.source.connect(this.gain);
    this.source.start(0, TONE_S[0]);
    this.state = "tone";
    this.armed();
    this.told();
  }

  bufferOf(bytes) {
    const samples = new Float32Array(bytes);
    const frames = samples.length / 2;
    const buffer = new AudioBuffer({ numberOfChannels: 2, length: frames, sampleRate: this.context.sampleRate });
    buffer.copyToChannel(samples.subarray(0, frames), 0);
    buffer.copyToChannel(samples.subarray(frames), 1);
    return buffer;
  }

  /** Peak level of the signal, dBFS. */
  setLevel(levelDbfs) {
    const now = this.context.currentTime;
    this.loudness = 10 ** ((levelDbfs - this.signal.level_dbfs) / 20);
    this.gain.gain.cancelScheduledValues(now);
    this.gain.gain.setTargetAtTime(this.loudness, now, FADE_S / 3);
  }

  /** Plays the signal once, from its beginning. */
  async send() {
    if (this.state !== "tone") return;
    this.state = "sending";
    this.fade();
    await pause(1000 * 2 * FADE_S);
    if (this.state !== "sending") return;
    this.source.stop();
    this.source.disconnect();
    this.gain.gain.cancelScheduledValues(0);
    this.gain.gain.setValueAtTime(this.loudness, this.context.currentTime);
    this.source = new AudioBufferSourceNode(this.context, { buffer: this.buffer });
    this.source.connect(this.gain);
    const played = new Promise(resolve => this.source.addEventListener("ended", resolve));
    this.began = this.context.currentTime;
    this.source.start();
    this.told();
    await played;
    await pause(1000 * BEHIND_S);
    if (this.state === "sending") this.stop(null);
  }

  /** The part that sounds, and the time left of the signal, seconds. */
  part() {
    const at = this.context.currentTime - this.began;
    const part = this.signal.parts.findLast(([start]) => start <= at) ?? this.signal.parts[0];
    return { name: part[1], left: Math.max(0, this.buffer.duration - at), share: Math.min(1, at / this.buffer.duration) };
  }

  fade() {
    const now = this.context.currentTime;
    this.gain.gain.cancelScheduledValues(now);
    this.gain.gain.setTargetAtTime(0, now, FADE_S / 3);
  }

  /** From now on any touch stops it. */
  armed() {
    addEventListener("pointerdown", this.touched, true);
    addEventListener("keydown", this.touched, true);
  }

  /** Ends it, with a line that says why; `null` for its normal end. The recording stays. */
  async stop(why) {
    if (this.ended !== null) return;
    this.ended = why ?? "";
    this.state = "ending";
    if (this.plays && this.gain) {
      this.fade();
      await pause(1000 * 2 * FADE_S);
    }
    this.close();
    this.told();
  }

  close() {
    this.state = "closed";
    removeEventListener("pointerdown", this.touched, true);
    removeEventListener("keydown", this.touched, true);
    document.removeEventListener("visibilitychange", this.interrupted);
    document.removeEventListener("freeze", this.frozen);
    removeEventListener("pagehide", this.frozen);
    this.microphone?.close();
    this.context?.close().catch(() => {});
    this.awake?.release().catch(() => {});
    this.release?.();
    this.release = null;
  }

  /** The system took the lock away, as it may when the battery runs low. */
  sleeps() {
    if (this.state === "closed") return;
    this.note = WORDS.awake;
    this.told();
  }

  async stayAwake() {
    try {
      this.awake = await navigator.wakeLock.request("screen");
      this.awake.addEventListener("release", () => this.sleeps());
    } catch {
      this.note = WORDS.awake;
    }
  }
}

const pause = ms => new Promise(resolve => setTimeout(resolve, ms));

/** Takes the lock: returns the function that releases it, or `null` when another window has it. */
function locked() {
  if (!navigator.locks) return Promise.resolve(() => {});
  return new Promise(resolve => {
    navigator.locks.request(LOCK, { ifAvailable: true }, lock => {
      if (!lock) return resolve(null);
      return new Promise(release => resolve(release));
    }).catch(() => resolve(() => {}));
  });
}
