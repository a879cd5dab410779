"""What a lick is made of, for programs to read."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import asdict
from typing import Any

from assessor.lick.content import Content
from assessor.lick.digest import digest_of
from assessor.lick.harmony import sounding
from assessor.lick.notation import Lick
from assessor.lick.places import say_place
from assessor.lick.scales import Scale

FORMAT = "assessor-lick-content"
VERSION = 1


def record_of(lick: Lick, content: Content) -> dict[str, Any]:
    """Everything known of a lick's content, as JSON can hold it.

    Parameters
    ----------
    lick : Lick
    content : Content
        Of this lick.

    Returns
    -------
    dict
        Notes are 0-based indices; units are in the names.
    """
    record = asdict(content)
    record |= {
        "cells": [
            asdict(cell) | {"chains": [asdict(chain) for chain in cell.chains()]}
            for cell in content.cells
        ],
        "shifts": [asdict(s) | {"frets": s.frets} for s in content.shifts],
        "crossings": [{"index": k, "kind": kind} for k, kind in content.crossings],
        "key": content.key and asdict(content.key) | {"name": str(content.key)},
        "scale": content.scale and str(content.scale),
        "chord": content.chord and str(content.chord),
        "scales": _scales(content.scales, "not_played"),
        "nearest_scales": _scales(content.nearest_scales, "left_out"),
        "ending_midi": next(reversed(sounding(lick.notes[-1])), None),
    }
    stretch = content.demands.stretch
    if stretch is not None:
        record["demands"]["stretch"]["frets"] = stretch.frets
    return _heading(lick) | record


def _scales(found: Iterable[tuple[Scale, int]], count: str) -> list[dict[str, Any]]:
    """Scales by name, with what is counted of each."""
    return [{"name": str(scale), count: number} for scale, number in found]


def _heading(lick: Lick) -> dict[str, Any]:
    """What stands over the lick, and where its notes are."""
    return {
        "format": FORMAT,
        "version": VERSION,
        "title": lick.title,
        "trains": lick.trains,
        "digest": digest_of(lick),
        "tempo_bpm": lick.tempo_bpm,
        "meter": str(lick.meter),
        "tuning": str(lick.tuning),
        "capo": lick.capo,
        "swing": lick.swing,
        "notes": len(lick),
        "places": [say_place(lick, index) for index in range(len(lick))],
        "notices": list(lick.notices),
    }
