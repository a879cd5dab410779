"""``assessor lick move``: a lick somewhere else on the neck."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from assessor.cli.lick.files import force_option, out_option, refuse_wrong_out
from assessor.cli.lick.writing import LICK_SUFFIXES, listed, write_lick
from assessor.cli.terminal import bad_files, show, wrong_value
from assessor.words import plural, span

if TYPE_CHECKING:
    from assessor.lick.moves import Neck
    from assessor.lick.notation import Lick
    from assessor.lick.scales import Scale

MOST_FRETS = 24
MOST_TIMES = 50
NECKS = (12, 30)

_STRINGS = re.compile(r"(\d)(?:-(\d))?")


@dataclass(frozen=True)
class Wish:
    """What was asked for, as it was typed."""

    frets: int | None
    key: str | None
    from_key: str | None
    octaves: int | None
    scale: str | None
    steps: int | None
    strings: str | None
    every: int | None
    times: int | None
    neck: int

    def check(self) -> None:
        """Refuse options that contradict each other, or that say nothing."""
        pitch = self.key is not None or self.octaves is not None
        chained = self.every is not None
        nothing = not pitch and {self.frets, self.steps, self.strings} == {None}
        moves = (self.frets is not None) + pitch + (self.steps is not None)
        wrong = {
            "--every and --times go together: every 3 frets, 4 times": (
                chained is not (self.times is not None)
            ),
            "--from says the key a lick is in now, for --key": (
                self.from_key is not None and self.key is None
            ),
            "--scale needs --steps, or --every with --times, in steps of it": (
                self.scale is not None and self.steps is None and not chained
            ),
            "--steps are steps of a --scale": (
                self.steps is not None and self.scale is None
            ),
            "--frets, --key or --octave, and --steps are different moves": moves > 1,
            "say how to move it: --frets, --key, --octave, --scale with --steps, "
            "--strings, or --every with --times": nothing and not chained,
        }
        for message, is_so in wrong.items():
            if is_so:
                raise click.UsageError(message)


@click.command()
@click.argument("lick_path", metavar="FILE")
@out_option
@click.option(
    "--frets",
    metavar="N",
    type=click.IntRange(-MOST_FRETS, MOST_FRETS),
    help="N frets up (-N down) on the same strings; with --strings, on those.",
)
@click.option("--key", metavar="KEY", help="To this key, the shorter way first.")
@click.option(
    "--from",
    "from_key",
    metavar="KEY",
    help="The key it is in now, where the notes leave that open.",
)
@click.option(
    "--octave",
    "octaves",
    metavar="N",
    type=click.IntRange(-3, 3),
    help="N octaves up (-N down).",
)
@click.option(
    "--scale", metavar="SCALE", help='Along a scale such as "A dorian", by --steps.'
)
@click.option(
    "--steps",
    metavar="N",
    type=click.IntRange(-MOST_FRETS, MOST_FRETS),
    help="Steps of the scale up (-N down).",
)
@click.option(
    "--strings",
    metavar="SET",
    help="On these strings only, such as 1-3 or 2,3,4; 1 is the highest.",
)
@click.option(
    "--every",
    metavar="N",
    type=click.IntRange(-MOST_FRETS, MOST_FRETS),
    help="Over and over, each time N frets (with --scale: steps) further up, -N down.",
)
@click.option(
    "--times",
    metavar="K",
    type=click.IntRange(2, MOST_TIMES),
    help="How often in all, for --every.",
)
@click.option(
    "--neck",
    metavar="FRETS",
    type=click.IntRange(*NECKS),
    default=MOST_FRETS,
    show_default=True,
    help="Frets your neck has.",
)
@force_option
def move(lick_path: str, out: Path, force: bool, **asked: Any) -> None:
    """Move the lick in FILE on the neck and write it to OUT.

    Fingers follow the hand.  A move that no hand can play is refused with the reasons.
    """
    wish = Wish(**asked)
    wish.check()
    refuse_wrong_out(out, LICK_SUFFIXES, force=force)
    from assessor import lick
    from assessor.lick.moves import Unplayable

    with bad_files():
        before = lick.read(lick_path)
    try:
        after = _moved(before, wish)
    except Unplayable as problem:
        message = (
            f"it cannot be played there: {problem}; try another octave or --strings"
        )
        raise click.UsageError(message) from problem
    with bad_files():
        lost = write_lick(after, out)
    text = f"{out}: {after.title}\n{_places(before)} -> {_places(after)}\n"
    text += _outside(before, wish)
    text += listed(f"changed or left out on reading {lick_path}", before.notices)
    show(text + listed(f"not in {out}, or not as it was", lost))


def _moved(lick: Lick, wish: Wish) -> Lick:
    """Lick where it is wished, chained where that is wished."""
    from assessor.lick import moves

    neck = moves.Neck(_strings(wish.strings, lick), wish.neck)
    scale = None if wish.scale is None else _scale(wish.scale)
    moved, said = _once(lick, wish, neck, scale)
    if wish.every is not None and wish.times is not None:
        every = wish.every
        first = moved

        def step(number: int) -> Lick:
            by = number * every
            if scale is not None:
                return moves.refretted(first, moves.along(scale, by), neck)
            if neck.strings is not None:
                return moves.refretted(first, moves.by_semitones(by), neck)
            return moves.by_frets(first, by, neck)

        moved = moves.chain(first, step, wish.times)
        unit = "fret" if scale is None else f"step of {scale}"
        said.append(f"every {_way(every, unit)}, {wish.times} times")
    return replace(moved, title=", ".join([lick.title, *said]))


def _once(
    lick: Lick, wish: Wish, neck: Neck, scale: Scale | None
) -> tuple[Lick, list[str]]:
    """Lick moved once, and in words how."""
    from assessor.lick import moves

    said = [] if wish.strings is None else [f"strings {wish.strings}"]
    if wish.frets is not None:
        said.insert(0, _way(wish.frets, "fret"))
        if neck.strings is None:
            return moves.by_frets(lick, wish.frets, neck), said
        by = moves.by_semitones(wish.frets)
        return moves.refretted(lick, by, neck), said
    if wish.steps is not None and scale is not None:
        said.insert(0, _way(wish.steps, f"step of {scale}"))
        return moves.refretted(lick, moves.along(scale, wish.steps), neck), said
    octaves = wish.octaves or 0
    if octaves:
        said.insert(0, _way(octaves, "octave"))
    ways: tuple[int, ...] = (0,)
    if wish.key is not None:
        ways, now = _ways_to_key(lick, wish.key, wish.from_key)
        said.insert(0, f"from {now} to {wish.key.strip()}")
    if said:
        return _first_playable(lick, [w + 12 * octaves for w in ways], neck), said
    return lick, said


def _first_playable(lick: Lick, ways: list[int], neck: Neck) -> Lick:
    """The first of several ways that can be played; else what is wrong with it."""
    from assessor.lick.moves import Unplayable, by_semitones, refretted

    problems = []
    for semitones in ways:
        try:
            return refretted(lick, by_semitones(semitones), neck)
        except Unplayable as problem:
            problems.append(problem)
    raise problems[0]


def _ways_to_key(
    lick: Lick, key: str, from_key: str | None
) -> tuple[tuple[int, int], str]:
    """Semitones to a key, the shorter way first, and the key a lick is in now."""
    from assessor.lick.harmony import infer_key
    from assessor.lick.moves import key_semitones

    to_tonic, to_mode = _key(key, "--key")
    if from_key is not None:
        tonic, mode = _key(from_key, "--from")
        now = from_key.strip()
    else:
        found = infer_key(lick)
        if found is None or not found.sure:
            guess = "" if found is None else f" ({found} is likeliest)"
            message = f"the notes leave their key open{guess}; name it with --from"
            raise click.BadParameter(message, param_hint="--key")
        tonic, mode = found.tonic, "natural minor" if found.minor else "major"
        now = str(found)
    if to_mode and mode and to_mode != mode:
        message = f"it is {mode} now, and a move keeps that; name the tonic alone"
        raise click.BadParameter(message, param_hint="--key")
    return key_semitones(tonic, to_tonic), now


def _key(name: str, option: str) -> tuple[int, str | None]:
    """Tonic, and the mode where one is named."""
    from assessor.lick.scales import parse_scale, parse_tonic

    try:
        return parse_tonic(name), None
    except ValueError:
        pass
    with wrong_value(option):
        scale = parse_scale(name)
    return scale.tonic, scale.name


def _scale(name: str) -> Scale:
    from assessor.lick.scales import parse_scale

    with wrong_value("--scale"):
        return parse_scale(name)


def _strings(text: str | None, lick: Lick) -> frozenset[int] | None:
    """Strings from ``1-3`` or ``2,3,4``."""
    if text is None:
        return None
    strings: set[int] = set()
    for part in text.replace(" ", "").split(","):
        found = _STRINGS.fullmatch(part)
        first, last = (int(found[1]), int(found[2] or found[1])) if found else (0, 0)
        inside = {*range(min(first, last), max(first, last) + 1)}
        if not inside <= {*range(1, lick.tuning.strings + 1)}:
            message = (
                f"{part!r} names no strings of {lick.tuning}: they count from 1, the "
                f"highest, to {lick.tuning.strings}, such as 1-3 or 2,3,4"
            )
            raise click.BadParameter(message, param_hint="--strings")
        strings |= inside
    return frozenset(strings)


def _outside(lick: Lick, wish: Wish) -> str:
    """Say how many notes a scale does not hold."""
    from assessor.lick.harmony import notes_outside

    if wish.scale is None:
        return ""
    scale = _scale(wish.scale)
    count = len(notes_outside(lick, scale.pitch_classes))
    kept = "each keeps its distance above the note of the scale below it"
    return f"{count} of {len(lick)} notes lie outside {scale}: {kept}\n" * bool(count)


def _way(count: int, unit: str) -> str:
    """How far and which way, in words."""
    first, _, rest = unit.partition(" ")
    words = f"{plural(abs(count), first)} {rest}".strip()
    return f"{words} {'down' if count < 0 else 'up'}"


def _places(lick: Lick) -> str:
    """Strings and frets a lick lies on."""
    strings = sorted({note.string for note in lick.notes}, reverse=True)
    frets = [note.fret for note in lick.notes]
    word = "string" if len(strings) == 1 else "strings"
    named = " ".join(map(str, strings))
    return f"{word} {named}, {span('fret', min(frets), max(frets))}"
