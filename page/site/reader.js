// The page's side of the worker: questions, files, answers.
import { WORDS } from "./words.js";
import { wavOf } from "./sound.js";

let worker = null;
let next = 1;
const waiting = new Map();

function start() {
  worker = new Worker("worker.js");
  worker.addEventListener("message", ({ data }) => {
    const asked = waiting.get(data.id);
    if (!asked) return;
    if (data.share !== undefined) return asked.progress(data.share);
    waiting.delete(data.id);
    if (data.answer.broken) data.answer.refused = WORDS.broken;
    asked.resolve(data);
  });
  worker.addEventListener("error", event => {
    event.preventDefault();
    end({ refused: WORDS.broken });
  });
}

function end(answer) {
  worker?.terminate();
  worker = null;
  for (const asked of waiting.values()) asked.resolve({ answer, bytes: null });
  waiting.clear();
}

/** Abandons the current work; its question is answered with a line that says so. */
export const cancel = () => end({ refused: WORDS.cancelled, cancelled: true });

/** Asks the module; `files` are blobs by the ids in the question. */
export function ask(question, files = {}, progress = () => {}) {
  if (!worker) start();
  const id = next++;
  return new Promise(resolve => {
    waiting.set(id, { resolve, progress });
    worker.postMessage({ id, question, files });
  });
}

/** Asks about one file. If our own readers can't decode it, the browser's decoder is tried. */
export async function askOfFile(question, file, { progress, decoding } = {}) {
  const name = file.webkitRelativePath || file.name;
  const of = blob => ask({ ...question, file: { id: 0, name, len: blob.size } }, { 0: blob }, progress);
  const first = await of(file);
  if (!first.answer.foreign) return first;
  decoding?.(name);
  const sound = await decoded(file);
  return sound ? of(wavOf(sound.channels, sound.rate)) : first;
}

/** Largest file given to the browser, bytes: it needs the whole file in memory, and its decoded sound as well. */
const MOST_BYTES = 64 << 20;

async function decoded(file) {
  if (file.size > MOST_BYTES) return null;
  try {
    // The usual rate of compressed sound on phones; the browser converts to it.
    const context = new OfflineAudioContext(2, 1, 48_000);
    const buffer = await context.decodeAudioData(await file.arrayBuffer());
    const channels = [...Array(Math.min(buffer.numberOfChannels, 2)).keys()].map(n => buffer.getChannelData(n));
    return { channels, rate: buffer.sampleRate };
  } catch {
    return null;
  }
}
