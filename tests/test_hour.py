"""The long mixed practice of benchmarks/hour.py: what counts as found."""

from __future__ import annotations

import json
import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "benchmarks"))
from hour import Player, Run, compare, reported
from takes.mix import Plan

TWO = [Run(1.0, 5.0, whole=True), Run(7.0, 9.0, whole=False)]


@pytest.mark.parametrize(
    ("found", "words", "rightly"),
    [
        (TWO, [], 2),
        ([Run(1.2, 5.1, whole=False), TWO[1]], [], 1),
        (TWO[:1], ["lost"], 1),
        ([*TWO, Run(20.0, 24.0, whole=True)], ["invented"], 2),
        ([TWO[0], Run(7.0, 12.0, whole=False)], ["lost", "invented"], 1),
        ([Run(1.0, 9.0, whole=True)], ["lost", "lost", "invented"], 0),
        ([], ["lost", "lost"], 0),
    ],
)
def test_passes_are_compared(found: list[Run], words: list[str], rightly: int) -> None:
    """By the time they share; none is found twice."""
    lines, right = compare(TWO, found)
    assert [line.split(":")[0] for line in lines] == words
    assert right == rightly


def test_reported_passes(tmp_path: Path) -> None:
    """From the first note that was played to the last one."""
    notes = [{"onset_s": None}, {"onset_s": 2.5}, {"onset_s": 4.0}]
    result = tmp_path / "result.json"
    result.write_text(json.dumps({"passes": [{"notes": notes, "complete": True}]}))
    assert reported(result) == [Run(2.5, 4.0, whole=True)]


def test_scenes_hold_their_strokes_in_order() -> None:
    """Whatever is played begins after silence and goes forward; runs know the lick."""
    player = Player(np.random.default_rng(4))
    for _ in range(60):
        scene = player.scene()
        if isinstance(scene, Plan):
            onsets = [s.onset_s for strokes in scene.passes for s in strokes]
            assert min(onsets) > 0.2
            assert all(strokes for strokes in scene.passes)
        else:
            assert len(scene)
            assert np.abs(scene).max() <= 1
    indices = [s.index for s in player.runs().passes[0] if s.index is not None]
    assert indices == sorted(indices)
    assert all(s.index is None for s in player.noodling().passes[0])
