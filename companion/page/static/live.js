// A live session: the microphone out, words and sounds in. One socket, one session, one live region.
import { cellsNode } from "./dots.js";
import { microphone, why } from "./microphone-access.js";

const $ = (id) => document.getElementById(id);
const form = $("begin"), talk = $("talk"), cue = $("cue"), now = $("now"), log = $("log"), hand = $("hand"), reply = $("reply");
const drawn = $("drawn"), kept = $("kept");
const token = document.querySelector('meta[name="token"]').content;
const words = JSON.parse($("words").textContent);
const MOST_SHOWN = 3, MOST_KEPT = 12;
const JOIN_AGAIN_MS = [300, 1000, 2000, 4000, 8000, 16000];
const SLEPT_MS = 8000; // a timer of a second that comes so late: the device was asleep
let socket = null, context = null, stream = null, source = null, blocks = null, wanted = null, key = null, tries = 0;
let expected = null, playing = null, wake = null, ended = true, ticked = 0;

// Where the session is, for those who look. What comes with every phrase is no announcement: it would be heard as singing.
function state(text, aloud) {
  now.setAttribute("aria-live", aloud ? "polite" : "off");
  now.textContent = text;
}

function show(text, spoken, cells) {
  // Each line is a new child of the one live region: announced once, also where the same words come twice.
  cue.setAttribute("aria-live", spoken ? "off" : "polite");
  const line = document.createElement("p");
  if (cells) { line.className = "cells"; line.append(cellsNode(cells)); } else line.textContent = text;
  cue.append(line);
  while (cue.children.length > MOST_SHOWN) cue.firstElementChild.remove();
  const item = document.createElement("li");
  item.textContent = cells || text;
  log.append(item);
  $("said-so-far").hidden = false;
}

// --- the path and the voice over it ---

let shown = "", waiting = null, finished = null, voice = null, pen = false;

function draw(text) {
  drawn.replaceChildren(document.importNode(new DOMParser().parseFromString(text, "image/svg+xml").documentElement, true));
  voice = null;
  pen = false;
}

function keepDrawn() {
  // A take that is over stays, with what was said of it.
  if (finished !== null && drawn.firstElementChild) {
    const item = document.createElement("li"), said = document.createElement("p");
    said.textContent = finished;
    item.append(said, drawn.firstElementChild);
    kept.prepend(item);
    while (kept.children.length > MOST_KEPT) kept.lastElementChild.remove();
    $("takes").hidden = false;
  }
  finished = null;
}

function pathCame(said) {
  waiting = { path: said.path, line: said.line.join(" ") };
  if (waiting.line !== shown || finished === null) newPath();  // the same line once more: the last voice stays until the next
}

function newPath() {
  keepDrawn();
  draw(waiting.path);
  shown = waiting.line;
  waiting = null;
}

function voiceCame(points) {
  if (waiting) newPath();
  const picture = drawn.querySelector("svg");
  if (!picture) return;
  if (!voice) {
    voice = document.createElementNS("http://www.w3.org/2000/svg", "path");
    voice.setAttribute("class", "voice");
    picture.append(voice);
  }
  let way = voice.getAttribute("d") ?? "";
  for (const point of points) {
    if (point) way += `${pen ? "L" : "M"}${point[0]} ${point[1]}`;
    pen = point !== null;
  }
  if (way) voice.setAttribute("d", way);
}

// --- microphone, sounds, socket ---

function listen() {
  source = context.createMediaStreamSource(stream);
  source.connect(blocks);
  stream.getTracks()[0].onended = async () => {
    send({ microphone: "gone" });
    while (!ended) {
      await new Promise((done) => setTimeout(done, 1500));
      try { stream = await microphone(); } catch { continue; }
      if (ended) { stream.getTracks().forEach((track) => track.stop()); return; }
      listen();
      send({ microphone: "back" });
      return;
    }
  };
}

function stopPlaying() {
  if (playing) { playing.onended = null; try { playing.stop(); } catch { /* had ended */ } playing = null; }
}

async function play(bytes, number) {
  try {
    const buffer = await context.decodeAudioData(bytes);
    stopPlaying();
    playing = context.createBufferSource();
    playing.buffer = buffer;
    playing.connect(context.destination);
    playing.onended = () => { playing = null; send({ played: number }); };
    playing.start();
  } catch { send({ played: number }); }
}

function send(message) { if (socket && socket.readyState === WebSocket.OPEN) socket.send(JSON.stringify(message)); }

function awake() {
  if (navigator.wakeLock) navigator.wakeLock.request("screen").then((lock) => { wake = lock; }, () => {});
}

function finish(text) {
  ended = true;
  stopPlaying();
  if (stream) stream.getTracks().forEach((track) => track.stop());
  if (context) context.close();
  if (wake) wake.release().catch(() => {});
  if (socket) { socket.onclose = null; socket.close(); }
  socket = context = stream = wake = key = null;
  const inside = talk.contains(document.activeElement) || document.activeElement === document.body;
  talk.hidden = true;
  form.hidden = false;
  state("", true);
  if (text) show(text, false);
  if (inside) form.querySelector("button").focus();
}

function join() {
  socket = new WebSocket(`ws://${location.host}/live`);
  socket.binaryType = "arraybuffer";
  socket.onopen = () => { send({ ...wanted, token, rate: context.sampleRate, ...(key ? { resume: key } : {}) }); };
  socket.onclose = (event) => {
    if (event.code === 4403) { finish(words.refused); return; }
    if (event.code === 4429) { finish(words.full); return; }
    if (!key || tries >= JOIN_AGAIN_MS.length) { finish(words.over); return; }
    state(words.lost, true);
    setTimeout(() => { if (!ended) join(); }, JOIN_AGAIN_MS[tries++]);
  };
  socket.onmessage = (message) => {
    if (message.data instanceof ArrayBuffer) { play(message.data, expected); return; }
    const said = JSON.parse(message.data);
    if ("key" in said) {
      key = said.key;
      tries = 0;
      state(words.open, true);
      if (talk.hidden) { form.hidden = true; talk.hidden = false; talk.querySelector("input, button").focus(); }
    }
    if ("say" in said) show(said.say, said.spoken);
    if ("cells" in said) show("", said.spoken, said.cells);
    if ("hand" in said) { hand.hidden = !said.hand; hand.textContent = said.hand; }
    if ("path" in said) pathCame(said);
    if ("voice" in said) voiceCame(said.voice);
    if (said.picture) { waiting = null; keepDrawn(); draw(said.picture); finished = said.cue; }
    if ("sound" in said) expected = said.sound;
    if ("hush" in said) stopPlaying();
    if (said.listens) state(words.listening, false);
    else if (("listens" in said || "say" in said || "sound" in said) && now.textContent === words.listening) state(words.open, false);
    if ("ask" in said && reply) $("typed").focus();
    if ("end" in said) finish(said.end);
  };
}

form.addEventListener("submit", async (event) => {
  event.preventDefault();
  if (!ended) return; // pressed twice
  wanted = Object.fromEntries(new FormData(form));
  key = null; tries = 0; ended = false;
  hand.hidden = true;
  drawn.replaceChildren();
  finished = null; shown = ""; waiting = null;
  state(words.opening, true);
  try {
    context = new AudioContext();
    stream = await microphone();
    await context.audioWorklet.addModule("/static/microphone.js");
  } catch (error) {
    state("", true);
    show(why(error, words), false);
    if (stream) stream.getTracks().forEach((track) => track.stop());
    if (context) context.close();
    context = stream = null;
    ended = true;
    return;
  }
  blocks = new AudioWorkletNode(context, "blocks", { numberOfOutputs: 0 });
  blocks.port.onmessage = (message) => {
    if (key && socket && socket.readyState === WebSocket.OPEN && socket.bufferedAmount < 1_000_000) socket.send(message.data.buffer);
  };
  listen();
  join();
  awake();
});

// A device that slept: said, and everything taken up again.
setInterval(() => {
  const late = Date.now() - ticked;
  if (!ended && ticked && late > SLEPT_MS) {
    if (context) context.resume();
    awake();
    show(words.slept, false);
  }
  ticked = Date.now();
}, 1000);
document.addEventListener("visibilitychange", () => {
  if (document.hidden || ended) return;
  if (context) context.resume();
  awake();
});
window.addEventListener("pagehide", () => { if (key) send({ leave: true }); });
for (const button of document.querySelectorAll("[data-key]")) button.addEventListener("click", () => send({ key: button.dataset.key }));
for (const button of document.querySelectorAll("[data-typed]")) button.addEventListener("click", () => send({ typed: button.dataset.typed }));
if (reply) reply.addEventListener("submit", (event) => { event.preventDefault(); send({ typed: $("typed").value }); $("typed").value = ""; });
talk.addEventListener("keydown", (event) => {
  // Only while the focus is inside the session, so that no letter typed elsewhere does anything.
  if (event.ctrlKey || event.altKey || event.metaKey || event.target.matches("input")) return;
  const button = talk.querySelector(`[data-shortcut="${CSS.escape(event.key.toLowerCase())}"]`);
  if (button) { event.preventDefault(); button.click(); } else if (event.key === "Escape") send({ key: "pause" });
  else if (event.key.length > 1 && !["Tab", "Shift", "Enter"].includes(event.key)) send({ press: event.key.toLowerCase() });
});
