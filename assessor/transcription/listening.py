"""Every note of a take with all that is found out about it alone."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import compress

import numpy as np

from assessor.errors import TranscriptionError
from assessor.onset import Events
from assessor.pitch import PlayedNote
from assessor.spectrum import Spectrum
from assessor.transcription.hearing import hear
from assessor.transcription.joining import Joined, join
from assessor.transcription.single import LEAST_MEDIAN_SHARE, own_share
from assessor.transcription.strokes import how_sounded
from assessor.transcription.techniques import Technique, technique_of
from assessor.transcription.tracing import played_notes
from assessor.tuning import FloatArray

MOST_NOTES = 600
CLEAR = 0.6  # probability of a note that is not doubted
# Share of the sound times share of clear notes: chords made by hand have 0.5 and less,
# the worst of 300 phrases in rooms, with bends and slides, 0.62.
LEAST_CLEAR = 0.55


@dataclass(frozen=True)
class Heard:
    """Every note of the stretch, with what was found out about it."""

    joined: tuple[Joined, ...]
    played: tuple[PlayedNote, ...]
    techniques: tuple[Technique, ...]
    slurred: tuple[float, ...]  # probabilities
    share: tuple[float, ...]  # of `single.own_share`

    def part(self, first: int, end: int) -> Heard:
        """Notes `first` to `end`, `end` excluded."""
        count = len(self.joined)
        return self.only([first <= index < end for index in range(count)])

    def only(self, kept: Sequence[bool]) -> Heard:
        """Those of the notes that are kept."""
        return Heard(
            tuple(compress(self.joined, kept)),
            tuple(compress(self.played, kept)),
            tuple(compress(self.techniques, kept)),
            tuple(compress(self.slurred, kept)),
            tuple(compress(self.share, kept)),
        )

    @property
    def onset_s(self) -> FloatArray:
        """Exact onsets, shape=(n,)."""
        return np.array([note.onset_s for note in self.played])

    @property
    def offset_s(self) -> FloatArray:
        """When each was heard no more, shape=(n,)."""
        return np.array([note.offset_s for note in self.played])

    @property
    def midi(self) -> list[int]:
        """Fretted pitches."""
        return [technique.midi_number for technique in self.techniques]


def listen(events: Events, spectra: Spectrum, name: str) -> Heard:
    """Find the notes and all about them."""
    joined = join(hear(events), spectra)
    if not joined:
        message = "no note was heard; record louder, or give another stretch"
        raise TranscriptionError(message, name)
    share = own_share(joined, spectra)
    complaint = _complaint(joined, float(np.median(share)))
    if complaint:
        raise TranscriptionError(complaint, name)
    played = played_notes(joined, spectra)
    techniques = tuple(
        technique_of(one, spectra.tuning_cents, moving=note.moving)
        for one, note in zip(played, joined, strict=True)
    )
    slurred = how_sounded(joined, played, spectra)
    return Heard(
        joined, played, techniques, tuple(slurred.tolist()), tuple(share.tolist())
    )


def _complaint(joined: Sequence[Joined], own: float) -> str:
    """What forbids to write the notes down; empty when nothing does."""
    if len(joined) > MOST_NOTES:
        return (
            f"{len(joined)} notes are more than the {MOST_NOTES} that are written "
            "down; give a stretch of it"
        )
    clear = float(np.mean([note.first.probability > CLEAR for note in joined]))
    if own < LEAST_MEDIAN_SHARE or own * clear < LEAST_CLEAR:
        return (
            "this is no line of single notes, but chords, noise or a click: the notes "
            f"that were heard hold {own:.0%} of the sound, and {clear:.0%} of them are "
            "clear; record one guitar, one note at a time"
        )
    return ""
