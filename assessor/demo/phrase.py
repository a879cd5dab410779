"""A lick as strings that sound: who stops whom, and where each pitch moves.

Known limits: one finger releases a string as exactly as the next one stops it, and
every note is as loud as the next of its kind; the demo shows what is written.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from assessor.demo.string import (
    HAMMERED,
    MUTED,
    PICKED,
    PULLED,
    SLID,
    Segment,
    Strike,
)
from assessor.lick.notation import (
    Articulation,
    Bend,
    BendKind,
    Lick,
    LickNote,
    SlideEdge,
)
from assessor.tuning import FloatArray

LONGEST_RING_S = 4.0
STEP_S = 0.002  # of a path that moves

# How bends and slides are played, by ear.
BEND_START_S, BEND_RISE_S, BEND_SHARE = 0.03, 0.18, 0.35
RELEASE_AT, RELEASE_S = 0.5, 0.18  # share of the note; a released note rests at its end
VIBRATO_HZ = 5.5
VIBRATO_CENTS = 35.0  # upwards on a fret; about the target on a bend
VIBRATO_START_S, VIBRATO_GROW_S = 0.15, 0.15
GLIDE_S, GLIDE_SHARE = 0.09, 0.4  # a slide takes this long, or this share of the note
IN_FRETS, OUT_FRETS = 3, 5
OUT_S = 0.18

STRIKES = {
    Articulation.PICK: PICKED,
    Articulation.HAMMER_ON: HAMMERED,
    Articulation.PULL_OFF: PULLED,
    Articulation.SLIDE: SLID,
    Articulation.DEAD: MUTED,
}


@dataclass(frozen=True)
class Sounding:
    """One string from its strike until it is stopped.

    Attributes
    ----------
    start_s : float
        From the start of the lick.
    segments : tuple of Segment
    """

    start_s: float
    segments: tuple[Segment, ...]

    def moved(self, cents: float) -> tuple[Segment, ...]:
        """Its segments, so much higher."""
        by = np.array([0.0, cents / 100])
        return tuple(replace(one, path=one.path + by) for one in self.segments)


def soundings(lick: Lick) -> tuple[Sounding, ...]:
    """Every string that sounds in a lick, in order of its strike.

    A slurred note goes on with the string of the note before; one that follows from
    nowhere is struck by the fretting hand alone.
    """
    onsets_s, ends_s = lick.onsets_s(), lick.ends_s()
    out = []
    for chain in _chains(lick):
        last = chain[-1]
        stops_s = np.append(onsets_s[chain[1:]], ends_s[last])
        if lick.notes[last].let_ring:
            stops_s[-1] = _ring_end_s(lick, last, onsets_s)
        segments = tuple(
            _segment(lick, i, k > 0, float(stops_s[k] - onsets_s[i]))
            for k, i in enumerate(chain)
        )
        out.append(Sounding(float(onsets_s[chain[0]]), segments))
    return tuple(out)


def _chains(lick: Lick) -> list[list[int]]:
    """Notes that sound from one strike: a note and those slurred from it."""
    chains: list[list[int]] = []
    for i, note in enumerate(lick.notes):
        before = lick.notes[i - 1] if i else None
        follows = (
            before is not None
            and note.slurred
            and before.string == note.string
            and before.end_beats == note.onset_beats
            and before.articulation is not Articulation.DEAD
        )
        if follows:
            chains[-1].append(i)
        else:
            chains.append([i])
    return chains


def _ring_end_s(lick: Lick, index: int, onsets_s: FloatArray) -> float:
    """When a note that rings on is stopped: by the next one on its string."""
    string, longest_s = lick.notes[index].string, onsets_s[index] + LONGEST_RING_S
    after = range(index + 1, len(lick))
    same = (onsets_s[k] for k in after if lick.notes[k].string == string)
    return float(min(next(same, longest_s), longest_s))


def _segment(lick: Lick, index: int, joined: bool, length_s: float) -> Segment:
    """One note: its strike, and its pitch against time."""
    note = lick.notes[index]
    after = lick.notes[index + 1] if index + 1 < len(lick) else None
    written_s = min(
        length_s, lick.seconds(note.end_beats) - lick.seconds(note.onset_beats)
    )
    slid_to = None
    if after is not None and after.articulation is Articulation.SLIDE:
        adjoins = after.string == note.string and after.onset_beats == note.end_beats
        slid_to = after.midi_number if adjoins else None
    return Segment(
        length_s,
        _path(note, written_s, slid_to),
        _strike(note, joined),
        dead=note.articulation is Articulation.DEAD,
    )


def _strike(note: LickNote, joined: bool) -> Strike:
    """What sets the string going; a slide that starts nothing needs a stroke."""
    if note.articulation is Articulation.SLIDE and not joined:
        return HAMMERED
    return STRIKES[note.articulation]


def _path(note: LickNote, length_s: float, slid_to: int | None) -> FloatArray:
    """Pitch of a note against time, shape=(k, 2): seconds and MIDI number."""
    if not note.moves and slid_to is None:
        return np.array([[0.0, float(note.midi_number)]])
    at_s = np.arange(0.0, length_s + STEP_S, STEP_S)
    cents = np.zeros_like(at_s)
    if note.bend is not None:
        cents += _bend_cents(note.bend, at_s, length_s)
    if note.vibrato:
        cents += _vibrato_cents(note.bend, at_s, length_s)
    if note.slide_in is not None:
        frets = -min(IN_FRETS, note.fret)
        if note.slide_in is SlideEdge.FROM_ABOVE:
            frets = IN_FRETS
        took_s = min(GLIDE_S, GLIDE_SHARE * length_s)
        cents += 100 * (frets - _frets(at_s / took_s, frets))
    if slid_to is not None:
        took_s = min(GLIDE_S, GLIDE_SHARE * length_s)
        frets = slid_to - note.midi_number
        # the last step, onto the fret of the next note, is that note's onset
        going = (at_s - length_s + took_s) / took_s
        cents += 100 * _frets(going * (1 - 1 / (2 * max(abs(frets), 1))), frets)
    if note.slide_out is not None:
        up = note.slide_out is SlideEdge.UP
        frets = OUT_FRETS if up else -min(OUT_FRETS, note.fret)
        took_s = min(OUT_S, GLIDE_SHARE * length_s)
        cents += 100 * _frets((at_s - length_s + took_s) / took_s, frets)
    return np.stack([at_s, note.midi_number + cents / 100], axis=1)


def _bend_cents(bend: Bend, at_s: FloatArray, length_s: float) -> FloatArray:
    """Curve of a bend in cents above the fret, shape=(n,)."""
    start_s = min(BEND_START_S, 0.1 * length_s)
    rise_s = min(BEND_RISE_S, BEND_SHARE * length_s)
    cents = np.full_like(at_s, bend.target_cents)
    if bend.kind in (BendKind.BEND, BendKind.BEND_RELEASE):
        cents *= _rise((at_s - start_s) / rise_s)
    if bend.kind in (BendKind.BEND_RELEASE, BendKind.PREBEND_RELEASE):
        down_s = min(RELEASE_S, BEND_SHARE * length_s)
        cents *= 1 - _rise((at_s - RELEASE_AT * length_s) / down_s)
    return cents


def _vibrato_cents(bend: Bend | None, at_s: FloatArray, length_s: float) -> FloatArray:
    """Swing of a vibrato in cents, shape=(n,).

    Upwards from a fret, about the target of a bend; none while a bend is let down.
    """
    start_s = min(VIBRATO_START_S, 0.3 * length_s)
    middle_cents = 0.5 * VIBRATO_CENTS
    if bend is not None:
        start_s += min(BEND_RISE_S, BEND_SHARE * length_s)
        middle_cents = 0.0
    grown = np.clip((at_s - start_s) / VIBRATO_GROW_S, 0, 1)
    if bend is not None and bend.kind in (
        BendKind.BEND_RELEASE,
        BendKind.PREBEND_RELEASE,
    ):
        start_s = RELEASE_AT * length_s + RELEASE_S
        grown = np.clip((at_s - start_s) / VIBRATO_GROW_S, 0, 1)
        middle_cents = 0.5 * VIBRATO_CENTS
    swing = np.cos(2 * np.pi * VIBRATO_HZ * (at_s - start_s))
    return np.asarray(grown * (middle_cents - 0.5 * VIBRATO_CENTS * swing))


def _rise(progress: FloatArray) -> FloatArray:
    """From 0 to 1 along half a cosine, clipped outside."""
    return np.asarray(0.5 * (1 - np.cos(np.pi * np.clip(progress, 0, 1))))


def _frets(progress: FloatArray, frets: int) -> FloatArray:
    """From 0 to `frets`: the string is heard on each fret on the way."""
    steady = np.clip(progress, 0, 1)
    if frets == 0:
        return np.zeros_like(steady)
    stepped = np.round(steady * abs(frets)) / abs(frets)
    return frets * (0.8 * stepped + 0.2 * steady)
