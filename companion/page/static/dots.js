// Cells as raised dots for those who look, and as Unicode text for a braille display.
export function cellsNode(text) {
  const whole = document.createElement("span");
  const seen = document.createElement("span");
  seen.setAttribute("aria-hidden", "true");
  for (const letter of text) {
    const bits = letter.codePointAt(0) - 0x2800;
    const cell = document.createElement("span");
    cell.className = "cell";
    for (let n = 1; n <= 6; n++) if (bits >= 0 && bits < 256 && bits & (1 << (n - 1))) cell.classList.add(`d${n}`);
    seen.append(cell);
  }
  const said = document.createElement("span");
  said.className = "hidden";
  said.textContent = text;
  whole.append(seen, said);
  return whole;
}

// The keys of the six dots are the machine's and stay in the browser; nothing of a pupil does.
const USUAL = "fdsjkl";
export function chordKeys() {
  const kept = localStorage.getItem("chord-keys") ?? "";
  return /^[^\s]{6}$/u.test(kept) && new Set(kept).size === 6 ? kept : USUAL;
}
export function keepChordKeys(text) {
  const keys = text.toLowerCase().replace(/\s+/g, "");
  if ([...keys].length !== 6 || new Set(keys).size !== 6) return false;
  if (keys === USUAL) localStorage.removeItem("chord-keys"); else localStorage.setItem("chord-keys", keys);
  return true;
}
export const sixKeys = () => localStorage.getItem("six-keys") === "on";
export function keepSixKeys(on) { if (on) localStorage.setItem("six-keys", "on"); else localStorage.removeItem("six-keys"); }
