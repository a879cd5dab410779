"""Sound for a page: the take, or its drawn passes, and the lick as it is written."""

from __future__ import annotations

import base64
import io
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from assessor import demo
from assessor.lick.notation import Lick
from assessor.recording import Recording

PCM_BITS = 16
# A minute of FLAC is 2 to 3 MB of page: of a longer take only what is drawn is heard.
MOST_WHOLE_S = 90.0
ROOM_S = 0.5  # heard before and after a pass


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
        address = _address(recording.samples, rate_hz)
        return (Clip(address, 0.0, recording.duration_s),)
    clips = []
    for start_s, end_s in spans_s:
        first = round(max(start_s - ROOM_S, 0.0) * rate_hz)
        part = recording.samples[first : round((end_s + ROOM_S) * rate_hz)]
        clip = Clip(_address(part, rate_hz), first / rate_hz, len(part) / rate_hz)
        clips.append(clip)
    return tuple(clips)


def demo_clip(lick: Lick) -> Clip:
    """A lick at the tempo it was asked for, without a click."""
    played = demo.play(lick, demo.Manner(click=False, count_in_bars=0))
    onsets_s = played.onsets_s[0]
    end_s = onsets_s[-1] + lick.ends_s()[-1] - lick.onsets_s()[-1]
    address = _address(played.samples, demo.SAMPLE_RATE_HZ)
    line_s = tuple(float(t) for t in (*onsets_s, end_s))
    return Clip(address, 0.0, played.duration_s, line_s)


def _address(samples: Any, sample_rate_hz: int) -> str:
    """Mono samples as FLAC in a ``data:`` address."""
    import soundfile

    stream = io.BytesIO()
    subtype = f"PCM_{PCM_BITS}"
    soundfile.write(stream, samples, sample_rate_hz, format="FLAC", subtype=subtype)
    return "data:audio/flac;base64," + base64.b64encode(stream.getvalue()).decode()
