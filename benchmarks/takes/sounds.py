"""Single guitar notes with a known onset and a known pitch.

A guitar here gives `Source` notes.  `SampledGuitar` renders them with fluidsynth
and a General MIDI sound font; `RecordedGuitar` takes them from a folder of real
notes with a ``notes.csv`` (columns ``file, attack, midi_number``).  `sound` reads
a source at a variable rate, so bends and slurs are exact to the sample.
"""

from __future__ import annotations

import csv
import subprocess
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

import mido
import numpy as np
import soundfile
from scipy import ndimage

from assessor.tuning import FloatArray
from takes.measure import SAMPLE_RATE_HZ, Detune, detune, energy_rise

LEAD_S = 0.1  # sound kept before the onset of a source note
FONTS = {
    "fluid": Path("/usr/share/sounds/sf2/FluidR3_GM.sf2"),
    "tim": Path("/usr/share/sounds/sf2/TimGM6mb.sf2"),
}
# General MIDI program numbers as sent, counted from 0.
PROGRAMS = {
    "nylon": 24,
    "steel": 25,
    "jazz": 26,
    "clean": 27,
    "muted": 28,
    "overdriven": 29,
    "distortion": 30,
}
WHEEL_CENTRE, WHEEL_TOP = 8192, 16383  # MIDI 1.0: 14 bits
WHEEL_RANGE_CENTS = 200.0  # the default range of General MIDI
# Measured on fluidsynth 2.3: the wheel falls short by 1 in 128 (its range is taken
# as 2/128 of 12700 cents), and what it asks for is rounded down to a whole cent.
FLUIDSYNTH_WHEEL_GAIN = 127 / 128


@dataclass(frozen=True)
class Source:
    """One note alone.

    Attributes
    ----------
    samples : shape=(n,)
        Cubic spline coefficients of the sound, at `SAMPLE_RATE_HZ`.
    onset_sample : int
        Place of the energy onset.
    cents : float
        Pitch it is taken to have, 6900 = A4.
    key : str
        Name of its detune curve in the calibration.
    """

    samples: FloatArray
    onset_sample: int
    cents: float
    key: str


@dataclass(frozen=True)
class Wanted:
    """A note a take needs.

    Attributes
    ----------
    midi_number : int
    velocity : int
        1 to 127.
    seconds : float
        How much of the sound is needed.
    program : str
        Key of `PROGRAMS`; ignored by recorded guitars.
    slurred : bool
        Sounded by the fretting hand.
    tuning_cents : float
        Offset of the guitar from A4 = 440 Hz.
    """

    midi_number: int
    velocity: int
    seconds: float
    program: str
    slurred: bool = False
    tuning_cents: float = 0.0


def wheel_value(cents: float, range_cents: float = WHEEL_RANGE_CENTS) -> int:
    """14-bit pitch-wheel value of a bend.

    >>> [wheel_value(c) for c in (-200.0, -100.0, 0.0, 100.0, 200.0)]
    [0, 4096, 8192, 12288, 16383]
    """
    value = round(WHEEL_CENTRE + cents / range_cents * WHEEL_CENTRE)
    return int(np.clip(value, 0, WHEEL_TOP))


def _with_lead(samples: FloatArray, lead_s: float) -> tuple[FloatArray, int]:
    """Cut or pad so that the onset lies `LEAD_S` in.

    Raises
    ------
    ValueError
        In silence: a take must not lose a note of its truth.
    """
    rise = energy_rise(samples, lead_s, 10.0)
    if rise is None:
        message = "a single note is silent"
        raise ValueError(message)
    onset = round((lead_s + rise) * SAMPLE_RATE_HZ)
    lead = int(LEAD_S * SAMPLE_RATE_HZ)
    if onset < lead:
        samples = np.concatenate([np.zeros(lead - onset), samples])
    return samples[max(onset - lead, 0) :], lead


def sound(
    source: Source, seconds: float, curve: FloatArray, cents: float
) -> FloatArray:
    """Play a source at a pitch that moves.

    Parameters
    ----------
    source : Source
    seconds : float
        Length after the onset.
    curve : shape=(k, 2)
        Seconds after the onset, and cents above `cents`.
    cents : float
        Pitch at which the curve is 0, 6900 = A4.

    Returns
    -------
    samples : shape=(n,)
        The onset of the source lies `LEAD_S` in.
    """
    lead = int(LEAD_S * SAMPLE_RATE_HZ)
    count = lead + int(seconds * SAMPLE_RATE_HZ)
    times_s = (np.arange(count) - lead) / SAMPLE_RATE_HZ
    offset = cents - source.cents
    bent = offset + np.interp(times_s, curve[:, 0], curve[:, 1])
    place = np.concatenate([[0.0], np.cumsum(2.0 ** (bent[:-1] / 1200.0))])
    place += source.onset_sample - place[lead]
    read = ndimage.map_coordinates(
        source.samples, place[None], order=3, prefilter=False, mode="constant"
    )
    return np.asarray(read)


def _wheel(note: Wanted) -> int:
    """Wheel value that tunes fluidsynth to the note's nearest whole cent.

    Aimed half a cent higher, out of reach of the rounding down.
    """
    return wheel_value((round(note.tuning_cents) + 0.5) / FLUIDSYNTH_WHEEL_GAIN)


def render(font: Path, wanted: Sequence[Wanted]) -> list[FloatArray]:
    """Render notes alone, one after the other, in one run of fluidsynth.

    Returns
    -------
    list of shape=(n,)
        Each starts 0.2 s before its MIDI note-on.
    """
    gap_s, lead_s = 0.3, 0.2
    track = mido.MidiTrack([mido.MetaMessage("set_tempo", tempo=1_000_000)])
    events: list[tuple[int, mido.Message]] = []
    at_ms, starts_ms = 500, []
    for note in wanted:
        starts_ms.append(at_ms)
        end_ms = at_ms + int(1000 * note.seconds)
        wheel = _wheel(note)
        name, number = PROGRAMS[note.program], note.midi_number
        events += [
            (at_ms - 60, mido.Message("program_change", program=name)),
            (at_ms - 60, mido.Message("pitchwheel", pitch=wheel - WHEEL_CENTRE)),
            (at_ms, mido.Message("note_on", note=number, velocity=note.velocity)),
            (end_ms, mido.Message("note_off", note=number)),
            (end_ms + 60, mido.Message("control_change", control=120, value=0)),
        ]
        at_ms = end_ms + int(1000 * (gap_s + lead_s))
    events.append((at_ms, mido.Message("note_off", note=0)))
    now_ms = 0
    for when_ms, message in events:
        track.append(message.copy(time=when_ms - now_ms))
        now_ms = when_ms
    with tempfile.TemporaryDirectory() as folder:
        score, wave = Path(folder, "notes.mid"), Path(folder, "notes.wav")
        mido.MidiFile(ticks_per_beat=1000, tracks=[track]).save(score)
        _fluidsynth(font, score, wave)
        with soundfile.SoundFile(wave) as file:
            return [
                _cut(file, start_ms / 1000 - lead_s, note.seconds + lead_s)
                for note, start_ms in zip(wanted, starts_ms, strict=True)
            ]


def _cut(file: soundfile.SoundFile, start_s: float, seconds: float) -> FloatArray:
    """Read a piece of a stereo file as mono."""
    file.seek(round(start_s * SAMPLE_RATE_HZ))
    frames = file.read(round(seconds * SAMPLE_RATE_HZ), dtype="float64", always_2d=True)
    return np.asarray(frames.mean(axis=1))


def _fluidsynth(font: Path, score: Path, wave: Path) -> None:
    """Render a MIDI file without reverberation or chorus."""
    command = ["fluidsynth", "-ni", "-q", "-R", "0", "-C", "0", "-g", "0.6"]
    command += ["-r", str(SAMPLE_RATE_HZ), "-o", "audio.period-size=64"]
    command += ["-o", "synth.dynamic-sample-loading=1", "-O", "float", "-T", "wav"]
    command += ["-F", str(wave), str(font), str(score)]
    subprocess.run(command, check=True, capture_output=True)


@dataclass
class SampledGuitar:
    """Notes rendered from a sound font.

    Attributes
    ----------
    name : str
        Key of `FONTS`.
    """

    name: str
    detunes: dict[str, Detune] = field(default_factory=dict)

    def sources(
        self, wanted: Sequence[Wanted], _rng: np.random.Generator
    ) -> list[Source]:
        """Every wanted note alone."""
        self._calibrate(wanted)
        out: list[Source] = []
        for note, samples in zip(wanted, render(FONTS[self.name], wanted), strict=True):
            placed = _with_lead(samples, 0.2)
            spline = ndimage.spline_filter1d(placed[0], order=3)
            cents = 100.0 * note.midi_number + round(note.tuning_cents)
            out.append(Source(spline, placed[1], cents, self._key(note)))
        return out

    def _key(self, note: Wanted) -> str:
        """Name of the detune curve: one for each program, pitch and layer."""
        layer = "soft" if note.velocity < 70 else "loud"
        return f"{self.name}/{note.program}/{note.midi_number}/{layer}"

    def _calibrate(self, wanted: Sequence[Wanted]) -> None:
        """Measure the detune curves that are still unknown."""
        new: dict[str, Wanted] = {}
        for note in wanted:
            key = self._key(note)
            if key not in self.detunes:
                velocity = 50 if note.velocity < 70 else 100
                new[key] = Wanted(note.midi_number, velocity, 1.7, note.program)
        for (key, note), samples in zip(
            new.items(), render(FONTS[self.name], list(new.values())), strict=True
        ):
            self.detunes[key] = detune(*_with_lead(samples, 0.2), note.midi_number)


@dataclass
class RecordedGuitar:
    """Notes recorded one by one from a real guitar.

    Attributes
    ----------
    name : str
        File names of the guitar's notes start with it.
    picked, hammered, damped : list of (float, Source)
        Pitch in semitones and sound, by how the note was sounded.
    """

    name: str
    picked: list[tuple[float, Source]]
    hammered: list[tuple[float, Source]]
    damped: list[tuple[float, Source]]
    detunes: dict[str, Detune]

    @classmethod
    def read(cls, folder: Path, name: str) -> RecordedGuitar:
        """Read the notes of one guitar.

        Notes whose pitch is more than 60 cents off their label are left out.

        Raises
        ------
        ValueError
            When the folder has no picked notes of that guitar.
        """
        notes: dict[str, list[tuple[float, Source]]] = {
            "picked": [],
            "hammered": [],
            "damped": [],
        }
        detunes: dict[str, Detune] = {}
        with (folder / "notes.csv").open(newline="") as table:
            rows = [r for r in csv.DictReader(table) if r["file"].startswith(name)]
        for row in rows:
            number = int(row["midi_number"])
            placed = _with_lead(_read_note(folder / row["file"]), 0.2)
            measured = detune(*placed, number)
            middle = float(np.median(measured.cents))
            if abs(middle) > 60:
                continue
            key = f"{name}/{Path(row['file']).stem}"
            residual = tuple(round(c - middle, 2) for c in measured.cents)
            detunes[key] = Detune(residual, measured.spread_cents)
            spline = ndimage.spline_filter1d(placed[0], order=3)
            source = Source(spline, placed[1], 100.0 * number + middle, key)
            notes[row["attack"]].append((number + middle / 100, source))
        if not notes["picked"]:
            message = f"{folder} holds no picked notes whose file starts with {name!r}"
            raise ValueError(message)
        return cls(name, **notes, detunes=detunes)

    def sources(
        self, wanted: Sequence[Wanted], rng: np.random.Generator
    ) -> list[Source]:
        """For every wanted note one of the nearest recorded ones."""
        out: list[Source] = []
        for note in wanted:
            bank = self.hammered if note.slurred and self.hammered else self.picked
            distance = np.array([abs(p - note.midi_number) for p, _ in bank])
            near = np.flatnonzero(distance <= max(1.2, distance.min()))
            out.append(bank[int(rng.choice(near))][1])
        return out


def _read_note(path: Path) -> FloatArray:
    """Read one recorded note, at most 1 in size, faded where it was cut."""
    samples, rate_hz = soundfile.read(path, dtype="float64", always_2d=True)
    if rate_hz != SAMPLE_RATE_HZ:
        message = f"{path}: {rate_hz} Hz, but only {SAMPLE_RATE_HZ} Hz is read"
        raise ValueError(message)
    mono = samples.mean(axis=1)
    mono = mono / np.abs(mono).max()
    start = max(int(np.argmax(np.abs(mono) > 0.02)) - int(0.01 * rate_hz), 0)
    mono = mono[start:]
    tail = int(0.05 * rate_hz)
    mono[-tail:] *= np.linspace(1.0, 0.0, tail)
    return np.concatenate([np.zeros(int(0.2 * rate_hz)), mono])
