"""Sound files of any kind, as blocks of samples.

Knows files, no music, and judges nothing: it says what a file promises and what
it gives.  soundfile reads WAV, FLAC, AIFF, CAF, Ogg Vorbis and Opus, MP3 and
their relatives; PyAV the rest (m4a, mp4, mov, webm, mkv, 3gp, ...).  What a file
is, is told from its bytes, never from its name.

Known limits: a file cut short is recognised where its format says how much is to
come.  Raw AAC, MP3 without a Xing header and live WebM do not: cut between two
packets they read as shorter files.  So do RF64, Wave64 and AU.
"""

from __future__ import annotations

import struct
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, BinaryIO

import numpy as np
import numpy.typing as npt

Block = npt.NDArray[np.float32]

BLOCK_FRAMES = 8192  # small enough to stay in the processor's cache
FULL_SCALE = 0.9999  # 16-bit sound ends at 32767 / 32768
FULL_SCALE_8_BIT = 127 / 128
# A file may stop this far before its promise without being called cut: writers
# count their own headers in (up to some hundred bytes), decoders differ by an MP3
# frame or two.
SLACK_BYTES = 512
SLACK_S = 0.1
# A recorder that never came back to fill in the length leaves one of these.
UNKNOWN_LENGTH_BYTES = 0x7FFF_0000
UNKNOWN_LENGTH_FRAMES = 2**62
MOST_CHUNKS = 4096

# PyAV opens playlists, which fetch other files, and pictures and text as well;
# these are the containers of sound.
CONTAINERS = (
    "aac,ac3,aiff,amr,ape,asf,au,avi,caf,flac,flv,matroska,webm,mov,mp4,m4a,"
    "3gp,3g2,mj2,mp3,mpeg,mpegts,ogg,tta,w64,wav,wv"
)


class NotSound(Exception):
    """A file in which no sound is recognised; the text says why, in one clause."""


class BrokenOff(Exception):
    """A file that ends, or cannot be decoded, before its own end."""


@dataclass(frozen=True)
class Sound:
    """An opened sound, not yet decoded.

    Attributes
    ----------
    sample_rate_hz : int
    channels : int
    full_scale : float
        Largest sample the format can hold, full scale = 1.
    overshoots : bool
        True for formats in which samples beyond full scale are sound
        (floating point).
    promised_s : float or None
        Length according to the header, seconds; None where it says nothing
        that can be relied on.
    blocks : callable
        A fresh pass over the sound: blocks of shape (channels, frames), frames
        > 0.  Raises `BrokenOff` after the last block of a file that is cut short.
    """

    sample_rate_hz: int
    channels: int
    full_scale: float
    overshoots: bool
    promised_s: float | None
    blocks: Callable[[], Iterator[Block]]


def open_sound(path: Path) -> Sound:
    """Open a sound file and read its header.

    Raises
    ------
    NotSound
        When neither library recognises sound in it.
    BrokenOff
        When it ends before any sound begins.
    OSError
        When the file cannot be opened.
    """
    written = _written_share(path)
    sound = _open_with_soundfile(path, written)
    if sound is not None:
        return sound
    try:
        return _open_with_av(path, written)
    except NotSound as reason:
        if written is not None and written < 1:
            raise BrokenOff from reason
        raise


def _open_with_soundfile(path: Path, written: float | None) -> Sound | None:
    """Open with soundfile, or give None where PyAV is to try."""
    import soundfile

    try:
        with _soundfile(path) as file:
            kind, subtype = file.format, file.subtype
            rate, channels, frames = file.samplerate, file.channels, file.frames
    except soundfile.LibsndfileError:
        return None
    # Left by a recorder that was switched off: a length of zero, or none, in
    # which case libsndfile loses the last block.
    if frames >= UNKNOWN_LENGTH_FRAMES or (frames == 0 and written == np.inf):
        return None
    cut = written is not None and written < 1
    if (kind == "MP3" and not _has_xing(path)) or written == 0:
        promised = None
    else:
        promised = frames / written if written is not None and cut else frames

    def blocks() -> Iterator[Block]:
        read = 0
        try:
            with _soundfile(path) as file:
                while (block := _next_block(file)).size:
                    read += block.shape[1]
                    yield block
        except soundfile.LibsndfileError as error:
            raise BrokenOff from error
        missing_s = 0.0 if promised is None else (promised - read) / rate
        if cut or missing_s > SLACK_S or (kind == "OGG" and not _ogg_ends(path)):
            raise BrokenOff

    return Sound(
        sample_rate_hz=rate,
        channels=channels,
        full_scale=FULL_SCALE_8_BIT if subtype.endswith("8") else FULL_SCALE,
        overshoots=subtype in ("FLOAT", "DOUBLE"),
        promised_s=None if promised is None else promised / rate,
        blocks=blocks,
    )


@contextmanager
def _soundfile(path: Path) -> Iterator[Any]:
    """Open with soundfile, with the file's name kept from it.

    Both soundfile and libsndfile go by the suffix when they know it (``.raw``,
    ``.vox``); a file opened by its number has no name.
    """
    import soundfile

    with (
        path.open("rb") as named,
        open(named.fileno(), "rb", closefd=False) as unnamed,
        soundfile.SoundFile(unnamed) as file,
    ):
        yield file


def _next_block(file: Any) -> Block:
    block = file.read(BLOCK_FRAMES, dtype="float32", always_2d=True)
    return np.ascontiguousarray(block.T)


def _open_with_av(path: Path, written: float | None) -> Sound:
    """Open with PyAV; the first decoded frame tells rate and channels.

    The header does not: HE-AAC announces half its sampling rate.
    """
    import av

    try:
        with _av(path) as container:
            if not container.streams.audio:
                message = "it holds pictures but no sound"
                raise NotSound(message)
            frame = next(container.decode(container.streams.audio[0]), None)
            promised_s = _duration_s(container)
    except (av.FFmpegError, OSError, ValueError) as error:
        message = "no sound format is recognised in it"
        raise NotSound(message) from error
    if frame is None:
        message = "it announces sound but holds none"
        raise NotSound(message)
    rate, channels = frame.sample_rate, frame.layout.nb_channels
    cut = written is not None and written < 1

    def blocks() -> Iterator[Block]:
        try:
            with _av(path) as container:
                yield from _av_blocks(container, rate, channels)
        except (av.FFmpegError, OSError, ValueError) as error:
            raise BrokenOff from error
        if cut:
            raise BrokenOff

    return Sound(
        sample_rate_hz=rate,
        channels=channels,
        full_scale=FULL_SCALE_8_BIT if frame.format.bytes == 1 else FULL_SCALE,
        overshoots=False,
        promised_s=promised_s,
        blocks=blocks,
    )


@contextmanager
def _av(path: Path) -> Iterator[Any]:
    """Open with PyAV, by content: given a file object it sees no address."""
    import av

    with (
        path.open("rb") as file,
        av.open(file, options={"format_whitelist": CONTAINERS}) as container,
    ):
        yield container


def _duration_s(container: Any) -> float | None:
    """Length written in the container, seconds; other kinds only estimate it."""
    if not container.format.name.startswith(("mov", "matroska")):
        return None
    stream = container.streams.audio[0]
    if stream.duration is not None:
        return float(stream.duration * stream.time_base)
    return None if container.duration is None else container.duration / 1e6


def _av_blocks(container: Any, rate: int, channels: int) -> Iterator[Block]:
    """Decode to float, some frames (of 20 ms or so) to a block."""
    import av

    to_float = av.AudioResampler(format="fltp")
    waiting: list[Block] = []
    frames = 0
    for packed in container.decode(container.streams.audio[0]):
        if (packed.sample_rate, packed.layout.nb_channels) != (rate, channels):
            message = "sampling rate or channels change on the way"
            raise ValueError(message)
        waiting += [_planes(frame) for frame in to_float.resample(packed)]
        frames += packed.samples
        if frames >= BLOCK_FRAMES:
            yield np.concatenate(waiting, axis=1)
            waiting, frames = [], 0
    if waiting:
        yield np.concatenate(waiting, axis=1)


def _planes(frame: Any) -> Block:
    planes: Block = frame.to_ndarray()
    return planes


# --- What a header promises -------------------------------------------------


def _written_share(path: Path) -> float | None:
    """Share of the promised bytes of sound that the file holds.

    Returns
    -------
    float or None
        1 = complete, below 1 = cut short, infinite = none promised but some
        there; None where the format promises nothing.
    """
    size = path.stat().st_size
    with path.open("rb") as file:
        head = file.read(12)
        if head[:4] in _CHUNKED:
            found = _find_chunk(file, size, _CHUNKED[head[:4]])
        elif head[4:8] == b"ftyp":
            found = _find_box(file, size)
        elif head[:4] == _EBML:
            found = _find_segment(file, size)
        else:
            return None
    if found is None:
        return None
    promised, present = found
    if promised >= UNKNOWN_LENGTH_BYTES and present < promised:
        return None
    if promised == 0:
        return np.inf if present > 0 else 1.0
    return 1.0 if promised - present <= SLACK_BYTES else present / promised


@dataclass(frozen=True)
class _Chunked:
    """A family of files made of named, counted chunks, as its standard has it."""

    first: int
    header: struct.Struct
    sound: bytes
    even: bool


_CHUNKED = {
    # Multimedia Programming Interface and Data Specifications 1.0, 1991
    b"RIFF": _Chunked(12, struct.Struct("<4sI"), b"data", even=True),
    # Audio Interchange File Format 1.3, 1989
    b"FORM": _Chunked(12, struct.Struct(">4sI"), b"SSND", even=True),
    # Core Audio Format Specification 1.0, 2005
    b"caff": _Chunked(8, struct.Struct(">4sQ"), b"data", even=False),
}
_EBML = b"\x1a\x45\xdf\xa3"  # RFC 8794
_SEGMENT = b"\x18\x53\x80\x67"  # RFC 9559


def _find_chunk(file: BinaryIO, size: int, kind: _Chunked) -> tuple[int, int] | None:
    """Find the promised and the present size of the chunk that holds the sound."""
    position = kind.first
    for _ in range(MOST_CHUNKS):
        if position > size:
            return None
        file.seek(position)
        header = file.read(kind.header.size)
        if len(header) < kind.header.size:
            return None
        name, promised = kind.header.unpack(header)
        position += kind.header.size
        if name == kind.sound:
            return promised, size - position
        position += promised + (promised % 2 if kind.even else 0)
    return None


def _find_box(file: BinaryIO, size: int) -> tuple[int, int] | None:
    """Find the first box of an MP4 that reaches past the end (ISO 14496-12, 4.2).

    An MP4 without its index, the box ``moov``, has promised one.
    """
    position, names = 0, set[bytes]()
    while position + 8 <= size:
        file.seek(position)
        promised, name, large = struct.unpack(">I4sQ", file.read(16).ljust(16, b"\0"))
        if promised == 1:
            promised = large
        if promised == 0:  # to the end of the file
            promised = size - position
        if promised < 8 or len(names) > MOST_CHUNKS:
            return None
        if position + promised > size:
            return promised, size - position
        names.add(name)
        position += promised
    return (1, 1) if b"moov" in names else (size + SLACK_BYTES + 1, size)


def _find_segment(file: BinaryIO, size: int) -> tuple[int, int] | None:
    """Find the promised and present size of the body of a WebM or Matroska."""
    file.seek(4)
    position = 4 + sum(_read_vint(file))
    file.seek(min(position, size))
    if file.read(4) != _SEGMENT:
        return None
    length, promised = _read_vint(file)
    if promised == 2 ** (7 * length) - 1:  # all ones: unknown, as in a live stream
        return None
    return promised, size - position - 4 - length


def _read_vint(file: BinaryIO) -> tuple[int, int]:
    """Length in bytes and value of a variable-size integer (RFC 8794, 4)."""
    first = file.read(1)
    length = 9 - first[0].bit_length() if first else 1
    number = int.from_bytes(first + file.read(length - 1), "big")
    return length, number & (2 ** (7 * length) - 1)


def _ogg_ends(path: Path) -> bool:
    """Tell whether the last page of an Ogg file says that it is the last one.

    RFC 3533, 6: bit 2 of the page's flags; a page has at most 65,307 bytes.
    """
    with path.open("rb") as file:
        file.seek(max(0, path.stat().st_size - 2 * 65307))
        tail = file.read()
    page = tail.rfind(b"OggS")
    return 0 <= page < len(tail) - 5 and bool(tail[page + 5] & 4)


def _has_xing(path: Path) -> bool:
    """Tell whether the first frame of an MP3 counts the frames that follow.

    Without it libsndfile estimates the length from the first frames' bit rate.
    """
    with path.open("rb") as file:
        head = file.read(10)
        skip = 0
        if head[:3] == b"ID3" and len(head) == 10:  # size: four times seven bits
            skip = 10 + sum(head[9 - i] << 7 * i for i in range(4))
        file.seek(skip)
        first = file.read(2048)
    return b"Xing" in first or b"Info" in first
