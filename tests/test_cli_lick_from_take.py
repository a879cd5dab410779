"""``assessor lick from-take`` as a teacher uses it, and as it is misused."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile
from click.testing import CliRunner, Result

from assessor import lick
from assessor.cli import main

TOP = Path(__file__).parents[1]
CLEAN = TOP / "recordings" / "clean.flac"
PASSES = TOP / "recordings" / "three-passes.flac"
BENDS = TOP / "recordings" / "flat-bend.flac"


def run(*words: object) -> Result:
    """Return what the command printed and its exit code."""
    return CliRunner().invoke(main, ["lick", "from-take", *map(str, words)])


def test_without_a_file_the_sheet_is_shown(tmp_path: Path) -> None:
    """It can be kept by redirecting it, and reads as a lick."""
    done = run(CLEAN)
    assert done.exit_code == 0, done.output
    file = tmp_path / "shown.lick"
    file.write_text(done.output)
    asked = lick.read(TOP / "references" / "skipped-string-arpeggios.lick")
    found = lick.read(file)
    assert [n.midi_number for n in found.notes] == [n.midi_number for n in asked.notes]
    assert found.tempo_bpm == 92


def test_a_sheet_carries_what_is_not_sure(tmp_path: Path) -> None:
    """As remarks, which its reader passes over; and it is printed."""
    out = tmp_path / "bends.lick"
    done = run(BENDS, "-o", out, "--tempo", 66, "--title", "Bent flat")
    assert done.exit_code == 0, done.output
    assert "Bent flat, 14 notes, 66 bpm (played at 66.0)" in done.output
    assert "cents, written as" in done.output
    assert "# Not sure: bent by" in out.read_text()
    assert lick.read(out).title == "Bent flat"


@pytest.mark.parametrize("given", [True, False])
def test_a_tempo_that_was_found_is_doubted(tmp_path: Path, given: bool) -> None:
    """With what else may be meant, on the sheet too; not where it was given."""
    out = tmp_path / "clean.lick"
    done = run(CLEAN, "-o", out, *(("--tempo", 92) if given else ()))
    guess = "found to be 92 bpm: 46 may be meant, with all values half as long, or 184"
    remarks = " ".join(out.read_text().replace("#", " ").split())
    assert (guess in done.output, guess in remarks) == (not given, not given)
    assert ("Nothing in it is doubtful" in done.output) == given


@pytest.mark.parametrize("suffix", ["musicxml", "mxl", "mid"])
def test_other_formats_are_written(tmp_path: Path, suffix: str) -> None:
    """Each reads back as a lick of as many notes."""
    out = tmp_path / f"take.{suffix}"
    assert run(CLEAN, "-o", out).exit_code == 0
    assert len(lick.read(out)) == 29


def test_the_passes_are_named(tmp_path: Path) -> None:
    """With their times, which one is written, and how to get another."""
    done = run(PASSES, "-o", tmp_path / "a.lick", "--pickup", "1")
    assert "The phrase is played 3 times (0.5-5.3 s, " in done.output
    assert "number 3 is written; --pass N takes another" in done.output
    assert "132 bpm, swing 2:1 as found" in done.output
    again = run(PASSES, "-o", tmp_path / "b.lick", "--pass", "all")
    assert "51 notes" in again.output
    assert "all of them are written" in again.output


def test_what_is_asked_for_is_written(tmp_path: Path) -> None:
    """Meter, feel, tuning and capo go into the sheet."""
    out = tmp_path / "a.lick"
    done = run(
        CLEAN, "-o", out, "--meter", "3/4", "--feel", "straight", "--tempo", 92,
        "--tuning", "drop D", "--capo", 2, "--near", 5, "--from", 0.5, "--to", 4,
    )  # fmt: skip
    assert done.exit_code == 0, done.output
    found = lick.read(out)
    assert (str(found.meter), found.capo, found.swing) == ("3/4", 2, None)
    assert str(found.tuning) == "D2 A2 D3 G3 B3 E4"


@pytest.mark.parametrize(
    ("words", "complaint"),
    [
        (["--pass", "x"], "'x' is no pass; a number from 1 on, or all"),
        (["--pass", "0"], "'0' is no pass"),
        (["--meter", "4"], "allowed is a time signature such as 4/4"),
        (["--pickup", "4"], "4 fills a bar of 4/4; a pickup is shorter"),
        (["--pickup", "-1"], "allowed is a length in quarter notes"),
        (["--feel", "bouncy"], "allowed is `straight`, or `swing`"),
        (["--tuning", "E2"], "allowed are 4 to 9 note names"),
        (["--capo", "30"], "allowed is a fret from 0"),
        (["--from", "5", "--to", "4"], "4 s is not after --from, 5 s"),
        (["--tempo", "0"], "is not in the range"),
        (["-o", "take.txt"], "the ending says the format"),
    ],
)
def test_wrong_use_is_told(words: list[str], complaint: str) -> None:
    """Before anything is heard, with code 2."""
    done = run(CLEAN, *words)
    assert done.exit_code == 2
    assert complaint in " ".join(done.output.split())


def test_nothing_is_written_over_unasked(tmp_path: Path) -> None:
    """Unless --force says so."""
    out = tmp_path / "mine.lick"
    out.write_text("mine")
    assert run(CLEAN, "-o", out).exit_code == 2
    assert out.read_text() == "mine"
    assert run(CLEAN, "-o", out, "--force").exit_code == 0
    assert len(lick.read(out)) == 29


@pytest.mark.parametrize(
    ("words", "complaint"),
    [
        (["--pass", "2"], "there is no pass 2: the take holds one pass"),
        (["--from", "50"], "a stretch from 50 s on holds nothing of it"),
        (["--tuning", "C4 E4 G4 C5"], "note 1, C3 at 0.66 s, lies outside the neck"),
    ],
)
def test_what_cannot_be_written_is_told(
    tmp_path: Path, words: list[str], complaint: str
) -> None:
    """With the take's name, code 3, and no file."""
    out = tmp_path / "a.lick"
    done = run(CLEAN, *words, "-o", out)
    assert done.exit_code == 3
    assert complaint in done.output
    assert str(CLEAN) in done.output
    assert not out.exists()


def test_silence_and_noise_are_refused(tmp_path: Path) -> None:
    """The one by its level, the other since no note is in it."""
    rng = np.random.default_rng(0)
    for name, sound in (
        ("silence", np.zeros(44100)),
        ("noise", 0.1 * rng.standard_normal(44100 * 3)),
    ):
        take = tmp_path / f"{name}.wav"
        soundfile.write(take, sound, 22050)
        done = run(take)
        assert done.exit_code == 3
        assert f"{name}.wav: " in done.output


def test_no_such_take(tmp_path: Path) -> None:
    """Says so."""
    done = run(tmp_path / "none.wav")
    assert done.exit_code == 3
    assert "there is no such file" in done.output
