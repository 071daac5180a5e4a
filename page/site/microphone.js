// The microphone: requested without processing, recorded, metered.
import { WORDS } from "./words.js";

/** Browsers' processing for voices, which a test signal must not get. */
const TREATMENTS = ["echoCancellation", "noiseSuppression", "autoGainControl"];
/** Longest recording kept, seconds: two signals with pauses fit. Of a longer one the beginning is dropped. */
const KEPT_S = 180;
/** Level from which a sample counts as clipped, full scale 1. */
const CLIPPED = 0.999;
/** Number of pieces at the beginning, before anything is sent, from which the noise is measured. */
const QUIET = 5;

export class Microphone {
  /** Opens it. Rejects with a line that says what to do. */
  static async open(context) {
    if (!navigator.mediaDevices?.getUserMedia) throw WORDS.insecure;
    const wanted = Object.fromEntries(TREATMENTS.map(name => [name, false]));
    let stream;
    try {
      stream = await navigator.mediaDevices.getUserMedia({ audio: { ...wanted, channelCount: 1 } });
    } catch (error) {
      throw {
        NotAllowedError: WORDS.microphoneRefused,
        SecurityError: WORDS.microphoneRefused,
        NotFoundError: WORDS.microphoneMissing,
        OverconstrainedError: WORDS.microphoneMissing,
      }[error.name] ?? WORDS.microphoneBusy;
    }
    await context.audioWorklet.addModule("recorder.js");
    return new Microphone(context, stream);
  }

  constructor(context, stream) {
    this.stream = stream;
    this.rate = context.sampleRate;
    this.pieces = [];
    this.clipped = 0;
    this.peak = 0;
    this.power = 0;
    this.quiet = 0;
    /** Power of the noise before anything is sent; `null` until it is known. */
    this.noise = null;
    this.heard = () => {};
    this.gone = () => {};
    this.node = new AudioWorkletNode(context, "recorder", { numberOfOutputs: 0, channelCount: 1, channelCountMode: "explicit" });
    this.node.port.onmessage = ({ data }) => this.take(data);
    this.source = context.createMediaStreamSource(stream);
    this.source.connect(this.node);
    stream.getTracks()[0].addEventListener("ended", () => this.gone());
  }

  take(piece) {
    this.pieces.push(piece);
    if (this.pieces.length > 10 * KEPT_S) this.pieces.shift();
    let peak = 0;
    let sum = 0;
    for (const sample of piece) {
      const size = Math.abs(sample);
      if (size > peak) peak = size;
      if (size >= CLIPPED) this.clipped += 1;
      sum += sample * sample;
    }
    this.peak = peak;
    this.power = sum / piece.length;
    if (this.noise === null) {
      this.quiet += this.power / QUIET;
      if (this.pieces.length === QUIET) this.noise = this.quiet;
    }
    this.heard();
  }

  /** Processing that stayed on all the same, by name, or `null` where the browser doesn't say. */
  treatments() {
    const settings = this.stream.getTracks()[0].getSettings?.() ?? {};
    if (TREATMENTS.every(name => settings[name] === undefined)) return null;
    return TREATMENTS.filter(name => settings[name] === true).map(name => WORDS[name]);
  }

  /** Ends it. The recording stays in `pieces`. */
  close() {
    this.gone = () => {};
    this.node.port.postMessage("close");
    this.source.disconnect();
    for (const track of this.stream.getTracks()) track.stop();
  }
}
