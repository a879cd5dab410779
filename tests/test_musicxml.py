"""MusicXML: time, order, pitch and place are read as they are written.

Facts come from the MusicXML 4.0 schema and reference pages (W3C, June 2021).
"""

from __future__ import annotations

from fractions import Fraction

import pytest
from musicxml_pieces import (
    ATTRIBUTES,
    METER,
    START,
    TUNED,
    A,
    B,
    C,
    D,
    ending,
    note,
    read,
    rest,
    score,
    stop,
    technical,
)

from assessor.errors import LickError, UnsupportedNotation
from assessor.lick import musicxml
from assessor.lick.notation import (
    Lick,
    LickNote,
    Meter,
    SlideEdge,
    TempoChange,
)
from assessor.tuning import STANDARD

# --- time -----------------------------------------------------------------------


def test_a_plain_note() -> None:
    """Pitch, place, tempo, meter, tuning; the title from the file's name."""
    lick = read(note() + rest("3"))
    assert lick == Lick(
        title="phrase",
        tempo_bpm=90.0,
        meter=Meter(4, 4),
        tuning=STANDARD,
        notes=(LickNote(Fraction(0), Fraction(1), 69, 1, 5),),
    )
    assert lick.notices == ()


def test_title() -> None:
    """The work's title, else the movement's."""
    work = "<work><work-title>One</work-title></work>"
    movement = "<movement-title>Two</movement-title>"
    assert read(note(), head=work + movement).title == "One"
    assert read(note(), head=movement).title == "Two"


def test_tuplets_are_exact() -> None:
    """Triplet eighths lie on thirds, not on 0.333."""
    lick = read(note(beats="1/3") * 3 + rest("3"))
    assert [n.onset_beats for n in lick.notes] == [0, Fraction(1, 3), Fraction(2, 3)]
    assert {n.duration_beats for n in lick.notes} == {Fraction(1, 3)}


def test_divisions_may_change() -> None:
    """A new <divisions> holds from where it stands."""
    lick = read(
        note(beats="4"), "<attributes><divisions>24</divisions></attributes>" + note()
    )
    assert lick.notes[1].duration_beats == Fraction(1, 2)


@pytest.mark.parametrize("sign", ["tie", "tied"])
def test_ties_over_the_bar(sign: str) -> None:
    """Tied notes are one note; a mark on either piece holds for the whole."""

    def tied(kind: str, notations: str = "") -> str:
        mark = f'<{sign} type="{kind}"/>'
        if sign == "tied":
            return note(beats="4", notations=mark + notations)
        return note(beats="4", notations=notations).replace(
            "<notations>", mark + "<notations>"
        )

    fall = "<articulations><falloff/></articulations>"
    lick = read(tied("start", fall), tied("stop"), note(beats="4"))
    assert [n.duration_beats for n in lick.notes] == [8, 4]
    assert lick.notes[0].slide_out is SlideEdge.DOWN


def test_a_tie_to_another_pitch_is_no_tie() -> None:
    """Both notes are struck."""
    first = note(beats="4", notations='<tied type="start"/>')
    second = note("B4", "4", '<tied type="stop"/>', place="1 7")
    assert len(read(first, second)) == 2


def test_backup_and_forward_move_the_place() -> None:
    """A second voice that only rests is no second voice."""
    inside = note() + rest("3") + "<backup><duration>48</duration></backup>"
    inside += "<forward><duration>24</duration></forward>" + note()
    assert [n.onset_beats for n in read(inside).notes] == [0, 2]


@pytest.mark.parametrize(
    ("direction", "tempo_bpm"),
    [
        ('<sound tempo="92.5"/>', 92.5),
        ("<metronome><beat-unit>quarter</beat-unit><per-minute>80</per-minute>", 80),
        ("<metronome><beat-unit>eighth</beat-unit><per-minute>80</per-minute>", 40),
        (
            "<metronome><beat-unit>quarter</beat-unit><beat-unit-dot/>"
            "<per-minute>c. 80</per-minute>",
            120,
        ),
        (
            "<metronome><beat-unit>half</beat-unit><beat-unit-dot/><beat-unit-dot/>"
            "<per-minute>40</per-minute>",
            140,
        ),
    ],
)
def test_tempo(direction: str, tempo_bpm: float) -> None:
    """Quarter notes a minute, from the sound or from the metronome mark."""
    if direction.startswith("<metronome"):
        direction = f"<direction><direction-type>{direction}</metronome>"
        direction += "</direction-type></direction>"
    lick = read(direction + note(), tempo="")
    assert (lick.tempo_bpm, lick.tempo_changes) == (tempo_bpm, ())


def test_what_sounds_outranks_the_metronome_mark() -> None:
    """Metronome mark and sound in one direction: the sound is meant."""
    mark = "<metronome><beat-unit>quarter</beat-unit><per-minute>80</per-minute>"
    direction = f"<direction><direction-type>{mark}</metronome></direction-type>"
    direction += '<sound tempo="81.5"/></direction>'
    assert read(direction + note(), tempo="").tempo_bpm == 81.5


def test_tempo_changes() -> None:
    """Each at its place, moved by an offset that sounds."""
    later = '<direction><offset sound="yes">6</offset><sound tempo="60"/></direction>'
    lick = read(note() + later + note(beats="3"), '<sound tempo="120"/>' + note())
    assert lick.tempo_changes == (
        TempoChange(Fraction(3, 2), 60.0),
        TempoChange(Fraction(4), 120.0),
    )


def test_no_tempo_is_said() -> None:
    """Where none is written 120 is taken, with a notice."""
    lick = read(note(), tempo="")
    assert lick.tempo_bpm == 120
    assert "no tempo" in lick.notices[0]


@pytest.mark.parametrize(
    ("beats", "unit", "meter"),
    [("6", "8", "6/8"), ("3+2", "8", "5/8"), ("2", "2", "2/2")],
)
def test_meter(beats: str, unit: str, meter: str) -> None:
    """Plain and composite time signatures."""
    time = f"<time><beats>{beats}</beats><beat-type>{unit}</beat-type></time>"
    assert str(read(note(), attributes=ATTRIBUTES.replace(METER, time)).meter) == meter


def test_a_change_of_meter_keeps_the_beats() -> None:
    """The lick keeps its first meter, and says so; the notes stay where they are."""
    three = (
        "<attributes><time><beats>3</beats><beat-type>4</beat-type></time></attributes>"
    )
    lick = read(note() + rest("3"), three + note() + rest("2"), note())
    assert [n.onset_beats for n in lick.notes] == [0, 4, 7]
    assert lick.notices == ("the meter changes; bar lines are kept as 4/4 (measure 2)",)


def test_pickup() -> None:
    """A first bar shorter than its meter."""
    lick = read(note(), note() + rest("3"))
    assert (lick.pickup_beats, lick.notes[1].onset_beats) == (1, 1)


def test_a_single_short_bar_is_no_pickup() -> None:
    """Nothing follows that it could lead into, unless the file says so."""
    data = score(note())
    assert musicxml.read(data, "x.xml").pickup_beats == 0
    implicit = data.replace(b'number="1"', b'number="0" implicit="yes"', 1)
    assert musicxml.read(implicit, "x.xml").pickup_beats == 1


@pytest.mark.parametrize(
    ("swing", "ratio"),
    [
        ("<first>5</first><second>3</second><swing-type>eighth</swing-type>", 5 / 3),
        ("<first>2</first><second>1</second>", 2.0),
        ("<straight/>", None),
        ("<first>2</first><second>1</second><swing-type>16th</swing-type>", None),
    ],
)
def test_swing(swing: str, ratio: float | None) -> None:
    """The ratio of two eighths; the first case is the reference page's own."""
    lick = read(f"<sound><swing>{swing}</swing></sound>" + note())
    assert lick.swing == ratio
    assert bool(lick.notices) == ("16th" in swing)


# --- order ----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("bars", "frets"),
    [
        ([A, START + B + stop(), C], [0, 1, 1, 3]),
        ([A, B + stop(), C], [0, 1, 0, 1, 3]),
        ([START + A + stop('times="3"'), B], [0, 0, 0, 1]),
        ([START + A, ending("1", B + stop()), ending("2", C), D], [0, 1, 0, 3, 5]),
        ([START + A, ending("1,2", B + stop()), ending("3", C)], [0, 1, 0, 1, 0, 3]),
        (
            [A, ending("1", B + stop()), ending("2", C + stop()), ending("3", D)],
            [0, 1, 0, 3, 0, 5],
        ),
        ([A, ending("1", B + stop()), ending("2", C + stop()), D], [0, 1, 0, 3, 5]),
        ([A + stop(), B + stop(), C], [0, 0, 1, 1, 3]),
        ([START + A + stop(), START + B + stop()], [0, 0, 1, 1]),
        (
            [START + A, ending("1", B + stop()), ending("2", C), D + stop()],
            [0, 1, 0, 3, 5, 5],
        ),
    ],
)
def test_repeats_are_played_out(bars: list[str], frets: list[int]) -> None:
    """Repeat signs, counts and endings."""
    lick = read(*bars)
    assert [n.fret for n in lick.notes] == frets
    assert [n.onset_beats for n in lick.notes] == [4 * i for i in range(len(frets))]


def test_a_repeated_bar_has_its_own_tempo_again() -> None:
    """The tempo is that of the place in the music."""
    lick = read(START + A, '<sound tempo="60"/>' + B + stop())
    assert [(c.beat, c.tempo_bpm) for c in lick.tempo_changes] == [
        (4, 60), (8, 90), (12, 60),
    ]  # fmt: skip


def test_endless_repeats_are_refused() -> None:
    """A repeat count cannot fill the memory."""
    bars = [START + A + stop('times="999"')] * 12
    with pytest.raises(LickError, match="over 10000 bars"):
        read(*bars)


# --- pitch and place ------------------------------------------------------------


def test_transpose_gives_the_sounding_pitch() -> None:
    """Guitar in the treble clef: written an octave higher (the tutorial's own part)."""
    octave = "<transpose><chromatic>0</chromatic><octave-change>-1</octave-change>"
    lick = read(note("C5", place=None), attributes=f"{ATTRIBUTES}{octave}</transpose>")
    assert lick.notes[0].midi_number == 60


def test_an_octave_clef_is_only_print() -> None:
    """The pitch in the note is the true one, whatever the clef."""
    clef = "<clef><sign>G</sign><line>2</line>"
    clef += "<clef-octave-change>-1</clef-octave-change></clef>"
    attributes = ATTRIBUTES.replace(METER, METER + clef)
    assert (
        read(note("C4", place=None), attributes=attributes).notes[0].midi_number == 60
    )


def test_an_octave_shift_is_only_print() -> None:
    """Schema: "where notes are shifted up or down from their true pitched values"."""
    shift = "<direction><direction-type>{}</direction-type></direction>"
    shift = shift.format('<octave-shift type="down" size="8"/>')
    assert read(shift + note("A4", place=None)).notes[0].midi_number == 69


def test_tuning_and_capo() -> None:
    """Tuning is without capo; frets count from it."""
    low_d = TUNED.replace(
        "<tuning-step>E</tuning-step><tuning-octave>2<",
        "<tuning-step>D</tuning-step><tuning-octave>2<",
    )
    capo = low_d.replace("</staff-details>", "<capo>2</capo></staff-details>")
    attributes = f"<divisions>12</divisions>{METER}{capo}"
    lick = read(note("E2", place="6 0"), attributes=attributes)
    assert (str(lick.tuning), lick.capo) == ("D2 A2 D3 G3 B3 E4", 2)
    assert (lick.notes[0].midi_number, lick.notices) == (40, ())


def test_string_and_fret_win_over_the_pitch() -> None:
    """With the tuning stated, the place is believed, with a notice."""
    lick = read(note("A5", place="1 5"))
    assert (lick.notes[0].midi_number, lick.notes[0].fret) == (69, 5)
    assert lick.notices == (
        "string and fret contradict the pitch, and are taken (measure 1)",
    )


UNTUNED = f"<divisions>12</divisions>{METER}"


@pytest.mark.parametrize(
    ("notes", "tuning", "midi_numbers"),
    [
        ([("D2", "6 0"), ("A4", "1 5")], "D2 A2 D3 G3 B3 E4", [38, 69]),
        ([("D#4", "1 0"), ("A#3", "2 0")], "D#2 G#2 C#3 F#3 A#3 D#4", [63, 58]),
        ([("A5", "1 5"), ("B4", "2 0")], "E2 A2 D3 G3 B3 E4", [69, 59]),
        ([("A4", "1 5"), ("A4", "1 6")], "E2 A2 D3 G3 B3 E4", [69, 70]),
    ],
)
def test_a_tuning_that_is_not_stated(
    notes: list[tuple[str, str]], tuning: str, midi_numbers: list[int]
) -> None:
    """The one that explains all notes; whole octaves off is only written off."""
    lick = read("".join(note(p, place=at) for p, at in notes), attributes=UNTUNED)
    assert str(lick.tuning) == tuning
    assert [n.midi_number for n in lick.notes] == midi_numbers
    assert len(lick.notices) == 1


def test_missing_places_are_chosen() -> None:
    """Notes without string and fret follow those that have them, with a notice."""
    lick = read(note("A4", place="2 10") + note("E4", place=None))
    assert [(n.string, n.fret) for n in lick.notes] == [(2, 10), (3, 9)]
    assert lick.notices == ("string and fret are chosen where the file names none",)


@pytest.mark.parametrize("sign", ["<string>2</string>", "<fret>10</fret>"])
def test_half_a_place_is_completed(sign: str) -> None:
    """A string alone or a fret alone gives the other from the pitch."""
    lick = read(note("A4", place=None, notations=technical(sign)))
    assert (lick.notes[0].string, lick.notes[0].fret) == (2, 10)


def test_half_a_place_that_cannot_be_is_left_out() -> None:
    """No fret of the sixth string from 0 to 24 sounds A5."""
    lick = read(note("A5", place=None, notations=technical("<string>6</string>")))
    assert lick.notes[0].string < 6
    assert "left out" in lick.notices[0]


# --- parts and staves -----------------------------------------------------------


def test_the_part_with_frets_is_taken() -> None:
    """As in the reference tutorial: notation in one part, tablature in the next."""
    plain = note("C6", place=None)
    data = score(note()).decode()
    other = f'<part id="P0"><measure number="1"><attributes>{ATTRIBUTES}</attributes>'
    other += f'{plain}</measure></part><part id="P1">'
    data = data.replace('<part id="P1">', other).replace(
        "<part-list>",
        '<part-list><score-part id="P0"><part-name>Lute</part-name></score-part>',
    )
    lick = musicxml.read(data.encode(), "two.xml")
    assert [n.midi_number for n in lick.notes] == [69]
    assert lick.notices == ("part 'Guitar' is read; left out: Lute",)


def test_the_tablature_of_two_staves_is_taken() -> None:
    """The same line twice in one part."""
    clefs = (
        '<clef number="1"><sign>G</sign></clef><clef number="2"><sign>TAB</sign></clef>'
    )
    first = note(place=None).replace("<notations>", "<staff>1</staff><notations>")
    second = note().replace("<notations>", "<staff>2</staff><notations>")
    inside = first + "<backup><duration>12</duration></backup>" + second
    attributes = ATTRIBUTES.replace(METER, METER + clefs).replace(
        "<staff-details>", '<staff-details number="2">'
    )
    lick = read(inside, attributes=attributes)
    assert [(n.onset_beats, n.string, n.fret) for n in lick.notes] == [(0, 1, 5)]
    with pytest.raises(UnsupportedNotation, match="more than one staff"):
        read(inside, attributes=ATTRIBUTES)


def test_timewise_scores() -> None:
    """Measures outside, parts inside: the same music."""
    data = score(A, B).decode()
    inside = data[data.index("<part id") : data.index("</score-partwise>")]
    inside = inside.replace('<part id="P1">', "").replace("</part>", "")
    for number in ("1", "2"):
        inside = inside.replace(
            f'<measure number="{number}">', f'<measure number="{number}"><part id="P1">'
        )
    inside = inside.replace("</measure>", "</part></measure>")
    timewise = (
        data[: data.index("<part id")].replace("score-partwise", "score-timewise")
        + inside
        + "</score-timewise>"
    )
    assert musicxml.read(timewise.encode(), "phrase.xml") == read(A, B)
