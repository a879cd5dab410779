"""Takes of the web pages do not get into each other's way."""

from __future__ import annotations

import asyncio
import json
from concurrent.futures import ThreadPoolExecutor
from concurrent.futures import TimeoutError as FutureTimeout
from pathlib import Path

import pytest

from assessor.errors import HistoryError
from assessor.web.takes import APPENDING, About, KeptTake, State, Takes
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


def test_pieces_wait_for_each_other(tmp_path: Path) -> None:
    """A piece sent twice at one time is written after the other, never across it."""
    take = Takes(tmp_path).begin(About("p", "x", 90.0, sample_rate_hz=44100))
    piece = bytes(4 * 100)
    with ThreadPoolExecutor(1) as pool:
        with APPENDING:
            sent = pool.submit(take.append, 0, piece)
            with pytest.raises(FutureTimeout):
                sent.result(0.2)
        assert sent.result(5) == 100
