"""Practice forms of a lick: what they play, whose notes they are, how they are read."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from itertools import chain
from pathlib import Path
from typing import Any

import hand_made as made
import pytest
from click.testing import CliRunner, Result
from hypothesis import given, settings
from hypothesis import strategies as st

from assessor import demo, lick, recording, report
from assessor.alignment import Verdict
from assessor.assessment import Settings, assess
from assessor.cli import main
from assessor.lick import drills, sheet
from assessor.lick.digest import digest_of
from assessor.lick.fingerboard import shifts
from assessor.lick.moves import beat_of
from assessor.lick.notation import (
    Articulation,
    Bend,
    BendKind,
    Lick,
    Meter,
    Parent,
    TempoChange,
)
from assessor.lick.playability import complaints
from assessor.measures.clock import Click
from assessor.report.home import come_home

REFERENCES = Path(__file__).parents[1] / "references"
FILES = sorted(REFERENCES.glob("*.lick"))
CELLS = REFERENCES / "diminished-cell-by-minor-thirds.lick"
SLURS = REFERENCES / "pentatonic-hammers-and-pulls.lick"
SWUNG = REFERENCES / "swung-two-five-one.lick"
PICK, HAMMER, PULL = (
    Articulation.PICK,
    Articulation.HAMMER_ON,
    Articulation.PULL_OFF,
)
HALF = Fraction(1, 2)


def places_in(drill: Lick) -> tuple[int, ...]:
    """Places in the parent."""
    assert drill.parent is not None
    return drill.parent.notes


# ---------------------------------------------------------------------- the cells


def test_the_cells_of_the_shipped_lick() -> None:
    """Seven cells of four notes; the note that ends it goes with the last."""
    cells = drills.groups_of(lick.read(CELLS))
    assert [(c.start, c.stop) for c in cells] == [
        *((k, k + 4) for k in range(0, 24, 4)),
        (24, 29),
    ]


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_cells_are_the_whole_lick(path: Path) -> None:
    """Each note is in one, and none is too short to be practised alone."""
    one = lick.read(path)
    cells = drills.groups_of(one)
    assert [k for cell in cells for k in cell] == [*range(len(one))]
    assert min(map(len, cells)) >= min(3, len(one))


def test_a_lick_without_cells_is_cut_at_its_bars_but_not_in_a_slur() -> None:
    """The pull-off over the bar line stays with the note it comes from."""
    slur = {3: {"articulation": PULL}}
    one = made.lick(
        [0, 1, 2, "7/2", 4, 5, "13/2"],
        [(3, 5), (2, 5), (3, 7), (3, 5), (1, 5), (2, 8), (1, 8)],
        extras=slur,
        meter=Meter(3, 4),
    )
    cells = drills.groups_of(one)
    assert all(not one.notes[cell.start].slurred for cell in cells)


# ---------------------------------------------------------------------- the forms


def test_every_cell_so_many_times() -> None:
    """One cell after the other, each from the beat it starts on, times are exact."""
    one = lick.read(CELLS)
    drill = drills.every_cell(one, drills.groups_of(one), 2)
    assert places_in(drill)[:16] == (0, 1, 2, 3) * 2 + (4, 5, 6, 7) * 2
    assert [n.onset_beats for n in drill.notes[:9]] == [
        Fraction(k, 4) for k in range(9)
    ]
    assert drill.title == f"{one.title}: every cell twice"
    assert len(drill) == 2 * len(one)


def test_a_pause_before_the_next_cell() -> None:
    """A beat and a half of rest, and on from the next beat."""
    one = made.lick([0, HALF, 1, "3/2", 2, "5/2"], last_beats=HALF)
    cells = (range(3), range(3, 6))
    drill = drills.every_cell(one, cells, 1, Fraction(3, 2))
    # the first ends at 1 1/2 and rests to 3; the second starts off the beat, as it did
    assert [str(n.onset_beats) for n in drill.notes] == [
        *("0", "1/2", "1"),
        *("7/2", "4", "9/2"),
    ]


def test_one_cell_alone() -> None:
    """The third, four times."""
    one = lick.read(CELLS)
    drill = drills.one_cell(one, drills.groups_of(one), 3, 4)
    assert places_in(drill) == (8, 9, 10, 11) * 4
    with pytest.raises(ValueError, match="no cell 8: they count from 1 to 7"):
        drills.one_cell(one, drills.groups_of(one), 8, 1)


def test_the_bars_round_each_shift() -> None:
    """Two bars each where the shift is over the bar line; no bar without one."""
    # bars of four quarters; the hand goes from 5 to 12 over the line into bar 3
    places = [(3, 5), (3, 7), (2, 5), (2, 8)] * 2 + [(3, 12), (3, 14), (2, 12), (2, 15)]
    one = made.lick([*range(16)], [*places, *places[8:]])
    assert shifts(one) == (8,)
    drill = drills.round_shifts(one, 1)
    assert places_in(drill) == tuple(range(4, 12))
    near = drills.round_shifts(one, 2, round_beats=Fraction(1))
    assert places_in(near) == (7, 8) * 2


def test_bars_with_several_shifts_are_played_once() -> None:
    """Shifts inside a bar, and over its line: the two bars hold them all."""
    one = lick.read(CELLS)
    assert shifts(one)[:3] == (4, 8, 12)
    first_bar = replace(one, notes=one.notes[:16])
    assert places_in(drills.round_shifts(first_bar, 2)) == tuple(range(16)) * 2
    # the fourth of these leads over the bar line: its two bars hold the first as well
    places = [(3, 4), (3, 5), (3, 12), (3, 13), (3, 4), (3, 5), (3, 4), (3, 5)]
    both = made.lick([*range(8)], places)
    assert shifts(both) == (2, 4)
    assert places_in(drills.round_shifts(both, 1)) == tuple(range(8))


def test_built_up_from_the_end() -> None:
    """The last, the last two, the whole; each where it stands in the bar."""
    one = made.lick([0, 1, 2, 3, 4, 5], meter=Meter(3, 4))
    cells = (range(2), range(2, 4), range(4, 6))
    drill = drills.from_the_end(one, cells, 1)
    assert places_in(drill) == (4, 5, 2, 3, 4, 5, 0, 1, 2, 3, 4, 5)
    # note 4 is beat 2 of its bar, note 2 beat 3, note 0 beat 1
    stages = [[1, 2], [2, 0, 1, 2], [0, 1, 2, 0, 1, 2]]
    assert [n.onset_beats % 3 for n in drill.notes] == [*chain.from_iterable(stages)]


def test_displaced() -> None:
    """Half a beat later, changes of tempo with it, the pickup as it was."""
    one = replace(lick.read(SWUNG), tempo_changes=(TempoChange(Fraction(4), 100.0),))
    drill = drills.displaced(one, HALF)
    pairs = zip(drill.notes, one.notes, strict=True)
    assert {a.onset_beats - b.onset_beats for a, b in pairs} == {HALF}
    assert drill.tempo_changes == (TempoChange(Fraction(9, 2), 100.0),)
    assert (drill.pickup_beats, drill.swing) == (1, 2.0)
    for by in (Fraction(0), Fraction(4), Fraction(-1)):
        with pytest.raises(ValueError, match="between 0 and a bar of 4"):
            drills.displaced(one, by)


def test_slurs_picked_and_picks_slurred() -> None:
    """Hammered up and pulled down, picked; and again slurred where it was."""
    one = lick.read(SLURS)
    picked = drills.slurs_picked(one)
    assert {note.articulation for note in picked.notes} == {PICK}
    back = drills.picks_slurred(picked)
    for old, new in zip(one.notes, back.notes, strict=True):
        if old.slurred:
            assert new.articulation is old.articulation
    assert back.parent is not None
    assert back.parent.digest == digest_of(one)
    assert back.parent.form == "slurs picked; picks slurred"


@pytest.mark.parametrize(
    ("places", "extras", "expected"),
    [
        ([(3, 5), (3, 7)], {}, [PICK, HAMMER]),
        ([(3, 7), (3, 0)], {}, [PICK, PULL]),
        ([(3, 5), (2, 7), (2, 8)], {}, [PICK, PICK, HAMMER]),
        # 1 to 6 is 153 mm, more than a hand reaches; so is 1 to 4 to 7 as one group
        ([(3, 1), (3, 6), (3, 7)], {}, [PICK, PICK, HAMMER]),
        ([(3, 1), (3, 4), (3, 7)], {}, [PICK, HAMMER, PICK]),
        ([(3, 5), (3, 7), (3, 5)], {1: {"bend": Bend(BendKind.BEND, 200.0)}}, [1]),
        ([(3, 5), (3, 7), (3, 8)], {1: {"bend": Bend(BendKind.PREBEND, 200.0)}}, [0]),
    ],
)
def test_what_can_be_slurred(
    places: list[tuple[int, int]], extras: dict[int, Any], expected: list[Any]
) -> None:
    """On one string, within reach, not from or into what is bent already."""
    one = made.lick([*range(len(places))], places, extras=extras)
    if expected == [0]:
        with pytest.raises(ValueError, match="no picked note can be slurred"):
            drills.picks_slurred(one)
        return
    slurred = drills.picks_slurred(one)
    if expected == [1]:  # the bend can be hammered on; nothing is pulled from it
        expected = [PICK, HAMMER, PICK]
    assert [note.articulation for note in slurred.notes] == expected
    assert complaints(slurred) == ()


@pytest.mark.parametrize(
    ("form", "message"),
    [
        (drills.slurs_picked, "nothing is slurred"),
        (lambda one: drills.round_shifts(one, 2), "the hand never shifts"),
        (lambda one: drills.every_cell(one, [range(6)], 1000), "6000 notes, more than"),
        (drills.picks_slurred, "no picked note can be slurred"),
    ],
)
def test_forms_that_a_lick_does_not_allow(
    form: Callable[[Lick], Lick], message: str
) -> None:
    """With the reason."""
    one = made.lick([*range(6)], [(3, 5), (2, 5)] * 3)
    with pytest.raises(ValueError, match=message):
        form(one)


# ---------------------------------------------------------------- what holds for all

MAKERS: dict[str, Callable[[Lick, int], Lick]] = {
    "cells": lambda one, n: drills.every_cell(one, drills.groups_of(one), n),
    "cell": lambda one, n: drills.one_cell(one, drills.groups_of(one), 1, n),
    "shifts": lambda one, n: drills.round_shifts(one, n),
    "end": lambda one, n: drills.from_the_end(one, drills.groups_of(one), n),
    "displaced": lambda one, n: drills.displaced(one, HALF),
    "picked": lambda one, n: drills.slurs_picked(one),
    "slurred": lambda one, n: drills.picks_slurred(one),
}
NOT_MADE = "never shifts|nothing is slurred|no picked note"


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
@pytest.mark.parametrize("form", MAKERS)
def test_a_drill_is_a_lick_of_its_parents_notes(path: Path, form: str) -> None:
    """Same places in the same order, in the metre, written and read back whole."""
    one = lick.read(path)
    try:
        drill = MAKERS[form](one, 3)
    except ValueError as problem:
        with pytest.raises(ValueError, match=NOT_MADE):
            raise problem from None
        return
    assert drill.parent is not None
    assert (drill.parent.title, drill.parent.digest) == (one.title, digest_of(one))
    for note, place in zip(drill.notes, places_in(drill), strict=True):
        old = one.notes[place]
        assert (note.string, note.fret, note.bend) == (old.string, old.fret, old.bend)
        assert note.duration_beats == old.duration_beats
        if form not in ("displaced",):
            place_in_beat = (note.onset_beats - drill.pickup_beats) % beat_of(one)
            assert place_in_beat == (old.onset_beats - one.pickup_beats) % beat_of(one)
    assert sheet.read(sheet.write(drill), "drill.lick") == drill
    new = [c for c in complaints(drill) if not complaints(one)]
    assert new == []


@given(times=st.integers(1, 4), size=st.integers(1, 9))
@settings(max_examples=20, deadline=None)
def test_every_note_is_played_so_often(times: int, size: int) -> None:
    """Whatever the cells are."""
    one = lick.read(CELLS)
    cells = [range(k, min(k + size, len(one))) for k in range(0, len(one), size)]
    places = places_in(drills.every_cell(one, cells, times))
    assert {places.count(k) for k in range(len(one))} == {times}


def test_a_drill_of_a_drill_comes_home_to_the_first_lick() -> None:
    """Its notes are named in the lick that all is made of."""
    one = lick.read(CELLS)
    first = drills.one_cell(one, drills.groups_of(one), 3, 2)
    second = drills.displaced(first, HALF)
    assert second.parent is not None
    assert second.parent.digest == digest_of(one)
    assert places_in(second) == (8, 9, 10, 11) * 2


# -------------------------------------------------------------------- readings home


def drill_of(places: tuple[int, ...], **fields: Any) -> Lick:
    """A drill of quarter notes that are these notes of its parent."""
    parent = Parent("the parent", "ab" * 32, "by hand", places)
    return made.lick([*range(len(places))], parent=parent, **fields)


def test_readings_come_home() -> None:
    """Note 3 of the parent: right once, wrong once, missed once; note 5 is late."""
    drill = drill_of((2, 4, 2, 4, 2, 4))
    notes: list[Any] = list(made.as_written(drill, late_s=[0, 0.02] * 3))
    notes[2] = replace(notes[2], midi_number=notes[2].midi_number - 1)
    notes[4] = None
    found = made.assessed(
        drill,
        made.passage(notes, verdicts={2: Verdict.WRONG}),
        settings=Settings(click=Click(1.0)),  # on which the first note falls
    )
    third, fifth = come_home(drill.parent, found.best_pass)  # type: ignore[arg-type]
    assert (third.index, third.indices) == (2, (0, 2, 4))
    assert (third.right, third.wrong, third.missed, third.unsure) == (1, 1, 1, 0)
    assert (fifth.index, fifth.right) == (4, 3)
    assert (third.deviation_ms, fifth.deviation_ms) == pytest.approx((0, 20), abs=1e-6)


def test_the_report_says_which_notes_of_the_parent() -> None:
    """Under the tab, beside each fault, and summed up."""
    drill = drill_of((6, 7, 8, 6, 7, 8))
    notes: list[Any] = list(made.as_written(drill))
    notes[1] = None
    text = report.terminal(made.assessed(drill, made.passage(notes)))
    lines = text.splitlines()
    (row,) = (line for line in lines if line.startswith("parent "))
    assert row.split() == ["parent", "7", "7"]
    tab = next(line for line in lines if "G|" in line)
    assert [tab[k] for k in (row.index("7"), row.rindex("7"))] == ["5", "8"]
    assert "beat 2 (note 8 of the parent): this note did not sound" in text
    assert "Parent  the parent: note 8 (missed notes 1 of 2 times)." in lines


def test_the_result_file_says_it_note_by_note() -> None:
    """Place in the parent with every note, and the readings by the parent's notes."""
    drill = drill_of((6, 7, 6, 7))
    found = report.result(
        made.assessed(drill, made.passage([None, *made.as_written(drill)[1:]]))
    )
    assert found["lick"]["parent"] == {
        "title": "the parent",
        "sha256": "ab" * 32,
        "drill": "by hand",
    }
    (first,) = found["passes"]
    assert [note["parent_index"] for note in first["notes"]] == [6, 7, 6, 7]
    homes = {home["index"]: home for home in first["parent_notes"]}
    assert (homes[6]["missed"], homes[6]["right"], homes[7]["right"]) == (1, 1, 2)
    assert homes[6]["causes"] == {"missed notes": 1}


def test_a_lick_that_is_no_drill_says_nothing_of_a_parent() -> None:
    """Neither in words nor in the file."""
    one = made.lick([0, 1, 2, 3])
    found = made.assessed(one, made.passage(made.as_written(one)))
    assert "parent" not in report.terminal(found).lower()
    result = report.result(found)
    assert result["lick"]["parent"] is None
    assert result["passes"][0]["parent_notes"] == []
    assert result["passes"][0]["notes"][0]["parent_index"] is None


def test_a_take_of_a_drill_is_heard_and_comes_home(tmp_path: Path) -> None:
    """From sound: one note of the parent wrong both times it is played."""
    one = lick.read(CELLS)
    drill = drills.every_cell(one, drills.groups_of(one), 2)
    low = tuple(
        replace(note, fret=note.fret - 1, midi_number=note.midi_number - 1)
        if place == 6
        else note
        for note, place in zip(drill.notes, places_in(drill), strict=True)
    )
    manner = demo.Manner((one.tempo_bpm,), 1, click=False, count_in_bars=0)
    sound = demo.sound_file(demo.play(replace(drill, notes=low), manner).samples, "wav")
    (tmp_path / "take.wav").write_bytes(sound)
    (tmp_path / "drill.lick").write_text(sheet.write(drill), encoding="utf-8")
    read = lick.read(tmp_path / "drill.lick")
    found = assess(recording.read(tmp_path / "take.wav"), read)
    assert read.parent is not None
    homes = come_home(read.parent, found.best_pass)
    assert [h.index for h in homes if h.wrong or h.missed] == [6]
    assert (homes[6].wrong, homes[6].right) == (2, 0)
    assert sum(h.right for h in homes) == len(drill) - 2


# --------------------------------------------------------------- as a person uses it


def run(*words: object) -> Result:
    """Return what a command printed and its exit code."""
    return CliRunner().invoke(main, ["lick", "drill", *map(str, words)])


def test_without_a_place_the_forms_are_listed() -> None:
    """Cells with their notes, forms with their length or why they do not go."""
    done = run(CELLS)
    assert done.exit_code == 0
    assert "   7  notes 25 to 29   from bar 2, beat 3" in done.output
    assert "before the next: 116 notes" in done.output
    assert "picked: nothing is slurred in this lick\n" in done.output


@pytest.mark.parametrize(
    ("words", "notes"),
    [
        (["--form", "cells", "--times", 2], 58),
        (["--form", "cells", "--times", 2, "--cells", "1-8,9-29", "--pause", 2], 58),
        (["--form", "cell", "--cell", 2, "--times", 3], 12),
        (["--form", "cell", "--cell", 2, "--cells", "7", "--times", 1], 7),
        (["--form", "shifts", "--times", 1, "--round", 1], None),
        (["--form", "end", "--times", 1, "--cells", "20"], 29 + 9),
        (["--form", "displaced", "--by", 0.25], 29),
        (["--form", "slurred"], 29),
    ],
)
@pytest.mark.parametrize("suffix", [".lick", ".musicxml", ".mid"])
def test_each_form_is_a_file(
    tmp_path: Path, words: list[object], notes: int | None, suffix: str
) -> None:
    """In any format, with the parent's notes named."""
    out = tmp_path / f"out{suffix}"
    done = run(CELLS, "-o", out, *words)
    assert done.exit_code == 0, done.output
    drill = lick.read(out)
    assert drill.parent is not None
    assert drill.parent.digest == digest_of(lick.read(CELLS))
    assert notes is None or len(drill) == notes


def test_a_folder_gets_every_form(tmp_path: Path) -> None:
    """And is told what could not be made; nothing in it is written over."""
    done = run(SLURS, "-o", tmp_path / "drills", "--times", 2)
    assert done.exit_code == 0, done.output
    names = sorted(path.stem for path in (tmp_path / "drills").iterdir())
    cells = [f"cell-{k}" for k in range(1, 6)]
    assert names == sorted(["cells", "end", "displaced", "picked", "slurred", *cells])
    assert "shifts: the hand never shifts" in done.output
    (tmp_path / "drills" / "end.lick").write_text("precious")
    (tmp_path / "drills" / "cells.lick").unlink()
    again = run(SLURS, "-o", tmp_path / "drills")
    assert again.exit_code == 2
    assert "--force writes over it" in " ".join(again.output.split())
    assert not (tmp_path / "drills" / "cells.lick").exists()
    assert (tmp_path / "drills" / "end.lick").read_text() == "precious"


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (["--form", "cells"], "say with -o where to write it"),
        (["-o", "{tmp}/a.lick"], "say which --form, or name a folder"),
        (["-o", "{tmp}/no/drills"], "there is no folder"),
        (["-o", "{tmp}/a.pdf", "--form", "cells"], "known are .lick"),
        (["-o", "{tmp}/a.lick", "--form", "cell"], "--form cell needs --cell"),
        (
            ["-o", "{tmp}/a.lick", "--form", "cell", "--cell", "9"],
            "no cell 9: they count from 1 to 7",
        ),
        (
            ["-o", "{tmp}/a.lick", "--form", "end", "--cell", "1"],
            "--cell goes with --form cell",
        ),
        (
            ["-o", "{tmp}/a.lick", "--form", "cells", "--round", "1"],
            "--round goes with --form shifts",
        ),
        (["-o", "{tmp}/a.lick", "--form", "picked"], "nothing is slurred"),
        (["-o", "{tmp}/a.lick", "--form", "displaced", "--by", "4"], "between 0 and"),
        (["-o", "{tmp}/a.lick", "--form", "none"], "is not one of"),
        (["-o", "{tmp}/a.lick", "--form", "cells", "--times", "0"], "not in the range"),
        (["-o", "{tmp}/a.lick", "--form", "end", "--times", "100"], "more than 5000"),
        *(
            (["--cells", cells], "names no notes of this lick")
            for cells in ("0", "30", "1-30", "4-2", "x", "", "1-2,,3-4")
        ),
    ],
)
def test_wrong_words(tmp_path: Path, words: list[str], message: str) -> None:
    """The reason and the remedy, and nothing is written."""
    done = run(CELLS, *(word.format(tmp=tmp_path) for word in words))
    assert done.exit_code == 2, done.output
    assert message in " ".join(done.output.split())
    assert list(tmp_path.iterdir()) == []


def test_a_file_in_place_of_a_folder(tmp_path: Path) -> None:
    """It stays; so does a sheet that is none."""
    file = tmp_path / "drills"
    file.write_text("precious")
    assert run(CELLS, "-o", file).exit_code == 2
    assert run(file).exit_code == 3
    assert file.read_text() == "precious"


def test_check_of_a_drill_in_words_and_as_json(tmp_path: Path) -> None:
    """The whole way, as the README has it."""
    out, wav = tmp_path / "cells.lick", tmp_path / "take.wav"
    assert run(CELLS, "-o", out, "--form", "cells", "--times", 1).exit_code == 0
    done = CliRunner().invoke(
        main,
        ["lick", "hear", str(out), "-o", str(wav), "--no-click", "--count-in", "0"],
    )
    assert done.exit_code == 0, done.output
    words = ["check", str(wav), "--lick", str(out), "--json"]
    done = CliRunner().invoke(main, [*words, "-"])
    assert done.exit_code == 0, done.output
    found = json.loads(done.output)
    assert found["lick"]["parent"]["drill"] == "every cell once"
    done = CliRunner().invoke(main, words[:-1])
    assert "Parent  One cell moved up and down by three frets: no fault" in done.output
