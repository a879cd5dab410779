"""What a desk plays: the lick as it should sound, and the clicks to play to."""

from __future__ import annotations

import io
from dataclasses import dataclass

from assessor import demo
from assessor.capture.clicks import Clicks
from assessor.capture.slate import ClickKind
from assessor.lick.notation import Lick


@dataclass(frozen=True)
class ClickSound:
    """A count-in and one turn of the click after it, which is heard over and over.

    Attributes
    ----------
    wav : bytes
    start_s, sent_s, pass_s : float
        As `assessor.capture.clicks.Clicks` has them.
    """

    wav: bytes
    start_s: float
    sent_s: float
    pass_s: float


def demo_flac(lick: Lick, tempo_bpm: float) -> bytes:
    """Lick at a tempo, after a bar of clicks and with a click."""
    return demo.sound_file(demo.play(lick, demo.Manner((tempo_bpm,))).samples, "flac")


def click_sound(
    lick: Lick, tempo_bpm: float, kind: ClickKind, sample_rate_hz: int
) -> ClickSound:
    """Count-in of one bar and one turn, at the sampling rate of who plays it."""
    import soundfile

    clicks = Clicks(lick.at_tempo(tempo_bpm), kind, sample_rate_hz=sample_rate_hz)
    frames = round((clicks.start_s + clicks.pass_s) * sample_rate_hz)
    stream = io.BytesIO()
    soundfile.write(
        stream, clicks.render(0, frames), sample_rate_hz, format="WAV", subtype="PCM_16"
    )
    return ClickSound(stream.getvalue(), clicks.start_s, clicks.sent_s, clicks.pass_s)
