"use strict";
// Runs the module outside the page's thread, so that a long reading doesn't block it, and a file that crashes a decoder affects nothing else.

const reader = new FileReaderSync();
const encoder = new TextEncoder();
const decoder = new TextDecoder();
let compiled = null;
let instance = null;
/** The current question's id, its files, and the bytes of them read so far. */
let current = { id: 0, files: {} };
/** Share of a reading's work done once its file has been decoded; `check.rs` has the same number. */
const DECODED = 0.2;
/** The question that began the set, and those that added to it: a new instance must be given them again. */
let set = { begun: null, added: [] };

async function load() {
  const answer = await fetch("analysis.bin");
  if (!answer.ok) throw new Error(answer.statusText);
  const bytes = await answer.arrayBuffer();
  // Some hosts deliver compressed files decompressed.
  const packed = new Uint8Array(bytes, 0, 2)[0] === 0x1f;
  if (!packed) return WebAssembly.compile(bytes);
  const unpacked = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("gzip"));
  return WebAssembly.compile(await new Response(unpacked).arrayBuffer());
}

/** Tells how far a recording has been read, a hundredth of the work at a time. */
function decoded(size, count) {
  if (current.ask !== "read") return;
  current.bytes += count;
  const share = Math.floor(100 * DECODED * Math.min(1, current.bytes / size)) / 100;
  if (share > current.share) postMessage({ id: current.id, share: current.share = share });
}

function fresh() {
  instance = new WebAssembly.Instance(compiled, {
    page: {
      read_at(file, at, into, len) {
        try {
          const part = reader.readAsArrayBuffer(current.files[file].slice(at, at + len));
          new Uint8Array(instance.exports.memory.buffer, into, part.byteLength).set(new Uint8Array(part));
          decoded(current.files[file].size, part.byteLength);
          return part.byteLength;
        } catch {
          // The file was changed or removed after it was chosen.
          return -1;
        }
      },
      progress(share) {
        if (current.id > 0) postMessage({ id: current.id, share });
      },
    },
  });
}

/** Asks the module; throws when it crashes. */
function asked(question) {
  const { memory, room, ask, answer, answer_len, bytes, bytes_len } = instance.exports;
  const text = encoder.encode(JSON.stringify(question));
  const at = room(text.length);
  new Uint8Array(memory.buffer, at, text.length).set(text);
  ask();
  const said = new Uint8Array(memory.buffer, answer(), answer_len());
  const count = bytes_len();
  return {
    answer: JSON.parse(decoder.decode(said)),
    bytes: count > 0 ? memory.buffer.slice(bytes(), bytes() + count) : null,
  };
}

/** The same; a module that crashed is discarded, and the file that caused it refused. */
function answered(question) {
  try {
    return asked(question);
  } catch {
    fresh();
    again();
    return asked({ ask: "broken", name: question.file?.name ?? question.rig?.name ?? "" });
  }
}

/** Brings a new instance to the set's present state. */
function again() {
  if (!set.begun) return;
  const was = current;
  asked(set.begun);
  for (const { question, files } of set.added) {
    current = { id: 0, files };
    asked(question);
  }
  current = was;
}

async function answer(id, question, files) {
  try {
    compiled ??= load();
    compiled = await compiled;
  } catch {
    compiled = null;
    postMessage({ id, answer: { refused: null, broken: true }, bytes: null });
    return;
  }
  if (!instance) fresh();
  current = { id, files, ask: question.ask, bytes: 0, share: 0 };
  const done = answered(question);
  if (!done.answer.refused) {
    if (question.ask === "begin") set = { begun: question, added: [] };
    if (question.ask === "add") set.added.push({ question, files });
  }
  postMessage({ id, ...done, memory: instance.exports.memory.buffer.byteLength }, done.bytes ? [done.bytes] : []);
}

// One question after the other.
let before = Promise.resolve();
addEventListener("message", ({ data }) => {
  before = before.then(() => answer(data.id, data.question, data.files));
});
