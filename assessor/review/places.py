"""Where takes lie: a folder of this machine, or a place that fsspec knows.

Nothing is opened here but to take a digest of a file of this machine; a file elsewhere
is known by what its place says of it (size and version), and read where it is assessed.
"""

from __future__ import annotations

import hashlib
import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path, PurePosixPath
from typing import Any

from assessor.errors import RecordingError, ReviewError
from assessor.review.books import PLAN

# What lies beside takes without being one: texts, licks, and litter of desktops
NO_TAKES = {".txt", ".md", ".toml", ".lick", ".musicxml", ".xml", ".mxl", ".mid"}
NO_TAKES |= {".midi", ".ini", ".db", ".part"}
JOINERS = "\u200c\u200d"  # within words of Persian and of Indian scripts
MANY_BYTES = 2**20


@dataclass(frozen=True)
class HandedIn:
    """One file that may be a take.

    Attributes
    ----------
    name : str
        As seen from the folder, with ``/``.
    address : str
        Absolute path, or URL.
    stamp : str
        Changes when the file does, without reading it.
    at : datetime or None
        When it was last changed; None = not known.
    """

    name: str
    address: str
    stamp: str
    at: datetime | None


def is_url(folder: str) -> bool:
    """Say whether takes lie at a URL."""
    return "://" in folder


def handed_in(folder: str, without: Path | None = None) -> list[HandedIn]:
    """Every file in a folder and below that may be a take, by name.

    Parameters
    ----------
    folder : str
        Path, or a URL such as ``s3://bucket/week-3`` or ``file:///share/week-3``.
    without : Path or None
        A folder that is passed over: where the review itself is kept, as those of other
        reviews are.

    Raises
    ------
    ReviewError
        When there is no such folder, or its place is not known.
    """
    found = _remote(folder) if is_url(folder) else _local(Path(folder), without)
    return sorted(found, key=lambda one: one.name)


def printable(name: str) -> str:
    r"""Name of a file as it may be shown: whoever hands in chooses it.

    >>> printable("ada\x1b[2J.wav"), printable("ada\udcff.wav")
    ('ada?[2J.wav', 'ada?.wav')
    """
    return "".join(
        sign if sign.isprintable() or sign in JOINERS else "?" for sign in name
    )


def _may_be_take(name: str) -> bool:
    path = PurePosixPath(name)
    hidden = any(part.startswith(".") for part in path.parts)
    return not hidden and path.suffix.lower() not in NO_TAKES


def _local(folder: Path, without: Path | None) -> Iterator[HandedIn]:
    if not folder.is_dir():
        message = "there is no such folder; name the one the takes lie in"
        raise ReviewError(message, str(folder))
    passed_over = None if without is None else without.resolve()
    for place, below, files in os.walk(folder):
        inside = Path(place)
        below[:] = [
            name
            for name in below
            if (inside / name).resolve() != passed_over
            and not (inside / name / PLAN).exists()
        ]
        for file in files:
            path = inside / file
            name = printable(path.relative_to(folder).as_posix())
            if not _may_be_take(name):
                continue
            try:
                facts = path.stat()
            except OSError:  # a link that leads nowhere: reading it gives the reason
                yield HandedIn(name, str(path.absolute()), "", None)
                continue
            at = datetime.fromtimestamp(facts.st_mtime, UTC)
            stamp = f"{facts.st_size} {facts.st_mtime_ns}"
            yield HandedIn(name, str(path.absolute()), stamp, at)


def _remote(url: str) -> Iterator[HandedIn]:
    files = _filesystem(url)
    root = files._strip_protocol(url).rstrip("/")
    try:
        names = files.find(root)
    except (OSError, ValueError) as problem:
        message = f"cannot be listed: {problem}"
        raise ReviewError(message, url) from problem
    if not names and not files.exists(root):
        message = "there is no such folder; name the one the takes lie in"
        raise ReviewError(message, url)
    reviews = tuple(
        path.removesuffix(PLAN) for path in names if path.endswith(f"/{PLAN}")
    )
    for path in names:
        name = printable(path[len(root) :].lstrip("/"))
        if path.startswith(reviews) or not _may_be_take(name):
            continue
        stamp = str(files.ukey(path))
        try:
            at = files.modified(path)
        except (NotImplementedError, KeyError):
            at = None
        yield HandedIn(name, files.unstrip_protocol(path), stamp, _utc(at))


def _utc(at: datetime | None) -> datetime | None:
    return at if at is None or at.tzinfo else at.replace(tzinfo=UTC)


def _filesystem(url: str) -> Any:
    try:
        import fsspec
    except ModuleNotFoundError as problem:
        message = "a URL needs one more package: pip install 'assessor[cluster]'"
        raise ReviewError(message, url) from problem
    try:
        return fsspec.core.url_to_fs(url)[0]
    except (ImportError, ValueError) as problem:
        message = f"this place is not known: {problem}"
        raise ReviewError(message, url) from problem


def digest_of(one: HandedIn) -> str:
    """SHA-256 of a file's bytes; of a file elsewhere, of its address and stamp."""
    if is_url(one.address):
        return hashlib.sha256(f"{one.address} {one.stamp}".encode()).hexdigest()
    try:
        with Path(one.address).open("rb") as stream:
            return hashlib.file_digest(stream, "sha256").hexdigest()
    except OSError:  # the row says why, once it is read in earnest
        return hashlib.sha256(f"unread {one.address!a}".encode()).hexdigest()


@contextmanager
def at_hand(address: str) -> Iterator[Path]:
    """A take as a file of this machine; one from elsewhere is gone afterwards.

    Raises
    ------
    RecordingError
        When it cannot be fetched.
    """
    if not is_url(address):
        yield Path(address)
        return
    suffix = PurePosixPath(address).suffix
    with tempfile.TemporaryDirectory(prefix="assessor-") as folder:
        copy = Path(folder) / f"take{suffix}"
        try:
            _fetch(address, copy)
        except (OSError, ReviewError) as problem:
            message = f"the file cannot be fetched ({type(problem).__name__})"
            raise RecordingError(message, address) from problem
        yield copy


def _fetch(address: str, copy: Path) -> None:
    import fsspec

    with fsspec.open(address, "rb") as source, copy.open("wb") as target:
        while block := source.read(MANY_BYTES):
            target.write(block)
