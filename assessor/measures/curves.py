"""What a pitch contour does: plateau, rise and release of a bend; vibrato.

Arrays and numbers only; knows no lick.  A *curve* is cents above the fretted pitch
against seconds since the onset, one value each 10 ms.

Known limits
------------
Pitch tracks are noisy while a note speaks and where it ends: the first 30 ms and the
last 30 ms are left out.  Neighbouring values share most of the sound they were
measured on, so uncertainties count only one value in four.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from assessor.measures.robust import median_uncertainty, robust_sd
from assessor.pitch import PlayedNote
from assessor.tuning import FloatArray, hz_to_midi

HEAD_S = 0.03
TAIL_S = 0.03  # half the window of a contour, and some
STEP_S = 0.01
LONGEST_GAP_STEPS = 4  # unvoiced values in a row that are bridged
SHARED_STEPS = 4  # values in a row measured on the same sound (a 46 ms window)
# A value this far from the median of five is no pitch of a string: the fastest bend
# moves some 50 cents in 10 ms, and a median follows it.
STRAY_CENTS = 40.0
SHORTEST_STEPS = 6
# Middle of the parabola through seven values (Savitzky & Golay 1964, Anal. Chem.
# 36:1627-1639, table I); it keeps a third of the variance of the noise.
SMOOTH = np.array([-2, 3, 6, 7, 6, 3, -2]) / 21
KEPT_VARIANCE = 1 / 3
HELD_SMOOTH = np.array([1, 2, 1]) / 4
# Nothing is known better than this: 95 % of the errors on bends and vibrato of
# recorded guitar notes whose pitch was moved by a known curve.
LEAST_MEDIAN_UNCERTAINTY_CENTS = 0.4


@dataclass(frozen=True)
class Curve:
    """A contour ready to be measured.

    Attributes
    ----------
    since_s : shape=(n,)
        Evenly spaced by 10 ms.
    cents : shape=(n,)
        Above the fretted pitch, the instrument's tuning taken out; no NaN.
    """

    since_s: FloatArray
    cents: FloatArray

    def __len__(self) -> int:
        """Count the values."""
        return len(self.cents)

    def part(self, first: int, end: int | None = None) -> Curve:
        """Values `first` to `end`, `end` excluded."""
        return Curve(self.since_s[first:end], self.cents[first:end])

    def smooth(self) -> FloatArray:
        """Local parabolas through seven values; ends as they are."""
        out = self.cents.copy()
        if len(self) >= len(SMOOTH):
            out[3:-3] = np.convolve(self.cents, SMOOTH, "valid")
        return out

    def noise_cents(self) -> float:
        """Standard deviation of the values around local parabolas."""
        left = robust_sd(self.cents - self.smooth()) / np.sqrt(1 - KEPT_VARIANCE)
        # the smoothed curve follows half of a noise that neighbours share
        return float(left * np.sqrt(SHARED_STEPS))

    def median(self) -> tuple[float, float]:
        """Median and its uncertainty."""
        count = max(len(self) // SHARED_STEPS, 1)
        known = median_uncertainty(robust_sd(self.cents), count)
        least = LEAST_MEDIAN_UNCERTAINTY_CENTS
        return float(np.median(self.cents)), max(known, least)


def curve_of(played: PlayedNote, tuning_cents: float) -> Curve | None:
    """Trim, clean and bridge a contour; None when too little of it is voiced.

    The longest stretch without a gap of more than 40 ms is kept.
    """
    contour = played.contour
    inside = (contour.times_s >= played.onset_s + HEAD_S) & (
        contour.times_s <= played.offset_s - TAIL_S
    )
    times_s = contour.times_s[inside]
    above = hz_to_midi(contour.f0_hz[inside]) - played.midi_number
    cents = _without_strays(100 * above - tuning_cents)
    voiced = np.flatnonzero(np.isfinite(cents))
    if len(voiced) < SHORTEST_STEPS:
        return None
    runs = np.split(voiced, np.flatnonzero(np.diff(voiced) > LONGEST_GAP_STEPS) + 1)
    run = max(runs, key=len)
    if len(run) < SHORTEST_STEPS:
        return None
    steps = np.arange(run[0], run[-1] + 1)
    return Curve(times_s[steps] - played.onset_s, np.interp(steps, run, cents[run]))


def _without_strays(cents: FloatArray) -> FloatArray:
    """Drop values far from the median of the five around them."""
    if not len(cents):
        return cents
    padded = np.pad(cents, 2, constant_values=np.nan)
    # sorted, the voiced values of each five come first: their middle one
    around = np.sort(np.lib.stride_tricks.sliding_window_view(padded, 5), axis=1)
    voiced = np.isfinite(around).sum(axis=1)
    middle = around[np.arange(len(cents)), np.maximum(voiced - 1, 0) // 2]
    return np.where(np.abs(cents - middle) <= STRAY_CENTS, cents, np.nan)


# --- bends

NO_BEND_CENTS = 5.0  # a rise of less is no bend
LEAST_PEAK_UNCERTAINTY_CENTS = 1.5
SHOULDER = 0.6  # of the peak: surely inside the bent part
SETTLED = 0.93  # of the bent part's median: where the plateau starts and ends
EDGE_STEPS = 2  # at each end of the plateau the curve still turns
RISE_FROM, RISE_TO = 0.1, 0.9  # the usual definition of a rise time (IEC 60050-702)


@dataclass(frozen=True)
class BendShape:
    """The parts of a bent curve.

    Attributes
    ----------
    peak_cents, peak_uncertainty_cents : float
    plateau : Curve or None
        None when it never stays up.
    rise_s, release_s : float or None
        From 10 to 90 % of the settled pitch, and back.
    hold_s : float or None
        How long it stays above 90 %.
    """

    peak_cents: float
    peak_uncertainty_cents: float
    plateau: Curve | None
    rise_s: float | None
    hold_s: float | None
    release_s: float | None


def bend_shape(curve: Curve, *, swinging: bool = False) -> BendShape:
    """Find peak, plateau, rise, hold and release of a curve.

    Parameters
    ----------
    curve : Curve
    swinging : bool
        The held part is shaken: its peaks are sharp, and smoothing would lower them.
    """
    smooth = curve.smooth()
    known = max(1.96 * curve.noise_cents(), LEAST_PEAK_UNCERTAINTY_CENTS)
    top = curve.cents.copy()
    if not swinging:
        top[1:-1] = np.convolve(curve.cents, HELD_SMOOTH, "valid")
    # a parabola rings where a curve turns sharply, a raw value may be astray
    peak_cents = float(np.minimum(top, smooth + known).max())
    if smooth.max() < NO_BEND_CENTS:
        return BendShape(peak_cents, known, None, None, None, None)
    first, end = _span(_is_bent(smooth))
    bent = smooth[first:end]
    from_, to = _span(bent > SETTLED * np.median(bent))
    # where the curve still turns into the plateau, or out of it
    from_ += EDGE_STEPS * (first + from_ > 0)
    to -= EDGE_STEPS * (first + to < len(curve))
    plateau = curve.part(first + from_, first + to)
    if len(plateau) < SHORTEST_STEPS:
        return BendShape(peak_cents, known, None, None, None, None)
    settled = float(np.median(plateau.cents))
    if settled <= 0:  # it was up for a moment only, and down again between
        return BendShape(peak_cents, known, None, None, None, None)
    high, low = RISE_TO * settled, RISE_FROM * settled
    up, down = _span(smooth >= high)
    return BendShape(
        peak_cents,
        known,
        plateau,
        rise_s=_climb_s(smooth[: up + 1], low, high),
        hold_s=(down - 1 - up) * STEP_S,
        release_s=_climb_s(smooth[down - 1 :][::-1], low, high),
    )


def shoulder(curve: Curve) -> int:
    """First step at which a bent curve is surely inside its bent part."""
    return int(np.argmax(_is_bent(curve.smooth())))


def _is_bent(smooth: FloatArray) -> npt.NDArray[np.bool_]:
    return smooth > SHOULDER * smooth.max()


def _climb_s(rising: FloatArray, low: float, high: float) -> float | None:
    """Time from `low` to `high` of a curve that ends above; None when it starts so."""
    under = [np.flatnonzero(rising < level) for level in (low, high)]
    if not len(under[0]):
        return None
    at = []
    for level, steps in zip((low, high), under, strict=True):
        k = int(steps[-1])
        at.append(k + float((level - rising[k]) / (rising[k + 1] - rising[k])))
    return (at[1] - at[0]) * STEP_S


def _span(there: np.ndarray[tuple[int], np.dtype[np.bool_]]) -> tuple[int, int]:
    """First true place and one past the last; `there` holds at least one."""
    places = np.flatnonzero(there)
    return int(places[0]), int(places[-1]) + 1


# --- vibrato

# Slower and faster than players shake (2 to 8 Hz): what fits best there is no vibrato.
SLOWEST_HZ, FASTEST_HZ, RATE_STEP_HZ = 1.5, 9.0, 0.1
FEWEST_CYCLES = 0.8
FEW_CYCLES = 1.5  # of fewer the rate is half as sure as the fit says
REFINEMENTS = 3
LEAST_RATE_UNCERTAINTY_HZ, LEAST_DEPTH_UNCERTAINTY_CENTS = 0.04, 0.4
SHALLOWEST_CENTS = (
    5.0  # 10 cents from peak to peak are just noticed (Arndt et al. 2020)
)
SWELL_STEPS = 4  # a vibrato swells before it is steady


@dataclass(frozen=True)
class Vibrato:
    """One steady sine through the part of a curve that swings.

    Attributes
    ----------
    rate_hz, rate_uncertainty_hz : float
    depth_cents, depth_uncertainty_cents : float
        Half the peak-to-peak swing.
    rate_spread_hz, depth_spread_cents : float or None
        Standard deviations from cycle to cycle; None below two cycles.
    """

    rate_hz: float
    rate_uncertainty_hz: float
    depth_cents: float
    depth_uncertainty_cents: float
    rate_spread_hz: float | None
    depth_spread_cents: float | None


def vibrato(curve: Curve) -> Vibrato | None:
    """Fit a sine to the swinging part of a curve; None when it swings hardly once.

    The part may start late: of all starts and rates the pair is taken whose sine
    explains most of the curve around its mean.  Then rate, sine and mean are fitted
    together by least squares (Gauss-Newton).
    """
    if len(curve) * STEP_S < FEWEST_CYCLES / FASTEST_HZ + 4 * STEP_S:
        return None
    start, rate_hz = _swinging_part(curve)
    spare_steps = len(curve) - start - round(FEWEST_CYCLES / rate_hz / STEP_S) - 2
    part = curve.part(start + min(SWELL_STEPS, max(spare_steps, 0)))
    time_s = part.since_s - part.since_s.mean()
    for _ in range(REFINEMENTS):
        design, solution = _sine_fit(time_s, part.cents, rate_hz)
        rate_hz = float(np.clip(rate_hz + solution[3], SLOWEST_HZ, FASTEST_HZ))
    cycles = len(part) * STEP_S * rate_hz
    depth_cents, known = _with_uncertainty(design, part.cents, solution, cycles)
    inside = SLOWEST_HZ < rate_hz < FASTEST_HZ and cycles >= FEWEST_CYCLES
    if not inside or depth_cents < max(known[0], SHALLOWEST_CENTS):
        return None
    spreads = _from_cycle_to_cycle(part.cents - solution[0])
    return Vibrato(rate_hz, known[1], depth_cents, known[0], *spreads)


def _swinging_part(curve: Curve) -> tuple[int, float]:
    """Step at which the swinging starts, and its rate in Hz."""
    time_s = curve.since_s - curve.since_s.mean()
    around = curve.cents - curve.cents.mean()
    rates_hz = np.arange(SLOWEST_HZ, FASTEST_HZ + RATE_STEP_HZ / 2, RATE_STEP_HZ)
    turning = np.exp(-2j * np.pi * rates_hz[:, None] * time_s)
    # sums from each start to the end: what a sine from there on explains
    sums = np.cumsum((around * turning)[:, ::-1], axis=1)[:, ::-1]
    steps = len(curve) - np.arange(len(curve))
    explained = 2 * np.abs(sums) ** 2 / steps
    explained[steps * STEP_S < FEWEST_CYCLES / rates_hz[:, None]] = 0.0
    rate, start = np.unravel_index(int(explained.argmax()), explained.shape)
    return int(start), float(rates_hz[rate])


def _sine_fit(
    time_s: FloatArray, cents: FloatArray, rate_hz: float
) -> tuple[FloatArray, FloatArray]:
    """Design (mean, sine, cosine, change with the rate) and its solution."""
    angle = 2 * np.pi * rate_hz * time_s
    sine, cosine = np.sin(angle), np.cos(angle)
    design = np.column_stack([np.ones_like(time_s), sine, cosine])
    _, a, b = np.linalg.lstsq(design, cents, rcond=None)[0]
    by_rate = 2 * np.pi * time_s * (a * cosine - b * sine)
    design = np.column_stack([design, by_rate])
    return design, np.linalg.lstsq(design, cents, rcond=None)[0]


def _with_uncertainty(
    design: FloatArray, cents: FloatArray, solution: FloatArray, cycles: float
) -> tuple[float, tuple[float, float]]:
    """Depth in cents; uncertainties of depth (cents) and rate (Hz)."""
    residual = cents - design @ solution
    freedom = max((len(cents) - design.shape[1]) / SHARED_STEPS, 1.0)
    variance = float(residual @ residual) / freedom
    inverse = np.linalg.pinv(design)
    covariance = inverse @ inverse.T * variance
    depth = float(np.hypot(solution[1], solution[2]))
    direction = solution[1:3] / max(depth, 1e-9)
    of_depth = 1.96 * float(np.sqrt(direction @ covariance[1:3, 1:3] @ direction))
    of_rate = 1.96 * float(np.sqrt(covariance[3, 3]))
    of_rate *= 1 + (cycles < FEW_CYCLES)  # on recorded notes moved by a known curve
    least = LEAST_DEPTH_UNCERTAINTY_CENTS, LEAST_RATE_UNCERTAINTY_HZ
    return depth, (max(of_depth, least[0]), max(of_rate, least[1]))


def _from_cycle_to_cycle(swing: FloatArray) -> tuple[float | None, float | None]:
    """Spread of rate (Hz) and depth (cents) over the cycles of a swing around 0."""
    up = np.flatnonzero((swing[:-1] < 0) & (swing[1:] >= 0))
    if len(up) < 3:
        return None, None
    crossings = up + swing[up] / (swing[up] - swing[up + 1])
    rates_hz = 1 / (np.diff(crossings) * STEP_S)
    cycles = np.split(swing, up + 1)[1:-1]
    depths = np.array([np.ptp(cycle) / 2 for cycle in cycles])
    return float(rates_hz.std(ddof=1)), float(depths.std(ddof=1))
