"""A demo sounds at the pitches and times that the lick says."""

from __future__ import annotations

import time
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy import signal

from assessor import contour, demo, lick, onset, spectrum
from assessor.demo.backing import held
from assessor.demo.over import parse_over
from assessor.demo.phrase import soundings
from assessor.demo.string import HAMMERED, PICKED, SAMPLE_RATE_HZ, Segment, sound
from assessor.lick.notation import (
    Articulation,
    Bend,
    BendKind,
    Lick,
    LickNote,
    Meter,
    TempoChange,
)
from assessor.recording import Recording
from assessor.tuning import STANDARD, midi_to_hz

PITCH_TOLERANCE_CENTS = 0.5
REFERENCES = sorted((Path(__file__).parents[1] / "references").glob("*.lick"))

# Equal temperament on A4 = 440 Hz, Hz to two decimals: the table of twelve-tone equal
# temperament as printed in textbooks (e.g. Young, J. Acoust. Soc. Am. 11, 1939).
EQUAL_TEMPERED_HZ = {
    40: 82.41,
    45: 110.0,
    52: 164.81,
    64: 329.63,
    69: 440.0,
    76: 659.26,
}


def plucked(midi_number: float, length_s: float = 1.0) -> np.ndarray:
    """One steady picked note."""
    path = np.array([[0.0, midi_number]])
    return sound((Segment(length_s, path, PICKED),))


def note(beat: float, midi_number: int = 57, **more: object) -> LickNote:
    """One quarter note on the third string."""
    fret = midi_number - 55
    return LickNote(Fraction(beat), Fraction(1), midi_number, 3, fret, **more)


def of_notes(*notes: LickNote, **more: object) -> Lick:
    """Return a lick in 4/4 at 60, so that a beat is a second."""
    return replace(Lick("", 60, Meter(), STANDARD, notes), **more)


@pytest.mark.parametrize("midi_number", EQUAL_TEMPERED_HZ)
def test_librosa_hears_equal_temperament(midi_number: int) -> None:
    """`librosa.yin` finds the tabled frequency within half a cent."""
    import librosa

    table_hz = EQUAL_TEMPERED_HZ[midi_number]
    f0_hz = librosa.yin(
        plucked(midi_number).astype(float),
        fmin=0.8 * table_hz,
        fmax=1.25 * table_hz,
        sr=SAMPLE_RATE_HZ,
        frame_length=4096,
    )
    cents = 1200 * np.log2(np.median(f0_hz[10:-10]) / table_hz)
    rounding_cents = 1200 * np.log2(1 + 0.005 / table_hz)
    assert abs(cents) < PITCH_TOLERANCE_CENTS + rounding_cents


@pytest.mark.parametrize("midi_number", range(40, 89, 4))
def test_own_tracker_hears_equal_temperament(midi_number: int) -> None:
    """Our tracker finds the pitch within half a cent."""
    heard = spectrum.analyse(Recording(plucked(midi_number), SAMPLE_RATE_HZ, "", ""))
    frames = np.arange(10, 90)
    f0_hz, _ = contour.track(
        heard, frames, np.full(80, float(midi_number)), np.tile([-0.8, 0.8], (80, 1))
    )
    cents = 1200 * np.log2(np.median(f0_hz) / midi_to_hz(float(midi_number)))
    assert abs(cents) < PITCH_TOLERANCE_CENTS


def librosa_cents(samples: np.ndarray, midi_number: float) -> float:
    """Median pitch above a MIDI number, by `librosa.yin`.

    Its parabola between samples is up to a cent wrong at 44.1 kHz, also for an exact
    tone; it is given four times as many.
    """
    import librosa

    wanted_hz = midi_to_hz(midi_number)
    f0_hz = librosa.yin(
        signal.resample_poly(samples.astype(float), 4, 1),
        fmin=0.8 * wanted_hz,
        fmax=1.25 * wanted_hz,
        sr=4 * SAMPLE_RATE_HZ,
        frame_length=16384,
    )
    return float(1200 * np.log2(np.median(f0_hz[5:-5]) / wanted_hz))


@pytest.mark.parametrize(
    ("notes", "midi_number"),
    [
        *(
            ((note(0, bend=Bend(BendKind.BEND, cents)),), 57 + cents / 100)
            for cents in (50.0, 100.0, 200.0, 300.0)
        ),
        ((note(-1), note(0, 59, articulation=Articulation.HAMMER_ON)), 59),
        ((note(-1, 60), note(0, 57, articulation=Articulation.PULL_OFF)), 57),
        ((note(-1), note(0, 62, articulation=Articulation.SLIDE)), 62),
    ],
)
def test_bends_and_slurs_come_to_rest_in_tune(
    notes: tuple[LickNote, ...], midi_number: float
) -> None:
    """Within half a cent, by our tracker and by librosa's."""
    first = -notes[0].onset_beats
    placed = [replace(n, onset_beats=n.onset_beats + first) for n in notes]
    quiet = demo.Manner(click=False, count_in_bars=0)
    heard = demo.play(of_notes(*placed), quiet).samples
    at = int(first * SAMPLE_RATE_HZ)
    part = heard[at + SAMPLE_RATE_HZ * 4 // 10 : at + SAMPLE_RATE_HZ * 95 // 100]
    assert abs(librosa_cents(part, midi_number)) < PITCH_TOLERANCE_CENTS
    found = spectrum.analyse(Recording(heard, SAMPLE_RATE_HZ, "", ""))
    frames = np.arange(40, 95) + 100 * int(first)
    wanted, reach = np.full(55, midi_number), np.tile([-0.8, 0.8], (55, 1))
    f0_hz, strength = contour.track(found, frames, wanted, reach)
    cents = 1200 * np.log2(np.median(f0_hz[strength > 0]) / midi_to_hz(midi_number))
    assert abs(cents) < PITCH_TOLERANCE_CENTS


def test_partials_are_whole_multiples_that_fade_from_the_top() -> None:
    """Ten partials of A2 lie on multiples of 110 Hz; the higher die sooner."""
    heard = plucked(45, 2.0)
    early, late = (
        np.abs(np.fft.rfft(heard[a : a + SAMPLE_RATE_HZ] * np.hanning(SAMPLE_RATE_HZ)))
        for a in (1000, 40000)
    )
    for k in range(1, 11):
        around = slice(110 * k - 20, 110 * k + 21)
        assert int(early[around].argmax()) == 20
    fallen = late[110:1101:110] / early[110:1101:110]
    assert fallen[9] < fallen[0] < 1


def test_a_slur_changes_the_pitch_at_the_sample() -> None:
    """The period changes within a millisecond of the slurred note's start."""
    low, high = np.array([[0.0, 57.0]]), np.array([[0.0, 59.0]])
    heard = sound((Segment(0.5, low, PICKED), Segment(0.5, high, HAMMERED)))
    turns = np.unwrap(np.angle(_fundamental(heard))) / (2 * np.pi)
    hz = np.gradient(turns) * SAMPLE_RATE_HZ
    middle_hz = (midi_to_hz(57.0) + midi_to_hz(59.0)) / 2
    crossed = 15000 + int(np.argmax(hz[15000:30000] > middle_hz))
    assert abs(crossed / SAMPLE_RATE_HZ - 0.5) < 0.001


def _fundamental(heard: np.ndarray) -> np.ndarray:
    """Analytic signal of what lies between 190 and 280 Hz."""
    spectrum_ = np.fft.fft(heard)
    hz = np.fft.fftfreq(len(heard), 1 / SAMPLE_RATE_HZ)
    return np.fft.ifft(2 * spectrum_ * ((hz > 150) & (hz < 320)))


def test_nothing_clicks() -> None:
    """No sample of a slurred, bent and released string jumps as a click would."""
    path = np.array([[0.0, 57.0], [0.2, 59.0], [0.4, 57.0]])
    soft = replace(HAMMERED, knock=0.0)
    heard = sound((Segment(0.4, path, soft), Segment(0.4, path[:1], soft)))
    above = signal.sosfilt(
        signal.butter(4, 9000, "high", fs=SAMPLE_RATE_HZ, output="sos"), heard
    )
    assert np.abs(above).max() < 0.02 * np.abs(heard).max()


@pytest.mark.parametrize("path", REFERENCES, ids=lambda path: path.stem)
def test_the_program_finds_its_own_demos_faultless(path: Path) -> None:
    """Every note of each reference lick is right, in time and in tune."""
    from assessor.assessment import assess

    asked = lick.read(path)
    heard = demo.play(asked)
    found = assess(Recording(heard.samples, SAMPLE_RATE_HZ, "", ""), asked).best_pass
    assert {str(n.verdict) for n in found.performed.notes} == {"right"}
    assert found.performed.extras == ()
    assert found.mark.value == 100
    played_s = [n.played.onset_s for n in found.performed.notes if n.played]
    assert np.median(np.abs(played_s - heard.onsets_s[0])) < 0.002


@pytest.mark.parametrize("target_cents", [50, 100, 200, 300])
@pytest.mark.parametrize("kind", BendKind)
def test_bends_reach_their_target(kind: BendKind, target_cents: float) -> None:
    """A bend's path has its start, top and end where its kind says."""
    (string,) = soundings(of_notes(note(0, bend=Bend(kind, target_cents))))
    cents = 100 * (string.segments[0].path[:, 1] - 57)
    starts_up = kind in (BendKind.PREBEND, BendKind.PREBEND_RELEASE)
    ends_up = kind in (BendKind.BEND, BendKind.PREBEND)
    assert cents.max() == pytest.approx(target_cents)
    assert cents[0] == pytest.approx(target_cents * starts_up)
    assert cents[-1] == pytest.approx(target_cents * ends_up)


def test_a_slid_note_goes_on_with_the_string_before() -> None:
    """Slurred notes join the string; the last fret of a slide is its onset."""
    slid = note(1, 60, articulation=Articulation.SLIDE)
    (string,) = soundings(of_notes(note(0), slid))
    assert len(string.segments) == 2
    assert 0 < 60 - string.segments[0].path[-1, 1] <= 1
    assert np.all(string.segments[1].path[:, 1] == 60)


def test_a_note_rings_until_its_string_is_struck_again() -> None:
    """Let ring holds a note past its value, to the next on its string."""
    other = LickNote(Fraction(1), Fraction(1), 62, 2, 3)
    strings = soundings(of_notes(note(0, let_ring=True), other, note(2)))
    assert strings[0].segments[0].length_s == pytest.approx(2.0)


def test_a_dead_note_dies_at_once() -> None:
    """A tenth of a second on, a dead note is 30 dB down."""
    (string,) = soundings(of_notes(note(0, articulation=Articulation.DEAD)))
    heard = sound(string.segments)
    early, late = (np.abs(heard[a : a + 2000]).max() for a in (0, 4410))
    assert late < early * 10 ** (-30 / 20)


def test_count_in_and_clicks_stand_on_the_beats() -> None:
    """One bar at 60 counts in; a pickup's bar is filled up."""
    straight = demo.play(of_notes(note(0)))
    assert straight.onsets_s[0, 0] == pytest.approx(4.0)
    pickup = of_notes(note(0), note(1), pickup_beats=Fraction(1))
    assert demo.play(pickup).onsets_s[0] == pytest.approx([7.0, 8.0])
    none = demo.play(of_notes(note(0)), demo.Manner(count_in_bars=0, click=False))
    assert none.onsets_s[0, 0] == 0


def test_clicks_are_louder_on_one() -> None:
    """Four clicks to the bar at 60, the first the loudest."""
    heard = demo.play(of_notes(note(0))).samples[: 4 * SAMPLE_RATE_HZ]
    peaks = np.abs(heard.reshape(4, -1)).max(axis=1)
    quiet = np.abs(heard.reshape(4, -1)[:, SAMPLE_RATE_HZ // 2 :]).max()
    assert peaks[0] > 1.5 * peaks[1] > 0
    assert quiet == 0


@pytest.mark.parametrize(
    ("meter", "loud"),
    [
        (Meter(7, 8), [0, 2, 4]),
        (Meter(6, 8), [0, 3]),
        (Meter(3, 8), [0]),
        (Meter(3, 4), [0]),
    ],
    ids=str,
)
def test_clicks_show_the_groups_of_a_bar(meter: Meter, loud: list[int]) -> None:
    """Common practice: 7/8 is counted two, two, three; what is soft is half as loud."""
    heard = demo.play(of_notes(note(0), meter=meter)).samples
    step = SAMPLE_RATE_HZ * 4 // meter.unit
    clicks = heard[: step * meter.count].reshape(meter.count, -1)
    peaks = np.abs(clicks).max(axis=1)
    assert [k for k in range(meter.count) if peaks[k] > 0.7 * peaks[0]] == loud


def test_a_ladder_of_tempos_starts_each_on_a_bar() -> None:
    """Twice at 60, twice at 120, each counted in; a bar is 4 s, then 2 s."""
    manner = demo.Manner(tempos_bpm=(60, 120), repeats=2)
    heard = demo.play(of_notes(note(0)), manner)
    assert heard.onsets_s[:, 0] == pytest.approx([4, 8, 14, 16])


def test_changes_of_tempo_keep_their_ratio() -> None:
    """At half the tempo, a lick that slows down to half does so still."""
    slowing = of_notes(
        note(0), note(1), note(2), tempo_changes=(TempoChange(Fraction(1), 30),)
    )
    onsets_s = slowing.at_tempo(30).onsets_s()
    assert onsets_s == pytest.approx([0, 2, 6])


def test_held_notes_are_in_tune() -> None:
    """Every partial of a held A2 lies on a multiple of 110 Hz, to the end."""
    heard = held((45,), 20 * SAMPLE_RATE_HZ)[10 * SAMPLE_RATE_HZ :][:SAMPLE_RATE_HZ]
    magnitude = np.abs(np.fft.rfft(heard * np.hanning(len(heard))))
    assert [int(magnitude[a - 20 : a + 21].argmax()) for a in (110, 220, 330)] == [
        20
    ] * 3


def test_chords_change_at_the_bar_lines() -> None:
    """After a bar of counting: A2 in the first bar, C3 in the next, A2 again."""
    notes = [note(0), note(8)]  # three bars of four seconds
    manner = demo.Manner(click=False, over_midi=((45,), (48,)))
    heard = demo.play(of_notes(*notes), manner).samples
    at = [round((4 + 4 * bar + 2) * SAMPLE_RATE_HZ) for bar in range(3)]
    levels = []
    for start in at:
        part = heard[start : start + SAMPLE_RATE_HZ]
        magnitude = np.abs(np.fft.rfft(part * np.hanning(len(part))))
        levels.append([magnitude[round(f)] for f in midi_to_hz(np.array([45.0, 48.0]))])
    assert [a > 10 * c for a, c in levels] == [True, False, True]
    assert [c > 10 * a for a, c in levels] == [False, True, False]
    between = heard[SAMPLE_RATE_HZ // 2 : SAMPLE_RATE_HZ]  # two clicks of the count-in
    assert np.abs(between).max() == 0


@pytest.mark.parametrize(
    ("text", "midi_numbers"),
    [
        ("A2, E3", ((45, 52),)),
        ("E", ((40, 56, 59),)),
        ("A7", ((45, 52, 55, 61),)),
        ("C6", ((48, 52, 55, 57),)),
        ("Bb4", ((70,),)),
        ("F#m7b5 | B7", ((42, 52, 57, 60), (47, 57, 63, 66 - 12))),
    ],
)
def test_what_is_said_after_over(text: str, midi_numbers: tuple[Any, ...]) -> None:
    """Notes up to the fourth octave, chords with their root low: common practice."""
    assert [sorted(bar) for bar in parse_over(text)] == [
        sorted(b) for b in midi_numbers
    ]


def test_loud_demos_do_not_clip() -> None:
    """Many notes at once stay within full scale."""
    manner = demo.Manner(over_midi=((40, 45, 52, 57, 61, 64, 69),))
    assert np.abs(demo.play(of_notes(note(0)), manner).samples).max() <= 0.9


@pytest.mark.parametrize(
    "wrong",
    [{"tempos_bpm": (0.0,)}, {"repeats": 0}, {"count_in_bars": -1}],
    ids=["tempo", "repeats", "count-in"],
)
def test_what_cannot_be_played_is_refused(wrong: dict[str, object]) -> None:
    """Wrong manners raise with the value in the message."""
    with pytest.raises(ValueError, match=r"more than 0 bpm|repeats and"):
        demo.Manner(**wrong)


@pytest.mark.parametrize("path", REFERENCES, ids=lambda path: path.stem)
def test_faster_than_real_time(path: Path) -> None:
    """At least 200 times over a chord (340 measured where most strings ring)."""
    asked, manner = lick.read(path), demo.Manner(over_midi=((45, 52, 57),))
    demo.play(asked, manner)
    took_s = []
    for _ in range(5):
        start_s = time.process_time()
        heard = demo.play(asked, manner)
        took_s.append(time.process_time() - start_s)
    assert heard.duration_s / min(took_s) > 200


def test_events_are_where_the_demo_says() -> None:
    """Each picked note of a demo is an attack for the ear, within 3 ms."""
    heard = demo.play(of_notes(*(note(i, 57 + i) for i in range(4))))
    events = onset.events(
        spectrum.analyse(Recording(heard.samples, SAMPLE_RATE_HZ, "", ""))
    )
    for onset_s in heard.onsets_s[0]:
        assert np.abs(events.times_s - onset_s).min() < 0.003
