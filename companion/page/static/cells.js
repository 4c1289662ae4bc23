// The cursor over braille, and writing with six keys.
import { chordKeys, keepChordKeys, keepSixKeys, sixKeys } from "./dots.js";

const words = JSON.parse(document.getElementById("words")?.textContent ?? "{}");
const player = new Audio();
let asked = null;

for (const group of document.querySelectorAll("[data-cursor]")) {
  const stops = [...group.querySelectorAll(".stop")];
  const now = document.getElementById("stop-now");
  let at = 0;
  stops.forEach((stop, i) => { stop.tabIndex = i ? -1 : 0; });
  const arrive = (i) => {
    stops[at].tabIndex = -1;
    at = i;
    stops[at].tabIndex = 0;
    if (now) now.textContent = stops[at].querySelector(".hidden").textContent;
  };
  const go = (i) => {
    if (i < 0 || i >= stops.length) return;
    arrive(i);
    stops[i].focus();
  };
  const by = (name, way) => {
    const here = stops[at].dataset[name];
    let i = at;
    while (i >= 0 && i < stops.length && stops[i].dataset[name] === here) i += way;
    if (i < 0 || i >= stops.length) return;
    if (way < 0) while (i > 0 && stops[i - 1].dataset[name] === stops[i].dataset[name]) i--;
    go(i);
  };
  group.addEventListener("focusin", (event) => {
    const i = stops.indexOf(event.target);
    if (i >= 0) arrive(i);
  });
  group.addEventListener("keydown", (event) => {
    const moves = { ArrowRight: () => go(at + 1), ArrowLeft: () => go(at - 1), ArrowDown: () => by("line", 1), ArrowUp: () => by("line", -1),
      PageDown: () => by("bar", 1), PageUp: () => by("bar", -1), Home: () => go(0), End: () => go(stops.length - 1) };
    if (moves[event.key] && !event.ctrlKey && !event.altKey && !event.metaKey) { event.preventDefault(); moves[event.key](); }
  });
  group.addEventListener("click", (event) => {
    const stop = event.target.closest(".stop");
    if (stop && stop.dataset.midi) { player.src = `/note/${stop.dataset.midi}.wav`; player.play().catch(() => {}); }
  });
  for (const link of document.querySelectorAll('a[href^="#at-"]')) {
    link.addEventListener("click", (event) => {
      const i = stops.findIndex((stop) => `#${stop.id}` === link.getAttribute("href"));
      if (i >= 0) { event.preventDefault(); go(i); }
    });
  }
}

// Sounds of a question, one after another, where the browser lets us.
const sounds = [...document.querySelectorAll("[data-play]")];
sounds.forEach((sound, i) => sound.addEventListener("ended", () => sounds[i + 1]?.play().catch(() => {})));
sounds[0]?.play().catch(() => {});

const field = document.getElementById("cells") ?? document.getElementById("answer");
const box = document.getElementById("chords");
const written = document.getElementById("written");
if (field && box) {
  box.disabled = false;
  box.checked = sixKeys();  // as it was left at the question before
  const help = document.getElementById("chord-help"), keysField = document.getElementById("chord-keys");
  let dots = {}, chord = 0;
  const down = new Set();
  const learn = () => {
    const keys = [...chordKeys()];
    dots = Object.fromEntries(keys.map((key, i) => [key, 1 << i]));
    const shown = keys.map((key) => key.toUpperCase());
    help.textContent = words.keys.replace("{left}", shown.slice(0, 3).join(" ")).replace("{right}", shown.slice(3).join(" "));
    keysField.value = keys.join("");
  };
  const choose = () => {
    keepSixKeys(box.checked);
    help.hidden = document.getElementById("change-keys").hidden = !box.checked;
  };
  learn();
  choose();
  box.addEventListener("change", choose);
  document.getElementById("keep-keys").addEventListener("click", () => {
    const done = keepChordKeys(keysField.value);
    learn();
    document.getElementById("keys-kept").textContent = done ? words.kept : words.notsix;
  });
  keysField.addEventListener("keydown", (event) => {
    if (event.key === "Enter") { event.preventDefault(); document.getElementById("keep-keys").click(); }
  });
  const say = (text) => { written.textContent = text; };
  const name = (cell) => {
    const found = [1, 2, 3, 4, 5, 6].filter((n) => (cell.codePointAt(0) - 0x2800) & (1 << (n - 1)));
    return found.length ? (found.length > 1 ? words.dots : words.dot).replace("{dots}", found.join(" ")) : words.free;
  };
  const put = (text) => {
    field.setRangeText(text, field.selectionStart, field.selectionEnd, "end");
    say(text === "\n" ? words.line : name(text));
  };
  field.addEventListener("keydown", (event) => {
    if (!box.checked || event.ctrlKey || event.altKey || event.metaKey) return;
    const key = event.key.toLowerCase();
    if (key in dots) { event.preventDefault(); if (!event.repeat) { chord |= dots[key]; down.add(key); } }
    else if (key === " ") { event.preventDefault(); put("\u2800"); }
    else if (key === "enter" && field.tagName === "TEXTAREA") { event.preventDefault(); put("\n"); }
    else if (key === "backspace" && field.selectionStart === field.selectionEnd && field.selectionStart > 0) {
      event.preventDefault();
      const gone = field.value[field.selectionStart - 1];
      field.setRangeText("", field.selectionStart - 1, field.selectionStart, "end");
      say(words.gone.replace("{cell}", gone === "\n" ? words.line : name(gone)));
    } else if (key.length === 1) event.preventDefault();
  });
  field.addEventListener("keyup", (event) => {
    const key = event.key.toLowerCase();
    if (!down.delete(key) || down.size || !chord) return;
    put(String.fromCodePoint(0x2800 + chord));
    chord = 0;
  });
  field.addEventListener("blur", () => { down.clear(); chord = 0; });
}
