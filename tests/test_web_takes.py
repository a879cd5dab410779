"""Takes on their way to a desk: in pieces, cut off, broken, killed at any moment."""

from __future__ import annotations

import json
import os
import re
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import asdict, replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

pytest.importorskip("starlette")

import web_servers as servers

from assessor import lick as licks
from assessor import recording, report
from assessor.assessment import assess
from assessor.capture.slate import read_slate
from assessor.history.takes import takes_of
from assessor.recording import Recording
from assessor.web.listening import Limits
from assessor.web.takes import KeptTake, State

TOP = servers.TOP
LICK, TAKE = "triplets-into-sixteenths", "wrong-notes.flac"
PIECE = 20_000
LONG_AGO = "2026-01-01T12:00:00+00:00"
HTMX = {"HX-Request": "true"}


@pytest.fixture(scope="module")
def heard() -> Recording:
    """A shipped take."""
    return recording.read(TOP / "recordings" / TAKE)


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Iterator[servers.Desk]:
    """A usual desk."""
    with servers.desk(tmp_path_factory.mktemp("desk")) as running:
        yield running


def begin(client: servers.Client, lick: str, rate_hz: int) -> str:
    """Name of a new take."""
    answer = client.ask("POST", "/takes", {"lick": lick, "sample_rate_hz": rate_hz})
    return str(answer.json["take"])


def send(client: servers.Client, take: str, samples: Any, first: int = 0) -> int:
    """Send sound in pieces; frames that are there then."""
    for at in range(first, len(samples), PIECE):
        body = samples[at : at + PIECE].astype("<f4").tobytes()
        answer = client.ask("PUT", f"/takes/{take}/sound?from={at}", body)
        assert answer.status == 200
        first = answer.json["have"]
    return first


def sent_file(desk: servers.Desk, content: bytes, ending: str = "wav") -> KeptTake:
    """A file that was dropped in, and answered."""
    client = desk.client.entered()
    take = begin(client, desk.lick(LICK), 0)
    path = f"/takes/{take}/file?ending={ending}"
    assert client.ask("PUT", path, content).status == 202
    found = desk.house.takes.find(take, "")
    assert found is not None
    servers.wait_until(lambda: found.state is State.ANSWERED, "an answer")
    return found


def best_of(result: dict[str, Any]) -> dict[str, Any]:
    """What was measured in the best pass."""
    found: dict[str, Any] = result["passes"][result["best_pass"]]
    return found


def test_sent_in_pieces_it_is_the_same_take(
    desk: servers.Desk, heard: Recording
) -> None:
    """As ``assessor check`` of the same sound, to the last digit but for 24 bits."""
    client = desk.client.entered()
    take = begin(client, desk.lick(LICK), heard.sample_rate_hz)
    assert send(client, take, heard.samples) == len(heard.samples)
    ending = {"ended": "key", "dropouts_s": [], "click_sent_s": None}
    assert client.ask("POST", f"/takes/{take}/end", ending).status == 200
    found = desk.house.takes.find(take, "")
    assert found is not None
    servers.wait_until(lambda: found.state is State.ANSWERED, "an answer")
    result = json.loads((found.folder / "result.json").read_text())
    lick = licks.read(TOP / "references" / f"{LICK}.lick")
    expected = json.loads(json.dumps(report.result(assess(heard, lick))))
    got, want = best_of(result), best_of(expected)
    assert [n["verdict"] for n in got["notes"]] == [n["verdict"] for n in want["notes"]]
    onsets = [
        [n["onset_s"] for n in one["notes"] if n["onset_s"] is not None]
        for one in (got, want)
    ]
    assert onsets[0] == pytest.approx(onsets[1], abs=1e-4)
    assert client.get(f"/takes/{take}/report").status == 200


def test_kept_once_it_is_in_the_history(desk: servers.Desk) -> None:
    """Pressed twice it is not there twice; then it cannot be thrown away here."""
    content = (TOP / "recordings" / TAKE).read_bytes()
    take, client = sent_file(desk, content, "flac"), desk.client.entered()
    answers = [client.ask("POST", f"/takes/{take.name}/keep") for _ in range(2)]
    assert [answer.status for answer in answers] == [200, 200]
    assert answers[0].headers["hx-trigger"] == "kept"
    kept = takes_of(desk.house.store)
    assert [one.take_id for one in kept if one.take_id == take.kept_as] != []
    assert client.ask("POST", f"/takes/{take.name}/discard").status == 409
    past = client.get(f"/licks/{desk.lick(LICK)}/past").text
    assert f"/takes/{take.name}" in past


def test_a_piece_twice_is_there_once(desk: servers.Desk) -> None:
    """An answer may get lost: the browser sends again, perhaps with more."""
    client = desk.client.entered()
    take = begin(client, desk.lick(LICK), 44_100)
    sound = np.linspace(-0.5, 0.5, 1_000, dtype="<f4")
    path = f"/takes/{take}/sound?from="
    sends = [(0, 400), (0, 400), (0, 700), (600, 1_000)]
    answers = [
        client.ask("PUT", f"{path}{first}", sound[first:end].tobytes()).json["have"]
        for first, end in sends
    ]
    assert answers == [400, 400, 700, 1_000]
    found = desk.house.takes.find(take, "")
    assert found is not None
    assert found.journal.read_bytes().endswith(sound.tobytes())


@pytest.mark.parametrize(
    ("query", "body", "status"),
    [
        ("from=8", bytes(8), 409),  # something before it is missing
        ("from=0", bytes(7), 400),
        ("from=0", np.array([np.nan], "<f4").tobytes(), 400),
        ("from=-1", bytes(8), 400),
        ("from=" + "9" * 40, bytes(8), 400),
        ("", bytes(8), 400),
    ],
)
def test_pieces_that_do_not_fit(
    desk: servers.Desk, query: str, body: bytes, status: int
) -> None:
    """Are refused, and nothing is added."""
    client = desk.client.entered()
    take = begin(client, desk.lick(LICK), 44_100)
    assert client.ask("PUT", f"/takes/{take}/sound?{query}", body).status == status
    found = desk.house.takes.find(take, "")
    assert found is not None
    assert found.frames == 0
    assert client.ask("POST", f"/takes/{take}/discard").status == 200


@pytest.mark.parametrize(
    "ending",
    [
        {"dropouts_s": "many"}, {"dropouts_s": ["1"]}, {"click_sent_s": "soon"},
        {"click_sent_s": 1e300}, {"ended": "nicely"}, {"ended": []},
    ],
)  # fmt: skip
def test_endings_that_make_no_sense(
    desk: servers.Desk, ending: dict[str, object]
) -> None:
    """Are refused; the take can still be ended."""
    client = desk.client.entered()
    take = begin(client, desk.lick(LICK), 44_100)
    assert client.ask("POST", f"/takes/{take}/end", ending).status == 400
    found = desk.house.takes.find(take, "")
    assert found is not None
    assert found.state is State.COMING
    client.ask("POST", f"/takes/{take}/discard")


def test_what_is_known_of_a_recording_is_in_its_file(
    desk: servers.Desk, heard: Recording
) -> None:
    """Click, dropouts, device; and the report says what they mean."""
    client = desk.client.entered()
    wish = {
        "lick": desk.lick(LICK),
        "sample_rate_hz": heard.sample_rate_hz,
        "click": "accent",
        "input": "a cable",
    }
    take = str(client.ask("POST", "/takes", wish).json["take"])
    send(client, take, heard.samples)
    ending = {"dropouts_s": [1.5], "click_sent_s": 0.25, "ended": "passes"}
    client.ask("POST", f"/takes/{take}/end", ending)
    found = desk.house.takes.find(take, "")
    assert found is not None
    servers.wait_until(lambda: found.state is State.ANSWERED, "an answer")
    assert found.sound is not None
    slate = read_slate(found.sound)
    assert slate is not None
    assert (slate.click_sent_s, slate.dropouts_s) == (0.25, (1.5,))
    assert (slate.input, slate.tempo_bpm) == ("a cable", 88)
    text = client.get(f"/takes/{take}/report").text
    assert "sound was lost at 1 place" in text
    assert "latency of these devices was never measured" in text


BROKEN = {
    "nothing": b"",
    "no sound": b"<html>" * 100,
    "cut short": (TOP / "recordings" / TAKE).read_bytes()[:30_000],
    "a playlist": b"#EXTM3U\n#EXTINF:1,\nfile:///etc/passwd\n",
}


@pytest.mark.parametrize("kind", BROKEN)
def test_broken_files_are_told_in_words(desk: servers.Desk, kind: str) -> None:
    """Without a word of where this server keeps them."""
    answer = sent_file(desk, BROKEN[kind]).answer
    assert answer.get("problem")
    assert str(desk.house.takes.folder) not in answer["problem"]
    assert "root:" not in answer["problem"]


@pytest.mark.parametrize(
    ("limits", "words"),
    [
        (Limits(memory_mb=100), "failed|memory"),
        (Limits(wall_s=0.05), "longer than it may"),
        (Limits(cpu_s=0), "longer than it may|failed"),
    ],
    ids=["memory", "time", "processor"],
)
def test_listening_has_limits(tmp_path: Path, limits: Limits, words: str) -> None:
    """Past them the page goes on and says so."""
    with servers.desk(tmp_path, limits=limits) as desk:
        content = (TOP / "recordings" / TAKE).read_bytes()
        answer = sent_file(desk, content, "flac").answer
        assert re.search(words, answer["problem"])
        assert desk.client.entered().get("/").status == 200


def listener_of(take: KeptTake) -> int | None:
    """Process that listens to a take."""
    for entry in Path("/proc").glob("[0-9]*"):
        try:
            words = (entry / "cmdline").read_bytes().decode().split("\0")
        except OSError:
            continue
        if "assessor.web.listening" in words and str(take.folder) in words:
            return int(entry.name)
    return None


@pytest.mark.skipif(not Path("/proc/self").exists(), reason="finds it by /proc")
@pytest.mark.parametrize("kills", [1, 2])
def test_a_killed_listener_loses_no_take(tmp_path: Path, kills: int) -> None:
    """Once: it is listened to again.  Twice: that is told, and the sound is here."""
    with servers.desk(tmp_path) as desk:
        client = desk.client.entered()
        take = begin(client, desk.lick(LICK), 0)
        content = (TOP / "recordings" / TAKE).read_bytes()
        client.ask("PUT", f"/takes/{take}/file?ending=flac", content)
        found = desk.house.takes.find(take, "")
        assert found is not None
        killed: set[int] = set()
        while len(killed) < kills:
            number = servers.wait_until(lambda: listener_of(found), "a listener")
            if number not in killed:
                os.kill(number, signal.SIGKILL)
                killed.add(number)
        servers.wait_until(lambda: found.state is State.ANSWERED, "an answer")
        assert ("problem" in found.answer) == (kills == 2)
        assert found.sound is not None
        assert found.sound.read_bytes() == content


def test_takes_that_waited_are_listened_to_after_a_restart(tmp_path: Path) -> None:
    """A server that was ended between the sound and the answer."""
    with servers.desk(tmp_path, limits=Limits(wall_s=0.01)) as desk:
        content = (TOP / "recordings" / TAKE).read_bytes()
        take = sent_file(desk, content, "flac")
        (take.folder / "answer.json").unlink()  # as if it had been ended before that
    again = tmp_path / "again"
    again.mkdir()
    (tmp_path / "takes").rename(again / "takes")
    with servers.desk(again) as desk:
        found = desk.house.takes.find(take.name, "")
        assert found is not None
        servers.wait_until(lambda: found.state is State.ANSWERED, "an answer")
        assert "mark" in found.answer


@contextmanager
def command(folder: Path, port: int = 0) -> Iterator[tuple[Any, servers.Client, str]]:
    """``assessor desk`` as a program of its own, and somebody who opened its link."""
    words = [sys.executable, "-m", "assessor", "desk", "references", "--no-open"]
    words += ["--port", str(port), "--takes", str(folder / "takes")]
    words += ["--store", str(folder / "history.db")]
    with subprocess.Popen(words, cwd=TOP, stdout=subprocess.PIPE, text=True) as program:
        try:
            assert program.stdout is not None
            said = iter(program.stdout.readline, "")
            link = next(
                found for line in said if (found := re.search(r"http\S+", line))
            )
            number, token = re.findall(r":(\d+)/enter\?token=(\S+)", link.group())[0]
            yield program, servers.Client(int(number)).entered(token), link.group()
        finally:
            program.kill()


def test_a_server_killed_in_mid_upload(tmp_path: Path, heard: Recording) -> None:
    """What had come is still there for the next one, and the rest follows."""
    half = len(heard.samples) // PIECE // 2 * PIECE
    with command(tmp_path) as (program, client, _):
        listed = client.get("/").text
        lick = re.findall(r'href="/licks/(\w+)"[^>]*><bdi>Dorian', listed)[0]
        take = begin(client, lick, heard.sample_rate_hz)
        assert send(client, take, heard.samples[:half]) == half
        program.send_signal(signal.SIGKILL)
    with command(tmp_path) as (_, client, _):
        cut = f"cut off after {half / heard.sample_rate_hz:.1f} s"
        assert cut in client.get("/").text
        assert cut in client.get(f"/licks/{lick}").text
        assert send(client, take, heard.samples, half) == len(heard.samples)
        client.ask("POST", f"/takes/{take}/end")
        state = f"/takes/{take}"
        servers.wait_until(
            lambda: "Mark 84" in client.ask("GET", state, headers=HTMX).text,
            "the mark of the whole take",
        )


def test_takes_that_never_came_are_in_nobodys_way(tmp_path: Path) -> None:
    """After a while; those with sound in them stay."""
    with servers.desk(tmp_path) as desk:
        client = desk.client.entered()
        names = [begin(client, desk.lick(LICK), 8_000) for _ in range(20)]
        client.ask("PUT", f"/takes/{names[0]}/sound?from=0", bytes(4_000))
        wish = {"lick": desk.lick(LICK)}
        assert client.ask("POST", "/takes", wish).status == 429
        for take in desk.house.takes.all():
            take.write("about.json", {**asdict(take.about), "began_at": LONG_AGO})
        assert client.ask("POST", "/takes", wish).status == 201
        assert len(list(desk.house.takes.all())) == 2
        assert desk.house.takes.find(names[0], "") is not None


def test_a_lick_cannot_put_anything_into_a_page(tmp_path: Path) -> None:
    """Its title is text, whatever it looks like."""
    sheet = (TOP / "references" / f"{LICK}.lick").read_text()
    title = "<script>alert(1)</script><b onclick=x>"
    folder = tmp_path / "licks"
    folder.mkdir()
    changed = re.sub("(?m)^title:.*$", f"title: {title}", sheet)
    (folder / "evil.lick").write_text(changed)
    (folder / "broken.lick").write_text("<img src=x onerror=y>")
    with servers.desk(tmp_path, licks=folder) as desk:
        client = desk.client.entered()
        entry = desk.house.catalogue.entries[0]
        assert title in entry.lick.title
        for path in ("/", f"/licks/{entry.name}"):
            text = client.get(path).text
            assert "<script>alert" not in text
            assert "<b onclick" not in text
            assert "<img" not in text


def test_licks_are_found_again_when_their_files_change(tmp_path: Path) -> None:
    """Without starting the program again."""
    folder = tmp_path / "licks"
    folder.mkdir()
    with servers.desk(tmp_path, licks=folder) as desk:
        client = desk.client.entered()
        assert "no licks here yet" in client.get("/").text
        sheet = TOP / "references" / f"{LICK}.lick"
        (folder / sheet.name).write_text(sheet.read_text())
        assert "Dorian" in client.get("/").text
        found = client.ask("GET", "/?q=penta", headers=HTMX).text
        assert "No lick is called that" in found


def test_a_session_ends(desk: servers.Desk) -> None:
    """What was closed opens nothing any more."""
    client = desk.client.entered()
    held = client.headers["Cookie"].partition("=")[2]
    assert client.get("/").status == 200
    desk.house.sessions.close(held)
    assert client.get("/").status == 401
    assert replace(client, headers={"Cookie": "x=y"}).get("/").status == 401
