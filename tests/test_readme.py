"""The manual: what it shows is printed, what it names is there."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import click
import pytest
from click.testing import CliRunner

from assessor.cli import main

TOP = Path(__file__).parents[1]
MANUALS = [TOP / "README.md", *sorted((TOP / "docs").glob("*.md"))]
README = MANUALS[0].read_text(encoding="utf-8")
TAKE, SHEET = (
    TOP / "recordings" / "wrong-notes.flac",
    TOP / "references" / "triplets-into-sixteenths.lick",
)


def typed(text: str) -> list[str]:
    """Indented lines that call the program, continued lines in one."""
    whole = re.sub(r" *\\\n +", " ", text)
    return re.findall(r"^    (assessor [a-z].*?)(?:   .*)?$", whole, re.M)


def unknown(line: str) -> list[str]:
    """Options and commands of a line that the program does not have."""
    # words in brackets and bars say what may be left out or chosen
    words = shlex.split(re.sub(r"[\[\]|]", " ", line), comments=True)[1:]
    command: click.Command = main
    context = click.Context(main)
    while isinstance(command, click.Group) and words:
        found = command.get_command(context, words[0])
        # what `assessor review FOLDER` leaves out
        found = found or command.get_command(context, "run")
        if found is None:
            return [line]
        command, context = found, click.Context(found, context)
        words = words[1:]
    known = {name for one in command.get_params(context) for name in one.opts}
    known |= {n for one in command.get_params(context) for n in one.secondary_opts}
    return [word for word in words if word.startswith("-") and word not in known]


@pytest.mark.parametrize("manual", MANUALS, ids=lambda path: path.name)
def test_what_is_to_be_typed_is_there(manual: Path) -> None:
    """Every command and option of an indented line."""
    lines = typed(manual.read_text(encoding="utf-8"))
    assert {line: bad for line in lines if (bad := unknown(line))} == {}


def test_what_is_not_there_would_be_found() -> None:
    """A command and an option that do not exist."""
    assert typed("    assessor check TAKE \\\n        --loud\n") == [
        "assessor check TAKE --loud"
    ]
    assert unknown("assessor check TAKE [--lick LICK] --loud") == ["--loud"]
    assert unknown("assessor sing --lick LICK") == ["assessor sing --lick LICK"]
    assert len(typed(README)) > 20


@pytest.mark.parametrize("manual", MANUALS, ids=lambda path: path.name)
def test_links_lead_somewhere(manual: Path) -> None:
    """To files of this tree."""
    lines = manual.read_text(encoding="utf-8").splitlines()
    text = "\n".join(line for line in lines if not line.startswith("    "))
    links = re.findall(r"\]\((?!https?:)([^)#\s]+)\)", text)
    assert [link for link in links if not (manual.parent / link).exists()] == []


def test_the_readme_shows_what_is_printed() -> None:
    """The tab and the verdicts under it; numbers may move by a little."""
    done = CliRunner().invoke(main, ["check", str(TAKE), "--lick", str(SHEET)])
    shown = re.search(r"## What it prints\n\n(.*?)\nHow to read", README, re.S)
    assert shown is not None
    lines = [line.removeprefix("    ") for line in shown.group(1).splitlines()]
    printed = [line.rstrip() for line in done.output.splitlines()]
    end = next(k for k, line in enumerate(printed) if line.startswith("Notes"))
    assert lines[:end] == printed[:end]
    names = [line.split()[0] for line in lines[end:] if line[:1].isalpha()]
    assert names == [line.split()[0] for line in printed[end:] if line[:1].isalpha()]


@pytest.mark.parametrize("group", ["", "lick"])
def test_every_command_is_named(group: str) -> None:
    """Nothing the program can do is left out of the manual."""
    command = main.get_command(click.Context(main), group) if group else main
    assert isinstance(command, click.Group)
    names = command.list_commands(click.Context(command))
    assert len(names) > 5
    named = set(re.findall(r"[a-z-]+", README))
    assert [name for name in names if name not in named] == []
