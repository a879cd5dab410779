"""Exactly when a note begins: three clocks for three kinds of beginnings.

* `energy_rise`: something struck in silence or over a quiet tail;
* `hidden_rise`: something struck while another string rings on: what linear
  prediction from the sound before cannot explain;
* `period_change`: a slur, where one periodicity gives way to another.

All work on the fine sound and answer in seconds with a resolution of a sample.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from assessor.frames import FINE_RATE_HZ, Float32Array, padded
from assessor.spectrum import Spectrum
from assessor.tuning import FloatArray, midi_to_hz

ENERGY_WINDOW = int(0.003 * FINE_RATE_HZ)  # samples, causal
RISE_SHARE = 0.1  # -10 dB of the maximum that follows
SILENT_SHARE = 0.01  # -20 dB of it
SILENT_AGAIN = int(0.012 * FINE_RATE_HZ)  # samples below it; a period of E2
PREDICTOR_ORDERS = (
    64,
    128,
)  # samples: two for each partial of one ringing string, of a few
READINGS_AGREE_S = 0.002
PREDICTOR_LEARN_S = 0.05
ATTACK_SPANS_S = np.array(  # starts and ends: two after the attack, three before
    [[0.0, 0.01, -0.03, -0.025, -0.02], [0.03, 0.04, -0.01, -0.005, 0.0]]
)
PERIOD_SPAN_S = 0.045
PERIOD_SETTLED_S = 0.012  # by the end of the span the new period must have settled:
UNCLEAR_PERIOD = 0.08  # more misfit than this share of the energy is no clear period
PARTIALS = 8
PARTIAL_WINDOW = int(0.024 * FINE_RATE_HZ)  # samples, Hann
PARTIAL_BEFORE_S, PARTIAL_AFTER_S = 0.09, 0.06
PARTIAL_APART_HZ = 25.0  # from any partial of the old pitch
PARTIAL_TOP_HZ = 4500.0
PARTIAL_RISE_SHARE = 0.4  # reflections still add to it: less than half
PARTIAL_RISE = 1.5  # least ratio of after to before


def energy_rise(
    spectrum: Spectrum, around_s: float, limit_s: float
) -> tuple[float, float]:
    """Where the energy rises near a time, and by how much.

    Causal 3 ms energy; from its last minimum before the attack to the first moment
    within 10 dB of the maximum that follows (before `limit_s`).  A rise after which
    it is silent again before that maximum was something else: a pick laid on the
    string, the last note let go.

    Returns
    -------
    rise_s : float
    depth_db : float
        Maximum over minimum; 0 when there is too little sound to tell.
    """
    rate = FINE_RATE_HZ
    start = int((around_s - 0.03) * rate)  # before the take there was silence
    end = int(min(around_s + 0.15, limit_s - 0.01) * rate)
    end = min(max(end, start + int(0.05 * rate)), len(spectrum.fine))
    if end - start < int(0.01 * rate):
        return around_s, 0.0
    energy = _causal_energy(padded(spectrum.fine, start - ENERGY_WINDOW, end))
    quiet = int(energy[: int(0.042 * rate)].argmin())
    later, floor = energy[quiet:], energy[quiet]
    loudest = int(later.argmax())
    loud = later[loudest]
    above = later > floor + RISE_SHARE * (loud - floor)
    depth_db = 10 * np.log10((loud + 1e-15) / (floor + 1e-15))
    sounding = np.flatnonzero(later[: loudest + 1] > SILENT_SHARE * loud)
    silences = np.flatnonzero(np.diff(sounding) > SILENT_AGAIN)
    begin = int(sounding[silences[-1] + 1]) if len(silences) else 0
    rise = max(start + 1 + quiet + begin + int(np.argmax(above[begin:])), 0)
    return rise / rate, float(depth_db)


@dataclass(frozen=True)
class HiddenRise:
    """What the error of prediction says of a beginning under a ringing sound.

    Attributes
    ----------
    time_s : float
        Of four readings the middle two: their mean where they agree, else the later.
    spread_s : float
        How far the middle two are apart.
    strength_db : float
        Greatest error over the 95th percentile of the error while learning.
    """

    time_s: float
    spread_s: float
    strength_db: float


def hidden_rise(spectrum: Spectrum, start_s: float, end_s: float) -> HiddenRise | None:
    """Where something new begins between two times under a sound that rings on.

    Linear predictors learnt on the 50 ms before `start_s` (covariance method,
    Makhoul, Proc. IEEE 63, 1975, eq. 15) leave an error that rises when anything
    is struck.  A short and a long predictor each give two readings: the first moment
    the error is within 10 dB of its maximum and over its floor, and where it grows
    most against the 12 ms before.  A ringing sound that beats makes readings early,
    hardly ever late.  None at the edges of the sound.
    """
    rate, sound = FINE_RATE_HZ, spectrum.fine
    longest = max(PREDICTOR_ORDERS)
    learn = int((start_s - PREDICTOR_LEARN_S) * rate)
    start = int(start_s * rate)
    end = min(int((end_s + 0.01) * rate), len(sound))
    if learn < longest or end - start < int(0.02 * rate):
        return None
    part = sound[learn - longest : end].astype(np.float64)
    known = start - learn
    gram = _gram(part, known, longest)
    heard = known - ENERGY_WINDOW
    told = [
        _told(
            _causal_energy(_unpredicted(part[longest - order :], gram, order, known)),
            heard,
        )
        for order in PREDICTOR_ORDERS
    ]
    readings = np.sort([moment for first, jump, _ in told for moment in (first, jump)])
    # sample at the right edge of the first energy
    middle_s = (learn + ENERGY_WINDOW + readings[1:3]) / rate
    spread_s = float(middle_s[1] - middle_s[0])
    time_s = float(middle_s.mean() if spread_s < READINGS_AGREE_S else middle_s[1])
    return HiddenRise(time_s, spread_s, told[0][2])


def _told(energy: FloatArray, heard: int) -> tuple[int, int, float]:
    """First moment and greatest jump of an error after `heard`, and its dB."""
    floor = float(np.percentile(energy[:heard], 95)) + 1e-15
    later = energy[heard:]
    loud = float(later.max())
    first = int(np.argmax(later > max(RISE_SHARE * loud, 1.2 * floor)))
    strength_db = float(10 * np.log10(loud / floor + 1e-9))
    return heard + first, _greatest_jump(energy, heard), strength_db


def _unpredicted(
    part: FloatArray, gram: FloatArray, order: int, known: int
) -> FloatArray:
    """Error of a linear predictor learnt on the first `known` samples after `order`."""
    own = gram[-order:, -order:].copy()
    own[np.diag_indices(order)] += 1e-6 * own[0, 0] + 1e-12
    taught = part[: order + known]
    weights = np.linalg.solve(own, np.correlate(taught[:-1], taught[order:], "valid"))
    return part[order:] - np.convolve(part[:-1], weights[::-1], "valid")


def _gram(part: FloatArray, known: int, order: int) -> FloatArray:
    """Products of the `order` samples before each of `known` targets, summed.

    Shape=(order, order).  Neighbours on a diagonal differ by their two ends only
    (Makhoul, 1975), so only the first row is summed in full.
    """
    gram = np.zeros((order, order))
    gram[0] = np.correlate(part[: known + order - 1], part[:known], "valid")
    first, last = part[:order], part[known : known + order]
    for i in range(1, order):
        lost = first[i - 1] * first[i - 1 : -1]
        gram[i, i:] = gram[i - 1, i - 1 : -1] - lost + last[i - 1] * last[i - 1 : -1]
    return np.asarray(np.triu(gram) + np.triu(gram, 1).T)


def _greatest_jump(energy: FloatArray, heard: int) -> int:
    """Index after which an energy is highest against the maximum of before."""
    ahead, back = int(0.005 * FINE_RATE_HZ), int(0.012 * FINE_RATE_HZ)
    view = np.lib.stride_tricks.sliding_window_view
    floor = float(np.median(energy[: max(heard, 1)])) + 1e-15
    at = np.arange(max(back, heard - int(0.002 * FINE_RATE_HZ)), len(energy) - ahead)
    if not len(at):
        return heard
    after = view(energy[at[0] :], ahead)[: len(at)].mean(axis=1)
    before = _greatest_of(energy[at[0] - back :], back)[: len(at)]
    jump = int(at[np.argmax((after + floor) / (before + floor))])
    low = max(jump - back // 2, 0)
    around = energy[low : jump + ahead + ENERGY_WINDOW]
    quiet = around[: max(jump - low, 1)].min()
    above = around > quiet + RISE_SHARE * (around.max() - quiet)
    return low + int(np.argmax(above))


def _greatest_of(values: FloatArray, width: int) -> FloatArray:
    """Maxima of every `width` neighbours, by joining windows of twice the width."""
    reached = 1
    while reached < width:
        step = min(reached, width - reached)
        values = np.maximum(values[:-step], values[step:])
        reached += step
    return values


def loudness_jump_db(
    spectrum: Spectrum, time_s: float, limit_s: float, period_s: float
) -> float:
    """Loudest 3 ms after a time over the loudest in one period before it, dB.

    The energy of a low note rises and falls within each of its periods; a rise that
    is not louder than one period ago is no attack.
    """
    rate = FINE_RATE_HZ
    at = int(time_s * rate)
    low = max(at - int((period_s + 0.001) * rate) - ENERGY_WINDOW, 0)
    high = int(min(time_s + 0.04, limit_s - 0.005) * rate)
    energy = _causal_energy(spectrum.fine[low : max(high, at + ENERGY_WINDOW)])
    now = max(at - low - ENERGY_WINDOW, 1)
    before = energy[: max(now - int(0.0005 * rate), 1)].max(initial=0)
    after = energy[now:].max(initial=0)
    return float(10 * np.log10((after + 1e-15) / (before + 1e-15)))


def period_change(
    spectrum: Spectrum, around_s: float, old_midi: float, new_midi: float
) -> float | None:
    """Where the sound stops repeating with one period and starts with another.

    The maximum-likelihood change point between "repeats with the old period" and
    "repeats with the new one": the split of least summed squared difference
    x(t) - x(t - period) (the difference function of de Cheveigné & Kawahara, J.
    Acoust. Soc. Am. 111, 2002, eq. 6), each period free by ± 10 cents.

    Parameters
    ----------
    old_midi, new_midi : float
        MIDI numbers as sounding, tuning included.

    Returns
    -------
    float or None
        Seconds; None at the edges of the sound, and where a room keeps the old period
        going so that the new one is never clear.
    """
    rate, sound = FINE_RATE_HZ, spectrum.fine
    old, new = rate / midi_to_hz(old_midi), rate / midi_to_hz(new_midi)
    lead = int(np.ceil(1.006 * max(old, new))) + 2
    start = int((around_s - PERIOD_SPAN_S) * rate)
    end = int((around_s + PERIOD_SPAN_S) * rate)
    if start < lead or end + lead >= len(sound):
        return None
    part = sound[start - lead : end + lead]
    edge = int(0.03 * rate)
    misfit_old = _misfit(part, lead, old, slice(0, edge))
    misfit_new = _misfit(part, lead, new, slice(-edge, None))
    settled = int(PERIOD_SETTLED_S * rate)
    energy = np.square(part[-settled:], dtype=np.float64).sum()
    if misfit_new[-settled:].sum() > UNCLEAR_PERIOD * energy:
        return None
    count = end - start
    before = np.cumsum(misfit_old[:count])
    after = np.cumsum(misfit_new[::-1])[::-1]
    split = np.arange(count)
    # a new period can first be seen one period after it began
    cost = before + after[np.minimum(split + round(new), len(after) - 1)]
    return (start + int(cost.argmin())) / rate


def partial_rise(
    spectrum: Spectrum,
    around_s: float,
    between_s: tuple[float, float],
    old_midi: float,
    new_midi: float,
) -> float | None:
    """Where the partials of a new pitch come up through the old one that still sounds.

    The summed magnitude of those partials that the old pitch does not share, each
    demodulated with a 24 ms window: from its minimum to 40 % of the way to the maximum
    that follows.

    Parameters
    ----------
    between_s : (float, float)
        Not before and not after.
    old_midi, new_midi : float
        MIDI numbers as sounding, tuning included.

    Returns
    -------
    float or None
        Seconds; None at the edges of the sound, where all partials are shared, or
        where they hardly rise.
    """
    rate, sound = FINE_RATE_HZ, spectrum.fine
    partial_hz = midi_to_hz(new_midi) * np.arange(1, PARTIALS + 1)
    order = np.maximum(np.round(partial_hz / midi_to_hz(old_midi)), 1)
    away_hz = np.abs(partial_hz - order * midi_to_hz(old_midi))
    own = (away_hz > PARTIAL_APART_HZ) & (partial_hz < PARTIAL_TOP_HZ)
    first_s = max(around_s - PARTIAL_BEFORE_S, between_s[0])
    last_s = min(around_s + PARTIAL_AFTER_S, between_s[1])
    start = int(first_s * rate) - PARTIAL_WINDOW // 2
    end = int(last_s * rate) + PARTIAL_WINDOW // 2
    inside = start >= 0 and end <= len(sound) and end - start > 2 * PARTIAL_WINDOW
    if not own.any() or not inside:
        return None
    turns = np.outer(partial_hz[own], np.arange(end - start) / rate)
    still = sound[start:end] * np.exp(-2j * np.pi * turns)
    window = np.hanning(PARTIAL_WINDOW)
    level = np.sum([np.abs(np.convolve(row, window, "valid")) for row in still], axis=0)
    loudest = int(level.argmax())
    quietest = int(level[: loudest + 1].argmin())
    low, high = level[quietest], level[loudest]
    if high < PARTIAL_RISE * low:
        return None
    above = level[quietest : loudest + 1] >= low + PARTIAL_RISE_SHARE * (high - low)
    return (start + PARTIAL_WINDOW // 2 + quietest + int(np.argmax(above))) / rate


def attack_db(spectrum: Spectrum, time_s: float) -> float:
    """Energy of the 30 ms after a time over the least of the 30 ms before, dB."""
    return float(attacks_db(spectrum, np.array([time_s]))[0])


def attacks_db(spectrum: Spectrum, times_s: FloatArray) -> FloatArray:
    """`attack_db` of many times, shape=(n,)."""
    start_s, end_s = ATTACK_SPANS_S[:, :, None]
    power = spectrum.power(times_s + start_s, times_s + end_s)
    after, before = power[:2].max(axis=0), power[2:].min(axis=0)
    return 10 * np.log10((after + 1e-12) / (before + 1e-12))


def _causal_energy(sound: npt.NDArray[np.floating]) -> FloatArray:
    """Energy of the `ENERGY_WINDOW` samples up to each sample past the first ones."""
    total = np.concatenate([[0.0], np.cumsum(np.square(sound, dtype=np.float64))])
    return total[ENERGY_WINDOW:] - total[:-ENERGY_WINDOW]


def _misfit(part: Float32Array, lead: int, period: float, where: slice) -> FloatArray:
    """Squared difference to one period before, for the best of three periods."""
    now = part[lead:]
    best: FloatArray | None = None
    for stretch in (0.994, 1.0, 1.006):
        whole, share = divmod(period * stretch, 1)
        near = part[lead - int(whole) : len(part) - int(whole)]
        far = part[lead - int(whole) - 1 : len(part) - int(whole) - 1]
        misfit = np.square(now - (1 - share) * near - share * far, dtype=np.float64)
        if best is None or misfit[where].sum() < best[where].sum():
            best = misfit
    assert best is not None
    return best
