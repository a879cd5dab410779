"""Lick files of the bench's own writer, and strings that a guitarist took.

Needs the folder ``shared`` beside the repository; skipped where there is none.
"""

from __future__ import annotations

import importlib.util
import json
from pathlib import Path
from types import ModuleType

import pytest

from assessor.lick import Articulation, Bend, BendKind, SlideEdge, midi, musicxml
from assessor.lick.fingerboard import choose_fretting
from assessor.tuning import STANDARD

SHARED = Path(__file__).parents[2] / "shared"
pytestmark = pytest.mark.skipif(not SHARED.is_dir(), reason="no ../shared here")

TRUTH = {
    "lick": "every sign",
    "bpm": 92.5,
    "expected": [
        {"beat": 0.5, "beats": 0.5, "midi": 64},
        {"beat": 1, "beats": 1 / 3, "midi": 67, "technique": "hammer_on"},
        {"beat": 4 / 3, "beats": 1 / 3, "midi": 64, "technique": "pull_off"},
        {
            "beat": 2,
            "beats": 1,
            "midi": 69,
            "technique": "bend",
            "bend_target_cents": 200,
        },
        {
            "beat": 3,
            "beats": 1.5,  # over the bar
            "midi": 69,
            "technique": "bend_release",
            "bend_target_cents": 100,
        },
        {"beat": 5, "beats": 0.5, "midi": 69, "prebend_cents": 200},
        {"beat": 5.5, "beats": 0.5, "midi": 67, "technique": "vibrato"},
        {"beat": 6, "beats": 0.5, "midi": 69, "technique": "slide"},
        {"beat": 7, "beats": 3, "midi": 57, "slide_out": True},
    ],
}


@pytest.fixture(scope="module")
def writer() -> ModuleType:
    """The bench's writer of lick files."""
    path = SHARED / "bench" / "write_lick.py"
    spec = importlib.util.spec_from_file_location("write_lick", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_the_benchs_musicxml(writer: ModuleType) -> None:
    """Times, pitches, and each sign that it writes."""
    lick = musicxml.read(writer.musicxml(TRUTH).encode(), "bench.musicxml")
    assert (lick.title, lick.tempo_bpm, lick.notices) == ("every sign", 92.5, ())
    for expected, note in zip(TRUTH["expected"], lick.notes, strict=True):
        assert note.midi_number == expected["midi"]
        assert float(note.onset_beats) == pytest.approx(expected["beat"])
        assert float(note.duration_beats) == pytest.approx(expected["beats"])
    articulations = {i: n.articulation for i, n in enumerate(lick.notes) if n.slurred}
    assert articulations == {
        1: Articulation.HAMMER_ON,
        2: Articulation.PULL_OFF,
        7: Articulation.SLIDE,
    }
    assert [n.bend for n in lick.notes[3:6]] == [
        Bend(BendKind.BEND, 200),
        Bend(BendKind.BEND_RELEASE, 100),
        Bend(BendKind.PREBEND_RELEASE, 200),
    ]
    assert [i for i, n in enumerate(lick.notes) if n.vibrato] == [6]
    assert lick.notes[8].slide_out is SlideEdge.DOWN


def test_the_benchs_midi(writer: ModuleType, tmp_path: Path) -> None:
    """The same notes as in its MusicXML."""
    path = tmp_path / "bench.mid"
    writer.midi(TRUTH, str(path))
    lick = midi.read(path.read_bytes(), "bench.mid")
    written = musicxml.read(writer.musicxml(TRUTH).encode(), "bench.musicxml")
    assert lick.tempo_bpm == written.tempo_bpm
    for note, other in zip(lick.notes, written.notes, strict=True):
        assert (note.onset_beats, note.duration_beats, note.midi_number) == (
            other.onset_beats,
            other.duration_beats,
            other.midi_number,
        )


def test_strings_a_guitarist_took() -> None:
    """Six played licks, 79 notes: 58 on the string chosen here, 51 by the bench's rule.

    The costs were set with a view to these licks, so this guards a figure; it does
    not prove one.
    """
    truth = json.loads((SHARED / "data" / "picked_licks" / "truth.json").read_text())
    same = total = 0
    for notes in truth.values():
        places = choose_fretting([n["midi"] for n in notes], STANDARD)
        total += len(notes)
        same += sum(
            string == 7 - n["string_from_low"]
            for n, (string, _) in zip(notes, places, strict=True)
        )
    assert (total, same >= 58) == (79, True)
