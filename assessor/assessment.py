"""From a recording and a lick to everything measured: the corridor.

`assess` is the whole way; `measure` is its second half, from what was played to what it
is worth.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from enum import StrEnum
from functools import lru_cache
from itertools import pairwise
from statistics import median

from threadpoolctl import ThreadpoolController

from assessor import alignment, care, onset, pitch, second_look, spectrum
from assessor.alignment import Verdict
from assessor.lick.notation import Lick
from assessor.measures import (
    accuracy,
    bends,
    focus,
    legato,
    marks,
    second_opinion,
    timing,
)
from assessor.measures.accuracy import Accuracy
from assessor.measures.bends import Bends
from assessor.measures.clock import Click
from assessor.measures.focus import Fault, Focus
from assessor.measures.legato import Legato
from assessor.measures.marks import Mark
from assessor.measures.second_opinion import SecondOpinion
from assessor.measures.timing import Timing
from assessor.measures.tolerance import TOLERANCES, Judgement, Reading, Tolerance
from assessor.pitch import Performance, PerformedPass
from assessor.recording import Recording
from assessor.sound_check import Flag

# An absolute start is not to be trusted in these: encoders add up to 25 ms, and not
# every decoder takes them off again.
PADDED_SUFFIXES = (".mp3", ".m4a", ".mp4", ".aac", ".mov", ".3gp", ".webm")
MANY_PASSES = 12  # from here on they are summed up
STRETCHES = 10
UNSURE_SHARE = 0.2  # of the notes reached; more is worth a caution


class Tracker(StrEnum):
    """Whose pitches are reported, and whether they are checked."""

    OWN = "own"
    PYIN = "pyin"  # ours, each note checked by librosa's pYIN


@dataclass(frozen=True)
class Settings:
    """What the user asks for.

    Attributes
    ----------
    tempo_bpm : float or None
        Tempo that was meant, quarter notes a minute; None = as written.
    click : Click or None
        None = recorded without a click.
    tolerance : Tolerance
    tracker : Tracker
    """

    tempo_bpm: float | None = None
    click: Click | None = None
    tolerance: Tolerance = TOLERANCES["usual"]
    tracker: Tracker = Tracker.OWN


@dataclass(frozen=True)
class RecordingFacts:
    """What is known of the sound file; as in `Recording`."""

    name: str
    digest: str
    duration_s: float
    sample_rate_hz: int
    flags: tuple[Flag, ...]


@dataclass(frozen=True)
class Caution:
    """Something the player should know before believing the rest.

    Attributes
    ----------
    kind : str
        A recording flag's kind, ``lick``, ``moved``, ``broken_off``, ``unsure``,
        ``click_offset``, ``second_opinion`` or ``practice``.
    message : str
        Sentences for the player.
    """

    kind: str
    message: str


@dataclass(frozen=True)
class PassAssessment:
    """Everything measured in one pass.

    Attributes
    ----------
    performed : PerformedPass
    accuracy : Accuracy
    timing : Timing
    bends : Bends
    legato : Legato
    mark : Mark
    faults : tuple of Fault
        In the order of the lick.
    focus : Focus or None
        None when nothing lay outside its tolerance.
    """

    performed: PerformedPass
    accuracy: Accuracy
    timing: Timing
    bends: Bends
    legato: Legato
    mark: Mark
    faults: tuple[Fault, ...]
    focus: Focus | None

    @property
    def headlines(self) -> dict[str, Reading]:
        """The judged readings that sum up the pass, by name."""
        found = {
            "notes": self.accuracy.share,
            "spread": self.timing.spread,
            "offset": self.timing.offset,
            "drift": self.timing.drift,
            "swing": self.timing.swing,
            "bends": self.bends.bend_error,
            "pitch": self.bends.plain_error,
            "slur spread": self.legato.spread,
            "slur nPVI": self.legato.npvi,
            "slur level": self.legato.level,
        }
        return {name: reading for name, reading in found.items() if reading is not None}

    @property
    def start_s(self) -> float:
        """Onset of its first note in the take, or where that was due."""
        first = self.performed.notes[0]
        played = [n.played.onset_s for n in self.performed.notes if n.played]
        return min(played, default=first.expected_s)

    @property
    def inside(self) -> bool:
        """True when no headline lies outside its limit for sure."""
        return all(
            reading.judgement != Judgement.OUTSIDE
            for reading in self.headlines.values()
        )


@dataclass(frozen=True)
class Stretch:
    """A tenth of a long practice: how the passes in it were, in the middle.

    Attributes
    ----------
    start_s, end_s : float
        Of the stretch, in the take.
    passes : int
        Passes that begin in it, at least one.
    right_share : float
        Of all notes judged in it.
    spread_ms, tempo_bpm, mark : float or None
        Medians over its passes.
    """

    start_s: float
    end_s: float
    passes: int
    right_share: float
    spread_ms: float | None
    tempo_bpm: float | None
    mark: float | None

    @classmethod
    def of(
        cls, start_s: float, end_s: float, found: list[PassAssessment], lick: Lick
    ) -> Stretch:
        """Sum up some passes."""
        spreads = [p.timing.spread.value for p in found if p.timing.spread is not None]
        marks = [p.mark.value for p in found if p.mark.value is not None]
        judged = sum(p.accuracy.judged for p in found)
        return cls(
            start_s,
            end_s,
            len(found),
            sum(len(p.accuracy.right) for p in found) / max(judged, 1),
            median(spreads) if spreads else None,
            median(p.performed.tempo_ratio * lick.tempo_bpm for p in found),
            median(marks) if marks else None,
        )


@dataclass(frozen=True)
class Assessment:
    """A take held against its lick.

    Attributes
    ----------
    lick : Lick
        At the tempo that was asked for.
    written_tempo_bpm : float
        As the lick was written.
    recording : RecordingFacts
    settings : Settings
    tuning_cents : float
        The instrument's offset from A4 = 440 Hz, + sharp.
    transposition : int
        Semitones by which the whole take is moved against the lick.
    passes : tuple of PassAssessment
        In order of time, at least one.
    best : int
        Index of the pass with the fewest faults.
    second_opinion : SecondOpinion or None
    """

    lick: Lick
    written_tempo_bpm: float
    recording: RecordingFacts
    settings: Settings
    tuning_cents: float
    transposition: int
    passes: tuple[PassAssessment, ...]
    best: int
    second_opinion: SecondOpinion | None

    @property
    def best_pass(self) -> PassAssessment:
        """The pass with the fewest faults."""
        return self.passes[self.best]

    @property
    def stretches(self) -> tuple[Stretch, ...]:
        """A practice of many passes in tenths of its time, to see it change or tire."""
        if len(self.passes) < MANY_PASSES:
            return ()
        starts = [p.start_s for p in self.passes]
        width_s = (max(starts) - min(starts)) / STRETCHES + 1e-6
        edges = [min(starts) + k * width_s for k in range(STRETCHES + 1)]
        grouped = [
            (low, high, [p for p in self.passes if low <= p.start_s < high])
            for low, high in pairwise(edges)
        ]
        return tuple(
            Stretch.of(low, high, found, self.lick)
            for low, high, found in grouped
            if found
        )

    @property
    def cautions(self) -> tuple[Caution, ...]:
        """What the player should know before believing the rest."""
        return (
            *(Caution(flag.kind, flag.message) for flag in self.recording.flags),
            *(Caution("lick", notice) for notice in self.lick.notices),
            *_take_cautions(self),
            *_pass_cautions(self.best_pass),
            *_opinion_cautions(self),
            *_practice_cautions(self),
        )


USUAL = Settings()


def assess(recording: Recording, lick: Lick, settings: Settings = USUAL) -> Assessment:
    """Hold a recorded take against its lick.

    Parameters
    ----------
    recording : Recording
    lick : Lick
    settings : Settings
        Usual tolerance, no click and the written tempo unless said otherwise.

    Raises
    ------
    AlignmentError
        When the lick is not in the take.
    """
    asked = at_tempo(lick, settings.tempo_bpm)
    # products this small cost more on two BLAS threads than on one
    with _threads().limit(limits=1, user_api="blas"):
        performance = _hear(recording, asked)
    return Assessment(
        lick=asked,
        written_tempo_bpm=lick.tempo_bpm,
        recording=_facts(recording),
        settings=settings,
        tuning_cents=performance.tuning_cents,
        transposition=performance.transposition,
        passes=measure(asked, performance, settings),
        best=performance.best,
        second_opinion=OPINIONS[settings.tracker](recording, asked, performance),
    )


@lru_cache(maxsize=1)
def _threads() -> ThreadpoolController:
    """Libraries that start threads; to find them takes a millisecond."""
    return ThreadpoolController()


def _hear(recording: Recording, asked: Lick) -> Performance:
    """Find what was played; what the ear saw of an hour does not outlive this."""
    heard = spectrum.analyse(recording)
    events = onset.events(heard)
    found = alignment.align(asked, events)
    found = second_look.confirm(found, asked, events, heard)
    del events
    return pitch.trace(found, asked, heard)


def measure(
    lick: Lick, performance: Performance, settings: Settings = USUAL
) -> tuple[PassAssessment, ...]:
    """Measure every pass of a performance of a lick, at the tempo asked for."""
    return tuple(
        _measure_pass(lick, performance, performed, settings)
        for performed in performance.passes
    )


def _measure_pass(
    lick: Lick, performance: Performance, performed: PerformedPass, settings: Settings
) -> PassAssessment:
    tolerance, tuning_cents = settings.tolerance, performance.tuning_cents
    notes = accuracy.measure(
        lick,
        performed,
        tolerance,
        tuning_cents=tuning_cents,
        transposition=performance.transposition,
    )
    time = timing.measure(lick, performed, tolerance, settings.click)
    cents = bends.measure(lick, performed, tolerance, tuning_cents=tuning_cents)
    slurs = legato.measure(
        lick, performed, tolerance, seconds_per_written=time.seconds_per_written
    )
    mark = marks.measure(notes, time, cents, slurs)
    faults = focus.find_faults(lick, notes, time, cents, slurs)
    first = focus.find_focus(faults, mark)
    return PassAssessment(performed, notes, time, cents, slurs, mark, faults, first)


def at_tempo(lick: Lick, tempo_bpm: float | None) -> Lick:
    """Lick at another starting tempo; later changes of tempo keep their ratio.

    None leaves the lick as it is.
    """
    return lick if tempo_bpm is None else lick.at_tempo(tempo_bpm)


def _facts(recording: Recording) -> RecordingFacts:
    return RecordingFacts(
        recording.name,
        recording.digest,
        recording.duration_s,
        recording.sample_rate_hz,
        recording.flags,
    )


def _no_opinion(
    recording: Recording, lick: Lick, performance: Performance
) -> SecondOpinion | None:
    return None


OPINIONS: dict[
    Tracker, Callable[[Recording, Lick, Performance], SecondOpinion | None]
] = {Tracker.OWN: _no_opinion, Tracker.PYIN: second_opinion.pyin}


def _take_cautions(assessment: Assessment) -> Iterator[Caution]:
    """What concerns the take as a whole."""
    semitones = assessment.transposition
    if semitones:
        way = "higher" if semitones > 0 else "lower"
        frets = f"{abs(semitones)} fret{'s' if abs(semitones) > 1 else ''}"
        message = f"The whole take lies {frets} {way} than written; read as moved."
        yield Caution("moved", message)
    padded = assessment.recording.name.lower().endswith(PADDED_SUFFIXES)
    if assessment.settings.click is not None and padded:
        message = (
            "A compressed recording may start up to 25 ms late, so the distance from "
            "the click is not to be trusted; record as WAV or FLAC, or give the time "
            "of a click in this file."
        )
        yield Caution("click_offset", message)


def _pass_cautions(found: PassAssessment) -> Iterator[Caution]:
    """What concerns the best pass."""
    notes = found.performed.notes
    reached = [n for n in notes if n.verdict != Verdict.UNSURE or n.played is not None]
    if not found.performed.complete:
        message = (
            f"No pass is whole: of {len(notes)} notes {len(reached)} were reached, and "
            "only these are judged."
        )
        yield Caution("broken_off", message)
    unsure = sum(n.verdict == Verdict.UNSURE for n in reached)
    if reached and unsure / len(reached) > UNSURE_SHARE:
        message = (
            f"{unsure} of {len(reached)} notes could not be told for sure and are not "
            "counted; record closer to the guitar, with less noise and echo."
        )
        yield Caution("unsure", message)


def _opinion_cautions(assessment: Assessment) -> Iterator[Caution]:
    """Where another tracker hears other pitches."""
    opinion = assessment.second_opinion
    if opinion is not None and opinion.disagreements:
        message = (
            f"{opinion.tracker} hears another pitch in {len(opinion.disagreements)} of "
            f"{opinion.agreed + len(opinion.disagreements)} notes it could follow."
        )
        yield Caution("second_opinion", message)


def _practice_cautions(assessment: Assessment) -> Iterator[Caution]:
    """Volume and practice time, after a long recording."""
    played = [
        (note.onset_s, note.offset_s)
        for one in assessment.passes
        for note in (*(n.played for n in one.performed.notes), *one.performed.extras)
        if note is not None
    ]
    for sentence in care.practice_caution(assessment.recording.duration_s, played):
        yield Caution("practice", sentence)
