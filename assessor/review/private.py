"""Files for their owner alone."""

from __future__ import annotations

import os
from pathlib import Path
from typing import IO

from assessor.whole_file import write_whole

OWNER_FILE, OWNER_FOLDER = 0o600, 0o700


def open_private(file: Path, flags: int) -> IO[bytes]:
    """Open a file for its owner alone, and make it when it is not there."""
    return os.fdopen(os.open(file, flags | os.O_CREAT, OWNER_FILE), "ab+")


def replace_private(file: Path, content: str | bytes, mode: int = OWNER_FILE) -> None:
    """Write a whole file in the place of another; it is on the disk on return."""
    write_whole(file, content, mode, synced=True)
