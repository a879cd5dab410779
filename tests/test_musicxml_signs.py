"""MusicXML: the signs on a note are read as they are written.

Facts come from the MusicXML 4.0 schema and reference pages (W3C, June 2021).
"""

from __future__ import annotations

import pytest
from musicxml_pieces import (
    note,
    read,
    technical,
)

from assessor.lick.notation import (
    Articulation,
    Bend,
    BendKind,
    SlideEdge,
    Stroke,
)

# --- signs ----------------------------------------------------------------------


def bend(semitones: str, mark: str = "") -> str:
    """A bend element."""
    return f"<bend><bend-alter>{semitones}</bend-alter>{mark}</bend>"


PREBEND = bend("2", "<pre-bend/>")


@pytest.mark.parametrize(
    ("signs", "kind", "cents", "noticed"),
    [
        (bend("2"), "bend", 200, False),
        (bend("0.5"), "bend", 50, False),
        (bend("2") + bend("-2", "<release/>"), "bend_release", 200, False),
        (bend("2") + bend("0", "<release/>"), "bend_release", 200, False),
        (bend("1.5", "<pre-bend/>"), "prebend", 150, False),
        (bend("-1", "<pre-bend/>"), "prebend", 100, False),
        (PREBEND + bend("-2", "<release/>"), "prebend_release", 200, False),
        (bend("-2", "<release/>"), "prebend_release", 200, True),
        (bend("2") + bend("-1", "<release/>"), "bend_release", 200, True),
        (bend("1") + bend("2"), "bend", 200, True),
    ],
)  # fmt: skip
def test_bends(signs: str, kind: str, cents: float, noticed: bool) -> None:
    """Schema: a release is negative, and a bend with release is two bend elements."""
    lick = read(note(notations=technical(signs)))
    assert lick.notes[0].bend == Bend(BendKind(kind), cents)
    assert bool(lick.notices) == noticed


@pytest.mark.parametrize("signs", [bend("9"), bend("0"), bend("2", "<with-bar/>")])
def test_bends_no_finger_makes_are_left_out(signs: str) -> None:
    """Too wide, none at all, or made with the bar."""
    lick = read(note(notations=technical(signs)))
    assert lick.notes[0].bend is None
    assert "left out" in lick.notices[0]


def joined(tag: str, kinds: str) -> str:
    """Starts and stops of a joining sign."""
    signs = "".join(f'<{tag} number="1" type="{kind}"/>' for kind in kinds.split())
    return signs if tag in ("slide", "glissando") else technical(signs)


@pytest.mark.parametrize(
    ("tag", "places", "articulation"),
    [
        ("hammer-on", ["1 5", "1 7", "1 8"], "hammer_on"),
        ("pull-off", ["1 8", "1 7", "1 5"], "pull_off"),
        ("slide", ["1 5", "1 7", "1 3"], "slide"),
        ("glissando", ["1 5", "1 7", "1 3"], "slide"),
        ("pull-off", ["1 5", "1 7", "1 8"], "hammer_on"),  # turned round
        ("hammer-on", ["1 8", "1 7", "1 5"], "pull_off"),
    ],
)
def test_slurs(tag: str, places: list[str], articulation: str) -> None:
    """A chain: the middle note ends one sign and starts the next."""
    pitches = {"1 3": "G4", "1 5": "A4", "1 7": "B4", "1 8": "C5"}
    kinds = ["start", "stop start", "stop"]
    lick = read(
        "".join(
            note(pitches[at], place=at, notations=joined(tag, kind))
            for at, kind in zip(places, kinds, strict=True)
        )
    )
    found = [n.articulation for n in lick.notes]
    assert found == ["pick", articulation, articulation]
    turned = tag in ("hammer-on", "pull-off") and tag.replace("-", "_") != articulation
    assert bool(lick.notices) == turned


def test_starts_may_stand_before_stops() -> None:
    """Two pull-offs under one number, the new start written first."""
    middle = joined("pull-off", "start stop")
    lick = read(
        note("C5", place="1 8", notations=joined("pull-off", "start"))
        + note("B4", place="1 7", notations=middle)
        + note("A4", place="1 5", notations=joined("pull-off", "stop"))
    )
    assert [n.articulation for n in lick.notes] == ["pick", "pull_off", "pull_off"]


def edge(tag: str) -> str:
    """A slide with one end."""
    return f"<articulations><{tag}/></articulations>"


@pytest.mark.parametrize(
    ("first", "second", "slide_out", "slide_in", "noticed"),
    [
        ("<slide type='start'/>", "", SlideEdge.DOWN, None, True),
        ("", "<slide type='stop'/>", None, SlideEdge.FROM_BELOW, True),
        (edge("falloff"), "", SlideEdge.DOWN, None, False),
        (edge("doit"), "", SlideEdge.UP, None, False),
        ("", edge("scoop"), None, SlideEdge.FROM_BELOW, False),
        ("", edge("plop"), None, SlideEdge.FROM_ABOVE, False),
    ],
)  # fmt: skip
def test_slides_without_another_end(
    first: str,
    second: str,
    slide_out: SlideEdge | None,
    slide_in: SlideEdge | None,
    noticed: bool,
) -> None:
    """Into the note from nowhere, or out of it to nowhere."""
    lick = read(note(notations=first) + note(notations=second))
    assert (lick.notes[0].slide_out, lick.notes[1].slide_in) == (slide_out, slide_in)
    assert {n.articulation for n in lick.notes} == {Articulation.PICK}
    assert bool(lick.notices) == noticed


def test_a_slide_to_another_string_is_picked() -> None:
    """No finger slides across strings."""
    lick = read(
        note(notations=joined("slide", "start"))
        + note("E4", place="2 5", notations=joined("slide", "stop"))
    )
    assert lick.notes[1].articulation is Articulation.PICK
    assert "another string" in lick.notices[0]


def test_a_hammer_on_without_an_end_is_left_out() -> None:
    """Nothing says which note it would end on."""
    lick = read(note(notations=joined("hammer-on", "start")) + note("B4", place="1 7"))
    assert lick.notes[1].articulation is Articulation.PICK
    assert lick.notices == ("a hammer-on without an end is left out (measure 1)",)


def wavy(*kinds: str) -> str:
    """Starts and stops of a wavy line."""
    lines = "".join(f'<wavy-line type="{kind}"/>' for kind in kinds)
    return f"<ornaments>{lines}</ornaments>"


TRILL = wavy("start").replace("<wavy", "<trill-mark/><wavy")


@pytest.mark.parametrize(
    ("lines", "vibrato"),
    [
        ([wavy("start", "stop"), "", ""], [True, False, False]),
        ([wavy("start"), "", wavy("stop")], [True, True, True]),
        ([wavy("start"), wavy("stop"), ""], [True, True, False]),
        (["", wavy("start", "stop"), wavy("start", "stop")], [False, True, True]),
        ([TRILL, "", wavy("stop")], [False, False, False]),
    ],
)  # fmt: skip
def test_a_wavy_line_is_vibrato(lines: list[str], vibrato: list[bool]) -> None:
    """From its start to its stop, both included; a trill's line is none."""
    lick = read("".join(note(notations=line) for line in lines))
    assert [n.vibrato for n in lick.notes] == vibrato


@pytest.mark.parametrize(
    ("signs", "finger", "stroke"),
    [
        ("<fingering>3</fingering><down-bow/>", 3, Stroke.DOWN),
        ("<fingering>T</fingering><up-bow/>", 0, Stroke.UP),
        ("<pluck>m</pluck>", None, Stroke.MIDDLE),
        ("<pluck>p</pluck>", None, Stroke.THUMB),
    ],
)
def test_fingers_and_strokes(signs: str, finger: int | None, stroke: Stroke) -> None:
    """Schema: the bow signs stand for strokes of plucked instruments too."""
    found = read(note(notations=technical(signs))).notes[0]
    assert (found.finger, found.stroke) == (finger, stroke)


def test_dead_and_ringing_notes() -> None:
    """An x for a head; an undamped note by a tie to nothing (schema: tied-type)."""
    dead = note().replace("<notations>", "<notehead>x</notehead><notations>")
    lick = read(dead + note(notations='<tied type="let-ring"/>'))
    assert lick.notes[0].articulation is Articulation.DEAD
    assert [n.let_ring for n in lick.notes] == [False, True]


def test_grace_notes_are_left_out() -> None:
    """With a notice; the note they lead to by a hammer-on is then picked."""
    grace = note(
        "G4", place="1 3", notations=joined("hammer-on", "start"), extra="<grace/>"
    )
    grace = grace.replace("<duration>12</duration>", "")
    lick = read(grace + note(notations=joined("hammer-on", "stop")))
    assert [n.articulation for n in lick.notes] == [Articulation.PICK]
    assert lick.notices == ("grace notes are left out (measure 1)",)
