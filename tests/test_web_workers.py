"""Listeners of the web pages: one take that goes wrong stops none of the others."""

from __future__ import annotations

import asyncio
import json
from pathlib import Path

import pytest

from assessor.errors import HistoryError
from assessor.web.takes import KeptTake, State, Takes
from assessor.web.workers import Workers


def _waiting(folder: Path, name: str) -> KeptTake:
    take = KeptTake(folder / name)
    take.folder.mkdir(parents=True)
    about = {"player": "p", "lick": "gone", "tempo_bpm": 90.0}
    (take.folder / "about.json").write_text(json.dumps(about))
    (take.folder / "ended.json").write_text("{}")
    return take


def test_refused_hand_in_stops_no_later_take(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    """A store that refuses once leaves the listener alive for the next take."""
    first, second = _waiting(tmp_path, "a" * 22), _waiting(tmp_path, "b" * 22)
    handed: list[str] = []

    def hand_in(take: KeptTake) -> None:
        handed.append(take.name)
        if take == first:
            message = "the database is locked"
            raise HistoryError(message)

    async def run() -> None:
        workers = Workers(Takes(tmp_path / "none"), lambda _: None, on_answer=hand_in)
        async with workers.running(), asyncio.timeout(5):
            workers.ask(first)
            workers.ask(second)
            while len(handed) < 2:
                await asyncio.sleep(0.01)

    asyncio.run(run())
    assert handed == [first.name, second.name]
    assert second.state is State.ANSWERED
    assert "the database is locked" in caplog.text
