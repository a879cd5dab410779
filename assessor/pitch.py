"""Notes as they were played: exact times, pitch contours, loudness, how sounded."""

from __future__ import annotations

from dataclasses import dataclass, replace
from statistics import median

import numpy as np
import numpy.typing as npt

from assessor.alignment import Alignment, ExtraNote, Match, Pass, Verdict
from assessor.attack import (
    attack_db,
    energy_rise,
    hidden_rise,
    loudness_jump_db,
    partial_rise,
    period_change,
)
from assessor.contour import Contour, track, unsmoothed
from assessor.frames import FRAME_HOP_S
from assessor.lick.notation import Articulation, Lick, LickNote
from assessor.passes import is_mistuned
from assessor.sounding import SoundedBy, measure, tell
from assessor.spectrum import Spectrum
from assessor.tuning import FloatArray, midi_to_hz

__all__ = [
    "Contour",
    "Performance",
    "PerformedNote",
    "PerformedPass",
    "PlayedNote",
    "SoundedBy",
    "trace",
]

IntArray = npt.NDArray[np.intp]

# An attack this deep (or less deep, but lasting), and this much louder than one period
# before, needs no prediction; ringing strings that beat look like the shallower ones.
CLEAR_DEPTH_DB = 20.0
LIKELY_DEPTH_DB, LIKELY_ATTACK_DB = 10.0, 6.0
CLEAR_JUMP_DB = 8.0
SHARP_JUMP_DB = 20.0  # beyond, the time is sharp too
LONGEST_PERIOD_S = 0.012
ASTRAY_SEMITONES = 0.6  # from its fret: what is followed there is another note
SLIDE_REACH_S = 0.12  # to each side of where a slide is thought to end
SLIDE_NEAR_CENTS = 35.0
SLIDE_STAYS_FRAMES = 2
SLIDE_LAG_S = 0.0065  # by which frames see it late (median on development takes)
TAIL_S = 2.0  # a last note is followed for this long
LEAD_S, SHORT_LEAD_S = 0.045, 0.03  # from the onset to the first steady frame
BENT_LEAD_S = 0.025
TRAIL_S = 0.025  # the window must not see the next note
ROOM_S = 0.12  # notes with less room get the short lead
GONE_DB = 25.0  # a note this far under its peak is no longer heard
LEVEL_WINDOW_S = 0.02
EDGE_S = 0.005  # an attack begins a little before its onset


@dataclass(frozen=True)
class PlayedNote:
    """One note as it was played.

    Attributes
    ----------
    onset_s, offset_s : float
        Seconds in the take; the offset is where the note stops being heard or
        the next note starts.
    onset_uncertainty_s : float
        Half width of the 95 % interval of `onset_s`.
    midi_number : int
        Chromatic pitch heard (for bends: of the fretted note).
    steady_midi : float
        Sounding pitch of the steady part, MIDI number with its fraction, tuning
        not removed; NaN when the pitch is meant to move or the note is too short.
    steady_uncertainty_cents : float
        Half width of the 95 % interval of `steady_midi`, in cents.
    level_db : float
        Peak of the 20 ms level in the first 80 ms, dB re full scale.
    sounded_by : SoundedBy
    contour : Contour
    """

    onset_s: float
    onset_uncertainty_s: float
    offset_s: float
    midi_number: int
    steady_midi: float
    steady_uncertainty_cents: float
    level_db: float
    sounded_by: SoundedBy
    contour: Contour


@dataclass(frozen=True)
class PerformedNote:
    """One written note and what became of it.

    Attributes
    ----------
    index : int
        0-based place in the lick.
    verdict : Verdict
    probability : float
        That the verdict is true.
    expected_s : float
        Where the pass's own (local) tempo puts the note.
    played : PlayedNote or None
        None when missed (or never reached).
    """

    index: int
    verdict: Verdict
    probability: float
    expected_s: float
    played: PlayedNote | None


@dataclass(frozen=True)
class PerformedPass:
    """One run through the lick, traced.

    Attributes
    ----------
    notes : tuple of PerformedNote
        One for each written note.
    extras : tuple of PlayedNote
        Notes the lick does not ask for.
    tempo_ratio : float
        Played over written tempo.
    complete : bool
        False when the run starts late or breaks off.
    """

    notes: tuple[PerformedNote, ...]
    extras: tuple[PlayedNote, ...]
    tempo_ratio: float
    complete: bool


@dataclass(frozen=True)
class Performance:
    """Everything that was played, traced.

    Attributes
    ----------
    passes : tuple of PerformedPass
    best : int
        Index of the pass with the fewest faults.
    tuning_cents : float
        The instrument's offset from A4 = 440 Hz.
    transposition : int
        Semitones by which the whole take is moved against the lick.
    """

    passes: tuple[PerformedPass, ...]
    best: int
    tuning_cents: float
    transposition: int


@dataclass(frozen=True)
class _Sounding:
    """A note of the take on its way from rough to exact."""

    time_s: float
    midi_number: int
    is_step: bool
    written: LickNote | None  # None: extra


@dataclass(frozen=True)
class _Timed:
    """When notes sound, and how surely; shape=(n,) each, in order of onset."""

    onset_s: FloatArray
    uncertainty_s: FloatArray
    limit_s: FloatArray  # the next note's onset


def trace(alignment: Alignment, lick: Lick, spectrum: Spectrum) -> Performance:
    """Find exact times, contours and levels of every note of every pass."""
    passes = [_trace_pass(found, lick, spectrum) for found in alignment.passes]
    tuning_cents = _instrument_tuning(passes, spectrum.tuning_cents)
    performance = Performance(
        tuple(passes), alignment.best, tuning_cents, alignment.transposition
    )
    return _mistuned_rather_than_moved(performance)


def _trace_pass(found: Pass, lick: Lick, spectrum: Spectrum) -> PerformedPass:
    """Trace one pass."""
    heard: list[Match | ExtraNote] = [m for m in found.matches if m.time_s is not None]
    heard = sorted([*heard, *found.extras], key=lambda h: float(h.time_s or 0))
    sounding = [_sounding(h, lick) for h in heard]
    timed = _exact_times(sounding, spectrum)
    contours = _contours(sounding, timed, spectrum)
    sounded_by = _how_sounded(sounding, timed.onset_s, spectrum)
    played = {
        id(h): _played(s, timed, i, contours[i], sounded_by[i], spectrum)
        for i, (h, s) in enumerate(zip(heard, sounding, strict=True))
    }
    notes = tuple(
        PerformedNote(
            m.index, m.verdict, m.probability, m.expected_s, played.get(id(m))
        )
        for m in found.matches
    )
    extras = tuple(played[id(e)] for e in found.extras)
    return PerformedPass(notes, extras, found.tempo_ratio, found.complete)


def _sounding(heard: Match | ExtraNote, lick: Lick) -> _Sounding:
    """What is known of a note before it is looked at closely."""
    written = lick.notes[heard.index] if isinstance(heard, Match) else None
    return _Sounding(
        float(heard.time_s or 0), int(heard.midi_number or 0), heard.is_step, written
    )


# -------------------------------------------------------------------- times


def _exact_times(sounding: list[_Sounding], spectrum: Spectrum) -> _Timed:
    """Exact onset of each note by the clock that fits how it begins."""
    rough_s = np.array([s.time_s for s in sounding])
    limit_s = np.append(rough_s[1:], np.inf)
    onset_s, uncertainty_s = rough_s.copy(), np.zeros(len(rough_s))
    for i, note in enumerate(sounding):
        before = sounding[i - 1] if i else None
        onset_s[i], uncertainty_s[i] = _exact_time(
            note, before, float(limit_s[i]), spectrum
        )
    onset_s = np.maximum.accumulate(onset_s)
    end_s = max(spectrum.duration_s - 0.05, 0.0)
    last_s = min(onset_s[-1] + TAIL_S, end_s) if len(onset_s) else end_s
    return _Timed(onset_s, uncertainty_s, np.append(onset_s[1:], last_s))


# Half widths of the 95 % interval of an onset by the clock used, seconds, measured on
# development takes of the bench (benchmarks/trust.py tells how often they hold).
STRUCK_UNCERTAINTY_S = 0.001
BLURRED_UNCERTAINTY_S = 0.004
HIDDEN_UNCERTAINTY_S = 0.010
HIDDEN_REACH_S = 0.03  # from the rough time
SLUR_UNCERTAINTY_S = 0.014
RISEN_UNCERTAINTY_S = 0.026
RISEN_REACH_S = 0.06  # from the rough time
SLUR_APART_S = 0.02  # from the rough time of a neighbour
SLIDE_UNCERTAINTY_S = 0.012
ROUGH_UNCERTAINTY_S = 0.035


def _exact_time(
    note: _Sounding, before: _Sounding | None, limit_s: float, spectrum: Spectrum
) -> tuple[float, float]:
    """Onset of one note and its uncertainty, seconds."""
    if before is not None and _is_slid(note):
        return _slide_end(note, before, spectrum)
    if before is not None and before.midi_number != note.midi_number:
        struck = not note.is_step and attack_db(spectrum, note.time_s) > 6
        if note.is_step or (_is_slur(note) and not struck):
            return _slur_time(note, before, limit_s, spectrum)
    if note.is_step:
        return note.time_s, ROUGH_UNCERTAINTY_S
    rise_s, depth_db = energy_rise(spectrum, note.time_s, limit_s)
    period_s = LONGEST_PERIOD_S
    if before is not None:
        period_s = min(1.1 / midi_to_hz(before.midi_number), LONGEST_PERIOD_S)
    jump_db = loudness_jump_db(spectrum, rise_s, limit_s, period_s)
    clear = depth_db >= CLEAR_DEPTH_DB or (
        depth_db >= LIKELY_DEPTH_DB and attack_db(spectrum, rise_s) > LIKELY_ATTACK_DB
    )
    if clear and jump_db > SHARP_JUMP_DB:
        return rise_s, STRUCK_UNCERTAINTY_S
    if clear and jump_db > CLEAR_JUMP_DB:
        return rise_s, BLURRED_UNCERTAINTY_S
    hidden = hidden_rise(
        spectrum, note.time_s - 0.018, min(note.time_s + 0.05, limit_s - 0.02)
    )
    if hidden is None or abs(hidden.time_s - note.time_s) >= HIDDEN_REACH_S:
        return note.time_s, ROUGH_UNCERTAINTY_S
    return hidden.time_s, HIDDEN_UNCERTAINTY_S + hidden.spread_s


def _slur_time(
    note: _Sounding, before: _Sounding, limit_s: float, spectrum: Spectrum
) -> tuple[float, float]:
    """When one pitch gives way to another without an attack, and the uncertainty."""
    tuning = spectrum.tuning_cents / 100
    pitches = (before.midi_number + tuning, note.midi_number + tuning)
    change_s = period_change(spectrum, note.time_s, *pitches)
    if change_s is not None:
        return change_s, SLUR_UNCERTAINTY_S
    between_s = (before.time_s + SLUR_APART_S, limit_s + SLUR_APART_S)
    rise_s = partial_rise(spectrum, note.time_s, between_s, *pitches)
    if rise_s is not None and abs(rise_s - note.time_s) < RISEN_REACH_S:
        return rise_s, RISEN_UNCERTAINTY_S
    return note.time_s, ROUGH_UNCERTAINTY_S


def _is_slur(note: _Sounding) -> bool:
    """Say whether a note is written as hammered on or pulled off."""
    slurs = (Articulation.HAMMER_ON, Articulation.PULL_OFF)
    return note.written is not None and note.written.articulation in slurs


def _is_slid(note: _Sounding) -> bool:
    """Say whether a note is written as slid into from the one before."""
    written = note.written
    return written is not None and written.articulation is Articulation.SLIDE


def _slide_end(
    note: _Sounding, before: _Sounding, spectrum: Spectrum
) -> tuple[float, float]:
    """When a slide reaches its last fret, and the uncertainty, seconds.

    The first moment the pitch is within a third of a semitone of where it then stays.
    """
    reach_s, away = SLIDE_REACH_S, abs(before.midi_number - note.midi_number) + 1.0
    low = max(int((note.time_s - reach_s) / FRAME_HOP_S), 0)
    high = min(int((note.time_s + reach_s) / FRAME_HOP_S) + 1, len(spectrum.frames))
    frame = np.arange(low, high)
    nominal = np.full(len(frame), float(note.midi_number))
    f0_hz, strength = track(
        spectrum, frame, nominal, np.tile([-away, away], (len(frame), 1))
    )
    there_hz = midi_to_hz(note.midi_number + spectrum.tuning_cents / 100)
    off = np.abs(1200 * np.log2(f0_hz / there_hz)) > SLIDE_NEAR_CENTS
    off &= strength > 0
    moving = np.nonzero(off[: -SLIDE_STAYS_FRAMES or None])[0]
    if not len(moving) or moving[-1] + 1 >= len(frame):
        return note.time_s, ROUGH_UNCERTAINTY_S
    end_s = (low + moving[-1] + 1) * FRAME_HOP_S - SLIDE_LAG_S
    return float(end_s), SLIDE_UNCERTAINTY_S


# ------------------------------------------------------------------ contours


def _contours(
    sounding: list[_Sounding], timed: _Timed, spectrum: Spectrum
) -> list[Contour]:
    """Contour of each note, all tracked in one go."""
    spans = [
        _frames_of(s, float(on), float(end))
        for s, on, end in zip(sounding, timed.onset_s, timed.limit_s, strict=True)
    ]
    last = len(spectrum.frames)
    spans = [(min(a, last), min(b, last)) for a, b in spans]
    counts = [max(b - a, 0) for a, b in spans]
    frame = np.concatenate(
        [np.arange(a, a + n) for (a, _), n in zip(spans, counts, strict=True)]
        or [np.zeros(0, np.intp)]
    )
    nominal = np.repeat([s.midi_number for s in sounding], counts)
    reach = np.array([_reach(s) for s in sounding]).reshape(-1, 2)
    reach = np.repeat(reach, counts, axis=0)
    f0_hz, strength = track(spectrum, frame, nominal, reach)
    level_db = _level_db(spectrum, frame)
    contours, start = [], 0
    for (first, _), count in zip(spans, counts, strict=True):
        part = slice(start, start + count)
        times_s = (first + np.arange(count)) * FRAME_HOP_S
        voiced = strength[part] > 0.03 * strength[part].max(initial=0)
        contours.append(
            Contour(times_s, unsmoothed(f0_hz[part], voiced), level_db[part])
        )
        start += count
    return contours


def _frames_of(note: _Sounding, onset_s: float, limit_s: float) -> tuple[int, int]:
    """First frame and one past the last that see this note alone."""
    lead_s = LEAD_S if limit_s - onset_s > ROOM_S else SHORT_LEAD_S
    if note.written is not None and note.written.moves:
        lead_s = BENT_LEAD_S
    first = int(np.ceil((onset_s + lead_s) / FRAME_HOP_S))
    end_s = max(limit_s - TRAIL_S, onset_s + lead_s + 0.01)
    return max(first, 0), int(np.floor(end_s / FRAME_HOP_S)) + 1


def _reach(note: _Sounding) -> tuple[float, float]:
    """How far the pitch may go from the nominal one, semitones down and up."""
    if note.written is None or not note.written.moves:
        return -0.5, 0.5
    if note.written.bend is not None:
        return -1.0, note.written.bend.target_cents / 100 + 1.6
    if note.written.vibrato:
        return -1.5, 1.5
    return -4.0, 4.0


def _level_db(spectrum: Spectrum, frame: IntArray) -> FloatArray:
    """Level of 20 ms around each frame, dB re full scale."""
    at = frame * FRAME_HOP_S
    return 10 * np.log10(spectrum.power(at - 0.01, at + 0.01) + 1e-12)


# --------------------------------------------------------------- what is read


def _played(
    note: _Sounding,
    timed: _Timed,
    i: int,
    contour: Contour,
    sounded_by: SoundedBy,
    spectrum: Spectrum,
) -> PlayedNote:
    """Read one note from its contour and level."""
    onset_s, limit_s = float(timed.onset_s[i]), float(timed.limit_s[i])
    last_s = max(limit_s - EDGE_S - LEVEL_WINDOW_S - onset_s, 0.0)
    at = onset_s + np.arange(0, last_s + 1e-6, 0.01)
    level_db = 10 * np.log10(spectrum.power(at, at + LEVEL_WINDOW_S) + 1e-12)
    peak_db = float(level_db[:7].max())
    heard = np.nonzero(level_db > peak_db - GONE_DB)[0]
    to_the_end = heard[-1] == len(at) - 1
    gone_s = onset_s + 0.01 * heard[-1] + LEVEL_WINDOW_S
    offset_s = limit_s if to_the_end else min(gone_s, limit_s)
    written = note.written
    unsteady = written is not None and (
        written.moves or written.articulation is Articulation.DEAD
    )
    steady, uncertainty = (np.nan, np.nan) if unsteady else _steady(contour)
    if abs(steady - note.midi_number - spectrum.tuning_cents / 100) > ASTRAY_SEMITONES:
        steady, uncertainty = np.nan, np.nan
    return PlayedNote(
        onset_s=onset_s,
        onset_uncertainty_s=float(timed.uncertainty_s[i]),
        offset_s=float(max(offset_s, onset_s)),
        midi_number=note.midi_number,
        steady_midi=steady,
        steady_uncertainty_cents=uncertainty,
        level_db=peak_db,
        sounded_by=sounded_by,
        contour=contour,
    )


def _steady(contour: Contour) -> tuple[float, float]:
    """Median pitch of a contour (MIDI number) and its 95 % half width in cents.

    The standard error of a median is 1.2533 of that of the mean; neighbouring frames
    overlap and drift together, so about one in six is independent.
    """
    f0_hz = contour.f0_hz[~np.isnan(contour.f0_hz)]
    if not len(f0_hz):
        return np.nan, np.nan
    midi = 69 + 12 * np.log2(f0_hz / 440.0)
    # of so few values, `statistics` is several times faster than numpy
    centre = median(midi.tolist())
    spread_cents = 148.26 * median(np.abs(midi - centre).tolist())
    independent = max(len(midi) / 6, 1)
    error = 1.96 * 1.2533 * np.hypot(spread_cents, 0.3) / np.sqrt(independent)
    return centre, float(error)


def _how_sounded(
    sounding: list[_Sounding], onset_s: FloatArray, spectrum: Spectrum
) -> list[SoundedBy]:
    """Picked or slurred, each held against the notes written as picked."""
    step = np.array([s.is_step for s in sounding], np.bool_)
    written = [s.written.articulation if s.written else None for s in sounding]
    picked = np.array([w is Articulation.PICK for w in written], np.bool_) & ~step
    return tell(measure(spectrum, onset_s, step), picked)


# ------------------------------------------------------------------- tuning


def _instrument_tuning(passes: list[PerformedPass], estimate_cents: float) -> float:
    """Median offset of the right, unmoved notes; the first estimate below three."""
    off = [
        100 * (note.played.steady_midi - note.played.midi_number)
        for one in passes
        for note in one.notes
        if note.played is not None and note.verdict is Verdict.RIGHT
    ]
    off = [cents for cents in off if not np.isnan(cents)]
    return float(np.median(off)) if len(off) >= 3 else estimate_cents


def _mistuned_rather_than_moved(performance: Performance) -> Performance:
    """A take a semitone up and mistuned back down is plainly mistuned."""
    shift = performance.transposition
    tuning_cents = performance.tuning_cents + 100 * shift
    if shift == 0 or not is_mistuned(shift, performance.tuning_cents):
        return performance

    def lowered(note: PlayedNote) -> PlayedNote:
        return replace(note, midi_number=note.midi_number - shift)

    passes = tuple(
        replace(
            one,
            notes=tuple(
                replace(n, played=None if n.played is None else lowered(n.played))
                for n in one.notes
            ),
            extras=tuple(lowered(e) for e in one.extras),
        )
        for one in performance.passes
    )
    return Performance(passes, performance.best, tuning_cents, 0)
