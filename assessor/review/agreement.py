"""How far tool and teacher agree, on takes the teacher judged blind.

Measured
--------
*Cohen's kappa* of the verdicts on notes: agreement beyond chance,
(observed - expected) / (1 - expected); Cohen 1960, Educ. Psychol. Meas. 20:37-46.  Its
interval is from the large-sample variance of Fleiss, Cohen & Everitt 1969, Psychol.
Bull. 72:323-327.

*Limits of agreement* of a reading: mean difference, tool minus teacher, and that plus
and minus 1.96 standard deviations of the differences; Bland & Altman 1986, Lancet
327:307-310.  Interval of each limit: its standard error is sqrt(3 / n) standard
deviations (same paper), with Student's t.

Known limits
------------
Notes of one take are not independent of each other, so the interval of kappa is too
narrow where takes are few.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from assessor.review.corrections import Correction, What
from assessor.review.finding import Finding
from assessor.review.summary import ClassReview

SURE = ("right", "wrong", "missed")  # unsure is no verdict
NORMAL_95 = 1.96
VALUES = {"notes", "tempo"}  # told as they are; other readings as distances
RIGHT = "right notes"
LEAST_PAIRS = 3  # fewer differences have no spread worth telling


@dataclass(frozen=True)
class Kappa:
    """Agreement of verdicts.

    Attributes
    ----------
    kappa : float or None
        None where both say one and the same of every note: chance alone explains it.
    low, high : float or None
        95 % interval.
    observed : float
        Share of notes with the same verdict.
    pairs : int
        Notes with two verdicts.
    left_out : int
        Notes one of the two was unsure of.
    """

    kappa: float | None
    low: float | None
    high: float | None
    observed: float
    pairs: int
    left_out: int = 0


@dataclass(frozen=True)
class Limits:
    """Agreement of one reading.

    Attributes
    ----------
    bias : float
        Mean of tool minus teacher.
    low, high : float
        Limits of agreement: 95 of 100 differences lie between them.
    bias_uncertainty, limit_uncertainty : float
        Half the 95 % interval of the bias and of each limit.
    sd : float
    pairs : int
    """

    bias: float
    low: float
    high: float
    bias_uncertainty: float
    limit_uncertainty: float
    sd: float
    pairs: int


def cohens_kappa(
    first: Sequence[str], second: Sequence[str], *, left_out: int = 0
) -> Kappa | None:
    """Agreement of two judges on the same things; None when there is none.

    Parameters
    ----------
    first, second : sequence of str
        What each says, in the same order.
    left_out : int
        Things one of them had no verdict on; told, not counted.

    Raises
    ------
    ValueError
        When the two have not the same length.

    Examples
    --------
    >>> yes_no = ["y"] * 20 + ["y"] * 5 + ["n"] * 10 + ["n"] * 15
    >>> other = ["y"] * 20 + ["n"] * 5 + ["y"] * 10 + ["n"] * 15
    >>> round(cohens_kappa(yes_no, other).kappa, 6)
    0.4
    """
    if len(first) != len(second):
        message = f"{len(first)} verdicts against {len(second)}"
        raise ValueError(message)
    pairs = len(first)
    if not pairs:
        return None
    words = sorted({*first, *second})
    table = np.zeros((len(words), len(words)))
    for a, b in zip(first, second, strict=True):
        table[words.index(a), words.index(b)] += 1 / pairs
    rows, columns = table.sum(axis=1), table.sum(axis=0)
    observed, expected = float(np.trace(table)), float(rows @ columns)
    if math.isclose(expected, 1.0):
        return Kappa(None, None, None, observed, pairs, left_out)
    kappa = (observed - expected) / (1 - expected)
    half = NORMAL_95 * math.sqrt(_variance(table, kappa, expected) / pairs)
    return Kappa(kappa, kappa - half, min(kappa + half, 1.0), observed, pairs, left_out)


def _variance(
    table: np.ndarray[tuple[int, int], np.dtype[np.float64]],
    kappa: float,
    expected: float,
) -> float:
    """Variance of kappa times n; Fleiss, Cohen & Everitt 1969, equation 13."""
    rows, columns = table.sum(axis=1), table.sum(axis=0)
    sums = columns[:, np.newaxis] + rows[np.newaxis, :]
    on = np.diag(table) * (1 - (rows + columns) * (1 - kappa)) ** 2
    off = table * (1 - kappa) ** 2 * sums**2
    np.fill_diagonal(off, 0.0)
    chance = (kappa - expected * (1 - kappa)) ** 2
    return float(max(on.sum() + off.sum() - chance, 0.0) / (1 - expected) ** 2)


def limits_of_agreement(
    tool: Sequence[float], teacher: Sequence[float]
) -> Limits | None:
    """Agreement of one reading; None for fewer than three pairs.

    Raises
    ------
    ValueError
        When the two have not the same length.
    """
    if len(tool) != len(teacher):
        message = f"{len(tool)} readings against {len(teacher)}"
        raise ValueError(message)
    pairs = len(tool)
    if pairs < LEAST_PAIRS:
        return None
    from scipy.special import stdtrit

    differences = np.asarray(tool, dtype=float) - np.asarray(teacher, dtype=float)
    bias, sd = float(differences.mean()), float(differences.std(ddof=1))
    t = float(stdtrit(pairs - 1, 0.975))
    return Limits(
        bias,
        bias - NORMAL_95 * sd,
        bias + NORMAL_95 * sd,
        t * sd / math.sqrt(pairs),
        t * sd * math.sqrt(3 / pairs),
        sd,
        pairs,
    )


@dataclass(frozen=True)
class Agreement:
    """Tool and teacher on takes judged blind.

    Attributes
    ----------
    takes : int
    verdicts : Kappa or None
    readings : dict of str to Limits
        Those with enough pairs.
    """

    takes: int
    verdicts: Kappa | None
    readings: dict[str, Limits]


def agreement(review: ClassReview) -> Agreement:
    """Hold blind judgements against what the tool had found by itself."""
    found = {take.take_id: take.found for take in review.takes if take.found}
    blind = [c for c in _first_words(review.log) if c.blind and c.take_id in found]
    verdicts = list(_verdict_pairs(blind, found))
    sure = [pair for pair in verdicts if pair[0] in SURE and pair[1] in SURE]
    readings: dict[str, list[tuple[float, float]]] = {}
    pairs = (*_reading_pairs(blind, found), *_share_pairs(blind, found))
    for name, tool, teacher in pairs:
        readings.setdefault(name, []).append((tool, teacher))
    limits = {
        name: limits_of_agreement([a for a, _ in pairs], [b for _, b in pairs])
        for name, pairs in readings.items()
    }
    return Agreement(
        len({c.take_id for c in blind}),
        cohens_kappa(
            [a for a, _ in sure],
            [b for _, b in sure],
            left_out=len(verdicts) - len(sure),
        ),
        {name: one for name, one in limits.items() if one is not None},
    )


def _first_words(log: Sequence[Correction]) -> list[Correction]:
    """What was said first of each thing: later, the tool's finding was known."""
    first: dict[tuple[object, ...], Correction] = {}
    for said in log:
        first.setdefault(said.thing, said)
    return list(first.values())


def _verdict_pairs(
    blind: Sequence[Correction], found: dict[str, Finding]
) -> Iterator[tuple[str, str]]:
    for said in blind:
        one = found[said.take_id]
        counts = said.what is What.VERDICT and said.number in (None, one.best)
        if counts and said.note is not None and said.note < len(one.notes):
            yield one.notes[said.note].verdict, str(said.value)


def _share_pairs(
    blind: Sequence[Correction], found: dict[str, Finding]
) -> Iterator[tuple[str, float, float]]:
    """Right notes in percent, of takes whose every note was judged; no extra ones."""
    by_take: dict[str, dict[int | None, str]] = {}
    for said in blind:
        counts = said.number in (None, found[said.take_id].best)
        if said.what is What.VERDICT and counts:
            by_take.setdefault(said.take_id, {})[said.note] = str(said.value)
    for take_id, verdicts in by_take.items():
        notes = found[take_id].notes
        if set(verdicts) >= set(range(len(notes))):
            tool = _right_percent([note.verdict for note in notes])
            teacher = _right_percent([verdicts[k] for k in range(len(notes))])
            if tool is not None and teacher is not None:
                yield RIGHT, tool, teacher


def _right_percent(verdicts: Sequence[str]) -> float | None:
    sure = [verdict for verdict in verdicts if verdict in SURE]
    return 100 * sure.count("right") / len(sure) if sure else None


def _reading_pairs(
    blind: Sequence[Correction], found: dict[str, Finding]
) -> Iterator[tuple[str, float, float]]:
    for said in blind:
        one = found[said.take_id]
        if said.what is not What.READING or said.number not in (None, one.best):
            continue
        tool = _reading_of(one, said.name)
        if tool is not None and not isinstance(said.value, str):
            yield said.name, tool, float(said.value)


def _reading_of(found: Finding, name: str) -> float | None:
    """What the tool has for what a teacher gives; None where it has nothing."""
    if name == "mark":
        return found.mark
    known = found.readings.get(name)
    if known is None:
        return None
    return known.value if name in VALUES else known.off
