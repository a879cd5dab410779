"""``assessor review correct``: the teacher overrules."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import click

from assessor.cli.terminal import Number, bad_files, show

VERDICT_LETTERS = {"r": "right", "w": "wrong", "m": "missed", "u": "unsure"}


@click.command()
@click.argument("out", metavar="OUT")
@click.argument("take_id", metavar="TAKE")
@click.option("--note", metavar="N", type=click.IntRange(1), help="Which note, from 1.")
@click.option("--pass", "number", metavar="N", type=click.IntRange(1))
@click.option(
    "--verdict",
    type=click.Choice(["right", "wrong", "missed", "unsure", "tool"]),
    help="What the note is; tool takes that back.",
)
@click.option(
    "--verdicts",
    metavar="LETTERS",
    help="Of all notes at once: r right, w wrong, m missed, u unsure, - no word.",
)
@click.option(
    "--inside",
    type=click.Choice(["time", "bend", "slur", "pitch"]),
    help="This is inside the tolerance at the note.",
)
@click.option(
    "--outside",
    type=click.Choice(["time", "bend", "slur", "pitch"]),
    help="This is outside the tolerance at the note.",
)
@click.option(
    "--no-extra",
    metavar="N",
    type=click.IntRange(1),
    help="The Nth extra note was none.",
)
@click.option("--mark", metavar="POINTS", type=Number(0, 100), help="Of the pass.")
@click.option(
    "--reading",
    "readings",
    metavar="NAME=NUMBER",
    multiple=True,
    help="Of the pass: notes, tempo, spread, bends, pitch, 'slur spread'.",
)
@click.option("--remark", metavar="TEXT", help="On the take, or on the note.")
@click.option("--reason", metavar="TEXT", default="", help="Why.")
@click.option("--author", metavar="NAME", help="Who says so; else your login name.")
@click.option(
    "--blind",
    is_flag=True,
    help="You have not seen what was found; counts for the agreement.",
)
def correct(out: str, take_id: str, author: str | None, **said: Any) -> None:
    """Say what a take is instead of what was found.

    OUT is a review's folder, TAKE the beginning of a name that assessor review list
    shows.  What was found is kept beside it, and everything shown follows.
    """
    with bad_files():
        from assessor.report.class_work import correct as correct_take
        from assessor.review.books import environment_author, open_books
        from assessor.review.summary import read_class

        books = open_books(out)
        take = read_class(books).take(take_id)
        notes = take.found and len(take.found.notes)
        said["verdicts"] = _letters(said["verdicts"], notes or 0)
        corrections = _corrections(take.take_id, author or environment_author(), said)
        now = correct_take(books, corrections).take(take.take_id)
    before, after = (_mark_of(one) for one in (take.shown, now.shown))
    count = f"{len(corrections)} correction{'s' * (len(corrections) != 1)}"
    show(f"{take.player}: {count} kept; mark {before}, now {after}\n")
    unfit = now.record.unfit if now.record else 0
    if unfit:
        message = "of this take fit nothing that is in it: no change"
        click.echo(
            f"Notice  {unfit} correction{'s' * (unfit != 1)} {message}", err=True
        )


def _mark_of(finding: Any) -> str:
    return "–" if finding is None or finding.mark is None else f"{finding.mark:.0f}"


def _corrections(take_id: str, author: str, said: dict[str, Any]) -> list[Any]:
    """Corrections from options; wrong ones end the program."""
    from assessor.review.corrections import Correction

    shared = {
        "take_id": take_id,
        "author": author,
        "reason": said["reason"],
        "number": None if said["number"] is None else said["number"] - 1,
        "blind": said["blind"],
    }
    wanted = list(_wanted(said))
    if not wanted:
        message = (
            "say what: --verdict, --verdicts, --inside, --outside, --no-extra, "
            "--mark, --reading or --remark"
        )
        raise click.UsageError(message)
    try:
        return [Correction(**shared, **one) for one in wanted]
    except ValueError as problem:
        raise click.UsageError(str(problem)) from problem


def _wanted(said: dict[str, Any]) -> Iterator[dict[str, Any]]:
    """What each option says, as a correction has it."""
    from assessor.review.corrections import What

    note = None if said["note"] is None else said["note"] - 1
    if said["verdict"]:
        yield {"what": What.VERDICT, "value": said["verdict"], "note": note}
    for k, verdict in said["verdicts"].items():
        yield {"what": What.VERDICT, "value": verdict, "note": k}
    for value in ("inside", "outside"):
        if said[value]:
            area = {"name": said[value], "note": note}
            yield {"what": What.JUDGEMENT, "value": value, **area}
    if said["no_extra"]:
        yield {"what": What.EXTRA, "value": "none", "note": said["no_extra"] - 1}
    if said["mark"] is not None:
        yield {"what": What.READING, "value": said["mark"], "name": "mark"}
    for text in said["readings"]:
        name, _, value = text.partition("=")
        number = _float(value, text)
        yield {"what": What.READING, "value": number, "name": name.strip()}
    if said["remark"] is not None:
        yield {"what": What.REMARK, "value": said["remark"], "note": note}


def _letters(text: str | None, notes: int) -> dict[int, str]:
    """Verdicts by note from a letter for each; wrong ones end the program."""
    if text is None:
        return {}
    letters = text.replace(" ", "")
    unknown = set(letters) - set(VERDICT_LETTERS) - {"-"}
    if unknown or len(letters) != notes:
        message = (
            f"{len(letters)} letters for {notes} notes"
            if not unknown
            else f"{min(unknown)!r} is none of r, w, m, u, -"
        )
        raise click.BadParameter(message, param_hint="--verdicts")
    return {
        k: VERDICT_LETTERS[letter] for k, letter in enumerate(letters) if letter != "-"
    }


def _float(value: str, text: str) -> float:
    try:
        return float(value)
    except ValueError as problem:
        message = f"{text!r} is no NAME=NUMBER"
        raise click.BadParameter(message, param_hint="--reading") from problem
