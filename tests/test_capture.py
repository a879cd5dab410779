"""Taking a take: blocks in, click out, a file in the end; without any device."""

from __future__ import annotations

import io
import json
import os
import signal
import subprocess
import sys
import textwrap
import threading
from fractions import Fraction
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest
import soundfile
from fake_devices import FakeCard

from assessor import lick as licks
from assessor.capture import devices, known, taker
from assessor.capture.clicks import LEAD_S, Clicks
from assessor.capture.devices import Device
from assessor.capture.ending import Ending
from assessor.capture.journal import SUFFIX, Journal, finish, free_name, recover
from assessor.capture.level import Meter, Verdict, verdict
from assessor.capture.loopback import Loop
from assessor.capture.slate import ClickKind, Ended, Slate, read_slate
from assessor.capture.taker import Pace, State, Taker
from assessor.cli.keys import keys
from assessor.errors import CaptureError
from assessor.latency import Latency
from assessor.lick.notation import Lick, LickNote
from assessor.lick.notation import Meter as TimeSignature
from assessor.tuning import STANDARD

RATE_HZ = 48_000
Floats = npt.NDArray[np.float32]


def lick_of(onsets: list[str], *, pickup: str = "0") -> Lick:
    """Short notes at these beats, 120 bpm: a beat is half a second."""
    notes = tuple(LickNote(Fraction(at), Fraction(1, 8), 69, 1, 5) for at in onsets)
    return Lick(
        "A", 120, TimeSignature(), STANDARD, notes, pickup_beats=Fraction(pickup)
    )


FOUR = lick_of(["0", "1", "2", "3"])


def plucks(at_s: list[float], length_s: float, peak: float = 0.3) -> Floats:
    """Decaying tones over a little hiss, mono."""
    t = np.arange(round(length_s * RATE_HZ)) / RATE_HZ
    out = np.random.default_rng(3).normal(0, 1e-4, len(t))
    for start_s in at_s:
        since = np.maximum(t - start_s, 0)
        tone = np.sin(2 * np.pi * 220 * since) * np.exp(-3 * since)
        out += peak * tone * (t >= start_s)
    return out.astype(np.float32)


def onsets_of(sound: Floats, threshold: float = 0.02) -> list[float]:
    """Times at which something begins after 20 ms of nothing."""
    loud = np.flatnonzero(np.abs(sound) > threshold)
    first = loud[np.diff(loud, prepend=-RATE_HZ) > 0.02 * RATE_HZ]
    return [float(at) / RATE_HZ for at in first]


# ------------------------------------------------------------------- the click


def rendered(clicks: Clicks, length_s: float, sizes: tuple[int, ...]) -> Floats:
    """Click track, asked for in blocks of these sizes."""
    parts, position, number = [], 0, 0
    while position < length_s * RATE_HZ:
        size = sizes[number % len(sizes)]
        parts.append(clicks.render(position, size))
        position, number = position + size, number + 1
    return np.concatenate(parts)


def test_click_lies_on_every_count_for_ever() -> None:
    """One bar of count-in, then each count, the one louder; ten passes on."""
    clicks = Clicks(FOUR, ClickKind.ACCENT, sample_rate_hz=RATE_HZ)
    heard = rendered(clicks, 22, (480,))
    at_s = onsets_of(heard)
    assert at_s == pytest.approx([LEAD_S + 0.5 * k for k in range(43)], abs=3e-4)
    assert clicks.start_s == clicks.sent_s == LEAD_S + 2
    peaks = [np.abs(heard[int(t * RATE_HZ) :][:480]).max() for t in at_s]
    assert min(peaks[::4]) > 1.5 * max(peaks[1::4])


@pytest.mark.parametrize("sizes", [(1,), (64, 1000, 7), (4096,)])
@pytest.mark.parametrize("tempo_bpm", [120, 400])
def test_blocks_of_any_size_make_one_click(
    sizes: tuple[int, ...], tempo_bpm: float
) -> None:
    """Where a block ends cannot be heard, nor where a fast last click rings over."""
    clicks = Clicks(
        FOUR.at_tempo(tempo_bpm),
        ClickKind.SUBDIVIDED,
        parts=6,
        count_in_bars=0,
        sample_rate_hz=RATE_HZ,
    )
    whole = rendered(clicks, 2, (2 * RATE_HZ,))
    assert np.array_equal(rendered(clicks, 2, sizes)[: len(whole)], whole)


@pytest.mark.parametrize(
    ("kind", "bars", "expected"),
    [
        (ClickKind.COUNT_IN, 1, [0, 0.5, 1, 1.5]),
        (ClickKind.COUNT_IN, 0, []),
        (ClickKind.NONE, 0, []),
        (ClickKind.ACCENT, 0, [0, 0.5, 1, 1.5, 2, 2.5]),
        (ClickKind.SUBDIVIDED, 0, [0.25 * k for k in range(12)]),
    ],
)
def test_kinds_of_click(kind: ClickKind, bars: int, expected: list[float]) -> None:
    """What is heard of it in three seconds."""
    clicks = Clicks(FOUR, kind, count_in_bars=bars, sample_rate_hz=RATE_HZ)
    at_s = onsets_of(rendered(clicks, LEAD_S + 2.9, (512,)))
    assert at_s == pytest.approx([LEAD_S + t for t in expected], abs=3e-4)
    assert clicks.silent == (not expected)


def test_pickup_fills_the_bar_of_the_count_in() -> None:
    """A quarter before the one: one bar, and three counts before the pickup."""
    lick = lick_of(["0", "1", "2"], pickup="1")
    clicks = Clicks(lick, ClickKind.COUNT_IN, sample_rate_hz=RATE_HZ)
    assert clicks.start_s == pytest.approx(LEAD_S + 7 * 0.5)
    assert clicks.sent_s == pytest.approx(LEAD_S + 8 * 0.5)


# ------------------------------------------------------------------- the level


@pytest.mark.parametrize(
    ("peak_dbfs", "expected"),
    [
        (-60.0, Verdict.NOTHING),
        (-59.9, Verdict.LOW),
        (-30.1, Verdict.LOW),
        (-30.0, Verdict.GOOD),
        (-1.1, Verdict.GOOD),
        (-1.0, Verdict.CLIPPING),
        (0.0, Verdict.CLIPPING),
    ],
)
def test_level_is_judged(peak_dbfs: float, expected: Verdict) -> None:
    """On and beside each limit."""
    assert verdict(peak_dbfs) is expected


def test_meter_holds_three_seconds() -> None:
    """A loud note is forgotten, but not as the loudest of all."""
    meter = Meter(1000, channels=2)
    meter.add(np.array([[0.1, -0.5]], np.float32))
    assert meter.loudest_channel == 1
    for _ in range(29):
        meter.add(np.full((100, 2), 0.05, np.float32))
    assert meter.held_dbfs(1) == pytest.approx(-6.02, abs=0.01)
    for _ in range(2):
        meter.add(np.full((100, 2), 0.05, np.float32))
    assert meter.held_dbfs(1) == pytest.approx(-26.02, abs=0.01)
    assert meter.now_dbfs(1) == pytest.approx(-26.02, abs=0.01)
    assert meter.peak_dbfs(1) == pytest.approx(-6.02, abs=0.01)


def test_meter_without_sound() -> None:
    """Nothing, and no error."""
    meter = Meter(1000)
    meter.add(np.zeros(0, np.float32))
    assert verdict(meter.held_dbfs()) is Verdict.NOTHING


# ------------------------------------------------------------------ the ending


def ends_at(
    sound: Floats, passes: int, start_s: float = 0.0
) -> tuple[float, Ended | None]:
    """When and why a recording of the four notes is over."""
    ending = Ending(FOUR, passes, start_s=start_s, pass_s=2.0, sample_rate_hz=RATE_HZ)
    for first in range(0, len(sound), 512):
        why = ending.add(sound[first : first + 512])
        if why:
            return ending.now_s, why
    return ending.now_s, None


def played(passes: int, *, pace: float = 0.5, start_s: float = 1.0) -> list[float]:
    """Onsets of so many passes of four notes."""
    return [start_s + pace * k for k in range(4 * passes)]


@pytest.mark.parametrize("passes", [1, 2, 5])
@pytest.mark.parametrize("pace", [0.4, 0.5, 1.1])
def test_ends_two_seconds_after_the_last_note(passes: int, pace: float) -> None:
    """Slower and a little faster as well; never while notes are still struck."""
    onsets_s = played(passes, pace=pace)
    at_s, why = ends_at(plucks(onsets_s, onsets_s[-1] + 8), passes)
    assert why is Ended.PASSES
    assert at_s >= onsets_s[-1] + 2
    assert at_s <= max(onsets_s[-1] + 2.1, 1 + 2 * passes)


def test_waits_through_a_pause_and_a_restart() -> None:
    """Three notes, six seconds of thinking, then two passes."""
    onsets_s = [*played(1)[:3], *played(2, start_s=8.0)]
    at_s, why = ends_at(plucks(onsets_s, 18), 2)
    assert why is Ended.PASSES
    assert at_s == pytest.approx(onsets_s[-1] + 2, abs=0.1)


def test_what_sounds_in_the_count_in_is_not_playing() -> None:
    """Tuning up and the count-in are no passes."""
    onsets_s = [0.1, 0.6, 1.1, 1.6, *played(2, start_s=6)]
    at_s, why = ends_at(plucks(onsets_s, 16), 2, start_s=5.9)
    assert why is Ended.PASSES
    assert at_s == pytest.approx(onsets_s[-1] + 2, abs=0.1)


def test_quiet_notes_and_a_noisy_room_count() -> None:
    """26 dB between the notes, the hiss 30 dB below the louder ones."""
    loud, soft = plucks(played(1), 16), plucks(played(3, start_s=3.0), 16, 0.015)
    at_s, why = ends_at(loud + soft, 4)
    assert why is Ended.PASSES
    assert at_s == pytest.approx(10.5, abs=0.1)


def test_zero_passes_end_by_hand_only() -> None:
    """Until somebody stops."""
    assert ends_at(plucks(played(1), 20), 0)[1] is None


def test_whoever_never_plays_is_not_waited_for_for_ever() -> None:
    """Half a minute, and the time of the slowest passes."""
    at_s, why = ends_at(plucks([], 60), 2)
    assert why is Ended.TIME
    assert at_s == pytest.approx(30 + 2 * 2 / 0.4, abs=0.1)


# ----------------------------------------------------------------- the journal

SLATE = Slate("A — é", 120, lick_file="a.lick", click=ClickKind.ACCENT, input="Line")


def test_journal_becomes_a_take(tmp_path: Path) -> None:
    """Sample by sample, with its levels, and the journal is gone."""
    sound = plucks([0.1], 1.0)
    take = tmp_path / "take.flac"
    journal = Journal(take, RATE_HZ, SLATE)
    for first in range(0, RATE_HZ, 500):
        journal.write(sound[first : first + 500])
    journal.close()
    slate = finish(journal.path, take, SLATE)
    assert list(tmp_path.iterdir()) == [take]
    assert np.abs(soundfile.read(take)[0] - sound).max() <= 0.5 / 2**23
    peak_dbfs = 20 * np.log10(np.abs(sound).max())
    assert slate.peak_dbfs == pytest.approx(peak_dbfs, abs=0.01)
    assert slate.level_dbfs is not None
    assert read_slate(take) is not None


def test_a_take_is_never_written_over(tmp_path: Path) -> None:
    """Neither one that is there nor one that is being recorded."""
    take = tmp_path / "take.flac"
    take.write_text("mine")
    assert free_name(take).name == "take-2.flac"
    Journal(free_name(take), RATE_HZ, SLATE).close()
    assert free_name(take).name == "take-3.flac"
    with pytest.raises(FileExistsError):
        Journal(tmp_path / "take-2.flac", RATE_HZ, SLATE)


KILLED = """
    import os, sys, numpy as np
    from pathlib import Path
    from assessor.capture.journal import Journal
    from assessor.capture.slate import Slate
    journal = Journal(Path(sys.argv[1]), 48000, Slate("A", 120, input="Line"))
    sound = (np.arange(48000) / 48000).astype(np.float32)
    for first in range(0, 48000, 480):
        journal.write(sound[first : first + 480])
    print("written", flush=True)
    sys.stdin.read()
"""


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="no such signal here")
def test_kill_loses_nothing(tmp_path: Path) -> None:
    """`kill -9` in the middle: every sample that was written is in the take."""
    take = tmp_path / "take.flac"
    command = [sys.executable, "-c", textwrap.dedent(KILLED), str(take)]
    with subprocess.Popen(
        command, stdin=subprocess.PIPE, stdout=subprocess.PIPE
    ) as victim:
        assert victim.stdout is not None
        victim.stdout.readline()
        assert recover(tmp_path) == []  # it is still being written
        os.kill(victim.pid, signal.SIGKILL)
        victim.wait()
    assert [file.name for file in tmp_path.iterdir()] == ["take.flac" + SUFFIX]
    assert recover(tmp_path) == [take]
    assert list(tmp_path.iterdir()) == [take]
    sound, rate_hz = soundfile.read(take)
    assert rate_hz == 48000
    assert sound == pytest.approx(np.arange(48000) / 48000, abs=1e-6)
    slate = read_slate(take)
    assert slate is not None
    assert (slate.title, slate.input, slate.ended) == ("A", "Line", Ended.KILLED)


@pytest.mark.parametrize("cut", [1, 3, 4000])
def test_torn_journal_is_recovered(tmp_path: Path, cut: int) -> None:
    """The last sample may be half written."""
    journal = Journal(tmp_path / "take.flac", RATE_HZ, SLATE)
    journal.write(np.full(2000, 0.25, np.float32))
    journal.close()
    with journal.path.open("rb+") as file:
        file.truncate(journal.path.stat().st_size - cut)
    (take,) = recover(tmp_path)
    assert len(soundfile.read(take)[0]) == 2000 - -(-cut // 4)


def test_recovery_leaves_other_files_alone(tmp_path: Path) -> None:
    """What is no journal of ours stays; an empty journal goes."""
    other = tmp_path / f"other.flac{SUFFIX}"
    soundfile.write(other, np.zeros(100), 8000)
    words = tmp_path / f"words.flac{SUFFIX}"
    words.write_text("words")
    Journal(tmp_path / "empty.flac", RATE_HZ, SLATE).close()
    assert recover(tmp_path) == []
    assert sorted(tmp_path.iterdir()) == [other, words]


# -------------------------------------------------------------------- the taker


def taken(
    card: FakeCard, take: Path, *, passes: int = 1, channel: int = 0, stop: int = 10**9
) -> Taker:
    """Take a take from a card; stopped by key after so many looks at the keys."""
    clicks = Clicks(FOUR, ClickKind.ACCENT, count_in_bars=0, sample_rate_hz=RATE_HZ)
    ending = Ending(
        FOUR,
        passes,
        start_s=clicks.start_s,
        pass_s=clicks.pass_s,
        sample_rate_hz=RATE_HZ,
    )
    one = Taker(Journal(take, RATE_HZ, SLATE), clicks, ending, channel=channel)
    looks = iter(range(10**9))
    thread = card.start(one.callback)
    one.work(card.alive, lambda: next(looks) >= stop)
    thread.join()
    return one


def stereo(sound: Floats) -> Floats:
    """Sound in the second channel, something else in the first."""
    return np.column_stack([-0.5 * sound, sound])


def test_take_from_blocks(tmp_path: Path) -> None:
    """Blocks of odd sizes, second channel; ends by itself, sample by sample."""
    sound = plucks(played(1, start_s=0.4), 8)
    take = tmp_path / "take.flac"
    card = FakeCard(stereo(sound), sizes=(441, 17, 1024))
    one = taken(card, take, channel=1)
    slate = one.finish()
    assert slate is not None
    assert (slate.ended, slate.dropouts_s) == (Ended.PASSES, ())
    back = soundfile.read(take)[0]
    assert 1.9 + 2 <= len(back) / RATE_HZ <= 4.2
    assert np.abs(back - sound[: len(back)]).max() <= 0.5 / 2**23
    at_s = onsets_of(card.played)
    assert len(at_s) == 15
    assert at_s == pytest.approx([LEAD_S + 0.5 * k for k in range(15)], abs=3e-4)
    found = read_slate(take)
    assert found is not None
    assert found.peak_dbfs == pytest.approx(slate.peak_dbfs)
    assert (found.title, found.ended) == (slate.title, slate.ended)


def test_losses_are_counted_with_their_place(tmp_path: Path) -> None:
    """An overflow of the input and an underflow of the output."""
    sound = plucks(played(1, start_s=0.4), 8)
    card = FakeCard(
        stereo(sound), sizes=(480,), overflow_at=(100,), underflow_at=(150,)
    )
    slate = taken(card, tmp_path / "take.flac").finish()
    assert slate is not None
    assert slate.dropouts_s == pytest.approx((1.0, 1.5))
    assert slate.click_in_take is None
    assert [flag.kind for flag in slate.flags()] == ["click_unknown", "dropouts"]


@pytest.mark.parametrize("hangs", [False, True])
def test_unplugged_device_ends_in_a_take(
    tmp_path: Path, hangs: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It stops, or just says no more: everything before is saved."""
    monkeypatch.setattr(taker, "LOST_S", 0.3)
    sound = plucks(played(1, start_s=0.4), 1.3)
    card = FakeCard(stereo(sound), hangs=hangs)
    slate = taken(card, tmp_path / "take.flac", channel=1).finish()
    assert slate is not None
    assert slate.ended is Ended.UNPLUGGED
    back = soundfile.read(tmp_path / "take.flac")[0]
    assert np.abs(back - sound).max() <= 0.5 / 2**23


def test_device_that_gives_nothing_leaves_nothing(tmp_path: Path) -> None:
    """No empty take."""
    card = FakeCard(np.zeros((0, 2), np.float32), gone=True)
    card.run = lambda callback: None  # type: ignore[method-assign]
    one = taken(card, tmp_path / "take.flac")
    assert one.finish() is None
    assert list(tmp_path.iterdir()) == []


def test_key_ends_a_take(tmp_path: Path) -> None:
    """What had come by then is kept."""
    card = FakeCard(stereo(plucks([0.4], 1.0)), hangs=True)
    slate = taken(card, tmp_path / "take.flac", stop=2).finish()
    assert slate is not None
    assert slate.ended is Ended.KEY


def test_full_disk_ends_in_a_take(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What went to the disk before is saved."""
    room = 10_000
    write = Journal.write

    def limited(journal: Journal, block: Floats) -> None:
        if journal.frames >= room:
            message = "no space left on device"
            raise OSError(message)
        write(journal, block)

    monkeypatch.setattr(Journal, "write", limited)
    slate = taken(FakeCard(stereo(plucks([0.4], 2.0))), tmp_path / "a.flac").finish()
    assert slate is not None
    assert slate.ended is Ended.FULL
    assert len(soundfile.read(tmp_path / "a.flac")[0]) >= room


@pytest.mark.parametrize(
    ("gap_s", "losses"), [(0.0, 0), (0.01, 0), (0.03, 1), (0.128, 1)]
)
@pytest.mark.parametrize("size", [64, 512, 2048])
def test_loss_without_a_word_is_noticed(gap_s: float, losses: int, size: int) -> None:
    """Blocks are late by chance up to 80 ms; after a gap they are late for good."""
    random = np.random.default_rng(5)
    pace, found = Pace(RATE_HZ), []
    for number in range(60 * RATE_HZ // size):
        due_s = (number + 1) * size / RATE_HZ * 1.0001
        late_s = random.exponential(0.01) if random.random() < 0.8 else 0.08
        gone_s = gap_s if due_s > 30 else 0.0
        if pace.add(due_s + late_s + gone_s, size):
            found.append(due_s)
    assert len(found) == losses
    assert all(30 < at_s < 32.1 for at_s in found)


def test_state_is_shown(tmp_path: Path) -> None:
    """Time, start of playing, level and losses, for whoever wants to look."""
    seen: list[State] = []
    clicks = Clicks(FOUR, ClickKind.ACCENT, sample_rate_hz=RATE_HZ)
    ending = Ending(FOUR, 1, start_s=0.0, pass_s=2.0, sample_rate_hz=RATE_HZ)
    one = Taker(Journal(tmp_path / "a.flac", RATE_HZ, SLATE), clicks, ending)
    card = FakeCard(stereo(plucks([0.4], 1.0)), overflow_at=(3,))
    thread = card.start(one.callback)
    one.work(card.alive, lambda: False, seen.append)
    thread.join()
    last = seen[-1]
    assert (last.now_s, last.dropouts) == (1.0, 1)
    assert last.started_s == pytest.approx(0.4, abs=0.02)
    one.finish()


# ------------------------------------------------------------------- loopback


def looped(card: FakeCard) -> Loop:
    """A measurement through a card."""
    loop = Loop(RATE_HZ)
    thread = card.start(loop.callback)
    loop.wait(card.alive)
    thread.join()
    return loop


SILENCE = np.zeros((round(4.7 * RATE_HZ), 2), np.float32)


def test_loop_through_a_card() -> None:
    """A delay of 2,000 frames is found, in the channel that has it."""
    card = FakeCard(SILENCE, sizes=(512, 480), delay=2000, hangs=True)
    assert looped(card).found().offset_s == pytest.approx(2000 / RATE_HZ, abs=1e-6)


def test_loop_with_losses_is_refused() -> None:
    """A latency from a broken recording would be kept for long."""
    card = FakeCard(SILENCE, delay=2000, overflow_at=(50,), hangs=True)
    with pytest.raises(CaptureError, match="lost"):
        looped(card).found()


def test_loop_of_a_device_that_goes_away() -> None:
    """It is waited for no longer."""
    with pytest.raises(CaptureError, match="went away"):
        looped(FakeCard(SILENCE[:48_000]))


# ---------------------------------------------------------- devices and memory


class PortAudio:
    """Stands in for `sounddevice` with a device that is pulled out."""

    PortAudioError = RuntimeError

    def __init__(self, **settings: Any) -> None:
        self.settings = settings
        self.active = True
        self.plugged_in = threading.Event()

    def start(self) -> None:
        """Run."""

    def close(self, ignore_errors: bool = True) -> None:
        """Wait for the device, however long it takes."""
        self.plugged_in.wait()


def test_device_that_is_gone_is_not_waited_for(monkeypatch: pytest.MonkeyPatch) -> None:
    """Closing it may never come back, and the program's end would wait as well."""
    made: list[PortAudio] = []
    handlers: list[object] = []

    def stream(**settings: Any) -> PortAudio:
        made.append(PortAudio(**settings))
        return made[0]

    module = SimpleNamespace(
        InputStream=stream, PortAudioError=RuntimeError, _exit_handler=print
    )
    monkeypatch.setattr(devices, "_sounddevice", lambda: module)
    monkeypatch.setattr(devices, "CLOSING_S", 0.05)
    monkeypatch.setattr("atexit.unregister", handlers.append)
    with devices.open_stream(CARDS[0], None, print, sample_rate_hz=44_100) as one:
        assert one.alive()
    made[0].plugged_in.set()
    assert handlers == [print]
    assert (made[0].settings["channels"], made[0].settings["device"]) == (2, 0)


def test_device_that_does_not_open_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    """Which one, at which rate, and what to try."""

    def stream(**_: Any) -> PortAudio:
        message = "Invalid sample rate"
        raise RuntimeError(message)

    module = SimpleNamespace(Stream=stream, PortAudioError=RuntimeError)
    monkeypatch.setattr(devices, "_sounddevice", lambda: module)
    words = r"Line in \(A\) and Line out \(A\): does not open at 8000 Hz \(Invalid"
    with (
        pytest.raises(CaptureError, match=words),
        devices.open_stream(CARDS[0], CARDS[1], print, sample_rate_hz=8000),
    ):
        pass


@pytest.mark.skipif(not hasattr(os, "openpty"), reason="no such terminal here")
def test_keys_of_a_terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    """One by one, without Enter, without waiting; the terminal is as before after."""
    import termios

    master, slave = os.openpty()
    before = termios.tcgetattr(slave)
    with os.fdopen(slave) as terminal:
        monkeypatch.setattr(sys, "stdin", terminal)
        with keys() as pad:
            assert (pad.there, pad.pressed()) == (True, "")
            os.write(master, b"ak")
            assert [pad.pressed() for _ in range(3)] == ["a", "k", ""]
        assert termios.tcgetattr(slave) == before
    os.close(master)


def test_keys_without_a_terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    """Nobody is there."""
    monkeypatch.setattr(sys, "stdin", io.StringIO("a"))
    with keys() as pad:
        assert (pad.there, pad.pressed()) == (False, "")


CARDS = [
    Device(0, "Line in (A)", 2, 0, 44_100, usual_input=True),
    Device(1, "Line out (A)", 0, 2, 44_100, usual_output=True),
    Device(2, "Box: Line 1/2 (A)", 2, 2, 48_000),
    Device(3, "Box: Line 3/4 (A)", 2, 2, 48_000),
]


@pytest.mark.parametrize(
    ("text", "output", "index"),
    [("0", False, 0), ("1", True, 1), ("3/4", True, 3), ("line IN", False, 0)],
)
def test_device_is_found(text: str, output: bool, index: int) -> None:
    """By number or part of the name, among those that can do it."""
    assert devices.find(CARDS, text, output=output).index == index


@pytest.mark.parametrize(
    ("text", "output", "words"),
    [
        ("box", False, r"fits 2 input devices; there are 2 'Box: Line 1/2 \(A\)', 3 "),
        ("Box", True, "fits 2 output devices"),
        ("tape", False, "fits no input devices; there are 0 'Line in"),
    ],
)
def test_device_is_not_found(text: str, output: bool, words: str) -> None:
    """The words list what there is."""
    with pytest.raises(LookupError, match=words):
        devices.find(CARDS, text, output=output)


def test_usual_devices() -> None:
    """As the system has them; none where it has none."""
    assert devices.usual(CARDS) == CARDS[0]
    assert devices.usual(CARDS, output=True) == CARDS[1]
    assert devices.usual(CARDS[2:]) is None


PAIR = known.Pair("Line in (A)", "Phones — é")


def test_latency_is_remembered(tmp_path: Path) -> None:
    """For each pair and rate, the newest; and what was used last."""
    folder = tmp_path / "new"
    assert known.load(folder) == known.Known({}, None)
    first, second = Latency(0.02, 0.0, 0.0, 4), Latency(0.03, 0.001, -20.5, 4)
    all_known = (
        known.load(folder)
        .with_latency(PAIR, 44_100, first)
        .with_latency(PAIR, 48_000, first)
        .with_latency(PAIR, 48_000, second)
        .with_last(PAIR)
    )
    known.save(all_known, folder)
    again = known.load(folder)
    assert again == all_known
    assert again.latencies == {(PAIR, 44_100): first, (PAIR, 48_000): second}
    assert [file.name for file in folder.iterdir()] == [known.FILE_NAME]


@pytest.mark.parametrize(
    "text",
    [
        "",
        "[]",
        '{"format": "assessor-devices", "version": 2, "latencies": [], "last": null}',
        json.dumps(
            {
                "format": known.FORMAT,
                "version": known.VERSION,
                "latencies": [{"input": "a"}],
                "last": None,
            }
        ),
    ],
)
def test_spoilt_memory_is_told(tmp_path: Path, text: str) -> None:
    """Which file, and what to do."""
    (tmp_path / known.FILE_NAME).write_text(text)
    with pytest.raises(CaptureError, match=r"devices\.json.*delete it"):
        known.load(tmp_path)


def test_memory_that_cannot_be_written_is_told(tmp_path: Path) -> None:
    """A file where the folder should be."""
    (tmp_path / "folder").write_text("")
    with pytest.raises(CaptureError, match="cannot be written"):
        known.save(known.Known({}, None), tmp_path / "folder")


def test_shipped_licks_have_a_click() -> None:
    """Each can be clicked at half its tempo, in whole passes."""
    for file in sorted((Path(__file__).parents[1] / "references").glob("*.lick")):
        lick = licks.read(file)
        slow = Clicks(lick.at_tempo(lick.tempo_bpm / 2), ClickKind.ACCENT)
        assert slow.pass_s >= float(lick.ends_s()[-1])
        assert np.abs(slow.render(0, 44_100)).max() > 0.1
