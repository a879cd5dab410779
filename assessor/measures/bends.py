"""Pitch in cents: bends, vibrato, and plain notes pushed sharp.

Measured
--------
For each written bend, in cents above the fretted pitch:

- *peak*, and *settled* pitch: the median of the plateau.
- *reached*: the settled pitch, or the peak where it never stays up; this is judged
  against the written size.
- *overshoot*: peak minus settled pitch.
- *start*: the first pitch heard; its full size is asked of a pre-bend.
- *rise* and *release* (ms), from 10 to 90 % of the settled pitch and back; *hold* (ms)
  above 90 %.
- *end*: the last pitch heard; 0 is asked of a release.

For each written vibrato: *rate* (Hz), *depth* (cents, half the peak-to-peak swing) and
how much both vary from swing to swing.  There is no published norm for the guitar, so
vibrato is measured and not judged.

For each plain note: *intonation* (cents) of its steady part.

Conventions
-----------
+ sharp.  Everything is relative to the guitar's own tuning.  Only notes that are surely
right are read.

Known limits
------------
`measures.curves` tells what is left out of a contour.  A vibrato that grows is measured
where it is wide, so it looks a little steadier than it is.  A guitar that does not
play in tune along its neck shows as intonation of the player.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from assessor.alignment import Verdict
from assessor.lick.notation import Articulation, Bend, BendKind, Lick, LickNote
from assessor.measures import curves
from assessor.measures.curves import BendShape, Curve
from assessor.measures.tolerance import Judgement, Limit, Reading, Tolerance
from assessor.pitch import PerformedPass, PlayedNote

RELEASED = frozenset({BendKind.BEND_RELEASE, BendKind.PREBEND_RELEASE})
PREBENT = frozenset({BendKind.PREBEND, BendKind.PREBEND_RELEASE})
EDGE_S = 0.05  # the first and the last pitch are those of so long a stretch


@dataclass(frozen=True)
class BentNote:
    """One written bend as it was played; None = too short or not there to measure.

    Attributes
    ----------
    index : int
        0-based place in the lick.
    reached, peak : Reading
        In cents, the written size is their target.
    settled, overshoot, start, end : Reading or None
        In cents.
    rise, hold, release : Reading or None
        In ms.
    """

    index: int
    reached: Reading
    peak: Reading
    settled: Reading | None
    overshoot: Reading | None
    start: Reading
    end: Reading | None
    rise: Reading | None
    hold: Reading | None
    release: Reading | None


@dataclass(frozen=True)
class VibratoNote:
    """One written vibrato as it was played.

    Attributes
    ----------
    index : int
        0-based place in the lick.
    rate, depth : Reading or None
        In Hz and cents; None when the note does not swing.
    rate_spread, depth_spread : Reading or None
        Standard deviation from swing to swing; None below two swings.
    """

    index: int
    rate: Reading | None = None
    depth: Reading | None = None
    rate_spread: Reading | None = None
    depth_spread: Reading | None = None


@dataclass(frozen=True)
class PlainNote:
    """Intonation of one note without bend or vibrato, in cents, + sharp."""

    index: int
    intonation: Reading


@dataclass(frozen=True)
class Bends:
    """Everything about the pitch of one pass.

    Attributes
    ----------
    bent : tuple of BentNote
    vibrato : tuple of VibratoNote
    plain : tuple of PlainNote
    unread : tuple of int
        Right notes with a bend or vibrato whose contour is too short or too broken.
    bend_error, plain_error : Reading or None
        Mean distance from what was asked, in cents; None when there is no such note.
    """

    bent: tuple[BentNote, ...]
    vibrato: tuple[VibratoNote, ...]
    plain: tuple[PlainNote, ...]
    unread: tuple[int, ...]
    bend_error: Reading | None
    plain_error: Reading | None

    @property
    def sharp(self) -> tuple[PlainNote, ...]:
        """Plain notes pushed sharp, beyond the limit for sure."""
        return tuple(
            note
            for note in self.plain
            if note.intonation.judgement == Judgement.OUTSIDE
            and note.intonation.value > 0
        )


def measure(
    lick: Lick,
    performed: PerformedPass,
    tolerance: Tolerance,
    *,
    tuning_cents: float = 0.0,
) -> Bends:
    """Pitch of one pass through a lick.

    Parameters
    ----------
    lick : Lick
    performed : PerformedPass
    tolerance : Tolerance
    tuning_cents : float
        The instrument's offset from A4 = 440 Hz, + sharp.
    """
    bent, vibrato, plain, unread = [], [], [], []
    for note in performed.notes:
        written = lick.notes[note.index]
        if note.verdict != Verdict.RIGHT or note.played is None:
            continue
        if written.bend is None and not written.vibrato:
            limit = tolerance.limit("pitch")
            plain += _plain(written, note.index, note.played, tuning_cents, limit=limit)
            continue
        curve = curves.curve_of(note.played, tuning_cents)
        if curve is None:
            unread.append(note.index)
            continue
        swinging = curve
        if written.bend is not None:
            shape = curves.bend_shape(curve, swinging=written.vibrato)
            swinging = _held(written.bend, curve, shape)
            limit = tolerance.limit("bend")
            bent.append(_bent(note.index, written.bend, curve, shape, limit=limit))
        if written.vibrato:
            vibrato.append(_vibrato(note.index, curves.vibrato(swinging)))
    return Bends(
        tuple(bent),
        tuple(vibrato),
        tuple(plain),
        tuple(unread),
        bend_error=_mean_error([note.reached for note in bent]),
        plain_error=_mean_error([note.intonation for note in plain]),
    )


def _plain(
    written: LickNote,
    index: int,
    played: PlayedNote,
    tuning_cents: float,
    *,
    limit: Limit,
) -> list[PlainNote]:
    """Intonation of a plain note; none when it has no steady pitch."""
    if written.articulation == Articulation.DEAD or not np.isfinite(played.steady_midi):
        return []
    cents = 100 * (played.steady_midi - played.midi_number) - tuning_cents
    known = played.steady_uncertainty_cents
    return [PlainNote(index, Reading(cents, "cents", known, limit=limit))]


def _held(bend: Bend, curve: Curve, shape: BendShape) -> Curve:
    """Part of a bent curve in which a vibrato may lie: from where it is up."""
    if shape.plateau is None:
        return curve.part(curves.shoulder(curve))
    first, last = np.searchsorted(curve.since_s, shape.plateau.since_s[[0, -1]])
    return curve.part(int(first), int(last) + 1 if bend.kind in RELEASED else None)


def _bent(
    index: int, bend: Bend, curve: Curve, shape: BendShape, *, limit: Limit
) -> BentNote:
    asked = bend.target_cents
    peak = Reading(
        shape.peak_cents, "cents", shape.peak_uncertainty_cents, asked, limit
    )
    settled = overshoot = None
    if shape.plateau is not None:
        cents, known = shape.plateau.median()
        settled = Reading(cents, "cents", known, asked, limit)
        both = float(np.hypot(known, peak.uncertainty))
        overshoot = Reading(peak.value - cents, "cents", both)
    steps = round(EDGE_S / curves.STEP_S)
    first_cents, first_known = curve.part(0, steps).median()
    last_cents, last_known = curve.part(-steps).median()
    start = Reading(first_cents, "cents", first_known)
    if bend.kind in PREBENT:
        start = replace(start, target=asked, limit=limit)
    released = bend.kind in RELEASED
    return BentNote(
        index,
        reached=settled or peak,
        peak=peak,
        settled=settled,
        overshoot=overshoot,
        start=start,
        end=Reading(last_cents, "cents", last_known, 0.0, limit) if released else None,
        rise=_lasting(None if bend.kind in PREBENT else shape.rise_s),
        hold=_lasting(shape.hold_s),
        release=_lasting(shape.release_s if released else None),
    )


def _lasting(seconds: float | None) -> Reading | None:
    """Reading in ms of a stretch between two crossings known to a step each."""
    if seconds is None:
        return None
    return Reading(1000 * seconds, "ms", 1000 * curves.STEP_S)


def _vibrato(index: int, found: curves.Vibrato | None) -> VibratoNote:
    if found is None:
        return VibratoNote(index)
    rate_spread, depth_spread = found.rate_spread_hz, found.depth_spread_cents
    return VibratoNote(
        index,
        rate=Reading(found.rate_hz, "Hz", found.rate_uncertainty_hz),
        depth=Reading(found.depth_cents, "cents", found.depth_uncertainty_cents),
        rate_spread=None if rate_spread is None else Reading(rate_spread, "Hz"),
        depth_spread=None if depth_spread is None else Reading(depth_spread, "cents"),
    )


def _mean_error(readings: Sequence[Reading]) -> Reading | None:
    """Mean distance from the target; the uncertainties add as independent ones."""
    if not readings:
        return None
    distances = [abs(reading.deviation) for reading in readings]
    known = [reading.uncertainty for reading in readings]
    return Reading(
        float(np.mean(distances)),
        "cents",
        float(np.linalg.norm(known)) / len(known),
        limit=readings[0].limit,
    )
