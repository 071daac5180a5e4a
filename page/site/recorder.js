"use strict";
// Passes the microphone's sound on, in pieces of a tenth of a second.
class Recorder extends AudioWorkletProcessor {
  constructor() {
    super();
    this.size = Math.round(sampleRate / 10);
    this.piece = new Float32Array(this.size);
    this.at = 0;
    this.open = true;
    this.port.onmessage = () => { this.open = false; };
  }

  process([input]) {
    const channel = input[0];
    if (!channel) return this.open;
    for (let from = 0; from < channel.length;) {
      const count = Math.min(channel.length - from, this.size - this.at);
      this.piece.set(channel.subarray(from, from + count), this.at);
      this.at += count;
      from += count;
      if (this.at === this.size) {
        this.port.postMessage(this.piece, [this.piece.buffer]);
        this.piece = new Float32Array(this.size);
        this.at = 0;
      }
    }
    return this.open;
  }
}
registerProcessor("recorder", Recorder);
