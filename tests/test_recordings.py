"""The shipped takes: what the assessor finds in them is what their texts say."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
import soundfile

from assessor import lick, recording
from assessor.alignment import Verdict
from assessor.assessment import Assessment, assess

ROOT = Path(__file__).parents[1]
TEXTS = sorted((ROOT / "recordings").glob("*.txt"))
LARGEST_BYTES = 3_000_000
LONGEST_S = 20.0
BEND_TOLERANCE_CENTS = 5.0  # one of the takes is in a noisy room


def _found(text: Path) -> Assessment:
    """Assess the take a text belongs to, against the lick it names."""
    named = re.search(r"references/\S+", text.read_text())
    assert named is not None
    asked = lick.read(ROOT / named.group())
    return assess(recording.read(text.with_suffix(".flac")), asked)


def _places(said: str, words: str) -> list[int]:
    """0-based places in the lick of the notes of which a text says `words`."""
    lines = re.findall(rf"^Note (\d+) \(.*\): {words}", said, re.MULTILINE)
    return sorted(int(number) - 1 for number in lines)


def test_enough_takes_ship_and_they_are_small() -> None:
    """At least eight, each with its text, mono, short, together under 3 MB."""
    takes = sorted((ROOT / "recordings").glob("*.flac"))
    assert len(takes) >= 8
    assert [t.stem for t in takes] == [t.stem for t in TEXTS]
    assert sum(take.stat().st_size for take in takes) < LARGEST_BYTES
    for take in takes:
        info = soundfile.info(take)
        assert (info.channels, info.subtype) == (1, "PCM_16")
        assert info.duration < LONGEST_S


@pytest.mark.parametrize("text", TEXTS, ids=lambda text: text.stem)
def test_the_faults_in_the_text_are_found_and_no_others(text: Path) -> None:
    """Wrong, missed and extra notes of the best pass, passes, and a move."""
    said, found = text.read_text(), _found(text)
    best = found.best_pass.performed
    verdicts = {
        verdict: [n.index for n in best.notes if n.verdict is verdict]
        for verdict in Verdict
    }
    assert verdicts[Verdict.WRONG] == _places(said, "wrong")
    assert verdicts[Verdict.MISSED] == _places(said, "missed")
    assert verdicts[Verdict.UNSURE] == []
    assert len(best.extras) == said.count("an extra ")
    assert len(found.passes) == max(1, len(re.findall(r"^Pass \d", said, re.MULTILINE)))
    moved = re.search(r"Every note is (\d+) frets higher", said)
    assert found.transposition == (int(moved.group(1)) if moved else 0)


@pytest.mark.parametrize("text", TEXTS, ids=lambda text: text.stem)
def test_bends_are_read_as_the_text_says(text: Path) -> None:
    """Settled pitch of every bend, within what the room leaves of it."""
    said, bends = text.read_text(), _found(text).best_pass.bends
    bent = re.findall(r"^Note (\d+) \(.*: bent to (\d+) cents", said, re.MULTILINE)
    read = {b.index: b.reached.value for b in bends.bent}
    assert read == pytest.approx(
        {int(number) - 1: float(cents) for number, cents in bent},
        abs=BEND_TOLERANCE_CENTS,
    )
