"""Sound for a page: the take, or its drawn passes, and the lick as it is written."""

from __future__ import annotations

import base64
import io
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from assessor import demo
from assessor.lick.notation import Lick
from assessor.recording import Recording
from assessor.sound_level import equivalent_level_dbfs

PCM_BITS = 16
# A minute of FLAC is 2 to 3 MB of page: of a longer take only what is drawn is heard.
MOST_WHOLE_S = 90.0
ROOM_S = 0.5  # heard before and after a pass
LOUDEST = 0.99
SOFTEST_DB = -40.0  # below what a demo comes with: softer is lost in 16 bits
FADE_S = 0.02  # of what still rings at the last bar line
# A browser cannot seek into the last one to three blocks of a FLAC file without a seek
# table, and plays nothing any more once it was asked to (seen in Chromium at 8 to 96
# kHz).  So silence follows what is to be heard; a block has 4096 samples.
SILENT_SAMPLES = 4 * 4096


@dataclass(frozen=True)
class Clip:
    """A stretch of sound.

    Attributes
    ----------
    address : str
        FLAC in a ``data:`` address.
    start_s : float
        Where in the take it begins.
    length_s : float
        Without the silence that may follow.
    line_s : tuple of float
        For a demo, the onset of every note and the end of the last; else empty.
    """

    address: str
    start_s: float
    length_s: float
    line_s: tuple[float, ...] = ()


def take_clips(
    recording: Recording, spans_s: Sequence[tuple[float, float]]
) -> tuple[Clip, ...]:
    """The whole take where it is short, else a clip for each span.

    Parameters
    ----------
    recording : Recording
    spans_s : sequence of (float, float)
        Where the drawn passes begin and end.
    """
    rate_hz = recording.sample_rate_hz
    if recording.duration_s <= MOST_WHOLE_S:
        address = _address(_and_silence(recording.samples), rate_hz)
        return (Clip(address, 0.0, recording.duration_s),)
    clips = []
    for start_s, end_s in spans_s:
        first = round(max(start_s - ROOM_S, 0.0) * rate_hz)
        part = recording.samples[first : round((end_s + ROOM_S) * rate_hz)]
        address = _address(_and_silence(part), rate_hz)
        clips.append(Clip(address, first / rate_hz, len(part) / rate_hz))
    return tuple(clips)


def demo_clip(
    lick: Lick, *, moved_cents: float = 0.0, level_dbfs: float | None = None
) -> Clip:
    """A lick at the tempo it was asked for, without a click.

    Parameters
    ----------
    lick : Lick
    moved_cents : float
        The lick this much higher than written.
    level_dbfs : float or None
        A-weighted level it is brought to, so that it is as loud as what it is held
        against; None leaves it as it is.
    """
    manner = demo.Manner(click=False, count_in_bars=0, moved_cents=moved_cents)
    played = demo.play(lick, manner)
    onsets_s = played.onsets_s[0]
    end_s = onsets_s[-1] + lick.ends_s()[-1] - lick.onsets_s()[-1]
    samples = played.samples
    if level_dbfs is not None:
        samples = _levelled(samples, level_dbfs)
    address = _address(_and_silence(samples), demo.SAMPLE_RATE_HZ)
    line_s = tuple(float(t) for t in (*onsets_s, end_s))
    return Clip(address, 0.0, played.duration_s, line_s)


def practice_clip(lick: Lick, over_midi: tuple[tuple[int, ...], ...] = ()) -> Clip:
    """A lick with a click after a bar of clicks, from bar line to bar line.

    Heard over and over, it stays in time.

    Parameters
    ----------
    lick : Lick
    over_midi : tuple of tuple of int
        What it is played over, as `assessor.demo.Manner` has it.
    """
    manner = demo.Manner(over_midi=over_midi)
    played = demo.play(lick, manner)
    length_s = demo.length_s(lick, manner)
    samples = np.zeros(round(length_s * demo.SAMPLE_RATE_HZ), np.float32)
    heard = played.samples[: len(samples)]
    samples[: len(heard)] = heard
    fade = round(FADE_S * demo.SAMPLE_RATE_HZ)
    samples[-fade:] *= np.linspace(1, 0, fade, dtype=np.float32)
    start_s = float(played.onsets_s[0, 0] - lick.onsets_s()[0])
    line_s = (*played.onsets_s[0], start_s + lick.ends_s()[-1])
    address = _address(samples, demo.SAMPLE_RATE_HZ)
    return Clip(address, 0.0, length_s, tuple(float(t) for t in line_s))


def level_dbfs(recording: Recording, span_s: tuple[float, float]) -> float:
    """A-weighted level of a stretch of a recording; of it all, if that is outside."""
    first, end = (round(max(at_s, 0) * recording.sample_rate_hz) for at_s in span_s)
    part = recording.samples[first:end]
    heard = part if len(part) else recording.samples
    return equivalent_level_dbfs(heard, recording.sample_rate_hz)


def _levelled(samples: Any, wanted_dbfs: float) -> Any:
    """Samples at a level, or as near as they fit and can still be heard."""
    gain_db = wanted_dbfs - equivalent_level_dbfs(samples, demo.SAMPLE_RATE_HZ)
    gain = 10 ** (max(gain_db, SOFTEST_DB) / 20)
    return samples * np.float32(min(gain, LOUDEST / float(np.abs(samples).max())))


def _and_silence(samples: Any) -> Any:
    """Samples, and after them what makes their last note one that can be sought."""
    return np.pad(samples, (0, SILENT_SAMPLES))


def _address(samples: Any, sample_rate_hz: int) -> str:
    """Mono samples as FLAC in a ``data:`` address."""
    import soundfile

    stream = io.BytesIO()
    subtype = f"PCM_{PCM_BITS}"
    soundfile.write(stream, samples, sample_rate_hz, format="FLAC", subtype=subtype)
    return "data:audio/flac;base64," + base64.b64encode(stream.getvalue()).decode()
