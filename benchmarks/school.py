"""Let fifty players record at one time: is a take lost, do pages still come quickly.

    python benchmarks/school.py [--players 50] [--store postgresql://...] [--workers 2]

Starts a school's server on this machine, lets every player record a shipped take as a
browser does (a piece every half second, as fast as it is played), and meanwhile asks
for pages, ten a second, until the last take is assessed.  Prints how long pages took
while sound came in and while takes were assessed.
"""

from __future__ import annotations

import argparse
import http.client
import json
import re
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

import soundfile

from assessor.history import school as tables
from assessor.history.store import open_store
from assessor.web import passwords

TOP = Path(__file__).parents[1]
TAKE, LICK = "wrong-notes.flac", "Dorian scale"
HOST, PASSWORD = "127.0.0.1", "fifty at one time"
PIECE_S, LOOK_S, LONGEST_S = 0.5, 0.1, 300.0


class Browser:
    """One connection that stays, signed in."""

    def __init__(self, port: int, name: str) -> None:
        self.port = port
        self.link = http.client.HTTPConnection(HOST, port, timeout=60)
        self.headers: dict[str, str] = {}
        form = urlencode({"name": name, "password": PASSWORD}).encode()
        _, headers = self.ask("POST", "/sign-in", form)
        self.headers["Cookie"] = headers["set-cookie"].partition(";")[0]
        self.headers["X-CSRF-Token"] = self.ask("GET", "/word")[0].decode()

    def ask(self, method: str, path: str, body: Any = None) -> tuple[bytes, Any]:
        """Ask; an answer that is no success ends the benchmark."""
        origin = {} if method == "GET" else {"Origin": f"http://{HOST}:{self.port}"}
        try:
            self.link.request(method, path, body, {**self.headers, **origin})
            answer = self.link.getresponse()
        except ConnectionError:  # nothing was said for some seconds
            self.link.close()
            self.link.request(method, path, body, {**self.headers, **origin})
            answer = self.link.getresponse()
        content = answer.read()
        if answer.status >= 400:
            message = f"{method} {path}: {answer.status} {content[:200]!r}"
            raise RuntimeError(message)
        return content, answer.headers


def play(browser: Browser, lick: str, samples: Any, rate_hz: int) -> str:
    """Record a take as fast as it is played; its name."""
    wish = json.dumps({"lick": lick, "sample_rate_hz": rate_hz}).encode()
    take = json.loads(browser.ask("POST", "/takes", wish)[0])["take"]
    began_s, step = time.monotonic(), round(PIECE_S * rate_hz)
    for first in range(0, len(samples), step):
        path = f"/takes/{take}/sound?from={first}"
        browser.ask("PUT", path, samples[first : first + step].tobytes())
        due_s = began_s + (first + step) / rate_hz
        time.sleep(max(due_s - time.monotonic(), 0))
    browser.ask("POST", f"/takes/{take}/end", b"{}")
    return str(take)


class Watcher(threading.Thread):
    """Asks for pages and remembers how long they took."""

    def __init__(self, browser: Browser, paths: list[str]) -> None:
        super().__init__(daemon=True)
        self.browser, self.paths = browser, paths
        self.took_s: list[tuple[float, float]] = []
        self.done = threading.Event()

    def run(self) -> None:
        """Until it is told to stop, or too long."""
        end_s, count = time.monotonic() + LONGEST_S, 0
        while not self.done.is_set() and time.monotonic() < end_s:
            began_s = time.monotonic()
            self.browser.ask("GET", self.paths[count % len(self.paths)])
            self.took_s.append((began_s, time.monotonic() - began_s))
            count += 1
            self.done.wait(LOOK_S)


def tell(name: str, took_s: list[float]) -> None:
    """Print how long pages took."""
    if len(took_s) < 2:
        print(f"{name}: too few pages")
        return
    p95 = statistics.quantiles(took_s, n=20)[-1]
    print(
        f"{name}: {len(took_s)} pages, "
        f"median {1000 * statistics.median(took_s):.0f} ms, "
        f"p95 {1000 * p95:.0f} ms, longest {1000 * max(took_s):.0f} ms"
    )


def main() -> None:
    """Measure once."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--players", type=int, default=50)
    parser.add_argument("--store")
    parser.add_argument("--workers", type=int, default=2)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        measure(asked, Path(folder))


def measure(asked: argparse.Namespace, folder: Path) -> None:
    """Start the server, let everybody play, tell."""
    store_text = asked.store or str(folder / "school.db")
    people = [f"player {n}" for n in range(asked.players)]
    with open_store(store_text) as store:
        tables.prepare(store)
        kept = passwords.hashed(PASSWORD)
        for name in people:
            if tables.account_of(store, name) is None:
                tables.add_account(store, name, kept)
    command = [sys.executable, "-m", "assessor", "school", "serve", "references"]
    command += ["--port", "0", "--store", store_text, "--workers", str(asked.workers)]
    command += ["--takes", str(folder / "takes")]
    with subprocess.Popen(
        command, cwd=TOP, stdout=subprocess.PIPE, text=True
    ) as server:
        try:
            assert server.stdout is not None
            port = int(re.findall(r":(\d+)$", server.stdout.readline().strip())[0])
            crowd(port, people)
        finally:
            server.terminate()


def crowd(port: int, people: list[str]) -> None:
    """Let everybody play at one time, and look at pages meanwhile."""
    samples, rate_hz = soundfile.read(TOP / "recordings" / TAKE, dtype="float32")
    with ThreadPoolExecutor(len(people)) as pool:
        browsers = list(pool.map(lambda name: Browser(port, name), people))
        page = browsers[0].ask("GET", "/")[0].decode()
        lick = re.findall(rf'/licks/(\w+)"><bdi>{LICK}', page)[0]
        watcher = Watcher(Browser(port, people[0]), ["/", f"/licks/{lick}", "/word"])
        watcher.start()
        began_s = time.monotonic()
        takes = list(pool.map(lambda b: play(b, lick, samples, rate_hz), browsers))
        sent_s = time.monotonic()
        waiting = dict(zip(takes, browsers, strict=True))
        while waiting and time.monotonic() - sent_s < LONGEST_S:
            for take, browser in list(waiting.items()):
                if b"Listening" not in browser.ask("GET", f"/takes/{take}")[0]:
                    text = browser.ask("GET", f"/takes/{take}")[0].decode()
                    assert "Mark 84 of 100" in text, text
                    del waiting[take]
            time.sleep(0.5)
        ended_s = time.monotonic()
        watcher.done.set()
        watcher.join()
    print(
        f"{len(people)} players: {sent_s - began_s:.1f} s of playing "
        f"{len(samples) / rate_hz:.1f} s, assessed {ended_s - sent_s:.1f} s later, "
        f"{len(waiting)} lost"
    )
    tell("while sound came in", [t for at, t in watcher.took_s if at < sent_s])
    tell("while assessing", [t for at, t in watcher.took_s if at >= sent_s])


if __name__ == "__main__":
    main()
