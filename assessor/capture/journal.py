"""Sound on its way to the disk, whatever happens.

While recording, the sound grows in a WAV file beside the take to be (its name with
``.part.wav`` added), 32-bit floats with the slate in its comment, nothing held back in
the program.  In the end it becomes a FLAC file and goes away.  Where a program was
killed before, the next one finds the WAV file and makes the take of it.
"""

from __future__ import annotations

import io
import json
import os
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np

from assessor import decoding
from assessor.capture.slate import Ended, Samples, Slate, slate_of, tags_of, write_flac
from assessor.sound_level import equivalent_level_dbfs

SUFFIX = ".part.wav"
SYNC_S = 1.0
LEVEL_BLOCK_S = 60.0
NO_PEAK = 1e-6


class Journal:
    """A growing file.

    Parameters
    ----------
    take : Path
        The FLAC file it is to become; must not be there yet.
    sample_rate_hz : int
    slate : Slate
        As far as it is known.

    Raises
    ------
    OSError
        When the file cannot be made.
    """

    def __init__(self, take: Path, sample_rate_hz: int, slate: Slate) -> None:
        self.take, self.slate = take, slate
        self.path = take.with_name(take.name + SUFFIX)
        self.sample_rate_hz = sample_rate_hz
        self.frames = 0
        self._file = self.path.open("xb", buffering=0)
        _lock(self._file.fileno())
        self._write(_header(sample_rate_hz, slate))
        self._synced_s = time.monotonic()

    def write(self, block: Samples) -> None:
        """Add mono frames, shape=(n,).

        Raises
        ------
        OSError
            When the disk takes no more.
        """
        self._write(block.astype("<f4").tobytes())
        self.frames += len(block)
        if time.monotonic() - self._synced_s > SYNC_S:
            os.fsync(self._file.fileno())
            self._synced_s = time.monotonic()

    def _write(self, data: bytes) -> None:
        if self._file.write(data) < len(data):
            message = "the disk takes no more"
            raise OSError(message)

    def close(self) -> None:
        """Let go of the file; what was written stays, until `finish`."""
        self._file.close()

    def discard(self) -> None:
        """Remove a file that is not worth keeping."""
        self.close()
        self.path.unlink(missing_ok=True)


def _header(sample_rate_hz: int, slate: Slate) -> bytes:
    """Beginning of a WAV file that promises no length, with the slate in it."""
    import soundfile

    stream = io.BytesIO()
    with soundfile.SoundFile(
        stream, "w", sample_rate_hz, 1, subtype="FLOAT", format="WAV"
    ) as sound:
        sound.comment = json.dumps(tags_of(slate), ensure_ascii=False)
        sound.write(np.zeros(0, np.float32))
    return stream.getvalue()


def finish(journal: Path, take: Path, slate: Slate) -> Slate:
    """Make the take of a journal, and remove the journal.

    Parameters
    ----------
    journal, take : Path
    slate : Slate
        All but the levels.

    Returns
    -------
    Slate
        As it is in the take.

    Raises
    ------
    OSError
        When the take cannot be written; the journal is still there then.
    NotSound, BrokenOff
        When the journal is none, or holds nothing.
    """
    sound = decoding.open_sound(journal)
    rate_hz = sound.sample_rate_hz
    peak, energy, frames = NO_PEAK, 0.0, 0
    for part in _joined(sound.blocks(), round(LEVEL_BLOCK_S * rate_hz)):
        peak = max(peak, float(np.abs(part).max()))
        energy += len(part) * 10 ** (equivalent_level_dbfs(part, rate_hz) / 10)
        frames += len(part)
    if not frames:
        message = "it holds no sound"
        raise decoding.NotSound(message)
    whole = replace(
        slate,
        peak_dbfs=20 * float(np.log10(peak)),
        level_dbfs=10 * float(np.log10(energy / frames)),
    )
    blocks = (block[0] for block in sound.blocks())
    write_flac(take, blocks, rate_hz, whole)
    journal.unlink()
    return whole


def _joined(blocks: Iterator[Samples], frames: int) -> Iterator[Samples]:
    """Blocks put together to about so many frames, mono."""
    parts: list[Samples] = []
    for block in blocks:
        parts.append(block[0])
        if sum(map(len, parts)) >= frames:
            yield np.concatenate(parts)
            parts = []
    if parts:
        yield np.concatenate(parts)


def recover(folder: Path) -> list[Path]:
    """Make takes of what killed programs have left in a folder.

    Returns
    -------
    list of Path
        The takes, in order of name.  Journals that are still being written, by
        another program, are left alone, as is what is no journal.
    """
    found = []
    for journal in sorted(folder.glob(f"*.flac{SUFFIX}")):
        if _is_being_written(journal):
            continue
        slate = _slate_of_journal(journal)
        if slate is None:
            continue
        take = journal.with_name(journal.name.removesuffix(SUFFIX))
        take = free_name(take) if take.exists() else take
        try:
            finish(journal, take, replace(slate, ended=Ended.KILLED))
        except (decoding.NotSound, decoding.BrokenOff):
            journal.unlink()  # our own, and killed before any sound came
            continue
        found.append(take)
    return found


def free_name(take: Path) -> Path:
    """Path itself, or with a number, so that neither take nor journal is there.

    >>> free_name(Path("no such folder/take.flac")).name
    'take.flac'
    """
    names = [take, *(take.with_stem(f"{take.stem}-{k}") for k in range(2, 1000))]
    free = [
        name
        for name in names
        if not (name.exists() or name.with_name(name.name + SUFFIX).exists())
    ]
    return free[0]


def _slate_of_journal(journal: Path) -> Slate | None:
    import soundfile

    try:
        with soundfile.SoundFile(journal) as sound:
            return slate_of(json.loads(sound.comment))
    except (soundfile.LibsndfileError, ValueError, AttributeError):
        return None


def _lock(number: int) -> None:
    """Mark a file as being written, where the system can (POSIX)."""
    try:
        import fcntl
    except ImportError:  # there an open file cannot be replaced, which does as well
        return
    fcntl.flock(number, fcntl.LOCK_EX | fcntl.LOCK_NB)


def _is_being_written(journal: Path) -> bool:
    try:
        import fcntl
    except ImportError:
        return False
    with journal.open("rb") as file:
        try:
            fcntl.flock(file.fileno(), fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            return True
    return False
