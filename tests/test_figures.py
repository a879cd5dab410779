"""Tab as pictures: what is drawn, and where it stands."""

from __future__ import annotations

import itertools
import re
from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from xml.etree import ElementTree

import pytest
from hand_made import lick as hand_made

from assessor import lick
from assessor.figures import PAPERS, pages, strip, systems
from assessor.figures.rhythm import bars_of, beamed, tuplets
from assessor.figures.signs import bend_name
from assessor.figures.svg import element, words
from assessor.lick.notation import (
    Articulation,
    Bend,
    BendKind,
    Lick,
    Meter,
    SlideEdge,
    Stroke,
    TempoChange,
)

WIDTH = 505.0
REFERENCES = sorted((Path(__file__).parents[1] / "references").glob("*.lick"))
SVG = "{http://www.w3.org/2000/svg}"


def texts(svg: str) -> list[str]:
    """Every text of a fragment, in the order it was drawn."""
    return [t.text or "" for t in ElementTree.fromstring(svg).iter("text")]


def drawn(*extras: dict[str, object], **fields: object) -> str:
    """Return the picture of one bar of quarter notes, `extras` on one note each."""
    beats = range(max(len(extras), 4))
    asked = hand_made(beats, extras=dict(enumerate(extras)), **fields)
    (picture,) = systems(asked, WIDTH)
    return picture.svg


@pytest.mark.parametrize("path", REFERENCES, ids=lambda path: path.stem)
def test_every_note_of_a_reference_is_drawn_once(path: Path) -> None:
    """Fret numbers in the pictures are those of the lick, in its order."""
    asked = lick.read(path)
    pictures = systems(asked, WIDTH)
    indices = [i for p in pictures for i in p.notes]
    assert indices == list(range(len(asked)))
    crosses = sum(n.articulation is Articulation.DEAD for n in asked.notes)
    frets = [str(n.fret) for n in asked.notes if n.articulation != Articulation.DEAD]
    found = []
    for picture in pictures:
        fret_texts = [
            t
            for t in ElementTree.fromstring(picture.svg).iter("text")
            if t.get("font-size") == "10" and t.text and t.text.isdigit()
        ]
        found += [t.text for t in fret_texts]
    assert found == frets
    drawn_crosses = sum(p.svg.count("l6,6 m0,-6 l-6,6") for p in pictures)
    assert drawn_crosses == crosses


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("path", REFERENCES, ids=lambda path: path.stem)
def test_pages_are_whole_documents_inside_the_paper(path: Path, paper: str) -> None:
    """Each page is well-formed SVG of the paper's size, and nothing leaves it."""
    sheet = PAPERS[paper]
    for page in pages(lick.read(path), paper):
        root = ElementTree.fromstring(page)
        assert root.tag == f"{SVG}svg"
        assert root.get("width") == sheet.written_width
        for group in root.findall(f"{SVG}g"):
            x, y = map(float, re.findall(r"[\d.]+", group.get("transform", "")))
            assert 0 < x < sheet.width
            assert 0 < y < sheet.height


def test_paper_sizes_are_those_of_the_standards() -> None:
    """A4 is 210 by 297 mm (ISO 216), letter 8.5 by 11 inches; a point is 1/72 inch."""
    assert PAPERS["a4"].width == pytest.approx(210 / 25.4 * 72, abs=0.01)
    assert PAPERS["a4"].height == pytest.approx(297 / 25.4 * 72, abs=0.01)
    assert (PAPERS["letter"].width, PAPERS["letter"].height) == (8.5 * 72, 11 * 72)


def test_long_licks_go_on_over_pages_with_numbers() -> None:
    """Two hundred bars fill several pages, each saying which it is."""
    made = pages(hand_made(range(400)))
    assert len(made) > 3
    assert f"2 of {len(made)}" in made[1]


@pytest.mark.parametrize("path", REFERENCES, ids=lambda path: path.stem)
def test_places_follow_time(path: Path) -> None:
    """Notes stand in order, well apart, where their beats are, inside the system."""
    asked = lick.read(path)
    for picture in systems(asked, WIDTH):
        places = [picture.x_of_note(i) for i in picture.notes]
        beats = [asked.notes[i].onset_beats for i in picture.notes]
        assert places == [picture.x_of_beat(b) for b in beats]
        assert all(b - a > 8 for a, b in itertools.pairwise(places))
        assert places[0] > 0
        assert places[-1] < picture.width <= WIDTH + 0.01


def test_a_beat_between_two_notes_stands_between_them() -> None:
    """Half way in time is half way in the picture; outside is clipped."""
    (picture,) = systems(hand_made(range(4)), WIDTH)
    first, second = picture.x_of_note(0), picture.x_of_note(1)
    assert picture.x_of_beat(0.5) == pytest.approx((first + second) / 2)
    assert picture.x_of_beat(-3) == first
    assert picture.x_of_beat(99) == pytest.approx(picture.width)


def test_a_note_of_another_system_has_no_place() -> None:
    """Asking the wrong picture raises with what it holds."""
    first, *_ = systems(hand_made(range(64)), WIDTH)
    with pytest.raises(ValueError, match=r"note 63 is not in this system"):
        first.x_of_note(63)


def test_strings_are_evenly_apart() -> None:
    """Six lines, the sixth five steps below the first."""
    (picture,) = systems(hand_made(range(4)), WIDTH)
    step = picture.y_of_string(2) - picture.y_of_string(1)
    assert picture.y_of_string(6) - picture.y_of_string(1) == pytest.approx(5 * step)


@pytest.mark.parametrize(
    ("cents", "name"),
    [(50, "¼"), (100, "½"), (200, "full"), (300, "1½"), (400, "2"), (130, "130 c")],
)
def test_bends_say_their_size(cents: float, name: str) -> None:
    """The size stands on the arrow, by the names players use."""
    assert bend_name(cents) == name
    assert name in texts(drawn({"bend": Bend(BendKind.BEND, cents)}))


@pytest.mark.parametrize(
    ("kind", "arrows", "let_down"),
    [
        (BendKind.BEND, 1, False),
        (BendKind.PREBEND, 1, False),
        (BendKind.BEND_RELEASE, 2, True),
        (BendKind.PREBEND_RELEASE, 2, True),
    ],
)
def test_each_kind_of_bend_has_its_arrows(
    kind: BendKind, arrows: int, let_down: bool
) -> None:
    """Up only, or up and down to the fret in brackets."""
    svg = drawn({"bend": Bend(kind, 200)})
    assert len(re.findall(r'<path d="M[^"]*z" fill="currentColor"/>', svg)) == arrows
    assert ("(5)" in texts(svg)) == let_down


@pytest.mark.parametrize(
    ("extra", "sign"),
    [
        ({"finger": 0}, "T"),
        ({"finger": 3}, "3"),
        ({"stroke": Stroke.THUMB}, "p"),
        ({"stroke": Stroke.RING}, "a"),
        ({"let_ring": True}, "let ring"),
    ],
)
def test_signs_that_are_letters(extra: dict[str, object], sign: str) -> None:
    """Each appears where it is written, and only there."""
    assert texts(drawn(extra)).count(sign) == texts(drawn()).count(sign) + 1


@pytest.mark.parametrize(
    "extra",
    [
        {"vibrato": True},
        {"stroke": Stroke.DOWN},
        {"stroke": Stroke.UP},
        {"slide_in": SlideEdge.FROM_BELOW},
        {"slide_out": SlideEdge.DOWN},
        {"articulation": Articulation.DEAD},
    ],
    ids=str,
)
def test_signs_that_are_lines(extra: dict[str, object]) -> None:
    """Each adds to the drawing."""
    assert drawn(extra).count("<path") > drawn().count("<path")


def test_slurs_have_their_letter() -> None:
    """Hammer-on h, pull-off p, a slide none, each with an arc."""
    kinds = [Articulation.HAMMER_ON, Articulation.PULL_OFF, Articulation.SLIDE]
    svg = drawn({}, *({"articulation": kind} for kind in kinds))
    assert [t for t in texts(svg) if t in "hp"] == ["h", "p"]
    assert svg.count('stroke-width="0.3"') == 3


def test_a_slur_over_the_end_of_a_system_is_drawn_on_both() -> None:
    """Half an arc each, the letter once."""
    plain = hand_made(range(32))
    _first, second, *_ = systems(plain, WIDTH)
    notes = list(plain.notes)
    k = second.notes[0]
    notes[k] = replace(notes[k], articulation=Articulation.HAMMER_ON)
    slurred = systems(replace(plain, notes=tuple(notes)), WIDTH)
    arcs = [p.svg.count('stroke-width="0.3"') for p in slurred[:2]]
    assert arcs == [1, 1]
    assert "h" not in texts(slurred[0].svg)
    assert "h" in texts(slurred[1].svg)


def test_a_tie_over_the_end_of_a_system_shows_the_held_fret() -> None:
    """The fret in brackets where the note goes on."""
    _first, second = systems(hand_made(range(15), last_beats=6), 200.0)[-2:]
    assert any(re.fullmatch(r"\(\d+\)", t) for t in texts(second.svg))


def values_of(asked: Lick) -> list[tuple[str, int, bool]]:
    """Letter, dots and whether it sounds, of every value."""
    return [
        (v.letter, v.dots, v.index is not None)
        for b in bars_of(asked)
        for v in b.values
    ]


def test_note_values_rests_and_bars() -> None:
    """A dotted quarter, an eighth rest, a half; bars are numbered from one."""
    asked = hand_made([0, 2], last_beats=2)
    notes = (replace(asked.notes[0], duration_beats=Fraction(3, 2)), asked.notes[1])
    asked = replace(asked, notes=notes)
    assert values_of(asked) == [("q", 1, True), ("e", 0, False), ("h", 0, True)]
    assert [bar.number for bar in bars_of(asked)] == [1]
    pickup = replace(hand_made(range(6)), pickup_beats=Fraction(1))
    assert [bar.number for bar in bars_of(pickup)] == [0, 1, 2]


@pytest.mark.parametrize(
    ("beats", "meter", "groups"),
    [
        ([Fraction(k, 2) for k in range(8)], Meter(4, 4), [2, 2, 2, 2]),
        ([Fraction(k, 2) for k in range(6)], Meter(6, 8), [3, 3]),
        ([Fraction(k, 3) for k in range(6)], Meter(2, 4), [3, 3]),
        ([Fraction(k, 4) for k in range(8)], Meter(2, 4), [4, 4]),
        ([0, 1, 2, 3], Meter(4, 4), []),
    ],
    ids=["eighths", "six-eight", "triplets", "sixteenths", "quarters"],
)
def test_beams_join_a_beat(
    beats: Sequence[object], meter: Meter, groups: list[int]
) -> None:
    """Common practice: what falls on one beat is beamed together."""
    last = Fraction(str(beats[1])) - Fraction(str(beats[0]))
    asked = hand_made(beats, last_beats=last, meter=meter)
    found = [len(g) for bar in bars_of(asked) for g in beamed(bar, asked)]
    assert found == groups


def test_tuplets_close_where_the_beat_is_whole() -> None:
    """Two triplets of eighths, then a quarter and an eighth in one."""
    beats = [Fraction(k, 3) for k in (0, 1, 2, 3, 4, 5, 6, 8)]
    asked = hand_made(beats, last_beats=Fraction(1, 3))
    found = [len(g) for bar in bars_of(asked) for g in tuplets(bar)]
    assert found == [3, 3, 2]
    assert [t for t in texts(systems(asked, WIDTH)[0].svg) if t == "3"] == ["3"] * 3


def test_changes_of_tempo_stand_over_their_beat() -> None:
    """The number is drawn at the place of the beat."""
    changed = drawn(tempo_changes=(TempoChange(Fraction(2), 61.5),))
    assert "= 61.5" in texts(changed)


def test_the_heading_says_what_the_lick_is() -> None:
    """Title, what it trains, tempo, swing, tuning and capo; all escaped."""
    asked = hand_made(
        range(4), title='<b> & "x"', trains="a & b", swing=1.5, capo=0, tempo_bpm=92.5
    )
    (page,) = pages(replace(asked, capo=2))
    found = [t.text for t in ElementTree.fromstring(page).iter(f"{SVG}text")]
    for text in ('<b> & "x"', "a & b", "= 92.5", "swing 1.5:1"):
        assert text in found
    assert "E2 A2 D3 G3 B3 E4 · capo 2" in found
    assert "<b>" not in page


def test_a_strip_is_one_svg_without_heading() -> None:
    """All systems under one another, no title."""
    svg = strip(hand_made(range(64), title="Nowhere"), 400.0)
    assert ElementTree.fromstring(svg).tag == f"{SVG}svg"
    assert "Nowhere" not in svg


def test_a_bar_wider_than_the_page_is_drawn_closer() -> None:
    """A bar of sixty-four notes fits the width."""
    beats = [Fraction(k, 16) for k in range(64)]
    (picture,) = systems(hand_made(beats, last_beats=Fraction(1, 16)), WIDTH)
    assert picture.width == pytest.approx(WIDTH)


def test_attributes_and_text_are_escaped() -> None:
    """Neither can close what it stands in."""
    assert element("a", b='"<') == "<a b='\"&lt;'/>"
    assert words("</text>", 0, 0, 1).count("</text>") == 1


def test_pdf_and_png_have_every_page() -> None:
    """Typeset, two pages of SVG are two pages of PDF and two pictures."""
    pytest.importorskip("typst")
    from assessor.figures.typeset import pdf, pngs

    paper = PAPERS["letter"]
    two = pages(hand_made(range(200)), "letter")[:2]
    assert pdf(two, paper).startswith(b"%PDF-")
    pictures = pngs(two, paper, per_inch=20)
    assert len(pictures) == 2
    for picture in pictures:
        assert picture.startswith(b"\x89PNG\r\n\x1a\n")
        width, height = (int.from_bytes(picture[a : a + 4]) for a in (16, 20))
        assert (width, height) == (170, 220)  # 8.5 by 11 inches
