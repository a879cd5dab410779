"""``assessor lick drill``: practice forms of a lick, as licks."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from assessor.cli.lick.files import force_option, refuse_wrong_out
from assessor.cli.lick.writing import LICK_SUFFIXES, listed, write_lick
from assessor.cli.terminal import Number, bad_files, show
from assessor.words import plural, span

if TYPE_CHECKING:
    from assessor.lick.notation import Lick

USUAL_TIMES, MOST_TIMES = 4, 100
USUAL_SHIFT_BEATS = 0.5
# Form: what it makes of a lick, in one line.
FORMS = {
    "cells": "every cell --times times before the next",
    "cell": "one --cell alone, --times times",
    "shifts": "the bars round each shift of the hand, --times times each",
    "end": "built up from the end: the last cell, the last two, … the whole",
    "displaced": "the rhythm displaced, --by quarter notes later",
    "picked": "every slurred note picked",
    "slurred": "picked notes slurred wherever a string allows it",
}
# Options that only some forms take.
TAKEN_BY = {
    "times": ("cells", "cell", "shifts", "end"),
    "cells": ("cells", "cell", "end"),
    "cell": ("cell",),
    "pause": ("cells",),
    "round_beats": ("shifts",),
    "by": ("displaced",),
}

_RUN = re.compile(r"(\d{1,6})-(\d{1,6})")


@dataclass(frozen=True)
class Wish:
    """What was asked for, as it was typed; None where nothing was."""

    times: int | None
    cells: str | None
    cell: int | None
    pause: float | None
    round_beats: float | None
    by: float | None

    def check(self, form: str | None) -> None:
        """Refuse options that the form does not take."""
        for name, forms in TAKEN_BY.items():
            option = "--" + name.removesuffix("_beats")
            asked = getattr(self, name) is not None
            if asked and form is not None and form not in forms:
                message = f"{option} goes with --form {' or '.join(forms)}"
                raise click.UsageError(message)
        if form == "cell" and self.cell is None:
            message = "--form cell needs --cell, which one; without -o they are listed"
            raise click.UsageError(message)


@click.command()
@click.argument("lick_path", metavar="FILE")
@click.option(
    "-o",
    "--out",
    "out",
    metavar="OUT",
    type=click.Path(path_type=Path),
    help="Lick to write; without --form, a folder that gets a sheet of every form.",
)
@click.option("--form", type=click.Choice(list(FORMS)), help="Practice form.")
@click.option(
    "--times",
    metavar="N",
    type=click.IntRange(1, MOST_TIMES),
    help=f"How often each part is played; {USUAL_TIMES} when left out.",
)
@click.option(
    "--cells",
    metavar="CELLS",
    help="Notes of each cell, 1-4,5-9,10-16, or how many each holds, 4; found when "
    "left out.",
)
@click.option("--cell", metavar="K", type=click.IntRange(1), help="The K-th cell.")
@click.option(
    "--pause", metavar="BEATS", type=Number(0, 16), help="Rest before the next cell."
)
@click.option(
    "--round",
    "round_beats",
    metavar="BEATS",
    type=Number(0.25, 16),
    help="Round each shift, so many quarter notes instead of bars.",
)
@click.option(
    "--by",
    metavar="BEATS",
    type=Number(0.0625, 16),
    help=f"Quarter notes by which a rhythm is displaced; {USUAL_SHIFT_BEATS} when left "
    "out.",
)
@force_option
def drill(
    lick_path: str, out: Path | None, form: str | None, force: bool, **asked: Any
) -> None:
    """Make practice forms of the lick in FILE: each is a lick, and knows its parent.

    Without -o its cells and the forms are listed.  A take of a drill is checked like
    any other (assessor check TAKE --lick DRILL); what is found is told of the parent's
    notes.
    """
    wish = Wish(**asked)
    wish.check(form)
    if form is not None and out is None:
        message = "say with -o where to write it"
        raise click.UsageError(message)
    if out is not None:
        _refuse_wrong_place(out, form, force=force)
    from assessor import lick

    with bad_files():
        parent = lick.read(lick_path)
    groups = _groups(parent, wish.cells)
    text = listed(f"changed or left out on reading {lick_path}", parent.notices)
    if out is None:
        show(text + _listing(parent, groups, wish))
    elif form is not None:
        made = _made(parent, groups, form, wish)
        with bad_files():
            lost = write_lick(made, out)
        text = f"{out}: {_said(made)}\n{text}"
        show(text + listed(f"not in {out}, or not as it was", lost))
    else:
        show(_write_all(parent, groups, wish, out, force=force) + text)


def _refuse_wrong_place(out: Path, form: str | None, *, force: bool) -> None:
    """Refuse a file where a folder is meant, and the other way round."""
    if form is not None:
        refuse_wrong_out(out, LICK_SUFFIXES, force=force)
        return
    problem = ""
    if out.suffix.lower() in LICK_SUFFIXES:
        problem = "that names one lick: say which --form, or name a folder for all"
    elif out.exists() and not out.is_dir():
        problem = "without --form that is to be a folder, and it is a file"
    elif not out.parent.is_dir():
        problem = f"there is no folder {out.parent}; make it, or name another"
    if problem:
        message = f"{out}: {problem}"
        raise click.BadParameter(message, param_hint="--out")


def _groups(lick: Lick, cells: str | None) -> tuple[range, ...]:
    """Cells as they were named, or as they are found."""
    from assessor.lick.drills import groups_of

    if cells is None:
        return groups_of(lick)
    text, count = cells.replace(" ", ""), len(lick)
    if re.fullmatch(r"\d{1,6}", text) and 0 < int(text) <= count:
        return tuple(
            range(start, min(start + int(text), count))
            for start in range(0, count, int(text))
        )
    groups = []
    for part in text.split(","):
        found = _RUN.fullmatch(part)
        group = range(int(found[1]) - 1, int(found[2])) if found else range(0)
        if not group or group[0] < 0 or group[-1] >= count:
            message = (
                f"{part!r} names no notes of this lick: they count from 1 to {count}, "
                "such as 1-4,5-9, or 4 for every four"
            )
            raise click.BadParameter(message, param_hint="--cells")
        groups.append(group)
    return tuple(groups)


def _made(lick: Lick, groups: Sequence[range], form: str, wish: Wish) -> Lick:
    """One form of a lick; what does not go ends the program."""
    try:
        return _maker(lick, groups, wish)[form]()
    except ValueError as problem:
        message = f"{form}: {problem}"
        raise click.UsageError(message) from problem


def _maker(
    lick: Lick, groups: Sequence[range], wish: Wish
) -> dict[str, Callable[[], Lick]]:
    """What makes each form."""
    from assessor.lick import drills

    times = wish.times or USUAL_TIMES
    round_beats = None if wish.round_beats is None else _beats(wish.round_beats)
    by = _beats(wish.by or USUAL_SHIFT_BEATS)
    return {
        "cells": lambda: drills.every_cell(lick, groups, times, _beats(wish.pause)),
        "cell": lambda: drills.one_cell(lick, groups, wish.cell or 1, times),
        "shifts": lambda: drills.round_shifts(lick, times, round_beats=round_beats),
        "end": lambda: drills.from_the_end(lick, groups, times),
        "displaced": lambda: drills.displaced(lick, by),
        "picked": lambda: drills.slurs_picked(lick),
        "slurred": lambda: drills.picks_slurred(lick),
    }


def _beats(number: float | None) -> Fraction:
    """Length as an exact fraction, thirds and sixths too."""
    return Fraction(number or 0).limit_denominator(96)


def _write_all(
    lick: Lick, groups: Sequence[range], wish: Wish, folder: Path, *, force: bool
) -> str:
    """Write a sheet of every form that a lick allows; say what each is, or why not."""
    made: dict[Path, Lick] = {}
    lines, reasons = [], []
    for name, maker in _makers_of_all(lick, groups, wish).items():
        try:
            made[folder / f"{name}.lick"] = maker()
        except ValueError as problem:
            reasons.append(f"{name}: {problem}")
    # everything is looked at before anything is written
    existing = [file for file in made if file.exists() and not force]
    if existing:
        message = f"{existing[0]}: that file is already there; --force writes over it"
        raise click.BadParameter(message, param_hint="--out")
    try:
        folder.mkdir(exist_ok=True)
    except OSError as problem:
        message = f"{folder}: cannot be made: {problem.strerror}; name another place"
        raise click.BadParameter(message, param_hint="--out") from problem
    for file, each in made.items():
        with bad_files():
            write_lick(each, file)
        lines.append(f"{file}: {_said(each)}\n")
    return "".join(lines) + listed("not made", reasons)


def _makers_of_all(
    lick: Lick, groups: Sequence[range], wish: Wish
) -> dict[str, Callable[[], Lick]]:
    """Every form, with one cell alone for each cell."""
    from assessor.lick import drills

    times = wish.times or USUAL_TIMES
    makers = _maker(lick, groups, wish)
    del makers["cell"]
    for number in range(1, len(groups) + 1):
        makers[f"cell-{number}"] = partial(drills.one_cell, lick, groups, number, times)
    return makers


def _said(made: Lick) -> str:
    """Title, length and how many notes."""
    minutes, seconds = divmod(round(float(made.ends_s()[-1])), 60)
    return f"{made.title}, {plural(len(made), 'note')}, {minutes}:{seconds:02d}"


def _listing(lick: Lick, groups: Sequence[range], wish: Wish) -> str:
    """Cells of a lick, and what each form would make of it."""
    from assessor.lick.places import say_place

    lines = [f"{lick.title}\n\n", "cells\n"]
    for number, group in enumerate(groups, start=1):
        notes = span("note", group.start + 1, group.stop)
        place = say_place(lick, group.start)
        lines.append(f"  {number:>2}  {notes:<15}  from {place}\n")
    lines.append("\nforms, --form NAME -o OUT\n")
    for name, what in FORMS.items():
        try:
            made = _maker(lick, groups, wish)[name]()
            length = plural(len(made), "note")
        except ValueError as problem:
            length = str(problem).partition(";")[0]
        lines.append(f"  {name:<10} {what}: {length}\n")
    return "".join(lines)
