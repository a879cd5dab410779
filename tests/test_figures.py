"""Pictures of hand-made takes: where things are drawn, and what says the same."""

from __future__ import annotations

import re
from fractions import Fraction
from typing import Any
from xml.etree import ElementTree as ET

import hand_made as made
import numpy as np
import pytest

from assessor.alignment import Verdict
from assessor.assessment import Assessment
from assessor.figures import systems
from assessor.figures.beats import scene
from assessor.figures.closeups import closeups
from assessor.figures.picture import COLOURS, Picture, alone
from assessor.figures.slurs import slur_pictures
from assessor.figures.take import NARROW_PT, WIDE_PT, take_picture
from assessor.lick.notation import Articulation, Bend, BendKind, Lick
from assessor.pitch import PlayedNote

SVG = "{http://www.w3.org/2000/svg}"
PLACE_TOLERANCE_PT = 0.11  # numbers are written to a tenth
LEAST_CONTRAST = 4.5  # WCAG 2.2, success criterion 1.4.3

HAMMER = {"articulation": Articulation.HAMMER_ON}
BENT = {"bend": Bend(BendKind.BEND, 200.0), "vibrato": True}


def lick(**fields: Any) -> Lick:
    """Sixteen eighths; the sixth hammered, the last bent and shaken."""
    beats = [k / 2 for k in range(16)]
    places = [(3, 5), (3, 7)] * 8
    extras = {5: HAMMER, 15: BENT}
    fields = {"title": "Two notes"} | fields
    return made.lick(beats, places, last_beats=2, extras=extras, **fields)


LICK = lick()


def bent_note(top: float) -> PlayedNote:
    """Last note of the lick, bent by `top` cents and shaken."""
    since_s = np.arange(120) * 0.01
    swing = np.where(since_s > 0.3, 20 * np.sin(2 * np.pi * 5 * (since_s - 0.3)), 0.0)
    curve = np.interp(since_s, [0.1, 0.2], [0, top]) + swing
    onset_s = 1.0 + float(LICK.onsets_s()[15])
    number = LICK.notes[15].midi_number
    return made.played(onset_s, number, offset_s=onset_s + 1.2, cents=list(curve))


def faulty(**fields: Any) -> Assessment:
    """One of everything: wrong, missed, extra, unsure, late, early, uneven, flat."""
    late_s = np.zeros(16)
    late_s[11], late_s[5] = 0.05, -0.04
    notes: list[Any] = [*made.as_written(LICK, late_s=late_s)]
    notes[2] = made.played(notes[2].onset_s, notes[2].midi_number + 1)
    notes[7], notes[15] = None, bent_note(150.0)
    passage = made.passage(
        notes,
        verdicts={2: Verdict.WRONG, 9: Verdict.UNSURE},
        extras=[made.played(notes[12].onset_s + 0.15, 70)],
    )
    return made.assessed(lick(**fields), passage)


def drawn(picture: Picture) -> ET.Element:
    """Picture as a tree; it must be well formed."""
    return ET.fromstring(picture.svg)


def with_class(tree: ET.Element, name: str) -> list[ET.Element]:
    """Elements that carry a class."""
    return [e for e in tree.iter() if name in e.get("class", "").split()]


def texts(tree: ET.Element) -> list[str]:
    """Every word that is drawn."""
    return [e.text or "" for e in tree.iter(f"{SVG}text")]


@pytest.mark.parametrize("width", [WIDE_PT, NARROW_PT])
def test_every_note_can_be_pressed(width: float) -> None:
    """Each carries when it sounds; a missed one when it should have."""
    found = faulty()
    notes = with_class(drawn(take_picture(scene(found, 0), width)), "note")
    assert [e.get("data-note") for e in notes] == [str(k) for k in range(16)]
    starts = [float(str(e.get("data-from"))) for e in notes]
    assert starts == sorted(starts)
    onset_s = 1.0 + float(LICK.onsets_s()[3])
    assert starts[3] == pytest.approx(onset_s, abs=0.001)


def test_each_fault_of_a_note_is_told_once() -> None:
    """A slur that comes too soon is off in time and uneven, in one sentence."""
    notes = with_class(drawn(take_picture(scene(faulty(), 0))), "note")
    said = str(notes[5].get("aria-label"))
    assert said.count("too soon") == 1
    assert "hammered on" in said


@pytest.mark.parametrize("index", [14, 15])
def test_words_stay_inside_the_picture(index: int) -> None:
    """At the right edge a word ends where it would begin elsewhere."""
    sixteenths = made.lick([k / 4 for k in range(16)], last_beats="1/4")
    notes: list[Any] = [*made.as_written(sixteenths)]
    notes[index] = None
    found = made.assessed(sixteenths, made.passage(notes))
    tree = drawn(take_picture(scene(found, 0), NARROW_PT))
    (word,) = [e for e in tree.iter(f"{SVG}text") if e.text == "missed"]
    assert word.get("text-anchor") == "end"
    assert float(str(word.get("x"))) <= NARROW_PT


def test_each_verdict_has_a_word_or_a_shape() -> None:
    """Nothing is told by colour alone."""
    tree = drawn(take_picture(scene(faulty(), 0)))
    words = texts(tree)
    assert "missed" in words
    assert "extra" in words
    assert any(w.startswith("×") for w in words)
    assert any(w.startswith("↓") and w.endswith(" c") for w in words)
    assert "late" in words
    assert len(with_class(tree, "missed")) == 1
    assert len(with_class(tree, "extra")) == 1


def test_deviations_stand_in_the_lane_as_measured() -> None:
    """The numbers beside the marks are those of the measure."""
    found = faulty()
    by_index = {n.index: n.deviation.value for n in found.passes[0].timing.notes}
    words = texts(drawn(take_picture(scene(found, 0))))
    assert f"{by_index[11]:+.0f}" in words
    assert f"{by_index[5]:+.0f}".replace("-", "−") in words


def test_the_moving_line_knows_each_note() -> None:
    """At the time of a beat the line stands at the beat's place in the tab."""
    found = faulty()
    tree = drawn(take_picture(scene(found, 0), NARROW_PT))
    drawn_systems = with_class(tree, "system")
    tabs = systems(LICK, NARROW_PT)
    assert len(drawn_systems) == len(tabs) > 1
    line = scene(found, 0).line
    counts = np.arange(len(line.beats))
    for one, tab in zip(drawn_systems, tabs, strict=True):
        pairs = [p.split(",") for p in str(one.get("data-places")).split()]
        along = [float(p[0]) for p in pairs]
        assert along == sorted(along)
        assert set(tab.notes) <= set(along)
        for (_, x), beat in zip(
            pairs, np.interp(along, counts, line.beats), strict=True
        ):
            assert float(x) == pytest.approx(
                tab.x_of_beat(Fraction(float(beat)).limit_denominator(96)),
                abs=PLACE_TOLERANCE_PT,
            )


def test_the_line_moves_through_close_ups_and_slurs_too() -> None:
    """From the note's onset on the left to its end on the right."""
    seen = scene(faulty(), 0)
    for svg in (*closeups(seen).svgs, *slur_pictures(seen).svgs):
        (system,) = with_class(ET.fromstring(svg), "system")
        assert len(with_class(system, "now")) == 1
        places = [p.split(",") for p in str(system.get("data-places")).split()]
        along, xs = zip(*((float(a), float(x)) for a, x in places), strict=True)
        assert list(along) == sorted(along)
        assert list(xs) == sorted(xs)
        assert along[-1] > along[0]


def test_an_early_and_a_late_note_lie_beside_their_beat() -> None:
    """The line of beats is onset minus deviation, as the measure has it."""
    found = faulty()
    line = scene(found, 0).line
    for note in found.passes[0].timing.notes:
        played = found.passes[0].performed.notes[note.index].played
        assert played is not None
        off = float(line.beat(played.onset_s) - LICK.notes[note.index].onset_beats)
        if abs(note.deviation.value) > 10:
            assert np.sign(off) == np.sign(note.deviation.value)


def test_the_table_says_what_the_picture_shows() -> None:
    """One row a note."""
    table = take_picture(scene(faulty(), 0)).table
    assert len(table.rows) == 16
    assert all(len(row) == len(table.head) for row in table.rows)
    assert [row[4] for row in table.rows][7] == "missed"


@pytest.mark.parametrize(
    "title", ["<script>alert(1)</script>", "\"quoted\" & 'so'", "🎸", "גיטרה"]
)
def test_titles_are_text(title: str) -> None:
    """Whatever a lick is called, the picture stays well formed and says it."""
    picture = take_picture(scene(faulty(title=title), 0))
    tree = drawn(picture)
    assert title in str(tree.get("aria-label"))
    assert not list(tree.iter(f"{SVG}script"))
    ET.fromstring(alone(picture.svg))


def test_nothing_played_is_drawn_too() -> None:
    """A pass of one unsure note has its picture."""
    single = made.lick([0])
    passage = made.passage([None], verdicts={0: Verdict.UNSURE}, complete=False)
    assert drawn(take_picture(scene(made.assessed(single, passage), 0))) is not None


def test_a_close_up_names_peak_and_settled_pitch() -> None:
    """Both as the measure has them, the asked size beside."""
    found = faulty()
    gallery = closeups(scene(found, 0))
    (bent,) = found.passes[0].bends.bent
    assert bent.settled is not None
    (svg,) = gallery.svgs
    words = texts(ET.fromstring(svg))
    assert f"settled {bent.settled.value:.0f}" in words
    assert f"peak {bent.peak.value:.0f}" in words
    assert "200 c" in words
    assert any("flat" in w and "vibrato" in w for w in words)
    assert gallery.table.rows[0][4] == f"{bent.settled.value:.0f}"


def test_a_slurred_group_is_drawn_as_written_and_as_played() -> None:
    """The played box ends before the written one where the slur came too soon."""
    gallery = slur_pictures(scene(faulty(), 0))
    (svg,) = gallery.svgs
    tree = ET.fromstring(svg)
    widths = [
        float(str(with_class(tree, name)[0].get("width")))
        for name in ("wanted", "played")
    ]
    assert widths[1] < widths[0]
    assert "5h7" in texts(tree)
    assert any("short" in w for w in texts(tree))
    assert len(gallery.table.rows) == 1


def test_what_was_not_asked_for_has_no_pictures() -> None:
    """No bends and no slurs: empty galleries."""
    plain = made.lick([0, 1, 2, 3])
    found = made.assessed(plain, made.passage(made.as_written(plain)))
    assert closeups(scene(found, 0)).svgs == ()
    assert slur_pictures(scene(found, 0)).svgs == ()


def luminance(colour: str) -> float:
    """Relative luminance (WCAG 2.2, definition)."""
    whole = colour[1:] if len(colour) == 7 else "".join(2 * c for c in colour[1:])
    parts = [int(whole[k : k + 2], 16) / 255 for k in (0, 2, 4)]
    linear = [
        c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts
    ]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def test_words_can_be_read_on_every_ground() -> None:
    """Contrast of each colour of text in the light, the dark and the printed page."""
    for theme in re.findall(r":root\{([^}]*)\}", COLOURS):
        colours = dict(re.findall(r"--(\w+):(#\w+)", theme))
        for text in ("ink", "quiet", "low", "high"):
            for ground in ("paper", "band", "wanted"):
                pair = sorted(luminance(colours[name]) for name in (text, ground))
                assert (pair[1] + 0.05) / (pair[0] + 0.05) >= LEAST_CONTRAST, (
                    text,
                    ground,
                    theme,
                )
