"""Every shipped take: a small mono FLAC that starts in silence, with a well-formed truth beside it."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
import soundfile

from companion.match import Verdict
from companion.places import shipped
from companion.tune import load

TAKES = sorted(Path(shipped("recordings")).glob("*.flac"))


def test_there_are_at_least_ten() -> None:
    assert len(TAKES) >= 10


@pytest.mark.parametrize("take", TAKES, ids=lambda p: p.stem)
def test_take_and_truth_are_well_formed(take: Path) -> None:
    assert take.stat().st_size < 300_000
    sound, rate = soundfile.read(take)
    assert sound.ndim == 1
    assert rate in (22050, 44100)
    assert not sound[: int(0.29 * rate)].any()
    truth = json.loads(take.with_suffix(".json").read_text(encoding="utf-8"))
    assert truth["take"] == take.name
    line = load(truth["tune"]).line()
    assert [(m["from"], m["to"]) for m in truth["moves"]] == [(i, i + 1) for i in range(1, len(line))]
    assert {m["verdict"] for m in truth["moves"]} <= set(Verdict)
    if take.stem.endswith("turned"):
        assert any(m["verdict"] == "not that way" for m in truth["moves"])
