"""A take without its lick written down: what was played, as a lick to be corrected.

The ears are those of the assessment; what a lick knew there is found here by other
means.  `listening` is all that is heard: `hearing` decides which events are notes,
`hidden` and `joining` which of them are slurs, bends and slides, `single` whether they
come one at a time, `tracing` when exactly each was played, `strokes` how it was sounded
and `techniques` what its pitch does.  Then `runs` says how often the phrase was played,
`rhythm` where its notes stand, `writing` makes the lick and `doubts` what to look at.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction

import numpy as np

from assessor import onset, spectrum
from assessor.errors import TranscriptionError
from assessor.lick.fretting import positions
from assessor.lick.notation import Articulation, Lick, SlideEdge
from assessor.lick.places import say_place
from assessor.pitch import PlayedNote
from assessor.recording import Recording
from assessor.transcription.doubts import (
    Doubt,
    dead_strokes,
    left_out,
    note_doubts,
    other_runs,
    rhythm_doubts,
)
from assessor.transcription.listening import Heard, listen
from assessor.transcription.rhythm import Feel, Rhythm, rhythm_of
from assessor.transcription.runs import Runs, find_runs
from assessor.transcription.writing import Page, Sounded, write_lick
from assessor.tuning import note_name

__all__ = [
    "Doubt",
    "Feel",
    "Page",
    "Transcription",
    "Wishes",
    "by_message",
    "transcribe",
]

LONGEST_S = 600.0
LEAD_S = 0.3  # of quiet put before a take that begins at once
FIRST_S, FIRST_SHARE = 0.03, 0.03
LEAST_ON_NECK = 0.9  # share of the notes; with fewer the tuning is another
SLURRED = 0.5  # probability from which a note is written as slurred


@dataclass(frozen=True)
class Wishes:
    """What is asked for.

    Attributes
    ----------
    page : Page
    feel : Feel
    start_s, end_s : float
        Stretch of the take that is written down, seconds.
    which : int or None
        Number of the pass, from 1; 0 = all of them, pauses and all; None = the one
        that is most like the others.
    """

    page: Page
    feel: Feel = field(default_factory=Feel)
    start_s: float = 0.0
    end_s: float = np.inf
    which: int | None = None


@dataclass(frozen=True)
class Transcription:
    """A take written down.

    Attributes
    ----------
    lick : Lick
    played : tuple of PlayedNote
        One for each note of the lick.
    tempo_bpm : float
        As played, the mean.
    tuning_cents : float
        The instrument's offset from A4 = 440 Hz.
    passes : tuple of (float, float)
        First and last onset of each run through the phrase, seconds.
    written : int or None
        Index of the pass that was written; None = all.
    doubts : tuple of Doubt
        In order of time.
    """

    lick: Lick
    played: tuple[PlayedNote, ...]
    tempo_bpm: float
    tuning_cents: float
    passes: tuple[tuple[float, float], ...]
    written: int | None
    doubts: tuple[Doubt, ...]


def transcribe(recording: Recording, wishes: Wishes) -> Transcription:
    """Write down what was played.

    Raises
    ------
    TranscriptionError
        When the take holds no notes, no line of single notes, more than can be
        written, or not the pass that is asked for.
    """
    _refuse_length(recording, wishes)
    recording = _until(recording, wishes.end_s)
    if not _begins_at_once(recording):
        return _transcribed(recording, wishes)
    # the ear tells a beginning by what was before it
    quiet = np.zeros(round(LEAD_S * recording.sample_rate_hz))
    led = replace(recording, samples=np.concatenate([quiet, recording.samples]))
    later = replace(wishes, start_s=wishes.start_s + LEAD_S)
    return _earlier(_transcribed(led, later), LEAD_S)


def _until(recording: Recording, end_s: float) -> Recording:
    """Recording without what comes after a time."""
    if end_s >= recording.duration_s:
        return recording
    count = round(end_s * recording.sample_rate_hz)
    return replace(recording, samples=recording.samples[:count])


def _begins_at_once(recording: Recording) -> bool:
    """Say whether the first note sounds from the first sample on."""
    first = recording.samples[: round(FIRST_S * recording.sample_rate_hz)]
    loudest = float(np.abs(recording.samples).max())
    return float(np.abs(first).max(initial=0.0)) > FIRST_SHARE * loudest


def _earlier(found: Transcription, by_s: float) -> Transcription:
    """Transcription with all its times earlier."""
    played = tuple(
        replace(
            note,
            onset_s=note.onset_s - by_s,
            offset_s=note.offset_s - by_s,
            contour=replace(note.contour, times_s=note.contour.times_s - by_s),
        )
        for note in found.played
    )
    return replace(
        found,
        played=played,
        passes=tuple((a - by_s, b - by_s) for a, b in found.passes),
        doubts=tuple(replace(d, time_s=d.time_s - by_s) for d in found.doubts),
    )


def _transcribed(recording: Recording, wishes: Wishes) -> Transcription:
    """Write down what was played after a moment of quiet."""
    spectra = spectrum.analyse(recording)
    events = onset.events(spectra).between(wishes.start_s, np.inf)
    heard = listen(events, spectra, recording.name)
    runs = find_runs(heard.midi, heard.onset_s, heard.offset_s)
    written = runs.typical if wishes.which is None else wishes.which - 1
    first, end = (0, len(heard.joined)) if written < 0 else _span(runs, written)
    part, off_neck = _on_neck(heard.part(first, end), wishes.page)
    rhythm = rhythm_of(part.onset_s, _with_start(wishes))
    notes = _sounded(part, _from_first_bar(rhythm, wishes))
    tempo_bpm = wishes.feel.tempo_bpm or float(max(round(rhythm.tempo_bpm), 1))
    lick = write_lick(notes, wishes.page, tempo_bpm=tempo_bpm, swing=rhythm.swing)
    doubts = [
        *off_neck,
        *note_doubts(part, lick),
        *rhythm_doubts(rhythm, part, wishes.feel.tempo_bpm),
        *left_out(events, part),
        *dead_strokes(events, part, spectra),
        *other_runs(heard, runs, written),
    ]
    return Transcription(
        lick,
        part.played,
        rhythm.tempo_bpm,
        spectra.tuning_cents,
        tuple(
            (float(heard.onset_s[a]), float(heard.onset_s[b - 1]))
            for a, b in runs.spans
        ),
        written if written >= 0 else None,
        tuple(sorted(doubts, key=lambda doubt: doubt.time_s)),
    )


def _refuse_length(recording: Recording, wishes: Wishes) -> None:
    """Refuse what nobody would want to correct by hand."""
    lasting_s = min(wishes.end_s, recording.duration_s) - wishes.start_s
    if lasting_s <= 0:
        message = (
            f"the take lasts {recording.duration_s:.1f} s; a stretch from "
            f"{wishes.start_s:g} s on holds nothing of it"
        )
        raise TranscriptionError(message, recording.name)
    if lasting_s > LONGEST_S:
        message = (
            f"{lasting_s / 60:.0f} minutes are more than the {LONGEST_S / 60:.0f} that "
            "are written down; give a stretch of it"
        )
        raise TranscriptionError(message, recording.name)


def _on_neck(part: Heard, page: Page) -> tuple[Heard, list[Doubt]]:
    """Notes that can be fretted, and the few that cannot: they were misheard.

    Where they are more than a few, the tuning is another, and all stay.
    """
    there = [bool(positions(midi, page.tuning, capo=page.capo)) for midi in part.midi]
    if np.mean(there) < LEAST_ON_NECK or all(there):
        return part, []
    doubts = [
        Doubt(None, note.onset_s, f"{note_name(midi)}, off the neck, is left out")
        for note, midi, on in zip(part.played, part.midi, there, strict=True)
        if not on
    ]
    return part.only(there), doubts


def _span(runs: Runs, index: int) -> tuple[int, int]:
    """Notes of a run; the take must hold it."""
    if index >= len(runs.spans):
        count = len(runs.spans)
        holds = "one pass" if count == 1 else f"{count} passes"
        message = f"there is no pass {index + 1}: the take holds {holds}"
        raise TranscriptionError(message)
    return runs.spans[index]


# ------------------------------------------------------------------- rhythm


def _with_start(wishes: Wishes) -> Feel:
    """Feel in which a pickup says where in its beat the first note stands."""
    pickup = wishes.page.pickup_beats
    return replace(wishes.feel, start=-pickup % 1) if pickup else wishes.feel


def _from_first_bar(rhythm: Rhythm, wishes: Wishes) -> list[Fraction]:
    """Beats from the start of the lick: a pickup starts with its first note."""
    first = rhythm.beats[0] if wishes.page.pickup_beats else Fraction(0)
    return [beat - first for beat in rhythm.beats]


# -------------------------------------------------------------------- notes


def _sounded(part: Heard, beats: Sequence[Fraction]) -> list[Sounded]:
    """Notes with their places in time and how each was sounded."""
    notes: list[Sounded] = []
    for k, technique in enumerate(part.techniques):
        before = notes[-1] if notes else None
        articulation = _articulation(part, k, before)
        led = articulation is not Articulation.PICK
        if led and before is not None and before.slide_out is not None:
            notes[-1] = replace(before, slide_out=None)
        notes.append(
            Sounded(
                part.played[k],
                beats[k],
                technique.midi_number,
                articulation,
                technique.bend,
                technique.vibrato,
                technique.slide_in,
                technique.slide_out,
            )
        )
    return notes


def _articulation(part: Heard, k: int, before: Sounded | None) -> Articulation:
    """How a note is written: picked, or slurred out of the one before."""
    technique = part.techniques[k]
    if before is None or technique.slide_in is not None:
        return Articulation.PICK
    rise = technique.midi_number - before.midi_number
    out = before.slide_out  # the pitch was on its way here
    led = out is (SlideEdge.UP if rise > 0 else SlideEdge.DOWN) and not before.bend
    softly = part.slurred[k] > SLURRED or part.joined[k].first.soft
    if rise and (part.joined[k].slid_into or (led and softly)):
        return Articulation.SLIDE
    if part.slurred[k] <= SLURRED or not rise:
        return Articulation.PICK
    return Articulation.HAMMER_ON if rise > 0 else Articulation.PULL_OFF


def by_message(found: Transcription) -> Iterator[str]:
    """Doubts in words with their places; notes that share one stand together."""
    together: dict[str, list[str]] = {}
    for doubt in found.doubts:
        together.setdefault(doubt.message, []).append(_place(doubt, found.lick))
    for message, places in together.items():
        yield f"{message}: {'; '.join(places)}"


def _place(doubt: Doubt, lick: Lick) -> str:
    """Where in the lick, or in the take, a doubt is."""
    if doubt.index is None:
        return f"at {doubt.time_s:.2f} s"
    note = lick.notes[doubt.index]
    return (
        f"{say_place(lick, doubt.index)}, string {note.string} fret {note.fret} "
        f"({doubt.time_s:.2f} s)"
    )
