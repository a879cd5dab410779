"""Files written whole or not at all."""

from __future__ import annotations

import errno
import os
import stat
from pathlib import Path

import pytest

from assessor.whole_file import PARTS, USUAL_FILE, write_whole


@pytest.mark.parametrize("content", ["é\n", b"\xc3\xa9\n"])
def test_what_is_written_is_all_there_is(tmp_path: Path, content: str | bytes) -> None:
    """Text as UTF-8, line ends as they are, nothing beside it."""
    file = tmp_path / "a.txt"
    file.write_text("something longer that was there before")
    write_whole(file, content)
    assert file.read_bytes() == b"\xc3\xa9\n"
    assert list(tmp_path.iterdir()) == [file]


@pytest.mark.skipif(os.name != "posix", reason="permissions as POSIX has them")
@pytest.mark.parametrize(
    ("mode", "left"), [(USUAL_FILE, 0o640), (0o644, 0o640), (0o600, 0o600)]
)
def test_who_may_read_it(tmp_path: Path, mode: int, left: int) -> None:
    """What was asked for less the umask, also where an open file was before."""
    file = tmp_path / "a.txt"
    file.touch(0o666)
    umask = os.umask(0o027)
    try:
        write_whole(file, "", mode)
    finally:
        os.umask(umask)
    assert stat.S_IMODE(file.stat().st_mode) == left


@pytest.mark.parametrize("step", ["replace", "fsync"])
def test_a_failure_leaves_what_was_there(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, step: str
) -> None:
    """And nothing half-written beside it."""
    file = tmp_path / "a.txt"
    file.write_text("before")

    def full(*_: object) -> None:
        assert list(tmp_path.glob(PARTS))
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(os, step, full)
    with pytest.raises(OSError, match="No space left"):
        write_whole(file, "after", synced=True)
    assert file.read_text() == "before"
    assert list(tmp_path.iterdir()) == [file]


@pytest.mark.parametrize("synced", [False, True])
def test_it_is_on_the_disk_when_asked(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, *, synced: bool
) -> None:
    """All of it, before it is put in place."""
    sizes: list[int] = []
    monkeypatch.setattr(os, "fsync", lambda no: sizes.append(os.fstat(no).st_size))
    write_whole(tmp_path / "a.txt", "12345", synced=synced)
    assert sizes == ([5] if synced else [])
