"""Takes of drills, told of the lick they are made of."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC
from pathlib import Path

import pytest
import stores
from click.testing import CliRunner, Result
from test_progress import only, take

from assessor.cli import main
from assessor.history.drills import drills_among, drills_of
from assessor.history.licks import digest_of
from assessor.history.takes import ToKeep, keep
from assessor.lick.notation import Lick, Parent
from assessor.lick.sheet import write
from assessor.report.weeks_page import weeks_page
from assessor.weeks import ONLY_DRILLS, drill_words, in_full

LICK = stores.LICK
# Sixteen notes: the eighth to eleventh of the lick, four times.
PLACES = (7, 8, 9, 10) * 4


def drill_of(digest: str, form: str = "one cell <4 times>") -> Lick:
    """The notes of the lick, said to be some of a parent over and over."""
    return replace(LICK, title="Drill", parent=Parent("Mother", digest, form, PLACES))


def test_only_those_of_the_lick_are_its_drills() -> None:
    """Neither a lick without a parent, nor one of another, nor of an unnamed one."""
    licks = {
        "a": LICK,
        "b": drill_of("mother"),
        "c": drill_of("other"),
        "d": drill_of(""),
    }
    assert drills_among("mother", licks) == ["b"]


def test_faults_come_home_to_the_notes_of_the_parent() -> None:
    """The same note of the parent, missed twice and once of four times in two takes."""
    own = digest_of(LICK)
    takes = [
        take(1, 2, lick="b", missed=(1, 5)),  # both are the ninth
        take(2, 1, lick="b", missed=(1, 6)),
        take(3, missed=(0,)),
    ]
    (found,) = drills_of("mother", {"b": drill_of("mother"), own: LICK}, takes, UTC)
    assert len(found.found.takes) == 2
    assert dict(found.reached) == {7: 8, 8: 8, 9: 8, 10: 8}
    assert {k: n for k, n in found.faulty.items() if n} == {8: 3, 9: 1}
    words = drill_words(found)
    assert words[0].startswith("2 takes on 2 days")
    assert words[2] == (
        "Something went wrong at note 9 (3 of 8 times), 10 (1 of 8 times)."
    )


@pytest.mark.parametrize("form", ["one cell <4 times>", ""])
def test_text_and_page_have_them(form: str) -> None:
    """By what is done, else by the title; nothing where there is none."""
    drills = drills_of("m", {"b": drill_of("m", form)}, [take(1, lick="b")], UTC)
    one = only([take(2)])
    text = in_full(one, LICK, 80, drills)
    # without a form the title of its takes
    assert f"  {form or LICK.title}: 1 take on 1 day" in text
    assert "No note went wrong." in " ".join(text.split())
    page = weeks_page([one], {}, drills=drills)
    assert ("one cell &lt;4 times&gt;</strong>" in page) == bool(form)
    assert "Drills of it" in page
    assert "Drills of it" not in weeks_page([one], {}) + in_full(one, LICK)


def kept_drill() -> Lick:
    """A drill of `LICK` that is another lick than it: everything a fret higher."""
    return replace(
        drill_of(digest_of(LICK)),
        notes=tuple(
            replace(n, midi_number=n.midi_number + 1, fret=n.fret + 1)
            for n in LICK.notes
        ),
    )


def store_of(folder: Path, *licks: Lick) -> str:
    """Place of a store with a take of each lick, the third note missed."""
    with stores.new_store("sqlite", folder) as store:
        for number, asked in enumerate(licks):
            heard = stores.result(number, missed=(2,))
            files = f"{asked.title}.lick", f"{number}.wav"
            keep(store, ToKeep(heard, asked, *files, stores.NOW), stores.NOW)
        return str(store.place)


def progress(place: str, *words: str) -> Result:
    """The command with its words."""
    return CliRunner().invoke(main, ["progress", *words, "--store", place])


def test_progress_of_a_lick_tells_of_its_drills(tmp_path: Path) -> None:
    """The whole way through a store, by the parent's digest."""
    place = store_of(tmp_path, LICK, kept_drill())
    done = progress(place, LICK.title)
    assert done.exit_code == 0, done.output
    said = " ".join(done.output.split())
    assert "one cell <4 times>: 1 take on 1 day" in said
    assert "went wrong at note 10 (1 of 4 times)." in said
    done = progress(place, "Drill")
    assert done.exit_code == 0, done.output
    assert "Drills of it" not in done.output


@pytest.mark.parametrize("word", ["file", "Mother", "moth", digest_of(LICK)[:12]])
def test_a_lick_is_known_by_its_drills_alone(word: str, tmp_path: Path) -> None:
    """Never played as a whole, it is found by file, title, part of it, and digest."""
    place = store_of(tmp_path, kept_drill())
    if word == "file":
        word = str(tmp_path / "whole.lick")
        Path(word).write_text(write(LICK), encoding="utf-8")
    page = tmp_path / "page.html"
    done = progress(place, word, "--html", str(page))
    assert done.exit_code == 0, done.output
    assert done.output.startswith(f"Mother\n{ONLY_DRILLS}\n")
    assert "went wrong at note 10 (1 of 4 times)." in " ".join(done.output.split())
    shown = page.read_text(encoding="utf-8")
    assert "Mother</h2>" in shown
    assert ONLY_DRILLS in shown
    assert "one cell &lt;4 times&gt;" in shown


def test_a_lick_that_was_kept_goes_before_one_known_by_drills(tmp_path: Path) -> None:
    """Part of both titles is the one that has takes; only drills cannot be drawn."""
    drill = replace(kept_drill(), title="Mother: drill")
    place = store_of(tmp_path, drill)
    assert progress(place, "Moth").output.startswith("Mother: drill\n1 take")
    done = progress(place, "Mother", "--figure", str(tmp_path / "one.svg"))
    assert done.exit_code == 2
    assert "no take of the lick itself" in done.output
    done = progress(place, "Mother", "--until", "2020-01-01")
    assert done.exit_code == 3
