"""A take without its lick: notes, rhythm, techniques, passes, and what is refused.

Truth comes from what was asked of a synthesis: our own demo of a lick, tones made by
hand, or the shipped recordings, which another synthesiser played.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from hand_made_sound import (
    Curve,
    Tone,
    as_written,
    glide,
    jumps,
    later,
    record,
    vibrato,
)

from assessor import lick, recording
from assessor.demo import SAMPLE_RATE_HZ, Manner, play
from assessor.errors import TranscriptionError
from assessor.lick import Articulation, BendKind, Lick, Meter
from assessor.lick.sheet import read as read_sheet
from assessor.lick.sheet import write as write_sheet
from assessor.recording import Recording, from_array
from assessor.transcription import (
    Feel,
    Page,
    Transcription,
    Wishes,
    by_message,
    transcribe,
)
from assessor.transcription.grid import swung
from assessor.transcription.rhythm import rhythm_of
from assessor.transcription.runs import find_runs

TOP = Path(__file__).parents[1]
TIME_TOLERANCE_S = 0.01
EVENT_TOLERANCE_S = 0.03  # of a stroke that was not timed by its attack

# References whose demo is written down as the lick they are: every note on its beat.
EXACT = (
    "diminished-cell-by-minor-thirds",
    "half-and-whole-bends",
    "hybrid-picked-tenths",
    "pentatonic-hammers-and-pulls",
    "quarter-bends-in-six-eight",
    "skipped-string-arpeggios",
    "slides-between-positions",
    "swung-two-five-one",
    "triplets-into-sixteenths",
)
TECHNIQUES_SHARE = 0.9  # of their notes are written with the right technique


def reference(name: str) -> Lick:
    """Shipped lick."""
    return lick.read(TOP / "references" / f"{name}.lick")


def page_of(asked: Lick) -> Page:
    """What a teacher who wrote this lick would say of it."""
    return Page(asked.title, asked.meter, asked.tuning, asked.capo, asked.pickup_beats)


def demo_of(asked: Lick, *, clicks: bool = False, repeats: int = 1) -> Recording:
    """Our own demo of a lick."""
    manner = Manner(click=clicks, count_in_bars=int(clicks), repeats=repeats)
    return from_array(play(asked, manner).samples, SAMPLE_RATE_HZ, name="demo")


def written(take: Recording, tempo_bpm: float | None = None) -> Transcription:
    """Written down in standard tuning and common time."""
    return transcribe(take, Wishes(Page("take"), Feel(tempo_bpm)))


def places(asked: Lick) -> list[tuple[Fraction, int]]:
    """Beat and pitch of every note."""
    return [(note.onset_beats, note.midi_number) for note in asked.notes]


# ------------------------------------------------------------------ whole takes


@pytest.mark.parametrize("name", EXACT)
def test_a_demo_gives_its_lick_back(name: str) -> None:
    """Notes and rhythm exactly, techniques nearly all; and it reads as a sheet."""
    asked = reference(name)
    found = transcribe(demo_of(asked), Wishes(page_of(asked), Feel(asked.tempo_bpm)))
    assert places(found.lick) == places(asked)
    assert found.lick.swing == asked.swing
    same = [
        (a.articulation, a.bend, a.vibrato) == (b.articulation, b.bend, b.vibrato)
        for a, b in zip(asked.notes, found.lick.notes, strict=True)
    ]
    assert np.mean(same) >= TECHNIQUES_SHARE
    assert read_sheet(write_sheet(found.lick), "take.lick") == found.lick


def test_clicks_are_no_notes() -> None:
    """A demo with its click and count-in is written down as the same notes."""
    asked = reference("skipped-string-arpeggios")
    found = written(demo_of(asked, clicks=True), asked.tempo_bpm)
    assert places(found.lick) == places(asked)


@pytest.mark.parametrize(
    ("take", "name", "moved"),
    [
        ("clean", "skipped-string-arpeggios", 0),
        ("late-and-dragging", "diminished-cell-by-minor-thirds", 0),
        ("moved-three-frets", "hybrid-picked-tenths", 3),
        ("flat-bend", "half-and-whole-bends", 0),
        ("noisy-room", "quarter-bends-in-six-eight", 0),
    ],
)
def test_shipped_takes_are_written_down(take: str, name: str, moved: int) -> None:
    """What the text beside each says was played: no wrong, missed or extra note."""
    asked = reference(name)
    heard = recording.read(TOP / "recordings" / f"{take}.flac")
    found = transcribe(heard, Wishes(page_of(asked), Feel(asked.tempo_bpm)))
    there = [(beat, midi + moved) for beat, midi in places(asked)]
    assert places(found.lick) == there


def test_a_tempo_is_found() -> None:
    """Triplets apart, the values themselves say which tempo is meant."""
    asked = reference("skipped-string-arpeggios")
    found = written(record(as_written(asked)))
    assert found.tempo_bpm == pytest.approx(asked.tempo_bpm, rel=0.01)
    assert found.lick.tempo_bpm == 92
    assert places(found.lick) == places(asked)


def test_times_are_those_of_the_take() -> None:
    """Also where the take begins with its first note."""
    asked = reference("skipped-string-arpeggios")
    found = written(demo_of(asked), asked.tempo_bpm)
    late_s = np.array([note.onset_s for note in found.played]) - asked.onsets_s()
    assert np.abs(late_s).max() < TIME_TOLERANCE_S


def test_a_pickup_stands_before_its_bar_line() -> None:
    """The first note is where the pickup says."""
    asked = reference("swung-two-five-one")
    found = transcribe(demo_of(asked), Wishes(page_of(asked), Feel(132)))
    assert found.lick.pickup_beats == 1
    assert found.lick.notes[2].onset_beats == 1


# ------------------------------------------------------------------- techniques


def line(*tones: Tone) -> Recording:
    """Tones after four plain ones that the ear can hold them against."""
    plain = [Tone(0.5 + 0.5 * k, 0.95 + 0.5 * k, 60 + k) for k in range(4)]
    return record([*plain, *later(tones, 2.5)])


@pytest.mark.parametrize(
    ("cents", "kind", "target"),
    [
        (glide(0.1, 0.12, 200), BendKind.BEND, 200),
        (glide(0.1, 0.12, 100), BendKind.BEND, 100),
        (glide(0.1, 0.12, 50), BendKind.BEND, 50),
    ],
)
def test_bends_are_written_with_their_size(
    cents: Curve, kind: BendKind, target: float
) -> None:
    """To the nearest quarter step."""
    found = written(line(Tone(0, 1.4, 67, cents=cents)), 120)
    bent = found.lick.notes[-1]
    assert bent.midi_number == 67
    assert bent.bend is not None
    assert (bent.bend.kind, bent.bend.target_cents) == (kind, target)


def test_a_size_between_two_is_doubted() -> None:
    """75 cents are written one way or the other, and it is said."""
    found = written(line(Tone(0, 1.4, 67, cents=glide(0.1, 0.12, 75))), 120)
    assert any("cents, written as" in words for words in by_message(found))


def test_a_vibrato_is_no_bend() -> None:
    """40 cents to each side, 5.5 times a second."""
    found = written(line(Tone(0, 1.4, 67, cents=vibrato(5.5, 40))), 120)
    assert found.lick.notes[-1].vibrato
    assert found.lick.notes[-1].bend is None


def test_slurs_without_any_attack_are_found() -> None:
    """The pitch alone jumps: hammered on, and pulled off again."""
    found = written(line(Tone(0, 1.45, 67, cents=jumps((0.5, 200), (1.0, 0)))), 120)
    notes = found.lick.notes[-3:]
    assert [n.midi_number for n in notes] == [67, 69, 67]
    assert [n.articulation for n in notes] == [
        Articulation.PICK,
        Articulation.HAMMER_ON,
        Articulation.PULL_OFF,
    ]
    assert {n.string for n in notes} == {notes[0].string}


def test_what_was_stopped_leaves_a_rest() -> None:
    """An eighth, then a rest of a beat and a half."""
    tones = [Tone(1 + k, 1.25 + k, 60 + k) for k in range(4)]
    found = written(record(tones), 120)
    assert [n.duration_beats for n in found.lick.notes[:3]] == [Fraction(1, 2)] * 3
    assert [n.onset_beats for n in found.lick.notes] == [0, 2, 4, 6]


def test_the_hand_is_where_it_is_asked_to_be() -> None:
    """All of a pentatonic box has a place near the twelfth fret."""
    midi = (69, 72, 74, 76, 79)
    tones = [Tone(1 + 0.5 * k, 1.45 + 0.5 * k, m) for k, m in enumerate(midi)]
    found = transcribe(record(tones), Wishes(Page("high", near_fret=12), Feel(120)))
    assert all(11 <= n.fret <= 16 for n in found.lick.notes)


# ----------------------------------------------------------------------- rhythm


def test_even_eighths_are_straight() -> None:
    """No swing is heard into what has none."""
    found = rhythm_of(np.arange(16) * 0.3, Feel(100))
    assert found.swing is None
    assert found.beats == tuple(Fraction(k, 2) for k in range(16))


@pytest.mark.parametrize("ratio", [1.5, 2.0, 3.0])
def test_swung_eighths_are_eighths(ratio: float) -> None:
    """Long to short as given; found with the tempo given."""
    onset_s = swung(np.arange(24) * 6, ratio) / 12 * 0.5
    found = rhythm_of(onset_s, Feel(120))
    assert found.swing == pytest.approx(ratio)
    assert found.beats == tuple(Fraction(k, 2) for k in range(24))


def test_triplets_are_no_swing() -> None:
    """Three even notes a beat."""
    found = rhythm_of(np.arange(25) / 3 * 0.5, Feel(120))
    assert found.swing is None
    assert found.beats == tuple(Fraction(k, 3) for k in range(25))


def test_a_human_rhythm_is_straightened() -> None:
    """Eighths, sixteenths and triplets, 12 ms off at random (standard deviation)."""
    beats = [0, 1 / 2, 1, 5 / 4, 3 / 2, 7 / 4, 2, 7 / 3, 8 / 3, 3, 7 / 2, 4, 5, 6]
    rng = np.random.default_rng(3)
    onset_s = np.array(beats) * 60 / 90 + 0.012 * rng.standard_normal(len(beats))
    found = rhythm_of(onset_s, Feel(90))
    assert [float(b) for b in found.beats] == pytest.approx(beats)


def test_a_note_between_two_places_is_doubted() -> None:
    """Half way from a sixteenth to a triplet."""
    onset_s = np.array([0, 1, 2, 3, 4, 4.2917, 5, 6, 7, 8]) * 0.6
    found = rhythm_of(onset_s, Feel(100))
    assert [k for k, other in enumerate(found.instead) if other is not None] == [5]


def test_dead_strokes_are_told_of() -> None:
    """Each of the riff's eight, where it is; nothing in the same riff without them."""
    asked = reference("drop-d-riff")
    onset_s = asked.onsets_s()
    dead = [n.articulation is Articulation.DEAD for n in asked.notes]
    found = transcribe(demo_of(asked), Wishes(page_of(asked)))
    told_s = [d.time_s for d in found.doubts if "maybe a dead stroke" in d.message]
    assert told_s == pytest.approx(onset_s[dead], abs=EVENT_TOLERANCE_S)
    alive = tuple(n for n in asked.notes if n.articulation is not Articulation.DEAD)
    found = transcribe(demo_of(replace(asked, notes=alive)), Wishes(page_of(asked)))
    assert not [d for d in found.doubts if "dead" in d.message]


def test_one_note_has_a_beat() -> None:
    """And the usual tempo, since nothing says which."""
    assert rhythm_of(np.array([0.4])).beats == (Fraction(0),)


# ----------------------------------------------------------------------- passes


def test_three_passes_are_told_apart() -> None:
    """Two whole ones and one broken off, when the text beside the take says."""
    found = written(recording.read(TOP / "recordings" / "three-passes.flac"), 132)
    starts_s = [start_s for start_s, _ in found.passes]
    assert starts_s == pytest.approx([0.46, 7.15, 10.78], abs=0.02)
    assert found.written == 2
    asked = reference("swung-two-five-one")
    assert [m for _, m in places(found.lick)] == [m for _, m in places(asked)]


def test_another_pass_or_all_can_be_asked_for() -> None:
    """The second breaks off after 11 notes; together there are 51."""
    heard = recording.read(TOP / "recordings" / "three-passes.flac")
    for which, count in ((2, 11), (0, 51)):
        found = transcribe(heard, Wishes(Page("take"), Feel(132), which=which))
        assert len(found.lick) == count


def test_a_stretch_is_written_alone() -> None:
    """From the second pass on, to its end."""
    heard = recording.read(TOP / "recordings" / "three-passes.flac")
    found = transcribe(heard, Wishes(Page("take"), Feel(132), start_s=7, end_s=9.6))
    assert len(found.lick) == 11
    assert 7 < found.played[0].onset_s < 7.3


def test_a_riff_that_goes_round_is_one_lick() -> None:
    """Twice without a pause: many licks repeat a bar."""
    midi = [60, 62, 64, 65, 67, 65, 64, 62] * 2
    onset_s = np.arange(16) * 0.25
    assert find_runs(midi, onset_s, onset_s + 0.25).spans == ((0, 16),)


def test_three_times_round_is_three_passes() -> None:
    """The same eight notes in one tempo."""
    midi = [60, 62, 64, 65, 67, 65, 64, 62] * 3
    onset_s = np.arange(24) * 0.25
    assert len(find_runs(midi, onset_s, onset_s + 0.25).spans) == 3


def test_phrases_with_a_pause_between_stay_together() -> None:
    """Question and answer are not two passes of one phrase."""
    midi = [60, 62, 64, 65, 67, 79, 77, 75, 72, 70]
    onset_s = np.array([0, 0.5, 1, 1.5, 2, 5, 5.5, 6, 6.5, 7])
    assert find_runs(midi, onset_s, onset_s + 0.5).spans == ((0, 10),)


# ---------------------------------------------------------------------- refused


def fifths() -> Recording:
    """Two strings at a time."""
    roots = (57, 59, 60, 62, 64, 65, 67, 69)
    return record(
        [
            Tone(0.5 + 0.5 * k, 0.95 + 0.5 * k, root + above)
            for k, root in enumerate(roots)
            for above in (0, 7)
        ]
    )


def noise() -> Recording:
    """White noise."""
    rng = np.random.default_rng(0)
    return from_array(0.1 * rng.standard_normal(5 * 22050), 22050)


def long_take() -> Recording:
    """Eleven minutes with one note in them."""
    return record([Tone(1, 2, 60)], 660.0, rate_hz=8000)


@pytest.mark.parametrize(
    ("take", "words"),
    [
        (fifths, "no line of single notes, but chords"),
        (noise, "no note was heard|no line of single notes"),
        (long_take, "11 minutes are more than the 10"),
    ],
)
def test_what_is_no_line_of_single_notes_is_refused(
    take: Callable[[], Recording], words: str
) -> None:
    """With the reason and a remedy."""
    with pytest.raises(TranscriptionError, match=words):
        written(take())


def test_a_note_off_the_neck_names_itself() -> None:
    """C3 on a tenor ukulele's strings, say."""
    high = Page(
        "take", tuning=lick.read(TOP / "references" / "drop-d-riff.lick").tuning
    )
    found = record([Tone(1 + k, 1.9 + k, 37) for k in range(4)])
    with pytest.raises(
        TranscriptionError, match=r"note 1, C#2 at 1\.00 s, lies outside"
    ):
        transcribe(found, Wishes(high, Feel(60)))


def test_a_misheard_note_off_the_neck_is_left_out() -> None:
    """One of eleven, far below the lowest string: it is said, and the rest stays."""
    midi = [60, 62, 64, 65, 67, 37, 67, 65, 64, 62, 60]
    take = record([Tone(1 + 0.5 * k, 1.45 + 0.5 * k, m) for k, m in enumerate(midi)])
    found = written(take, 120)
    assert len(found.lick) == 10
    assert any("C#2, off the neck, is left out" in w for w in by_message(found))


def test_a_pass_that_is_not_there_is_refused() -> None:
    """It says how many there are."""
    take = record([Tone(1 + k, 1.9 + k, 60 + k) for k in range(4)])
    with pytest.raises(TranscriptionError, match="no pass 2: the take holds one pass"):
        transcribe(take, Wishes(Page("take"), which=2))


def test_a_stretch_after_the_end_is_refused() -> None:
    """Nothing of the take is in it."""
    take = record([Tone(1, 1.9, 60)])
    with pytest.raises(TranscriptionError, match="holds nothing of it"):
        transcribe(take, Wishes(Page("take"), start_s=20))


def test_meter_and_title_are_written() -> None:
    """As they were given."""
    take = record([Tone(1 + 0.5 * k, 1.45 + 0.5 * k, 60 + k) for k in range(6)])
    found = transcribe(take, Wishes(Page("Up", Meter(3, 4)), Feel(120)))
    assert (found.lick.title, str(found.lick.meter)) == ("Up", "3/4")
