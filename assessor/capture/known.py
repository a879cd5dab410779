"""Latencies that were measured, and the devices used last: a file of the user's.

One latency for each pair of devices and sampling rate, the newest.
"""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from assessor.errors import CaptureError
from assessor.latency import Latency
from assessor.whole_file import write_whole

FILE_NAME = "devices.json"
FORMAT = "assessor-devices"
VERSION = 1


@dataclass(frozen=True)
class Pair:
    """Names of an input and an output; the output is empty where nothing is played."""

    input: str
    output: str


@dataclass(frozen=True)
class Known:
    """What is known of devices.

    Attributes
    ----------
    latencies : dict
        By pair and sampling rate.
    last : Pair or None
        Used last.
    """

    latencies: dict[tuple[Pair, int], Latency]
    last: Pair | None

    def with_latency(self, pair: Pair, rate_hz: int, latency: Latency) -> Known:
        """Know one more."""
        return Known({**self.latencies, (pair, rate_hz): latency}, self.last)

    def with_last(self, pair: Pair) -> Known:
        """Know what was used now."""
        return Known(self.latencies, pair)


def load(folder: Path) -> Known:
    """Read what is known; nothing where there is no file.

    Raises
    ------
    CaptureError
        When the file is none of these.
    """
    file = folder / FILE_NAME
    try:
        found = json.loads(file.read_text(encoding="utf-8"))
        if (found["format"], found["version"]) != (FORMAT, VERSION):
            raise ValueError(found["version"])
        latencies = {
            (Pair(one["input"], one["output"]), int(one["sample_rate_hz"])): _latency(
                one
            )
            for one in found["latencies"]
        }
        last = found["last"] and Pair(found["last"]["input"], found["last"]["output"])
    except FileNotFoundError:
        return Known({}, None)
    except (OSError, ValueError, KeyError, TypeError) as problem:
        message = (
            "this file of measured latencies cannot be read; delete it and measure "
            "again with assessor record --measure-latency"
        )
        raise CaptureError(message, str(file)) from problem
    return Known(latencies, last)


def _latency(one: dict[str, Any]) -> Latency:
    return Latency(
        float(one["offset_s"]),
        float(one["spread_s"]),
        float(one["drift_ppm"]),
        int(one["rounds"]),
    )


def save(known: Known, folder: Path) -> None:
    """Write what is known; whole or not at all.

    Raises
    ------
    CaptureError
        When it cannot be written.
    """
    content = {
        "format": FORMAT,
        "version": VERSION,
        "last": known.last and asdict(known.last),
        "latencies": [
            {**asdict(pair), "sample_rate_hz": rate_hz, **asdict(latency)}
            for (pair, rate_hz), latency in known.latencies.items()
        ],
    }
    file = folder / FILE_NAME
    try:
        folder.mkdir(parents=True, exist_ok=True)
        text = json.dumps(content, ensure_ascii=False, indent=1)
        write_whole(file, text + "\n")
    except OSError as problem:
        message = f"cannot be written: {problem.strerror}"
        raise CaptureError(message, str(file)) from problem
