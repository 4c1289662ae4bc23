// A live session: the microphone out, words and sounds in. One socket, one session, one live region.
const form = document.getElementById("begin");
const talk = document.getElementById("talk");
const cue = document.getElementById("cue");
const now = document.getElementById("now");
const log = document.getElementById("log");
const voice = document.getElementById("voice");
const token = document.querySelector('meta[name="token"]').content;
const words = JSON.parse(document.getElementById("words").textContent);
let socket = null, context = null, stream = null, expected = null, playing = null, wake = null;

function announce(text) {
  // One polite region, emptied first, so that the same words twice are announced twice.
  cue.textContent = "";
  requestAnimationFrame(() => { cue.textContent = text; });
  const item = document.createElement("li");
  item.textContent = text;
  log.append(item);
}
function status(text) { now.textContent = text; }

async function microphone() {
  if (!navigator.mediaDevices) throw new Error(words.none);
  try {
    return await navigator.mediaDevices.getUserMedia({ audio: {
      echoCancellation: false, noiseSuppression: false, autoGainControl: false, channelCount: 1 } });
  } catch (error) {
    throw new Error(error.name === "NotFoundError" ? words.none : error.name === "NotAllowedError" ? words.denied : words.busy);
  }
}

function stopPlaying() {
  if (playing) { playing.onended = null; try { playing.stop(); } catch (_) { /* had ended */ } playing = null; }
}

async function play(bytes, number) {
  const buffer = await context.decodeAudioData(bytes);
  stopPlaying();
  const source = context.createBufferSource();
  source.buffer = buffer;
  source.connect(context.destination);
  source.onended = () => { playing = null; send({ played: number }); };
  playing = source;
  source.start();
}

function send(message) { if (socket && socket.readyState === WebSocket.OPEN) socket.send(JSON.stringify(message)); }

function finish(text) {
  stopPlaying();
  if (stream) stream.getTracks().forEach((track) => track.stop());
  if (context) context.close();
  if (wake) wake.release();
  if (socket) { socket.onclose = null; socket.close(); }
  socket = context = stream = wake = null;
  talk.hidden = true;
  form.hidden = false;
  if (text) announce(text);
  form.querySelector("button").focus();
}

async function begin(event) {
  event.preventDefault();
  const wanted = Object.fromEntries(new FormData(form));
  status(words.opening);
  try {
    context = new AudioContext();
    stream = await microphone();
    await context.audioWorklet.addModule("/static/microphone.js");
  } catch (error) {
    announce(error.message);
    if (context) context.close();
    return;
  }
  const source = context.createMediaStreamSource(stream);
  const blocks = new AudioWorkletNode(context, "blocks", { numberOfOutputs: 0 });
  stream.getTracks()[0].onended = () => finish(words.gone);
  socket = new WebSocket(`ws://${location.host}/live`);
  socket.binaryType = "arraybuffer";
  socket.onopen = () => {
    send({ ...wanted, token, rate: context.sampleRate });
    source.connect(blocks);
    blocks.port.onmessage = (message) => {
      if (socket && socket.readyState === WebSocket.OPEN && socket.bufferedAmount < 2_000_000) socket.send(message.data.buffer);
    };
    form.hidden = true;
    talk.hidden = false;
    document.getElementById("go").focus();
  };
  socket.onclose = () => finish(words.lost);
  socket.onmessage = (message) => {
    if (message.data instanceof ArrayBuffer) { play(message.data, expected); return; }
    const said = JSON.parse(message.data);
    if ("say" in said) { if (said.spoken) show(said.say); else announce(said.say); }
    if ("line" in said) announce(said.line);
    if ("sound" in said) expected = said.sound;
    if ("hush" in said) stopPlaying();
    if ("now" in said) status(said.now);
    if ("path" in said && voice) voice.dispatchEvent(new CustomEvent("sung", { detail: said.path }));
    if ("end" in said) finish(said.end);
  };
  if (navigator.wakeLock) navigator.wakeLock.request("screen").then((lock) => { wake = lock; }, () => {});
}

function show(text) {
  // Spoken by the page: written for the helper, outside the live region, so that it is not said twice.
  document.getElementById("shown").textContent = text;
  const item = document.createElement("li");
  item.textContent = text;
  log.append(item);
}

form.addEventListener("submit", begin);
for (const button of document.querySelectorAll("[data-key]")) button.addEventListener("click", () => send({ key: button.dataset.key }));
document.addEventListener("keydown", (event) => {
  if (!socket || event.ctrlKey || event.altKey || event.metaKey || event.target.matches("input, select, textarea")) return;
  const button = document.querySelector(`[data-shortcut="${CSS.escape(event.key)}"]`);
  if (button) { event.preventDefault(); button.click(); }
});
