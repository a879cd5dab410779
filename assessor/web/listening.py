"""Listen to one take: a program of its own, with limits, so that no file can hurt.

``python -m assessor.web.listening FOLDER LICK MEGABYTES SECONDS`` listens to the take
in a folder (`assessor.web.takes`) and leaves ``answer.json`` there, and where it was
assessed ``report.html`` and ``result.json``.  A file that is broken on purpose can at
worst end this process; what started it then says so.
"""

from __future__ import annotations

import contextlib
import json
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from assessor.assessment import Assessment, Settings
    from assessor.capture.slate import Slate
    from assessor.lick.notation import Lick
    from assessor.recording import Recording
    from assessor.web.takes import About, KeptTake

MOST_WRITTEN_BYTES = 1_000_000_000
MOST_FILES = 64
MEGABYTE = 1024 * 1024


@dataclass(frozen=True)
class Limits:
    """What listening to one take may use.

    Attributes
    ----------
    memory_mb : int
        Address space.
    cpu_s : int
    wall_s : float
        From the outside.
    """

    memory_mb: int = 3000
    cpu_s: int = 180
    wall_s: float = 300.0


def limit(memory_mb: int, cpu_s: int) -> None:
    """Take away from this process what listening does not need (POSIX)."""
    try:
        import os
        import resource
    except ImportError:  # not there on Windows: then only the clock outside counts
        return
    bounds = {
        resource.RLIMIT_AS: memory_mb * MEGABYTE,
        resource.RLIMIT_CPU: cpu_s,
        resource.RLIMIT_FSIZE: MOST_WRITTEN_BYTES,
        resource.RLIMIT_NOFILE: MOST_FILES,
        resource.RLIMIT_CORE: 0,
    }
    for kind, most in bounds.items():
        _, hard = resource.getrlimit(kind)
        allowed = most if hard == resource.RLIM_INFINITY else min(most, hard)
        resource.setrlimit(kind, (allowed, allowed))
    with contextlib.suppress(OSError):
        os.nice(10)  # pages are answered first


def listen(take: KeptTake, lick_file: Path) -> None:
    """Assess a take and write what came of it."""
    from assessor.errors import AssessorError

    try:
        answer = _listened(take, lick_file)
    except AssessorError as problem:
        answer = {"problem": words_of(problem)}
    except MemoryError:
        answer = {"problem": "listening to this file needs more memory than it may use"}
    take.write("answer.json", answer)


def words_of(problem: Exception) -> str:
    """What is wrong, without the place where this server keeps the file."""
    if hasattr(problem, "path"):
        problem.path = ""
    return str(problem)


def _listened(take: KeptTake, lick_file: Path) -> dict[str, object]:
    from dataclasses import replace

    from assessor import lick, recording, report
    from assessor.assessment import assess
    from assessor.passes import TEMPO_RATIOS
    from assessor.report.page import page
    from assessor.whole_file import write_whole

    asked = lick.read(lick_file)
    slate = _finished(take, asked, lick_file.name)
    file = take.sound
    if file is None:
        return {"problem": "no sound came: record again, or drop the file in again"}
    shortest_s = float(asked.ends_s()[0]) / max(TEMPO_RATIOS)
    heard = recording.read(file, shortest_s=shortest_s)
    if slate is not None:
        heard = replace(heard, flags=(*heard.flags, *slate.flags()))
    found = assess(heard, asked, _settings(take.about, slate))
    result = json.dumps(report.result(found))
    write_whole(take.folder / "result.json", result, synced=True)
    write_whole(take.folder / "report.html", page(found, heard), synced=True)
    return _summary(found, heard)


def _finished(take: KeptTake, asked: Lick, lick_file: str) -> Slate | None:
    """Make the take of its journal; what is known of it where it was recorded."""
    from assessor.capture import journal
    from assessor.capture.slate import read_slate
    from assessor.history.licks import sheet_of
    from assessor.web.takes import TAKE

    recorded = take.folder / TAKE
    if take.journal.exists() and take.frames:
        sheet = sheet_of(asked) or ""
        slate = take.slate(asked.title, lick_file, sheet)
        return journal.finish(take.journal, recorded, slate)
    return read_slate(recorded) if recorded.exists() else None


def _settings(about: About, slate: Slate | None) -> Settings:
    from assessor.assessment import Settings
    from assessor.measures.clock import Click
    from assessor.measures.tolerance import parse_tolerance

    heard = slate.click_in_take if slate is not None else None
    return Settings(
        about.tempo_bpm,
        None if heard is None else Click(*heard),
        parse_tolerance(about.tolerance),
    )


def _summary(found: Assessment, heard: Recording) -> dict[str, object]:
    """What lists show, without opening the whole result."""
    best = found.best_pass
    return {
        "mark": best.mark.value,
        "right": len(best.accuracy.right),
        "notes": best.accuracy.judged,
        "passes": len(found.passes),
        "tempo_bpm": best.performed.tempo_ratio * found.lick.tempo_bpm,
        "duration_s": heard.duration_s,
        "sha256": heard.digest,
    }


def main(words: list[str]) -> None:
    """Listen to the take of a folder, within limits."""
    folder, lick_file, memory_mb, cpu_s = words
    limit(int(memory_mb), int(cpu_s))
    from assessor.web.takes import KeptTake

    listen(KeptTake(Path(folder)), Path(lick_file))


if __name__ == "__main__":
    main(sys.argv[1:])
