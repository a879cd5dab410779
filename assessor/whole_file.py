"""Files written whole or not at all."""

from __future__ import annotations

import os
from pathlib import Path

USUAL_FILE = 0o666  # less what the user's umask takes away
PARTS = ".*.part"  # names of files that are not whole yet


def write_whole(
    file: Path, content: str | bytes, mode: int = USUAL_FILE, *, synced: bool = False
) -> None:
    """Write a file beside its place first, then put it there.

    Parameters
    ----------
    file : Path
        Written over if it is there.
    content : str or bytes
        Text is written as UTF-8.
    mode : int
        Permissions of the new file, before the umask.
    synced : bool
        Return only when the content is on the disk.

    Raises
    ------
    OSError
        When it cannot be written; what was there before is still whole.
    """
    whole = content.encode() if isinstance(content, str) else content
    part = file.with_name(f".{file.name}.{os.getpid()}.part")
    try:
        handle = os.open(part, os.O_CREAT | os.O_WRONLY | os.O_TRUNC, mode)
        with os.fdopen(handle, "wb") as stream:
            stream.write(whole)
            if synced:
                stream.flush()
                os.fsync(stream.fileno())
        os.replace(part, file)
    except OSError:
        part.unlink(missing_ok=True)
        raise
