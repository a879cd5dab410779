"""Standard MIDI Files: byte for byte what is read, and what is written reads back.

Byte values are those of MIDI 1.0 and Standard MIDI Files 1.0 (MIDI Manufacturers
Association): note on 9n, note off 8n, wheel En with the low seven bits first, tempo
FF 51 03 in microseconds, meter FF 58 04 with the denominator as a power of two.
"""

from __future__ import annotations

import contextlib
import io
import struct
from fractions import Fraction

import mido
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from assessor.errors import LickError, UnsupportedNotation
from assessor.lick import midi
from assessor.lick.midi_wheel import Wheel, sign_of, wheel_value
from assessor.lick.notation import (
    Articulation,
    Bend,
    BendKind,
    Lick,
    LickNote,
    Meter,
    TempoChange,
)
from assessor.tuning import STANDARD, Tuning

CHOSEN = "string and fret are chosen: a MIDI file names none"
CENTS_TOLERANCE = 1e-3  # of the published wheel values, which have four decimals

TEMPO_120 = "00 FF 51 03 07 A1 20"
END = "00 FF 2F 00"


def smf(*tracks: str, kind: int = 1, ticks_per_beat: int = 96) -> bytes:
    """A file from the hexadecimal bytes of its tracks."""
    data = struct.pack(">4sLHHh", b"MThd", 6, kind, len(tracks), ticks_per_beat)
    for track in tracks:
        body = bytes.fromhex(f"{track} {END}")
        data += struct.pack(">4sL", b"MTrk", len(body)) + body
    return data


def read(*tracks: str, **header: int) -> Lick:
    """Lick of such a file."""
    return midi.read(smf(*tracks, **header), "phrase.mid")


def note(key: int, ticks: int, *, wait: int = 0, channel: int = 0) -> str:
    """A note on and its note off, so many ticks (under 128) later."""
    return f"{wait:02X} 9{channel:X} {key:02X} 50 {ticks:02X} 8{channel:X} {key:02X} 00"


# --- reading --------------------------------------------------------------------


def test_a_plain_file() -> None:
    """Two notes and a rest, at 96 ticks to the quarter note."""
    lick = read(f"{TEMPO_120} {note(69, 96)} {note(72, 32, wait=48)}")
    assert lick == Lick(
        title="phrase",
        tempo_bpm=120.0,
        meter=Meter(4, 4),
        tuning=STANDARD,
        notes=(
            LickNote(Fraction(0), Fraction(1), 69, 1, 5),
            LickNote(Fraction(3, 2), Fraction(1, 3), 72, 1, 8),
        ),
    )
    assert lick.notices == (CHOSEN,)


def test_a_note_on_of_velocity_zero_is_a_note_off() -> None:
    """With running status, as most files are written."""
    lick = read("00 90 45 50 60 45 00")
    assert [(n.onset_beats, n.duration_beats) for n in lick.notes] == [(0, 1)]
    assert lick.notices == (CHOSEN,)


def test_a_note_struck_again_ends_the_one_before() -> None:
    """Two note ons of one key without a note off between them."""
    lick = read("00 90 45 50 30 90 45 50 30 80 45 00")
    assert [n.duration_beats for n in lick.notes] == [Fraction(1, 2)] * 2


def test_a_note_without_an_end() -> None:
    """Ends with the track, with a notice."""
    lick = read("00 90 45 50 60 FF 06 01 41")
    assert lick.notes[0].duration_beats == 1
    assert "never end" in lick.notices[0]


def test_tempo_map_and_meter_come_from_any_track() -> None:
    """A tempo track beside the notes; 6/8 is FF 58 04 06 03."""
    tempo = "00 FF 03 05 42 6C 75 65 73 00 FF 58 04 06 03 24 08 "
    tempo += f"{TEMPO_120} 30 FF 51 03 0F 42 40"
    lick = read(tempo, f"00 FF 03 01 47 {note(69, 96)}")
    assert (lick.title, str(lick.meter), lick.tempo_bpm) == ("Blues", "6/8", 120.0)
    assert lick.tempo_changes == (TempoChange(Fraction(1, 2), 60.0),)


def test_a_tempo_after_the_last_note_is_none_of_the_lick() -> None:
    """A tempo event where the last note ends."""
    assert read(f"{note(69, 96)} 00 FF 51 03 0F 42 40").tempo_changes == ()


@pytest.mark.parametrize(
    ("tempo_us", "tempo_bpm"),
    [(500_000, 120.0), (652_174, 92.0), (648_649, 92.5), (500_001, 119.9998)],
)
def test_the_roundest_tempo_that_gives_the_microseconds(
    tempo_us: int, tempo_bpm: float
) -> None:
    """92 a minute is written as 652174 microseconds, which is 91.99999."""
    lick = read(f"00 FF 51 03 {tempo_us:06X} {note(69, 96)}")
    assert lick.tempo_bpm == tempo_bpm


def test_overlapping_notes_are_cut() -> None:
    """The first ends where the second starts."""
    lick = read("00 90 45 50 30 90 48 50 08 80 45 00 28 80 48 00")
    assert [(n.onset_beats, n.duration_beats) for n in lick.notes] == [
        (0, Fraction(1, 2)),
        (Fraction(1, 2), Fraction(1, 2)),
    ]
    assert lick.notices[0] == "notes that overlap the next are cut (measure 1)"


@pytest.mark.parametrize("apart", [0, 3])
def test_chords_are_refused(apart: int) -> None:
    """Struck together, or rolled within a 24th of a beat; the bar is named."""
    chord = f"7F 90 40 50 {apart:02X} 90 45 50 30 80 40 00 00 80 45 00"
    with pytest.raises(UnsupportedNotation, match="E4 and A4 are struck") as caught:
        read(f"{note(69, 96)} {note(69, 96)} {note(69, 96)} {chord}")
    assert caught.value.measure == "2"


def test_a_24th_of_a_beat_apart_is_no_chord() -> None:
    """Exactly at the limit: two notes, the first cut."""
    lick = read("00 90 40 50 04 90 45 50 30 80 40 00 00 80 45 00")
    assert [n.duration_beats for n in lick.notes] == [Fraction(1, 24), Fraction(1, 2)]


def test_the_first_track_with_pitched_notes_is_taken() -> None:
    """Drums (channel 10) never; the others are named."""
    drums = f"00 FF 03 01 44 {note(36, 96, channel=9)}"
    bass = f"00 FF 03 01 42 {note(43, 96)}"
    lick = read(drums, f"00 FF 03 01 47 {note(69, 96)}", bass)
    assert [n.midi_number for n in lick.notes] == [69]
    assert lick.notices[0] == "track 'G' is read; left out: B"


def test_a_string_to_a_channel_is_one_line() -> None:
    """Six channels that never sound together."""
    lick = read(f"{note(69, 48, channel=0)} {note(64, 48, channel=1)}")
    assert [n.midi_number for n in lick.notes] == [69, 64]


TWO_CHANNELS = "{} 00 90 45 50 00 91 28 50 60 80 45 00 00 81 28 00"


def test_channels_with_different_programs_are_different_players() -> None:
    """Format 0: everything in one track; the first player is taken."""
    lick = read(TWO_CHANNELS.format("00 C0 1B 00 C1 21"), kind=0)
    assert [n.midi_number for n in lick.notes] == [40]
    assert lick.notices[0] == "channel 2 is read; left out: 1"
    with pytest.raises(UnsupportedNotation, match="struck together"):
        read(TWO_CHANNELS.format("00 C0 1B 00 C1 1B"), kind=0)


# --- the pitch wheel --------------------------------------------------------------


@pytest.mark.parametrize(
    ("value", "cents"),
    [(0, -200), (4096, -100), (8192, 0), (12288, 100), (16383, 199.9756)],
)
def test_wheel_values(value: int, cents: float) -> None:
    """MIDI 1.0: 14 bits, 8192 at rest, two semitones either way by default."""
    data = smf(f"00 E0 {value & 127:02X} {value >> 7:02X} {note(69, 96)}")
    wheel = Wheel()
    for message in mido.MidiFile(file=io.BytesIO(data)).tracks[0]:
        if not message.is_meta:
            wheel.feed(0, message)
    assert wheel.over(0, 96)[0] == pytest.approx(cents, abs=CENTS_TOLERANCE)
    assert wheel_value(cents, 2) == value - 8192


def wheel(*heights: int) -> str:
    """Wheel positions 0 to 127 (64 = rest), 8 ticks apart, under one note."""
    moves = " ".join(f"08 E0 00 {height:02X}" for height in heights[1:])
    length = 96 - 8 * (len(heights) - 1)
    return f"00 E0 00 {heights[0]:02X} 00 90 45 50 {moves} {length:02X} 80 45 00"


RANGE_12 = "00 B0 65 00 00 B0 64 00 00 B0 06 0C 00 B0 26 00"


@pytest.mark.parametrize(
    ("track", "bend"),
    [
        (wheel(64), None),
        (wheel(64, 66, 65, 64), None),
        (wheel(64, 74, 85, 96), Bend(BendKind.BEND, 100.0)),
        (wheel(64, 80, 96, 112, 127), Bend(BendKind.BEND, 196.9)),
        (wheel(64, 80, 96, 80, 64), Bend(BendKind.BEND_RELEASE, 100.0)),
        (wheel(96), Bend(BendKind.PREBEND, 100.0)),
        (wheel(96, 96, 85, 74, 64), Bend(BendKind.PREBEND_RELEASE, 100.0)),
        (f"{RANGE_12} {wheel(64, 69, 72, 75)}", Bend(BendKind.BEND, 206.2)),
        (f"{RANGE_12} {wheel(96)}", None),  # six semitones: no finger bends that
        (wheel(64, 96), None),  # a jump
        (wheel(64, 48, 32, 16), None),  # downwards
        (wheel(64, 74, 85, 96, 80), None),  # neither held nor let down
    ],
)
def test_bends_on_the_wheel(track: str, bend: Bend | None) -> None:
    """Clear ones are read; what is neither a bend nor rest is said."""
    lick = read(track)
    assert lick.notes[0].bend == bend
    at_rest = track in (wheel(64), wheel(64, 66, 65, 64))
    unclear = any("pitch wheel" in notice for notice in lick.notices)
    assert unclear == (bend is None and not at_rest)


def test_vibrato_on_the_wheel() -> None:
    """To and fro, at rest below or on top of a bend."""
    plain = sign_of([0, 30, 0, 30, 0, 30, 0])
    assert (plain.bend, plain.vibrato, plain.unclear) == (None, True, False)
    bent = sign_of([0, 100, 215, 185, 215, 185, 215])
    assert bent.bend == Bend(BendKind.BEND, 200.0)
    assert bent.vibrato


def test_the_wheel_of_the_next_note_is_not_this_one() -> None:
    """A wheel put back just after the note belongs to what follows."""
    lick = read(f"{wheel(64, 74, 85, 96)} 00 E0 00 40 {note(69, 96)}")
    assert [n.bend for n in lick.notes] == [Bend(BendKind.BEND, 100.0), None]


# --- writing --------------------------------------------------------------------


def with_notes(*notes: LickNote, **fields: object) -> Lick:
    """A lick with these notes."""
    known = {"title": "phrase", "tempo_bpm": 90.0, "meter": Meter(), "tuning": STANDARD}
    return Lick(notes=notes, **(known | fields))  # type: ignore[arg-type]


def test_the_range_is_set_by_registered_parameter_zero() -> None:
    """MIDI 1.0: controllers 101 = 0, 100 = 0, 6 = semitones, 38 = cents."""
    plain = LickNote(Fraction(0), Fraction(1), 69, 1, 5)
    usual = "00 B0 65 00 00 64 00 00 06 02 00 26 00"
    assert bytes.fromhex(usual) in midi.write(with_notes(plain))
    wide = LickNote(Fraction(0), Fraction(1), 69, 1, 5, bend=Bend(BendKind.BEND, 400.0))
    assert bytes.fromhex(usual.replace("06 02", "06 05")) in midi.write(
        with_notes(wide)
    )


def test_bytes_of_a_written_note() -> None:
    """Header, meter, tempo, and a note at 960 ticks to the quarter note."""
    data = midi.write(with_notes(LickNote(Fraction(0), Fraction(1, 2), 69, 1, 5)))
    assert data.startswith(struct.pack(">4sLHHH", b"MThd", 6, 1, 2, 960))
    for expected in (
        "00 FF 58 04 04 02 18 08",
        "00 FF 51 03 0A 2C 2B",  # 666667 microseconds
        "00 90 45 58 83 60 80 45 00",  # 480 ticks as a variable-length number
    ):
        assert bytes.fromhex(expected) in data


def test_swing_is_played() -> None:
    """Two to one: the second eighth starts two thirds into the beat."""
    eighths = [LickNote(Fraction(i, 2), Fraction(1, 2), 69, 1, 5) for i in range(2)]
    back = midi.read(midi.write(with_notes(*eighths, swing=2.0)), "swing.mid")
    assert [n.onset_beats for n in back.notes] == [0, Fraction(2, 3)]


@st.composite
def lines(draw: st.DrawFn) -> Lick:
    """Lines with rests, bends and vibrato, in what MIDI can say."""
    notes: list[LickNote] = []
    at = Fraction(0)
    for _ in range(draw(st.integers(1, 8))):
        at += draw(st.sampled_from([Fraction(0), Fraction(1, 3), Fraction(4)]))
        length = Fraction(
            draw(st.integers(1, 6)), draw(st.sampled_from([2, 3, 4, 5, 7]))
        )
        bend = draw(BENDS)
        notes.append(
            LickNote(
                at,
                length,
                midi_number := draw(st.integers(40, 84)),
                string=1,
                fret=midi_number,
                bend=bend,
                vibrato=draw(st.booleans()) if bend not in RELEASED else False,
            )
        )
        at += length
    changes = draw(
        st.sets(st.integers(1, 20).map(lambda n: Fraction(n, 4)), max_size=2)
    )
    return with_notes(
        *notes,
        title=draw(st.text("abc äß", min_size=1).map(str.strip).filter(bool)),
        tempo_bpm=draw(st.integers(40, 240)) / 1,
        meter=draw(st.sampled_from([Meter(), Meter(3, 4), Meter(7, 8)])),
        tempo_changes=tuple(
            TempoChange(beat, 245.5 + i)
            for i, beat in enumerate(sorted(b for b in changes if b < at))
        ),
    )


RELEASED = [
    Bend(kind, cents)
    for kind in (BendKind.BEND_RELEASE, BendKind.PREBEND_RELEASE)
    for cents in (50.0, 100.0, 150.0, 200.0, 400.0)
]
BENDS = st.none() | st.builds(
    Bend, st.sampled_from(BendKind), st.sampled_from([50.0, 100.0, 150.0, 200.0, 400.0])
)


@settings(max_examples=200, deadline=None)
@given(lines())
def test_what_midi_can_say_reads_back(lick: Lick) -> None:
    """Times, pitches, bends, vibrato, tempo map, meter, title."""
    back = midi.read(midi.write(lick), "other.mid")
    assert [
        (n.onset_beats, n.duration_beats, n.midi_number, n.bend, n.vibrato)
        for n in back.notes
    ] == [
        (n.onset_beats, n.duration_beats, n.midi_number, n.bend, n.vibrato)
        for n in lick.notes
    ]
    for field in ("title", "tempo_bpm", "tempo_changes", "meter"):
        assert getattr(back, field) == getattr(lick, field)
    assert back.notices == (CHOSEN,)


def test_times_beyond_exact_ticks_are_rounded() -> None:
    """No file of 15 bits holds both a 101st and a 103rd of a beat."""
    odd = (
        LickNote(Fraction(1, 101), Fraction(1, 103), 69, 1, 5),
        LickNote(Fraction(1), Fraction(1, 10**9), 69, 1, 5),
    )
    back = midi.read(midi.write(with_notes(*odd)), "odd.mid")
    assert float(back.notes[0].onset_beats) == pytest.approx(1 / 101, abs=1 / 27720)
    assert len(back) == 2


@pytest.mark.parametrize(
    "lick",
    [
        with_notes(LickNote(Fraction(0), Fraction(1), 69, 1, 5), title="♭7 ♯"),
        with_notes(LickNote(Fraction(0), Fraction(1), 69, 1, 5), meter=Meter(5, 6)),
        with_notes(LickNote(Fraction(0), Fraction(1), 69, 1, 5), tempo_bpm=5.0),
        with_notes(
            LickNote(Fraction(0), Fraction(1), 38, 6, 0, Articulation.DEAD),
            tuning=Tuning((64, 59, 55, 50, 45, 38)),
        ),
    ],
)
def test_what_midi_cannot_say_is_written_all_the_same(lick: Lick) -> None:
    """Signs outside its letters, an odd meter, a dead note in another tuning."""
    assert midi.write(lick).startswith(b"MThd")


# --- broken files ---------------------------------------------------------------


@pytest.mark.parametrize(
    ("data", "message"),
    [
        (b"", "does not start with 'MThd'"),
        (b"title: a lick, not MIDI at all", "does not start with 'MThd'"),
        (smf(note(69, 96))[:-6], "ends in the middle"),
        (smf(note(69, 96))[:20], "ends in the middle"),
        (smf("00 FF 03 01 47"), "no pitched notes"),
        (smf(note(36, 96, channel=9)), "no pitched notes"),
        (smf("00 90 F5 50 60 80 45 00"), "no Standard MIDI File, or a broken one"),
        (smf(note(69, 96), ticks_per_beat=0), "film frames"),
        (smf(note(69, 96), ticks_per_beat=-6360), "film frames"),
        (smf(note(69, 96), kind=2), "format 2"),
        (smf(f"00 FF 51 03 00 00 00 {note(69, 96)}"), "a tempo of 0 microseconds"),
        (smf(f"00 FF 59 02 7F 7F {note(69, 96)}"), "or a broken one"),
        (smf(note(20, 96)), "no string of E2 A2 D3 G3 B3 E4 reaches G#0"),
        (smf(f"FF FF FF 7F 90 45 50 60 80 45 00 {note(69, 9)}"), "or 10000 bars"),
        (smf("80" + " FF" * 5000 + " 7F 90 45 50"), "over 4096 bytes"),
        (bytes(2**20 + 1), "at most 1048576 can be read"),
    ],
)
def test_broken_files(data: bytes, message: str) -> None:
    """The smallest broken files, and what the player is told."""
    with pytest.raises(LickError, match=message) as caught:
        midi.read(data, "broken.mid")
    assert caught.value.path == "broken.mid"


def test_a_meter_of_nothing_is_left_out() -> None:
    """No beats in a bar: said, and read as 4/4."""
    lick = read(f"00 FF 58 04 00 02 18 08 {note(69, 96)}")
    assert str(lick.meter) == "4/4"
    assert "meter that does not add up" in lick.notices[0]


SEED = smf(
    f"{TEMPO_120} 00 FF 58 04 06 03 24 08 00 FF 59 02 00 00",
    f"00 FF 03 01 47 00 C0 1B {RANGE_12} {note(69, 96)} {wheel(64, 74, 85, 96)}",
)


@settings(max_examples=500, deadline=None)
@given(data=st.data())
def test_only_lick_errors_come_out(data: st.DataObject) -> None:
    """Files cut short, with bytes changed, or with pieces moved: read or refused."""
    seed = bytearray(SEED)
    for _ in range(data.draw(st.integers(1, 5))):
        place = data.draw(st.integers(0, len(seed) - 1))
        length = data.draw(st.integers(0, 3))
        seed[place : place + length] = data.draw(st.binary(max_size=3))
        seed = seed or bytearray(b"M")
    with contextlib.suppress(LickError):
        midi.read(bytes(seed), "mutated.mid")
