"""What a microphone hears that is not singing: speech, claps, a passing car, a barking dog, a slammed door.

All synthesised, all chance from the seed (eSpeak NG's own last bits apart). Mono float32 at 22050 Hz.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache

import numpy as np

RATE = 22050
SENTENCES = (
    "Again, from there, please.", "No, wait, the other one.", "Shall we do that again from the beginning?",
    "Have you put your shoes on?", "I think the post has come.", "Listen first, then sing.", "Once more, slowly.",
    "That was lovely. And now the next line.", "Where did you leave your cup?", "It is raining outside again.",
    "Let me move the chair a little.", "One, two, three, and.", "Can you hear me from over there?",
    "Your grandmother will be here at four o'clock.", "Oh, I forgot the words.", "Up a bit, no, down a bit.")
VARIANTS = ("", "+f2", "+f4", "+m3", "+f5", "+m7")


@cache
def _said(sentence: int, words: int, pitch: int, american: bool) -> np.ndarray:
    from companion.audio import speak
    from companion.language import English

    sound = speak(SENTENCES[sentence], English("american" if american else "british"), words)
    # Another voice: played at another speed, pitch and formants move together, as in larger or smaller people.
    at = np.arange(0, len(sound.samples), 2 ** ((pitch - 3) / 8))
    return np.interp(at, np.arange(len(sound.samples)), sound.samples).astype(np.float32)


def speech(rng: np.random.Generator) -> np.ndarray:
    parts = [_said(int(rng.integers(len(SENTENCES))), int(rng.integers(110, 200)), int(rng.integers(0, 8)),
                   bool(rng.random() < 0.5)) for _ in range(int(rng.integers(1, 3)))]
    return np.concatenate(parts)


def claps(rng: np.random.Generator) -> np.ndarray:
    out = np.zeros(int(RATE * rng.uniform(1.5, 4)))
    gap = rng.uniform(0.25, 0.7)
    for k in range(int(len(out) / RATE / gap)):
        at = int((0.1 + k * gap + rng.normal(0, 0.02)) * RATE)
        n = min(int(0.25 * RATE), len(out) - at)
        if n > 0:
            t = np.arange(n) / RATE
            burst = rng.normal(0, 1, n) * (np.exp(-t / 0.008) + 0.08 * np.exp(-t / 0.06))
            f = rng.uniform(800, 2500)
            out[at:at + n] += burst * (1 + np.sin(2 * np.pi * f * t))
    return out


def car(rng: np.random.Generator) -> np.ndarray:
    """Engine and tyres going by, with the fall of pitch that Doppler gives (speed 8 to 20 m/s, 6 to 15 m off)."""
    seconds, speed, away = rng.uniform(3, 7), rng.uniform(8, 20), rng.uniform(6, 15)
    t = np.arange(int(seconds * RATE)) / RATE
    x = speed * (t - seconds / 2)
    distance = np.hypot(x, away)
    doppler = 1 / (1 + speed * (x / distance) / 343.0)
    engine = np.cumsum(rng.uniform(60, 220) * doppler * (1 + 0.004 * np.cumsum(rng.normal(0, 0.02, len(t))) / 50))
    hum = sum(np.sin(2 * np.pi * k * engine / RATE) / k ** 1.1 for k in range(1, 12))
    noise = np.convolve(rng.normal(0, 1, len(t)), np.ones(12) / 12, "same")
    return (0.5 * hum + rng.uniform(0.2, 3.0) * noise) * (away / distance) ** 1.2


def dog(rng: np.random.Generator) -> np.ndarray:
    """Barks: 0.1 to 0.3 s each, an arch of pitch from 300 to 900 Hz, rough."""
    out = np.zeros(int(RATE * rng.uniform(1.0, 4.0)))
    top, at = rng.uniform(350, 900), 0.1
    while at < len(out) / RATE - 0.4:
        n = int(rng.uniform(0.1, 0.3) * RATE)
        s = np.linspace(0, 1, n)
        f0 = top * rng.uniform(0.9, 1.1) * (0.65 + 0.35 * np.sin(np.pi * s ** 0.7))
        phase = np.cumsum(f0 / RATE) + rng.uniform(0.0, 0.03) * np.cumsum(rng.normal(0, 1, n)) / 8
        rough = rng.uniform(0.05, 0.6) * rng.normal(0, 1, n)
        bark = sum(np.sin(2 * np.pi * k * phase) / k for k in range(1, 9)) + rough
        start = int(at * RATE)
        out[start:start + n] += (bark * np.sin(np.pi * s) ** 0.5)[:len(out) - start]
        at += n / RATE + rng.choice([rng.uniform(0.08, 0.25), rng.uniform(0.4, 1.0)])
    return out


def door(rng: np.random.Generator) -> np.ndarray:
    t = np.arange(int(1.2 * RATE)) / RATE
    thud = np.sin(2 * np.pi * rng.uniform(50, 120) * t) * np.exp(-t / rng.uniform(0.05, 0.15))
    return thud + rng.normal(0, 1, len(t)) * np.exp(-t / 0.02) + 0.1 * rng.normal(0, 1, len(t)) * np.exp(-t / 0.2)


KINDS = {"speech": speech, "claps": claps, "car": car, "dog": dog, "door": door}


def other_sounds(kind: str, count: int, seed: int) -> Iterator[np.ndarray]:
    """`count` sounds of a kind, in a quiet room (noise 30 to 55 dB down), with a second of room at each end."""
    for k in range(count):
        rng = np.random.default_rng([seed, k, sorted(KINDS).index(kind)])
        sound = KINDS[kind](rng)
        sound = sound / np.abs(sound).max() * 10 ** (-rng.uniform(4, 20) / 20)
        sound = np.concatenate([np.zeros(RATE), sound, np.zeros(2 * RATE)])
        yield (sound + rng.normal(0, 1, len(sound)) * 10 ** (-rng.uniform(45, 70) / 20)).astype(np.float32)
