"""What a teacher may ask for beyond the cue: tuning, drift, size of steps, the highest note, lengths."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from companion.match.model import HeardNote, Move, Verdict
from companion.tune.catalogue import kind_of

F = NDArray[np.float64]

STEP_OFF = 0.6  # semitones: a move missed by less than this is not worth a teacher's word
LENGTH_OFF = 1.8  # a note this many times too long or too short, against the singer's own tempo, is
LEAST_NOTES = 3  # fewer notes than this show no drift and no tempo


def kind_name(semitones: int) -> str:
    """ScoreDirection and kind in words: "step up", "leap down", "level"."""
    kind = kind_of(semitones)
    return kind if kind == "level" else f"{kind} {'up' if semitones > 0 else 'down'}"


def detail(notes: Sequence[HeardNote], moves: Sequence[Move], key: F) -> dict[str, Any]:
    """A plain dictionary, ready for JSON. `key`: sung minus written at each of N notes, semitones.

    - tuning_cents: each note against the singer's own key there, null where not sung;
    - drift_cents: how far the key moved from the first note to the last;
    - interval_factor: how much of each written interval was sung (1 = all; untrained singers shrink them);
    - steps: moves missed by more than STEP_OFF, "too small" or "too large";
    - highest: number of the highest written and the highest sung note, and whether they agree;
    - lengths: notes held "much too short" or "much too long" against the singer's own tempo;
    - kinds: for each kind of move how many were right, not that way, not sure.
    """
    sung = np.array([n.midi if n.midi is not None else np.nan for n in notes])
    written = np.array([n.written.midi for n in notes], dtype=float)
    there = ~np.isnan(sung)
    cents = [None if not there[i] else round(100 * float(sung[i] - written[i] - key[i]), 0)
             for i in range(len(notes))]
    drift = _drift_cents(np.where(there, sung - written, np.nan), notes)
    pairs = [(m.wanted_semitones, m.sung_semitones) for m in moves
             if m.sung_semitones is not None and m.verdict != Verdict.UNSURE]
    square = sum(w * w for w, _ in pairs)
    factor = round(sum(w * s for w, s in pairs) / square, 2) if square else None
    steps = [{"from": m.start, "to": m.end,
              "off_semitones": round(abs(m.sung_semitones) - abs(m.wanted_semitones), 1),
              "say": "too small" if abs(m.sung_semitones) < abs(m.wanted_semitones) else "too large"}
             for m in moves if m.sung_semitones is not None and m.verdict == "right" and m.wanted_semitones
             and abs(m.sung_semitones - m.wanted_semitones) > STEP_OFF]
    tops = written == written.max()
    highest = None
    if there.any():
        top = int(np.nanargmax(sung))
        highest = {"written": [notes[i].written.number for i in np.flatnonzero(tops).tolist()],
                   "sung": notes[top].written.number, "agrees": bool(tops[top])}
    kinds: dict[str, dict[str, int]] = {}
    for m in moves:
        row = kinds.setdefault(kind_name(m.wanted_semitones), {"right": 0, "not that way": 0, "not sure": 0})
        row[m.verdict] += 1
    return {"tuning_cents": cents, "drift_cents": drift, "interval_factor": factor, "steps": steps,
            "highest": highest, "lengths": _lengths(notes), "kinds": kinds,
            "left_out": [n.written.number for n in notes if not n.sung]}


def _drift_cents(off: F, notes: Sequence[HeardNote]) -> float | None:
    """Slope of the key by a median of slopes (Theil and Sen), over the time of the phrase."""
    there = np.flatnonzero(~np.isnan(off))
    if len(there) < LEAST_NOTES:
        return None
    when = np.array([notes[i].onset_s or 0.0 for i in there.tolist()], dtype=np.float64)
    values = off[there]
    i, j = np.triu_indices(len(there), 1)
    apart = when[j] - when[i]
    good = apart > 0.05
    if not good.any():
        return None
    slope = float(np.median((values[j] - values[i])[good] / apart[good]))
    return round(100 * slope * float(when[-1] - when[0]), 0)


def _lengths(notes: Sequence[HeardNote]) -> list[dict[str, Any]]:
    """Notes much too short or long: time to the next onset against the written, by the singer's own tempo.

    The last note is not judged: it may ring as long as the singer likes.
    """
    gaps = [(notes[i], (notes[i + 1].onset_s or 0) - (notes[i].onset_s or 0),
             float(notes[i + 1].written.onset_quarters - notes[i].written.onset_quarters))
            for i in range(len(notes) - 1) if notes[i].sung and notes[i + 1].sung]
    if len(gaps) < LEAST_NOTES:
        return []
    tempo = float(np.median([s / q for _, s, q in gaps if q > 0]))
    out = []
    for note, seconds, quarters in gaps:
        ratio = seconds / max(quarters * tempo, 1e-3)
        if ratio > LENGTH_OFF or ratio < 1 / LENGTH_OFF:
            out.append({"note": note.written.number, "times": round(ratio, 2),
                        "say": "much too long" if ratio > 1 else "much too short"})
    return out
