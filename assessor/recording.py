"""Any sound file to mono samples, with checks.

A recording is refused (`RecordingError`) when nothing true can be said from it,
and flagged (`Flag`) when something can but the sound makes it harder.

Conventions
-----------
Full scale is ±1; dBFS is the level against a constant at full scale, so a sine
that just fits has −3 dBFS.  Times are seconds of the file's own clock.  The
sampling rate is kept, but for recordings of more than ten minutes.

The measurements behind the flags stand in `sound_check`.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import numpy.typing as npt
import soxr

from assessor import decoding
from assessor.decoding import Block, Sound
from assessor.errors import RecordingError
from assessor.sound_check import Flag, FloatArray, check

__all__ = ["Flag", "Recording", "from_array", "read"]

# What is read at all.  The lowest rate still holds four partials of the highest
# note a guitar has (1,319 Hz at the 24th fret, common practice).
LOWEST_RATE_HZ = 8_000
HIGHEST_RATE_HZ = 192_000
MOST_CHANNELS = 8
# An hour at 44.1 kHz would take 635 MB.
LONG_S = 600.0
LONG_RATE_HZ = 22_050
# A 16-bit file has three bits left below this peak; an input with nothing
# plugged in lies about there.
SILENT_PEAK_DBFS = -70.0
# Integers kept as floats without scaling: ±32,768 is +90 dB.
LOUDEST_PEAK_DBFS = 40.0
NO_PEAK = 1e-10

# A mean of two such channels loses three quarters of its power.
OUT_OF_PHASE_CORRELATION = -0.5
# A channel this far below the loudest adds less than 1 dB to the mean, but all
# its noise.
UNUSED_CHANNEL_DB = -20.0


@dataclass(frozen=True)
class Recording:
    """Mono sound, read-only.

    Attributes
    ----------
    samples : shape=(n,), float32
        Full scale = ±1.
    sample_rate_hz : int
    name : str
        File name for people.
    digest : str
        SHA-256 of the file's bytes, hex.
    flags : tuple of Flag
        What is wrong with the sound without making it useless.
    """

    samples: npt.NDArray[np.float32] = field(compare=False, repr=False)
    sample_rate_hz: int
    name: str
    digest: str
    flags: tuple[Flag, ...] = ()

    def __post_init__(self) -> None:
        """Keep a read-only copy, or the array itself when it is read-only."""
        samples = np.asarray(self.samples, dtype=np.float32)
        if samples.flags.writeable:
            samples = samples.copy()
            samples.flags.writeable = False
        object.__setattr__(self, "samples", samples)

    @property
    def duration_s(self) -> float:
        """Length in seconds."""
        return len(self.samples) / self.sample_rate_hz


def read(path: str | Path, *, shortest_s: float = 0.0) -> Recording:
    """Read a sound file, mix it to mono and check it.

    Parameters
    ----------
    path : str or Path
        WAV, FLAC, AIFF, CAF, Ogg Vorbis, Opus, MP3, m4a, mp4, mov, webm and what
        else soundfile and PyAV decode; 8 to 192 kHz, 1 to 8 channels, 8 to 64
        bit.  Told by its content, not by its name.
    shortest_s : float
        Length of the shortest take that can hold what is looked for, seconds,
        inclusive.

    Returns
    -------
    Recording
        At the file's own sampling rate (above ten minutes at no more than the
        22,050 Hz that the ears work at), mean removed.  Of several channels, the
        mean of those that carry the signal; the loudest alone where two of them
        would cancel.

    Raises
    ------
    RecordingError
        When the file is missing, empty, no sound, cut short, silent, too short,
        of a kind not supported, or holds samples that are no numbers.
    """
    shown, file = str(path), Path(path)
    try:
        digest = _digest(shown)
        sound = decoding.open_sound(file)
        return _listen(
            sound, shown, name=file.name, digest=digest, shortest_s=shortest_s
        )
    except decoding.NotSound as reason:
        message = (
            f"this is no sound file that can be read: {reason}; export the take as "
            "WAV, FLAC, MP3 or m4a"
        )
        raise RecordingError(message, shown) from reason
    except decoding.BrokenOff as reason:
        raise _broken_off(shown, 0.0, None) from reason
    except OSError as reason:
        message = (
            f"the file cannot be read ({reason.strerror or reason}); check its name "
            "and that you may open it"
        )
        raise RecordingError(message, shown) from reason


def from_array(
    samples: npt.NDArray[np.floating], sample_rate_hz: int, name: str = "array"
) -> Recording:
    """Check samples that are already in memory as `read` checks a file.

    Parameters
    ----------
    samples : shape=(n,) or (n, channels), floating point
        Full scale = ±1.
    sample_rate_hz : int
    name : str
        What to call it in messages.

    Returns
    -------
    Recording
        Its digest is that of the samples as little-endian float32.

    Raises
    ------
    TypeError
        When the samples are not floating point.
    ValueError
        When the array has neither one nor two dimensions.
    RecordingError
        As for `read`.

    Examples
    --------
    >>> tone = 0.3 * np.sin(2 * np.pi * 220 * np.arange(8000) / 8000)
    >>> from_array(tone, 8000, "tone").duration_s
    1.0
    """
    array = np.asarray(samples)
    if array.dtype.kind != "f":
        message = f"samples of type {array.dtype}; give floats with full scale ±1"
        raise TypeError(message)
    if array.ndim not in (1, 2):
        message = f"samples of shape {array.shape}; give (n,) or (n, channels)"
        raise ValueError(message)
    if array.ndim == 1:
        array = array[:, np.newaxis]
    plain = np.ascontiguousarray(array, dtype="<f4")
    rows = np.ascontiguousarray(plain.T)

    def blocks() -> Iterator[Block]:
        for start in range(0, len(plain), decoding.BLOCK_FRAMES):
            yield rows[:, start : start + decoding.BLOCK_FRAMES]

    sound = Sound(
        sample_rate_hz=sample_rate_hz,
        channels=plain.shape[1],
        full_scale=decoding.FULL_SCALE,
        overshoots=True,
        promised_s=None,
        blocks=blocks,
    )
    digest = hashlib.sha256(plain.data).hexdigest()
    return _listen(sound, name, name=name, digest=digest, shortest_s=0.0)


def _digest(shown: str) -> str:
    """SHA-256 of a file's bytes; refuses what is no file with anything in it."""
    file = Path(shown)
    if not file.exists():
        message = "there is no such file; check the name and the directory"
        raise RecordingError(message, shown)
    if not file.is_file():
        what = "a directory" if file.is_dir() else "a pipe or a device"
        message = f"this is {what}, not a file; name one sound file"
        raise RecordingError(message, shown)
    with file.open("rb") as opened:
        digest = hashlib.file_digest(opened, "sha256").hexdigest()
        if opened.tell() == 0:
            message = "the file is empty (0 bytes); record or export it again"
            raise RecordingError(message, shown, 0, 1, "bytes")
    return digest


class _Survey:
    """What a first pass over a sound finds, channel by channel."""

    def __init__(self, sound: Sound) -> None:
        self.sound = sound
        self.frames = 0
        self.bad = 0
        self.high = np.full(sound.channels, -np.inf)
        self.low = np.full(sound.channels, np.inf)
        self.clipped = np.zeros(sound.channels, dtype=np.int64)
        self.total = np.zeros(sound.channels)
        self.products = np.zeros((sound.channels, sound.channels))

    def add(self, block: Block) -> None:
        """Take in one block, shape=(channels, frames), frames > 0."""
        self.frames += block.shape[1]
        high, low = block.max(axis=1), block.min(axis=1)
        if not (np.isfinite(high).all() and np.isfinite(low).all()):
            self.bad += int(np.count_nonzero(~np.isfinite(block)))
            return
        self.high = np.maximum(self.high, high)
        self.low = np.minimum(self.low, low)
        if max(high.max(), -low.min()) >= self.sound.full_scale:
            self.clipped += self._at_full_scale(block)
        self.total += block.sum(axis=1, dtype=np.float64)
        if len(block) > 1:
            exact = block.astype(np.float64)
            self.products += exact @ exact.T

    def _at_full_scale(self, block: Block) -> npt.NDArray[np.int64]:
        size = np.abs(block)
        stuck = size >= self.sound.full_scale
        if self.sound.overshoots:  # a float goes on above 1: only what stops there
            stuck &= size <= 1.0
        return np.count_nonzero(stuck, axis=1)

    @property
    def mean(self) -> FloatArray:
        """Mean of each channel, shape=(channels,)."""
        return self.total / self.frames

    @property
    def peak(self) -> float:
        """Largest distance from a channel's mean."""
        return float(np.maximum(self.high - self.mean, self.mean - self.low).max())

    @property
    def covariance(self) -> FloatArray:
        """Covariance of several channels, shape=(channels, channels)."""
        return self.products / self.frames - np.outer(self.mean, self.mean)


def _listen(
    sound: Sound, shown: str, *, name: str, digest: str, shortest_s: float
) -> Recording:
    """Decode, refuse what cannot be assessed, flag the rest."""
    _refuse_kind(sound, shown)
    survey = _Survey(sound)
    mono = _Mono(sound)
    try:
        for block in sound.blocks():
            survey.add(block)
            if sound.channels == 1:
                mono.add(block[0])
    except decoding.BrokenOff as reason:
        read_s = survey.frames / sound.sample_rate_hz
        raise _broken_off(shown, read_s, sound.promised_s) from reason
    _refuse_content(survey, shown, shortest_s)
    weights, phase = _choose_channels(survey)
    if sound.channels > 1:  # which of them to use is known only now: read again
        for block in sound.blocks():
            mono.add(weights.astype(np.float32) @ block)
    samples = mono.finished()
    samples -= np.float32(weights @ survey.mean)
    samples.flags.writeable = False
    # counted at the file's rate, judged at the one that is kept
    kept = mono.sample_rate_hz / sound.sample_rate_hz
    clipped = round(kept * float(survey.clipped[weights > 0].max()))
    flags = phase + check(samples, mono.sample_rate_hz, clipped=clipped)
    return Recording(samples, mono.sample_rate_hz, name, digest, flags)


class _Mono:
    """Collects one channel, block by block; a long one at the rate the ears need."""

    def __init__(self, sound: Sound) -> None:
        self.sample_rate_hz = sound.sample_rate_hz
        self._bytes = bytearray()  # grows in place, whatever length the header claims
        self._resampler: soxr.ResampleStream | None = None
        long = sound.promised_s is not None and sound.promised_s > LONG_S
        if long and sound.sample_rate_hz > LONG_RATE_HZ:
            self._resampler = soxr.ResampleStream(
                sound.sample_rate_hz, LONG_RATE_HZ, 1, dtype="float32"
            )
            self.sample_rate_hz = LONG_RATE_HZ

    def add(self, samples: npt.NDArray[np.float32]) -> None:
        """Take in one block, shape=(n,)."""
        if self._resampler is not None:
            samples = self._resampler.resample_chunk(np.ascontiguousarray(samples))
        self._bytes += samples.tobytes()

    def finished(self) -> npt.NDArray[np.float32]:
        """Everything taken in, writable, shape=(n,)."""
        if self._resampler is not None:
            rest = self._resampler.resample_chunk(np.zeros(0, np.float32), last=True)
            self._bytes += rest.tobytes()
        return np.frombuffer(self._bytes, dtype=np.float32)


def _choose_channels(survey: _Survey) -> tuple[FloatArray, tuple[Flag, ...]]:
    """Weight of each channel in the mono mix, and a flag when two would cancel."""
    if survey.sound.channels == 1:
        return np.ones(1), ()
    covariance = survey.covariance
    power = np.diag(covariance)
    used = power >= power.max() * 10.0 ** (UNUSED_CHANNEL_DB / 10.0)
    spread = np.sqrt(power[used])
    lowest = float((covariance[np.ix_(used, used)] / np.outer(spread, spread)).min())
    if lowest >= OUT_OF_PHASE_CORRELATION:
        return used / np.count_nonzero(used), ()
    message = (
        f"two channels work against each other (correlation {lowest:.2f}) and would "
        "cancel in a mix, so only the loudest is used; look for a reversed polarity "
        "switch or a badly wired cable"
    )
    flag = Flag(
        "out_of_phase", lowest, OUT_OF_PHASE_CORRELATION, "correlation", message
    )
    loudest = np.arange(len(power)) == power.argmax()
    return loudest.astype(np.float64), (flag,)


def _refuse_kind(sound: Sound, shown: str) -> None:
    """Refuse sampling rates and channel counts out of range."""
    rate, channels = sound.sample_rate_hz, sound.channels
    if not LOWEST_RATE_HZ <= rate <= HIGHEST_RATE_HZ:
        limit = LOWEST_RATE_HZ if rate < LOWEST_RATE_HZ else HIGHEST_RATE_HZ
        message = (
            f"the sampling rate is {rate:,} Hz, allowed are {LOWEST_RATE_HZ:,} to "
            f"{HIGHEST_RATE_HZ:,} Hz; export the take at 44,100 or 48,000 Hz"
        )
        raise RecordingError(message, shown, rate, limit, "Hz")
    if not 1 <= channels <= MOST_CHANNELS:
        message = (
            f"the file has {channels} channels, allowed are 1 to {MOST_CHANNELS}; "
            "export the guitar's track alone"
        )
        raise RecordingError(message, shown, channels, MOST_CHANNELS, "channels")


def _refuse_content(survey: _Survey, shown: str, shortest_s: float) -> None:
    """Refuse what holds nothing, no numbers, nothing audible, or too little."""
    if survey.frames == 0:
        message = "the file holds no sound (0 samples); record or export it again"
        raise RecordingError(message, shown, 0, 1, "samples")
    if survey.bad:
        message = (
            f"{survey.bad:,} samples are no numbers (NaN or infinite), allowed are 0; "
            "export the take again"
        )
        raise RecordingError(message, shown, survey.bad, 0, "samples")
    peak_dbfs = 20.0 * float(np.log10(max(survey.peak, NO_PEAK)))
    if peak_dbfs > LOUDEST_PEAK_DBFS:
        message = (
            f"samples reach {peak_dbfs:.0f} dB above full scale, allowed are "
            f"{LOUDEST_PEAK_DBFS:.0f} dB; scale floating-point samples to ±1"
        )
        raise RecordingError(message, shown, peak_dbfs, LOUDEST_PEAK_DBFS, "dBFS")
    if peak_dbfs < SILENT_PEAK_DBFS:
        message = (
            f"the recording is silent: its loudest sample has {peak_dbfs:.0f} dB, a "
            f"take reaches {SILENT_PEAK_DBFS:.0f} dB or more; check which input was "
            "recorded, and the cable"
        )
        raise RecordingError(message, shown, peak_dbfs, SILENT_PEAK_DBFS, "dBFS")
    duration_s = survey.frames / survey.sound.sample_rate_hz
    if duration_s < shortest_s:
        message = (
            f"the recording lasts {duration_s:.2f} s, what it is checked against "
            f"needs {shortest_s:.2f} s or more; record the lick to its end"
        )
        raise RecordingError(message, shown, duration_s, shortest_s, "s")


def _broken_off(shown: str, read_s: float, promised_s: float | None) -> RecordingError:
    """Build the refusal of a file that ends before its own end."""
    if promised_s is not None and promised_s <= read_s:  # counted after the cut
        promised_s = None
    of = "" if promised_s is None else f" of {promised_s:.1f} s"
    message = (
        f"the file breaks off: {read_s:.1f} s{of} could be read; copy or export it "
        "again, or save the part that is there as a new file"
    )
    return RecordingError(message, shown, read_s, promised_s, "s")
