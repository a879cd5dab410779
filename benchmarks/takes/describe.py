"""What is right and wrong in a take, in words, from its truth."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from typing import Any

import numpy as np

from assessor.lick.notation import Lick
from assessor.tuning import note_name

Truth = dict[str, Any]


def place(lick: Lick, index: int) -> str:
    """Say where a note stands, as a player would find it."""
    note = lick.notes[index]
    bar_beats = lick.meter.bar_beats
    since = note.onset_beats - lick.pickup_beats
    bar, within = divmod(since, bar_beats)
    first = 0 if lick.pickup_beats else 1
    if since < 0:  # in the pickup, whose beats count up to the bar line
        bar, within = -1, bar_beats - lick.pickup_beats + note.onset_beats
    beat = f"{float(within * lick.meter.unit / 4) + 1:.2f}".rstrip("0").rstrip(".")
    where = "pickup" if since < 0 else f"bar {int(bar) + max(first, 1)}"
    return (
        f"note {index + 1} ({where}, beat {beat}, string {note.string} "
        f"fret {note.fret}, {note_name(note.midi_number)})"
    )


def describe(lick: Lick, truth: Truth, moved_semitones: int) -> list[str]:
    """List what was played otherwise than written, one line each.

    Parameters
    ----------
    lick : Lick
    truth : dict
        Of a take of it.
    moved_semitones : int
        The whole take is that much higher than the lick.

    Returns
    -------
    list of str
        Faults first, then readings; never empty.
    """
    lines = _faults(lick, truth)
    if moved_semitones:
        lines.append(f"Every note is {moved_semitones} frets higher than written.")
    if truth["tuning_cents"]:
        lines.append(
            f"The guitar is tuned {truth['tuning_cents']:+g} cents from 440 Hz."
        )
    lines += _passes(lick, truth)
    lines += _timing(lick, truth)
    lines += _slurs(lick, truth)
    for note in truth["performed"]:
        if "bend_target_cents" in note:
            lines.append(_bend(lick, note))
        if "vibrato_rate_hz" in note:
            rate, depth = note["vibrato_rate_hz"], note["vibrato_depth_cents"]
            where = place(lick, note["expected_index"])
            lines.append(f"{where}: vibrato of {rate:.1f} Hz, ±{depth:.0f} cents.")
    return [line[0].upper() + line[1:] for line in lines]


def _order(fault: dict[str, Any]) -> int:
    """Place of a fault in the lick."""
    return int(fault.get("expected_index", fault.get("after_expected_index", 0)))


def _faults(lick: Lick, truth: Truth) -> list[str]:
    """Name every wrong, missed and extra note."""
    injected = {
        fault: sorted(notes, key=_order) for fault, notes in truth["injected"].items()
    }
    lines = [
        f"{place(lick, w['expected_index'])}: wrong, {note_name(w['played_midi'])} "
        f"played instead ({w['semitones']:+d} frets)."
        for w in injected["wrong"]
    ]
    lines += [
        f"{place(lick, m['expected_index'])}: missed." for m in injected["missed"]
    ]
    lines += [
        f"After {place(lick, x['after_expected_index'])}: an extra "
        f"{note_name(x['played_midi'])} at {x['time_s']:.2f} s."
        for x in injected["extra"]
    ]
    return lines or ["No wrong, missed or extra note."]


def _passes(lick: Lick, truth: Truth) -> list[str]:
    """Say how far each pass gets."""
    lines = []
    for k, run in enumerate(truth.get("passes", []), start=1):
        notes = run["performed"]
        start_s, reached = notes[0]["onset_s"], notes[-1]["expected_index"] + 1
        whole = "complete" if run["complete"] else f"breaks off after note {reached}"
        wrong = [
            f"{place(lick, n['expected_index'])} is {note_name(n['midi'])}"
            for n in notes
            if n["midi"] != lick.notes[n["expected_index"]].midi_number
        ]
        faults = "; wrong: " + ", ".join(wrong) if wrong else ""
        lines.append(f"Pass {k} starts at {start_s:.2f} s: {whole}{faults}.")
    return lines


def _timing(lick: Lick, truth: Truth) -> list[str]:
    """Give the tempo, its change, and the spread of the onsets about it."""
    played = [n for n in truth["performed"] if n["expected_index"] is not None]
    written_s = lick.onsets_s()[[n["expected_index"] for n in played]]
    onsets_s = np.array([n["onset_s"] for n in played])
    steady = np.polyfit(written_s, onsets_s, 1)
    bent = np.polyfit(written_s, onsets_s, 2)
    spread_ms = 1000 * float(np.std(onsets_s - np.polyval(bent, written_s)))
    slopes = np.polyval(np.polyder(bent), written_s[[0, -1]])
    first_bpm, last_bpm = lick.tempo_bpm / slopes
    lag_ms = 1000 * float((onsets_s - onsets_s[0] - written_s + written_s[0])[-1])
    lines = [
        f"Tempo {lick.tempo_bpm / steady[0]:.1f} beats a minute "
        f"({lick.tempo_bpm:g} written); onsets spread {spread_ms:.1f} ms about it."
    ]
    if abs(last_bpm / first_bpm - 1) > 0.03:
        lines.append(
            f"The tempo goes from {first_bpm:.1f} to {last_bpm:.1f}; the last note "
            f"comes {lag_ms:+.0f} ms against the written tempo."
        )
    if "click_start_s" in truth:
        late_ms = 1000 * float(np.mean(onsets_s - written_s - truth["click_start_s"]))
        lines.append(
            f"Meant for a click whose first beat is at 0 s, the lick starting at "
            f"{truth['click_start_s']:.3f} s: {late_ms:+.0f} ms on average."
        )
    return lines


def _slurs(lick: Lick, truth: Truth) -> list[str]:
    """Give the inter-onset intervals inside each slurred group."""
    groups: dict[int, list[dict[str, Any]]] = {}
    for note in truth["performed"]:
        if "legato_group" in note:
            groups.setdefault(note["legato_group"], []).append(note)
    return [_slurred_group(lick, notes) for notes in groups.values()]


def _slurred_group(lick: Lick, notes: Sequence[dict[str, Any]]) -> str:
    """Give one group's intervals, played against written."""
    onsets_s = lick.onsets_s()
    pairs = []
    for before, after in itertools.pairwise(notes):
        written_s = (
            onsets_s[after["expected_index"]] - onsets_s[before["expected_index"]]
        )
        played_s = after["onset_s"] - before["onset_s"]
        pairs.append(f"{1000 * played_s:.0f} ms for {1000 * written_s:.0f}")
    return (
        f"Slurred from {place(lick, notes[0]['expected_index'])}: {', '.join(pairs)}."
    )


def _bend(lick: Lick, note: dict[str, Any]) -> str:
    """Give a bend's plateau against its target."""
    target, reached = note["bend_target_cents"], note["bend_plateau_cents"]
    return (
        f"{place(lick, note['expected_index'])}: bent to {reached:.0f} cents, "
        f"{target:.0f} written ({reached - target:+.0f})."
    )
