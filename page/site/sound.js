// Sounds as files.

/** A WAV file of 32-bit floats from channels of equal length. */
export function wavOf(channels, rate) {
  const count = channels.length;
  const frames = channels[0].length;
  const head = new DataView(new ArrayBuffer(58));
  const text = (at, word) => [...word].forEach((c, n) => head.setUint8(at + n, c.charCodeAt(0)));
  text(0, "RIFF");
  head.setUint32(4, 50 + 4 * count * frames, true);
  text(8, "WAVEfmt ");
  head.setUint32(16, 18, true);
  // Format 3: floats.
  head.setUint16(20, 3, true);
  head.setUint16(22, count, true);
  head.setUint32(24, rate, true);
  head.setUint32(28, 4 * count * rate, true);
  head.setUint16(32, 4 * count, true);
  head.setUint16(34, 32, true);
  text(38, "fact");
  head.setUint32(42, 4, true);
  head.setUint32(46, frames, true);
  text(50, "data");
  head.setUint32(54, 4 * count * frames, true);
  const samples = new Float32Array(count * frames);
  channels.forEach((channel, n) => {
    for (let frame = 0; frame < frames; frame++) samples[count * frame + n] = channel[frame];
  });
  return new Blob([head, samples], { type: "audio/wav" });
}

/** Concatenates the pieces of a channel. */
export function joined(pieces) {
  const whole = new Float32Array(pieces.reduce((sum, piece) => sum + piece.length, 0));
  let at = 0;
  for (const piece of pieces) {
    whole.set(piece, at);
    at += piece.length;
  }
  return whole;
}
