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
        async with workers.running(), asyncio.timeout(30):
            workers.ask(first)
            workers.ask(second)
            while len(handed) < 2:
                await asyncio.sleep(0.01)

    asyncio.run(run())
    assert handed == [first.name, second.name]
    assert second.state is State.ANSWERED
    assert "the database is locked" in caplog.text


def test_what_was_not_handed_in_is_handed_in_at_the_next_start(tmp_path: Path) -> None:
    """Until then it counts as waiting; what was kept is left alone."""
    takes, mine = Takes(tmp_path), tmp_path / "p"
    refused, kept = _waiting(mine, "a" * 32), _waiting(mine, "b" * 32)
    for take in (refused, kept):
        take.write("answer.json", {"mark": 84.0})
    kept.write("kept.json", 7)
    handed: list[str] = []
    waited: list[bool] = []

    async def run() -> None:
        def hand_in(take: KeptTake) -> None:
            waited.append(workers.hands_in(take))
            take.write("kept.json", 8)
            handed.append(take.name)

        workers = Workers(takes, lambda _: tmp_path, on_answer=hand_in)
        async with workers.running(), asyncio.timeout(30):
            while not handed or workers.hands_in(refused):
                await asyncio.sleep(0.01)

    asyncio.run(run())
    assert (handed, waited) == ([refused.name], [True])
    assert refused.answer == {"mark": 84.0}


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
