"""Files for their owner alone, written whole or not at all."""

from __future__ import annotations

import os
from pathlib import Path
from typing import IO

OWNER_FILE, OWNER_FOLDER = 0o600, 0o700
PARTS = ".*.part"  # names of files that are not whole yet


def open_private(file: Path, flags: int) -> IO[bytes]:
    """Open a file for its owner alone, and make it when it is not there."""
    return os.fdopen(os.open(file, flags | os.O_CREAT, OWNER_FILE), "ab+")


def replace_private(file: Path, content: str | bytes, mode: int = OWNER_FILE) -> None:
    """Write a whole file in the place of another; it is on the disk on return."""
    whole = content.encode() if isinstance(content, str) else content
    part = file.with_name(f".{file.name}.{os.getpid()}.part")
    try:
        handle = os.open(part, os.O_CREAT | os.O_WRONLY | os.O_TRUNC, mode)
        with os.fdopen(handle, "wb") as stream:
            stream.write(whole)
            stream.flush()
            os.fsync(stream.fileno())
        os.replace(part, file)
    except OSError:
        part.unlink(missing_ok=True)
        raise
