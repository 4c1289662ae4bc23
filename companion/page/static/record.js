// Recordings made in the page become chosen files, as 16-bit WAV without any processing.
import { microphone, why } from "./microphone-access.js";

const button = document.getElementById("record");
const field = document.getElementById("take");
const said = document.getElementById("recording");
const words = JSON.parse(document.getElementById("words").textContent);
const MOST_SECONDS = 300;
let context = null, stream = null, parts = [], rate = 0, count = 0;

function wav() {
  const length = parts.reduce((sum, part) => sum + part.length, 0);
  const view = new DataView(new ArrayBuffer(44 + 2 * length));
  const text = (at, letters) => [...letters].forEach((c, i) => view.setUint8(at + i, c.charCodeAt(0)));
  text(0, "RIFF"); view.setUint32(4, 36 + 2 * length, true); text(8, "WAVEfmt ");
  view.setUint32(16, 16, true); view.setUint16(20, 1, true); view.setUint16(22, 1, true);
  view.setUint32(24, rate, true); view.setUint32(28, 2 * rate, true); view.setUint16(32, 2, true); view.setUint16(34, 16, true);
  text(36, "data"); view.setUint32(40, 2 * length, true);
  let at = 44;
  for (const part of parts) for (const sample of part) { view.setInt16(at, Math.max(-1, Math.min(1, sample)) * 32767, true); at += 2; }
  return view.buffer;
}

async function begin() {
  try {
    stream = await microphone();
  } catch (error) {
    said.textContent = why(error, words);
    return;
  }
  context = new AudioContext();
  rate = context.sampleRate;
  parts = [];
  await context.audioWorklet.addModule("/static/microphone.js");
  const blocks = new AudioWorkletNode(context, "blocks", { numberOfOutputs: 0 });
  blocks.port.onmessage = (message) => { if (parts.length * 960 < MOST_SECONDS * rate) parts.push(message.data); };
  context.createMediaStreamSource(stream).connect(blocks);
  stream.getTracks()[0].onended = () => { if (context) { end(); said.textContent = words.none; } };
  button.textContent = words.stop;
  said.textContent = words.recording;
}

function end() {
  stream.getTracks().forEach((track) => { track.onended = null; track.stop(); });
  context.close();
  context = null;
  button.textContent = words.again;
  if (!parts.length) { said.textContent = words.empty; return; }
  count += 1;
  const file = new File([wav()], `recording-${count}.wav`, { type: "audio/wav" });
  const chosen = new DataTransfer();
  // Where several takes of one tune are wanted each is kept; elsewhere the newest is the one.
  if (field.multiple) for (const before of field.files) chosen.items.add(before);
  chosen.items.add(file);
  field.files = chosen.files;
  field.dispatchEvent(new Event("change", { bubbles: true }));
  said.textContent = (field.multiple ? words.several : words.recorded)
    .replace("{seconds}", Math.round((file.size - 44) / 2 / rate)).replace("{n}", field.files.length);
}
document.getElementById("recorder").hidden = false;
button.addEventListener("click", () => (context ? end() : begin()));
