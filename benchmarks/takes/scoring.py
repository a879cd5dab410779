"""Hold what was found in a take against its truth.

What is measured: for each take the written notes found wrong or missed and the
extra notes, against those injected; onset, pitch, bend, vibrato and slur readings
against the times and curves the take was made with.

Conventions: a result is the dictionary of the program's result file; its pass
with the most notes found counts.  Errors are found minus true: + late, + sharp.
Onset errors are taken about each take's own median, since a steady lag of the
whole take is no error of timing.  Cents are judged without the tuning, which the
truth states.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from assessor.tuning import FloatArray

EXTRA_TOLERANCE_S = 0.08
CRISP_ATTACK_MS = 6.0  # from -20 to -6 dB of the attack's peak
STEADY_HEAD_S, STEADY_TAIL_S = 0.05, 0.02
LARGEST_SPREAD_CENTS = 8.0  # notes whose partials disagree more have no one pitch
GROSS_CENTS = 60.0  # beyond, a reading is of another note
FAULTS = ("wrong", "missed", "extra")

Truth = dict[str, Any]
Result = dict[str, Any]
Counts = tuple[int, int, int]  # true positives, false positives, false negatives


@dataclass
class TakeScore:
    """One take's errors.

    Attributes
    ----------
    counts : dict of (int, int, int)
        True positives, false positives, false negatives of each fault.
    written, unsure : int
        Notes of the lick, and those the program was unsure of.
    faultless : bool
        Nothing wrong was played.
    bias_ms : float
        Median onset error.
    onset_ms, crisp_ms : list of float
        Onset errors about the median: of all notes, of those with a sharp attack.
    onsets_found, onsets_played : int
    pitch_cents : list of float
    bends : list of (float, float) or None
        Errors of peak and settled pitch; None where no bend was reported.
    vibratos : list of (float, float) or None
        Errors of rate (Hz) and depth (cents).
    slurs_found, slurs_played : int
        Intervals inside slurred groups.
    slur_ms : list of float
        Errors of their inter-onset intervals.
    """

    counts: dict[str, Counts]
    written: int
    unsure: int
    faultless: bool
    bias_ms: float = float("nan")
    onset_ms: list[float] = field(default_factory=list)
    crisp_ms: list[float] = field(default_factory=list)
    onsets_found: int = 0
    onsets_played: int = 0
    pitch_cents: list[float] = field(default_factory=list)
    bends: list[tuple[float, float] | None] = field(default_factory=list)
    vibratos: list[tuple[float, float] | None] = field(default_factory=list)
    slurs_found: int = 0
    slurs_played: int = 0
    slur_ms: list[float] = field(default_factory=list)


def score(truth: Truth, calibration: dict[str, Any], result: Result) -> TakeScore:
    """Score one take.

    Parameters
    ----------
    truth : dict
        The take's truth file.
    calibration : dict
        The folder's ``calibration.json``.
    result : dict
        The program's result; without passes, every note counts as missed.
    """
    run = _best_pass(result)
    found = {note["index"]: note for note in run["notes"]}
    out = TakeScore(
        counts=_counts(truth, found, run.get("extra", [])),
        written=len(truth["expected"]),
        unsure=sum(note["verdict"] == "unsure" for note in found.values()),
        faultless=not any(truth["injected"][fault] for fault in FAULTS),
    )
    onsets_s = {
        index: note["onset_s"]
        for index, note in found.items()
        if note.get("onset_s") is not None
    }
    _score_onsets(out, truth, onsets_s)
    _score_slurs(out, truth, onsets_s)
    tuning_cents = result.get("tuning_cents") or 0.0
    tuned = truth.get("tuning_cents", 0.0)
    for note in truth["performed"]:
        reading = found.get(note["expected_index"], {})
        error = pitch_error(note, reading, calibration)
        if error is not None and abs(error - tuned) < GROSS_CENTS:
            out.pitch_cents.append(error - tuned)
        if "bend_target_cents" in note:
            peak, plateau = _true_bend(calibration, note)
            true = (peak + tuned, plateau + tuned)
            out.bends.append(_bend_errors(reading.get("bend"), true, tuning_cents))
        if "vibrato_rate_hz" in note:
            out.vibratos.append(_vibrato_errors(reading.get("vibrato"), note))
    return out


def _best_pass(result: Result) -> dict[str, Any]:
    """Return the pass with the most notes found."""

    def notes_found(run: dict[str, Any]) -> int:
        return sum(n["verdict"] in ("right", "wrong") for n in run["notes"])

    nothing: dict[str, Any] = {"notes": [], "extra": []}
    return max(result.get("passes") or [nothing], key=notes_found)


def _counts(
    truth: Truth, found: dict[int, dict[str, Any]], extras: Sequence[dict[str, Any]]
) -> dict[str, Counts]:
    """Count right and false reports of each fault."""
    injected = truth["injected"]
    played = {w["expected_index"]: w["played_midi"] for w in injected["wrong"]}
    reported = {i: n for i, n in found.items() if n["verdict"] == "wrong"}
    hits = sum(
        i in played
        and (n["midi_number"] is None or abs(n["midi_number"] - played[i]) <= 0.5)
        for i, n in reported.items()
    )
    gone = {m["expected_index"] for m in injected["missed"]}
    absent = {
        i
        for i in range(len(truth["expected"]))
        if i not in found or found[i]["verdict"] == "missed"
    }
    extra_hits = _matched_extras(
        [x["time_s"] for x in injected["extra"]], [x["onset_s"] for x in extras]
    )
    return {
        "wrong": (hits, len(reported) - hits, len(played) - hits),
        "missed": (len(absent & gone), len(absent - gone), len(gone - absent)),
        "extra": (
            extra_hits,
            len(extras) - extra_hits,
            len(injected["extra"]) - extra_hits,
        ),
    }


def _matched_extras(true_s: Iterable[float], found_s: Iterable[float]) -> int:
    """Match each extra note to the nearest report within the tolerance."""
    free, hits = sorted(found_s), 0
    for time_s in true_s:
        near = [t for t in free if abs(t - time_s) <= EXTRA_TOLERANCE_S]
        if near:
            free.remove(min(near, key=lambda t: abs(t - time_s)))
            hits += 1
    return hits


def _is_crisp(note: dict[str, Any]) -> bool:
    """Tell whether the attack is sharp; a pitch jump is."""
    if "attack_window_ms" not in note:
        return True
    start_ms, end_ms = note["attack_window_ms"]
    return bool(end_ms - start_ms <= CRISP_ATTACK_MS)


def _score_onsets(out: TakeScore, truth: Truth, onsets_s: dict[int, float]) -> None:
    """Compare onsets of the written notes that were played."""
    played = [n for n in truth["performed"] if n["expected_index"] is not None]
    known = [n for n in played if n["expected_index"] in onsets_s]
    out.onsets_played, out.onsets_found = len(played), len(known)
    if not known:
        return
    error_ms = 1000 * np.array(
        [onsets_s[n["expected_index"]] - n["onset_s"] for n in known]
    )
    out.bias_ms = float(np.median(error_ms))
    error_ms -= out.bias_ms
    out.onset_ms = error_ms.tolist()
    out.crisp_ms = error_ms[[_is_crisp(n) for n in known]].tolist()


def _score_slurs(out: TakeScore, truth: Truth, onsets_s: dict[int, float]) -> None:
    """Compare inter-onset intervals inside slurred groups."""
    groups: dict[int, list[dict[str, Any]]] = {}
    for note in truth["performed"]:
        if "legato_group" in note:
            groups.setdefault(note["legato_group"], []).append(note)
    for notes in groups.values():
        for before, after in itertools.pairwise(notes):
            out.slurs_played += 1
            first, second = before["expected_index"], after["expected_index"]
            if first in onsets_s and second in onsets_s:
                out.slurs_found += 1
                ioi_s = onsets_s[second] - onsets_s[first]
                true_s = after["onset_s"] - before["onset_s"]
                out.slur_ms.append(1000 * (ioi_s - true_s))


def true_cents(
    note: dict[str, Any], calibration: dict[str, Any], times_s: FloatArray
) -> FloatArray:
    """Sounding pitch of a played note, tuning left out, 6900 = A4."""
    since_s = times_s - note["curve_origin_s"]
    cents = np.full(len(times_s), 100.0 * note["midi"])
    curve = calibration["notes"].get(note["sample_key"])
    if curve is not None:
        cents += np.interp(since_s, calibration["t_s"], curve["cents"])
    if "pitch_curve" in note:
        moved = np.array(note["pitch_curve"])
        cents += np.interp(since_s, moved[:, 0], moved[:, 1])
    return cents


def pitch_error(
    note: dict[str, Any], reading: dict[str, Any], calibration: dict[str, Any]
) -> float | None:
    """Error of a plain note's pitch with the tuning in, in cents; None = unfit."""
    plain = note["articulation"] in ("pick", "hammer_on", "pull_off")
    midi_number = reading.get("midi_number")
    sample = calibration["notes"].get(note["sample_key"]) or {}
    clear = (sample.get("partial_spread_cents") or 0.0) <= LARGEST_SPREAD_CENTS
    if not plain or midi_number is None or not clear:
        return None
    end_s = min(note["offset_s"], note["audible_until_s"]) - STEADY_TAIL_S
    times_s = np.arange(note["onset_s"] + STEADY_HEAD_S, end_s, 0.005)
    if len(times_s) < 5:
        return None
    true = float(np.median(true_cents(note, calibration, times_s)))
    return 100.0 * float(midi_number) - true


def _true_bend(
    calibration: dict[str, Any], note: dict[str, Any]
) -> tuple[float, float]:
    """Peak and plateau above the fretted pitch, in cents."""
    times_s = np.arange(note["onset_s"] + 0.02, note["offset_s"] - 0.015, 0.002)
    above = true_cents(note, calibration, times_s) - 100.0 * note["midi"]
    start_s, end_s = (note["curve_origin_s"] + s for s in note["plateau_rel_s"])
    plateau = above[(times_s >= start_s) & (times_s <= end_s)]
    peak = float(above.max())
    return peak, float(np.median(plateau)) if len(plateau) else peak


def _bend_errors(
    reading: dict[str, Any] | None, true: tuple[float, float], tuning_cents: float
) -> tuple[float, float] | None:
    """Errors of peak and settled pitch; None where no bend was reported."""
    if not reading or reading.get("peak_cents") is None:
        return None
    settled = reading.get("settled_cents")
    peak_error = float(reading["peak_cents"] + tuning_cents - true[0])
    if settled is None:
        return peak_error, float("nan")
    return peak_error, float(settled + tuning_cents - true[1])


def _vibrato_errors(
    reading: dict[str, Any] | None, note: dict[str, Any]
) -> tuple[float, float] | None:
    """Errors of rate and depth; None where no vibrato was reported."""
    if not reading:
        return None
    return (
        float(reading["rate_hz"] - note["vibrato_rate_hz"]),
        float(reading["depth_cents"] - note["vibrato_depth_cents"]),
    )


def f_measure(counts: Counts) -> float:
    """F1 of true positives, false positives and false negatives.

    >>> f_measure((8, 2, 2))
    0.8
    """
    hits, false, lost = counts
    return 2 * hits / (2 * hits + false + lost) if any(counts) else float("nan")


def _share(part: int, whole: int) -> float:
    return part / whole if whole else float("nan")


def _mean_size(errors: Sequence[float]) -> float:
    return float(np.mean(np.abs(errors))) if len(errors) else float("nan")


def _size(errors: Sequence[float], percentile: float) -> float:
    known = [abs(e) for e in errors if np.isfinite(e)]
    return float(np.percentile(known, percentile)) if known else float("nan")


def total(scores: Sequence[TakeScore]) -> dict[str, float]:
    """Sum up takes; NaN where there is nothing to measure."""
    faulty = any(not s.faultless for s in scores)
    out: dict[str, float] = {"takes": len(scores)}
    for fault in FAULTS:
        summed = np.sum([s.counts[fault] for s in scores], axis=0).tolist()
        out[f"{fault}_f1"] = f_measure(tuple(summed)) if faulty else float("nan")
    clean = [s for s in scores if s.faultless]
    false = sum(s.counts[fault][1] for s in clean for fault in FAULTS)
    out["false_per_100"] = 100 * _share(false, sum(s.written for s in clean))
    unsure, written = (
        sum(getattr(s, k) for s in scores) for k in ("unsure", "written")
    )
    out["unsure_per_100"] = 100 * _share(unsure, written)
    onset_ms = [e for s in scores for e in s.onset_ms]
    out["onsets_found"] = _share(
        sum(s.onsets_found for s in scores), sum(s.onsets_played for s in scores)
    )
    out["onset_mae_ms"] = _mean_size(onset_ms)
    out["onset_crisp_mae_ms"] = _mean_size([e for s in scores for e in s.crisp_ms])
    out["onset_p95_ms"] = _size(onset_ms, 95)
    biases = [s.bias_ms for s in scores if np.isfinite(s.bias_ms)]
    out["onset_bias_ms"] = float(np.median(biases)) if biases else float("nan")
    return out | _total_pitch(scores)


def _total_pitch(scores: Sequence[TakeScore]) -> dict[str, float]:
    """Sum up pitch, bends, vibrato and slurs."""
    pitch = [e for s in scores for e in s.pitch_cents]
    bends = [b for s in scores for b in s.bends]
    bent = [b for b in bends if b is not None]
    vibratos = [v for s in scores for v in s.vibratos]
    swung = [v for v in vibratos if v is not None]
    slurs = sum(s.slurs_played for s in scores)
    return {
        "pitch_median_cents": _size(pitch, 50),
        "pitch_p95_cents": _size(pitch, 95),
        "bends_found": _share(len(bent), len(bends)),
        "bend_peak_median_cents": _size([b[0] for b in bent], 50),
        "bend_peak_p95_cents": _size([b[0] for b in bent], 95),
        "bend_settled_median_cents": _size([b[1] for b in bent], 50),
        "vibratos_found": _share(len(swung), len(vibratos)),
        "vibrato_rate_median_hz": _size([v[0] for v in swung], 50),
        "vibrato_depth_median_cents": _size([v[1] for v in swung], 50),
        "slurs_found": _share(sum(s.slurs_found for s in scores), slurs),
        "slur_ioi_mae_ms": _mean_size([e for s in scores for e in s.slur_ms]),
    }
