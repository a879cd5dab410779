"""`assessor record` as a player uses it, with a sound card made of arrays."""

from __future__ import annotations

import json
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
from click.testing import CliRunner, Result
from fake_devices import FakeCard, Floats

from assessor import cli, demo, latency
from assessor import lick as licks
from assessor.capture import devices, known
from assessor.capture.clicks import LEAD_S
from assessor.capture.devices import Device
from assessor.capture.journal import Journal
from assessor.capture.slate import ClickKind, Ended, Slate, read_slate
from assessor.cli import sound_card, taking
from assessor.lick import sheet

TOP = Path(__file__).parents[1]
LICK = TOP / "references" / "skipped-string-arpeggios.lick"
RATE_HZ = 44_100
IN = Device(0, "Line in", 2, 0, RATE_HZ, usual_input=True)
OUT = Device(1, "Phones", 0, 2, RATE_HZ, usual_output=True)
LATE_S = 0.02


@dataclass
class Desk:
    """What is plugged in, and which keys will be pressed.

    Attributes
    ----------
    cards : list of FakeCard
        One for each time a device is opened, in order.
    script : list of (int, bool, str) or None
        Keys, each with the number of devices opened before it and whether the last
        one still runs; None where nobody is there.
    """

    cards: list[FakeCard]
    script: list[tuple[int, bool, str]] | None = None
    opened: list[tuple[Device, Device | None]] = field(default_factory=list)
    runs: bool = False
    feeding: threading.Thread | None = None

    @contextmanager
    def open_stream(
        self, source: Device, target: Device | None, callback: Any, **_: Any
    ) -> Iterator[FakeCard]:
        """Stand in for `devices.open_stream`."""
        self.opened.append((source, target))
        self.runs = True
        card = self.cards.pop(0)
        heard = callback
        if target is None:
            heard = lambda sound, _, *more: callback(sound, None, *more)  # noqa: E731
        self.feeding = thread = card.start(heard)
        try:
            yield card
        finally:
            thread.join()
            self.runs = False

    @contextmanager
    def pad(self) -> Iterator[Desk]:
        """Stand in for `keys.keys`."""
        yield self

    @property
    def there(self) -> bool:
        """Whether somebody can press keys."""
        return self.script is not None

    def pressed(self) -> str:
        """Next key, when its time has come."""
        if self.feeding is not None and self.feeding.is_alive():
            return ""  # nobody presses a key before there is anything to see
        if self.script and self.script[0][:2] == (len(self.opened), self.runs):
            return self.script.pop(0)[2]
        return ""


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Everything a user has, in one place."""
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    monkeypatch.setattr(sound_card, "config_folder", lambda: tmp_path / "config")
    monkeypatch.setattr(
        "assessor.cli.taking.config_folder", lambda: tmp_path / "config"
    )
    monkeypatch.setattr(
        "assessor.cli.record.config_folder", lambda: tmp_path / "config"
    )
    monkeypatch.setattr(taking, "_usual_folder", lambda: tmp_path / "recorded")
    monkeypatch.setenv("ASSESSOR_STORE", str(tmp_path / "history.db"))
    return tmp_path


@pytest.fixture
def plug(monkeypatch: pytest.MonkeyPatch) -> Any:
    """Plug in cards, with somebody at the keys or nobody."""

    def plug_in(*cards: FakeCard, script: Any = None) -> Desk:
        desk = Desk(list(cards), script)
        monkeypatch.setattr(devices, "devices", lambda: [IN, OUT])
        monkeypatch.setattr(devices, "open_stream", desk.open_stream)
        monkeypatch.setattr(taking, "keys", desk.pad)
        monkeypatch.setattr("assessor.cli.record.keys", desk.pad)
        return desk

    return plug_in


def record(*arguments: str) -> Result:
    """Run `assessor record` in this process."""
    return CliRunner().invoke(cli.main, ["record", *arguments])


def playing(
    passes: int = 1,
    *,
    late_s: float = 0.0,
    before_s: float = LEAD_S,
    tail_s: float = 5.0,
) -> Floats:
    """A lick played after one bar of count-in, as the input hears it."""
    manner = demo.Manner(repeats=passes, click=False, count_in_bars=1)
    played = demo.play(licks.read(LICK), manner).samples.copy()
    count_in = demo.play(licks.read(LICK), manner).onsets_s[0, 0]
    played[: int(RATE_HZ * (count_in - 0.01))] = 0  # the clicks, not heard here
    lead = np.zeros(round((before_s + late_s) * RATE_HZ), np.float32)
    tail = np.zeros(round(tail_s * RATE_HZ), np.float32)
    mono = np.concatenate([lead, 0.5 * played, tail])
    hiss = np.random.default_rng(1).normal(0, 1e-5, len(mono)).astype(np.float32)
    return np.column_stack([hiss, mono + hiss])


def know_latency(folder: Path, spread_s: float = 0.0001) -> None:
    """As if it had been measured."""
    pair = known.Pair(IN.name, OUT.name)
    found = latency.Latency(LATE_S, spread_s, 0.0, 4)
    known.save(known.Known({(pair, RATE_HZ): found}, None), folder / "config")


def only_take(folder: Path) -> Path:
    """The take that was recorded."""
    (take,) = (folder / "recorded").iterdir()
    return take


def test_record_and_report_at_once(folder: Path, plug: Any) -> None:
    """Without anybody at the keys: recorded, stopped by itself, checked."""
    know_latency(folder)
    desk = plug(FakeCard(playing(late_s=LATE_S + 0.03)))
    done = record("--lick", str(LICK), "--passes", "1", "--channel", "2")
    assert done.exit_code == 0, done.stderr
    assert desk.opened == [(IN, OUT)]
    assert "played as often as asked" in done.stdout
    assert "29 of 29 right" in done.stdout
    assert "30 ms ±" in done.stdout
    assert "behind the click" in done.stdout
    slate = read_slate(only_take(folder))
    assert slate is not None
    assert (slate.click, slate.tempo_bpm) == (ClickKind.ACCENT, 92)
    assert (slate.input, slate.output) == (IN.name, OUT.name)
    assert slate.ended is Ended.PASSES


def test_check_of_the_take_says_the_same(folder: Path, plug: Any) -> None:
    """Its file is enough; and the user's word goes before the file's."""
    know_latency(folder)
    plug(FakeCard(playing(late_s=LATE_S + 0.03)))
    first = record("--lick", str(LICK), "--passes", "1", "--channel", "2")
    take = str(only_take(folder))
    check = CliRunner().invoke(cli.main, ["check", take])
    assert check.exit_code == 0, check.stderr
    assert check.stdout in first.stdout
    own = CliRunner().invoke(cli.main, ["check", take, "--own-tempo"])
    assert "click" not in own.stdout
    other = CliRunner().invoke(cli.main, ["check", take, "--click=0"])
    assert "the click" in other.stdout
    assert other.stdout != check.stdout


def test_unmeasured_latency_is_said_before_and_after(folder: Path, plug: Any) -> None:
    """Then the player's own tempo counts."""
    plug(FakeCard(playing(late_s=0.1)))
    done = record("--lick", str(LICK), "--passes", "1", "--channel", "2")
    assert "The latency of these devices is not known" in done.stdout
    assert "was never measured" in " ".join(done.stdout.split())
    assert "behind the click" not in done.stdout


def test_keys_start_keep_and_repeat(folder: Path, plug: Any) -> None:
    """Enter starts; k keeps; a records again, where any key stops; q leaves."""
    desk = plug(
        FakeCard(playing()[RATE_HZ * 3 : RATE_HZ * 6], hangs=True),
        FakeCard(playing()),
        FakeCard(playing()[: RATE_HZ * 8], hangs=True),
        script=[
            (1, True, "\n"),
            (2, False, "k"),
            (2, False, "?"),
            (2, False, "a"),
            (3, True, "x"),
            (3, False, "q"),
        ],
    )
    done = record("--lick", str(LICK), "--passes", "1")
    assert done.exit_code == 0, done.output
    assert desk.opened == [(IN, None), (IN, OUT), (IN, OUT)]
    assert done.stdout.count("Kept    as take 1 of your history") == 1
    assert "29 of 29 right" in done.stdout  # from the louder channel
    assert "stopped by you" in done.stdout
    assert len(list((folder / "recorded").iterdir())) == 2


def test_q_leaves_before_anything_is_recorded(folder: Path, plug: Any) -> None:
    """From the level."""
    desk = plug(FakeCard(playing()[:RATE_HZ], hangs=True), script=[(1, True, "q")])
    done = record("--lick", str(LICK))
    assert (done.exit_code, desk.opened) == (0, [(IN, None)])
    assert not (folder / "recorded").exists()


def test_kept_take_knows_its_device_and_time(folder: Path, plug: Any) -> None:
    """With --keep nobody is asked; the next tempo follows from what is kept."""
    plug(*[FakeCard(playing(passes=3)) for _ in range(2)])
    options = ("--lick", str(LICK), "--channel", "2", "--keep", "--player", "Ada")
    assert "Kept    as take 1" in record(*options).stdout
    out = CliRunner().invoke(cli.main, ["history", "list", "--player", "Ada"])
    assert "92 bpm" in out.stdout
    faster = record(*options[:-3], "--player", "Ada", "--tempo", "next")
    assert "Tempo   92 bpm: at 92 bpm and inside; keep it there" in faster.stdout


def test_next_tempo_without_history(folder: Path, plug: Any) -> None:
    """As written."""
    plug(FakeCard(playing()))
    done = record("--lick", str(LICK), "--passes", "1", "--tempo", "next")
    assert "Tempo   92 bpm: as written; no take of it is kept yet" in done.stdout


def test_unplugged_device_leaves_a_take(folder: Path, plug: Any) -> None:
    """What was played is saved and assessed."""
    plug(FakeCard(playing()[: RATE_HZ * 11]))
    done = record("--lick", str(LICK), "--channel", "2")
    assert "the device went away" in done.stdout
    assert "No pass is whole" in done.stdout
    assert soundfile.info(only_take(folder)).frames == RATE_HZ * 11


def test_false_start_is_started_again(folder: Path, plug: Any) -> None:
    """Losses, or the device gone, while devices settle cost nothing."""
    desk = plug(
        FakeCard(playing(), overflow_at=(2,)),
        FakeCard(playing()[:1000]),
        FakeCard(playing()),
    )
    done = record("--lick", str(LICK), "--passes", "1", "--channel", "2")
    assert len(desk.opened) == 3
    assert "29 of 29 right" in done.stdout
    assert "sound was lost" not in done.stdout
    assert only_take(folder).suffix == ".flac"


def test_losses_are_reported_with_their_place(folder: Path, plug: Any) -> None:
    """And the click is not judged by any more."""
    know_latency(folder)
    card = FakeCard(playing(late_s=0.05), sizes=(441,), overflow_at=(420,))
    plug(card)
    done = record("--lick", str(LICK), "--passes", "1", "--channel", "2")
    assert "sound was lost at 1 place (4.20 s)" in " ".join(done.stdout.split())
    assert "behind the click" not in done.stdout


def test_take_of_nothing_is_told_and_kept(folder: Path, plug: Any) -> None:
    """Exit code 3, as from check; the file is there to be listened to."""
    plug(FakeCard(np.zeros((RATE_HZ * 40, 2), np.float32)))
    done = record("--lick", str(LICK), "--passes", "1")
    assert done.exit_code == 3
    assert "silent" in done.stderr
    assert only_take(folder).exists()


def test_device_that_gives_nothing(folder: Path, plug: Any) -> None:
    """No take, and words."""
    plug(*[FakeCard(np.zeros((0, 2), np.float32)) for _ in range(3)])
    done = record("--lick", str(LICK))
    assert done.exit_code == 3
    assert "nothing came from the device" in done.stderr
    assert list((folder / "recorded").iterdir()) == []


def test_take_of_a_killed_program_is_found(folder: Path, plug: Any) -> None:
    """The next start puts it together and says how to check it."""
    (folder / "recorded").mkdir()
    slate = Slate("A", 92, lick_file="a.lick")
    journal = Journal(folder / "recorded" / "old.flac", RATE_HZ, slate)
    journal.write(np.full(1000, 0.1, np.float32))
    journal.close()
    plug(FakeCard(playing()))
    done = record("--lick", str(LICK), "--passes", "1")
    assert "a take that was cut off is saved" in done.stdout
    assert soundfile.info(folder / "recorded" / "old.flac").frames == 1000


@pytest.mark.parametrize(
    ("options", "expected"),
    [
        ((), (92, ClickKind.ACCENT, LEAD_S + 4 * 60 / 92)),
        (("--tempo", "60"), (60, ClickKind.ACCENT, LEAD_S + 4)),
        (("--subdivide", "2"), (92, ClickKind.SUBDIVIDED, LEAD_S + 4 * 60 / 92)),
        (("--click", "count-in"), (92, ClickKind.COUNT_IN, LEAD_S + 4 * 60 / 92)),
        (("--count-in", "0"), (92, ClickKind.ACCENT, LEAD_S)),
        (("--click", "none"), (92, ClickKind.NONE, None)),
    ],
)
def test_click_is_written_down(
    folder: Path, plug: Any, options: tuple[str, ...], expected: tuple[Any, ...]
) -> None:
    """What was asked for is what the take's file says."""
    desk = plug(FakeCard(playing()))
    record(
        "--lick", str(LICK), "--passes", "1", "--out", str(folder / "a.flac"), *options
    )
    slate = read_slate(folder / "a.flac")
    assert slate is not None
    tempo_bpm, kind, sent_s = expected
    assert (slate.tempo_bpm, slate.click) == (tempo_bpm, kind)
    assert sheet.read(slate.lick_sheet, "tag").tempo_bpm == 92  # as written
    assert slate.click_sent_s == (sent_s and pytest.approx(sent_s))
    assert desk.opened == [(IN, None if kind is ClickKind.NONE else OUT)]


# ----------------------------------------------------------------- the latency


def silence() -> Floats:
    """Long enough for one measurement."""
    return np.zeros((RATE_HZ * 5, 2), np.float32)


def test_latency_is_measured_and_used(folder: Path, plug: Any) -> None:
    """Through a loop of 1,000 frames; the next take is judged against the click."""
    rounds = range(latency.ROUNDS)
    plug(*[FakeCard(silence(), delay=1000, hangs=True) for _ in rounds])
    done = record("--measure-latency")
    assert done.exit_code == 0, done.output
    assert "Latency 22.68 ms at 44100 Hz, within 0.00 ms over 6 starts" in done.stdout
    kept = json.loads((folder / "config" / known.FILE_NAME).read_text())
    assert kept["latencies"][0]["offset_s"] == pytest.approx(1000 / RATE_HZ, abs=1e-6)
    plug(FakeCard(playing(late_s=1000 / RATE_HZ)))
    take = record("--lick", str(LICK), "--passes", "1", "--channel", "2")
    assert "0 ms ±" in take.stdout
    assert "the click" in take.stdout


def test_latency_that_jumps_is_not_used(folder: Path, plug: Any) -> None:
    """From start to start by 10 ms: said when measured, and when recorded."""
    delays = (1000, 1441, *[1000] * (latency.ROUNDS - 2))
    plug(*[FakeCard(silence(), delay=delay, hangs=True) for delay in delays])
    done = record("--measure-latency")
    assert "within 10.00 ms" in done.stdout
    assert "judged by your own tempo" in " ".join(done.stdout.split())
    plug(FakeCard(playing()))
    take = record("--lick", str(LICK), "--passes", "1", "--channel", "2")
    assert "changes by 10.0 ms" in " ".join(take.stdout.split())


def test_losses_while_measuring_cost_another_try(folder: Path, plug: Any) -> None:
    """As long as enough starts go well."""
    bad = FakeCard(silence(), delay=1000, overflow_at=(50,), hangs=True)
    rounds = range(latency.ROUNDS)
    good = [FakeCard(silence(), delay=1000, hangs=True) for _ in rounds]
    desk = plug(bad, *good)
    assert record("--measure-latency").exit_code == 0
    assert len(desk.opened) == latency.ROUNDS + 1


def test_no_loop_is_told(folder: Path, plug: Any) -> None:
    """Nothing is kept then."""
    plug(FakeCard(silence(), hangs=True))
    done = record("--measure-latency")
    assert done.exit_code == 3
    assert "connect output and input by a cable" in done.stderr
    assert not (folder / "config").exists()


# ---------------------------------------------------------------- wrong use


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ((), "give one of --lick LICK, --measure-latency and --devices"),
        (("--lick", str(LICK), "--devices"), "give one of"),
        (("--lick", str(LICK), "--input", "tape"), "'tape' fits no input devices"),
        (("--lick", str(LICK), "--output", "Line"), "fits no output devices"),
        (("--lick", str(LICK), "--channel", "3"), "Line in has 2 channels"),
        (("--lick", str(LICK), "--tempo", "fast"), "--tempo"),
        (("--lick", str(LICK), "--tempo", "nan"), "--tempo"),
        (("--lick", str(LICK), "--tempo", "10"), "--tempo"),
        (("--lick", str(LICK), "--click", "none", "--subdivide", "2"), "--subdivide"),
        (("--lick", str(LICK), "--out", "a.wav"), "written as .flac"),
        (("--lick", str(LICK), "--out", "no/a.flac"), "there is no folder no; make it"),
        (("--lick", str(LICK), "--out", "."), "that is a folder; name a file"),
        (("--lick", str(LICK), "--tolerance", "none"), "--tolerance"),
    ],
)
def test_wrong_use(
    folder: Path, plug: Any, arguments: tuple[str, ...], words: str
) -> None:
    """Exit code 2, and what is allowed; no device is opened."""
    desk = plug()
    done = record(*arguments)
    assert done.exit_code == 2
    assert words in " ".join(done.stderr.split())
    assert desk.opened == []


def test_a_take_is_not_written_over(folder: Path, plug: Any) -> None:
    """Not even when asked for its name."""
    plug()
    (folder / "a.flac").write_text("mine")
    done = record("--lick", str(LICK), "--out", str(folder / "a.flac"))
    assert done.exit_code == 2
    assert "not written over" in " ".join(done.stderr.split())


def test_spoilt_lick_is_told_before_anything_is_opened(folder: Path, plug: Any) -> None:
    """Exit code 3."""
    desk = plug()
    (folder / "bad.lick").write_text("no lick")
    done = record("--lick", str(folder / "bad.lick"))
    assert (done.exit_code, desk.opened) == (3, [])


@pytest.mark.parametrize(
    ("found", "words"),
    [([], "there is no input device"), ([IN], "there is no output device")],
)
def test_no_device(
    folder: Path,
    plug: Any,
    monkeypatch: pytest.MonkeyPatch,
    found: list[Device],
    words: str,
) -> None:
    """What to plug in, or to do instead."""
    plug()
    monkeypatch.setattr(devices, "devices", lambda: found)
    done = record("--lick", str(LICK))
    assert done.exit_code == 3
    assert words in done.stderr


class Missing:
    """Stands in for a package or library that is not installed."""

    def __init__(self, problem: Exception) -> None:
        self.problem = problem

    def find_spec(self, name: str, *_: object) -> None:
        """Fail as the import would."""
        if name == "sounddevice":
            raise self.problem


@pytest.mark.parametrize(
    ("problem", "words"),
    [
        (ModuleNotFoundError("sounddevice"), "pip install 'assessor[record]'"),
        (OSError("PortAudio library not found"), "apt install libportaudio2"),
    ],
)
def test_what_is_missing_is_told(
    folder: Path, monkeypatch: pytest.MonkeyPatch, problem: Exception, words: str
) -> None:
    """Words and exit code 3, no traceback."""
    monkeypatch.delitem(sys.modules, "sounddevice", raising=False)
    monkeypatch.setattr(sys, "meta_path", [Missing(problem), *sys.meta_path])
    for arguments in (["--devices"], ["--lick", str(LICK)], ["--measure-latency"]):
        done = record(*arguments)
        assert done.exit_code == 3
        assert words in done.stderr


def test_devices_are_listed(plug: Any) -> None:
    """With what they can do."""
    plug()
    done = record("--devices")
    assert done.stdout.splitlines() == [
        "  0  Line in: 2 in (usual), 44100 Hz",
        "  1  Phones: 2 out (usual), 44100 Hz",
    ]
