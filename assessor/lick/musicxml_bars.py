"""One part of a MusicXML file, bar by bar, as it is written.

Conventions
-----------
From the MusicXML 4.0 schema (W3C, June 2021): ``transpose`` is added to the written
pitch to give the sounding one; an octave clef and an ``octave-shift`` only say how
notes are printed, the pitch in the note is already the true one.  ``sound`` tempo is
in quarter notes a minute.  ``staff-tuning`` is the open string without capo, counted
in lines from the lowest up.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from fractions import Fraction

from assessor.lick.musicxml_elements import (
    Element,
    fault,
    integer,
    integer_attribute,
    line_of,
    measure_of,
    number,
    pitch_of,
    required,
    text_of,
    unsupported,
)
from assessor.lick.musicxml_signs import MOST_FRETS, SignReader, Written
from assessor.lick.notation import Meter
from assessor.lick.notices import Notices
from assessor.tuning import Tuning

TEMPO_RANGE_BPM = (5.0, 1000.0)

_UNIT_BEATS = {
    "maxima": Fraction(32),
    "long": Fraction(16),
    "breve": Fraction(8),
    "whole": Fraction(4),
    "half": Fraction(2),
    "quarter": Fraction(1),
    "eighth": Fraction(1, 2),
    "16th": Fraction(1, 4),
    "32nd": Fraction(1, 8),
    "64th": Fraction(1, 16),
}
_JUMPS = ("dacapo", "dalsegno", "tocoda", "fine")


@dataclass
class Bar:
    """One measure.

    Attributes
    ----------
    number : str
        As printed.
    meter : Meter
        In force in the bar.
    implicit : bool
        Not counted: a pickup, or a bar that a repeat cuts in two.
    notes : list of Written
    tempos_bpm : dict of Fraction to float
        Tempo marks by their place in the bar.
    length_beats : Fraction
    repeat_starts : bool
        A forward repeat sign at its start.
    times : int
        How often a backward repeat sign at its end makes the section sound; 0 = none.
    endings : frozenset of int
        Passes of the section it is played in; empty = all.
    """

    number: str
    meter: Meter
    implicit: bool
    notes: list[Written] = field(default_factory=list)
    tempos_bpm: dict[Fraction, float] = field(default_factory=dict)
    length_beats: Fraction = Fraction(0)
    repeat_starts: bool = False
    times: int = 0
    endings: frozenset[int] = frozenset()


class PartReader:
    """Walks through the measures of one staff of a part.

    Attributes
    ----------
    bars : list of Bar
    meter : Meter or None
        The first time signature.
    tuning : Tuning or None
        As written; None = the file does not say.
    capo : int
    swing : float or None
    """

    def __init__(self, staff: str, notices: Notices) -> None:
        self.bars: list[Bar] = []
        self.meter: Meter | None = None
        self.tuning: Tuning | None = None
        self.capo = 0
        self.swing: float | None = None
        self._staff = staff
        self._notices = notices
        self._signs = SignReader(notices)
        self._divisions = Fraction(0)
        self._transpose = 0
        self._meter = Meter()
        self._endings: frozenset[int] = frozenset()
        self._at = Fraction(0)
        self._readers = {
            "attributes": self._attributes,
            "note": self._note,
            "backup": self._backup,
            "forward": self._forward,
            "direction": self._direction,
            "sound": self._sound,
            "barline": self._barline,
        }

    def read(self, part: Element) -> None:
        """Read a whole ``part``."""
        for measure in part.iterchildren("measure"):
            self._measure(measure)
        self._signs.close()

    def _measure(self, measure: Element) -> None:
        """Read one ``measure``."""
        name = measure.get("number", "?")
        bar = Bar(name, self._meter, measure.get("implicit") == "yes")
        self.bars.append(bar)
        self._at = Fraction(0)
        for child in measure.iterchildren("*"):
            read = self._readers.get(str(child.tag))
            if read is not None:
                read(child)
        bar.meter = self._meter
        bar.endings = bar.endings | self._endings
        if bar.length_beats == 0 and not bar.implicit:
            bar.length_beats = self._meter.bar_beats

    def _go_to(self, at: Fraction) -> None:
        """Move the place in the bar."""
        self._at = at
        self.bars[-1].length_beats = max(self.bars[-1].length_beats, at)

    def _beats(self, element: Element) -> Fraction:
        """Duration of a note, rest, backup or forward."""
        if self._divisions == 0:
            message = "a duration before the first <divisions>"
            raise fault(message, element)
        beats = number(required(element, "duration")) / self._divisions
        if beats <= 0:
            message = "a duration that is not above zero"
            raise fault(message, element)
        return beats

    def _backup(self, element: Element) -> None:
        """Go back in the bar."""
        self._go_to(max(Fraction(0), self._at - self._beats(element)))

    def _forward(self, element: Element) -> None:
        """Go forward in the bar."""
        self._go_to(self._at + self._beats(element))

    # --- notes ---------------------------------------------------------------------

    def _note(self, element: Element) -> None:
        """Read a ``note``, whether it sounds or not."""
        ours = _staff_of(element) == self._staff
        sounds = element.find("rest") is None
        if element.find("grace") is not None:
            if ours:
                self._signs.pass_over(element)
                self._notices.add("grace notes are left out", measure_of(element))
            return
        if element.find("chord") is not None:
            if ours and sounds:
                message = "a chord; a lick is a single line: leave one note of it"
                raise unsupported(message, element)
            return
        beats = self._beats(element)
        if ours and sounds:
            self._sounding(element, beats)
        self._go_to(self._at + beats)

    def _sounding(self, element: Element, beats: Fraction) -> None:
        """Read a ``note`` that sounds."""
        pitch = element.find("pitch")
        for tag in ("cue", "unpitched"):
            if element.find(tag) is not None:
                self._notices.add(f"{tag} notes are left out", measure_of(element))
                return
        if pitch is None:
            message = "a <note> that has neither a <pitch> nor a <rest>"
            raise fault(message, element)
        ties = {tie.get("type") for tie in element.iterfind("tie")}
        ties |= {tied.get("type") for tied in element.iterfind("notations/tied")}
        note = Written(
            measure_of(element) or "?",
            line_of(element),
            onset_beats=self._at,
            duration_beats=beats,
            midi_number=self._midi_number(pitch),
            tied_from=bool(ties & {"stop", "continue"}),
            tied_to=bool(ties & {"start", "continue"}),
        )
        self._signs.read(element, note)
        self.bars[-1].notes.append(note)

    def _midi_number(self, pitch: Element) -> int:
        """Sounding pitch."""
        midi_number = pitch_of(pitch, "step", "alter", "octave") + self._transpose
        if not 0 <= midi_number <= 127:
            message = f"a pitch beyond hearing (MIDI number {midi_number}, 0 to 127)"
            raise fault(message, pitch)
        return midi_number

    # --- attributes ----------------------------------------------------------------

    def _attributes(self, element: Element) -> None:
        """Read divisions, time signature, transposition, tuning and capo."""
        divisions = element.find("divisions")
        if divisions is not None:
            self._divisions = number(divisions)
            if self._divisions <= 0:
                message = "<divisions> that is not above zero"
                raise fault(message, divisions)
        time = element.find("time")
        if time is not None:
            self._time(time)
        for transpose in element.iterfind("transpose"):
            if transpose.get("number", self._staff) == self._staff:
                self._transpose = integer(required(transpose, "chromatic"), -127, 127)
                octaves = transpose.find("octave-change")
                if octaves is not None:
                    self._transpose += 12 * integer(octaves, -10, 10)
        for details in element.iterfind("staff-details"):
            if details.get("number", self._staff) == self._staff:
                self._staff_details(details)
        for style in element.iterfind("measure-style"):
            for tag in ("measure-repeat", "beat-repeat"):
                sign = style.find(tag)
                if sign is not None and sign.get("type") == "start":
                    message = f"a {tag} sign; write the notes out"
                    raise unsupported(message, sign)

    def _time(self, element: Element) -> None:
        """Read a time signature, composite ones as their sum."""
        counts = [text_of(e) for e in element.iterfind("beats")]
        units = [integer(e, 1, 128) for e in element.iterfind("beat-type")]
        if not counts or len(counts) != len(units):
            self._notices.add("a bar without meter is read as 4/4", measure_of(element))
            return
        unit = max(units)
        total = Fraction(0)
        for count, its_unit in zip(counts, units, strict=True):
            if re.fullmatch(r"\d{1,3}(\s*\+\s*\d{1,3})*", count) is None:
                message = f"<beats> holds {count[:20]!r} instead of a count"
                raise fault(message, element)
            beats = sum(int(part) for part in count.split("+"))
            total += Fraction(beats * unit, its_unit)
        if total.denominator != 1 or total == 0:
            message = "a time signature that does not add up"
            raise fault(message, element)
        self._meter = Meter(int(total), unit)
        if self.meter is None:
            self.meter = self._meter
        elif self.meter != self._meter:
            text = f"the meter changes; bar lines are kept as {self.meter}"
            self._notices.add(text, measure_of(element))

    def _staff_details(self, element: Element) -> None:
        """Read tuning and capo; neither may change inside a lick."""
        lines = {
            integer_attribute(tuning, "line"): pitch_of(
                tuning, "tuning-step", "tuning-alter", "tuning-octave"
            )
            for tuning in element.iterfind("staff-tuning")
        }
        tuning, capo = self.tuning, self.capo
        if lines:
            try:
                tuning = Tuning(tuple(lines[line] for line in sorted(lines)[::-1]))
            except ValueError as error:
                raise fault(str(error), element) from None
        sign = element.find("capo")
        if sign is not None:
            capo = integer(sign, 0, MOST_FRETS)
        if any(bar.notes for bar in self.bars) and (
            (tuning, capo) != (self.tuning, self.capo)
        ):
            message = "another tuning or capo in the middle of the lick"
            raise unsupported(message, element)
        self.tuning, self.capo = tuning, capo

    # --- tempo and order -----------------------------------------------------------

    def _direction(self, element: Element) -> None:
        """Read the tempo of a ``direction``: from ``sound``, else its metronome."""
        sound = element.find("sound")
        offset = element.find("offset[@sound='yes']")
        if sound is not None:
            self._sound(sound, offset)
            if sound.get("tempo") is not None:
                return
        metronome = element.find("direction-type/metronome")
        if metronome is not None:
            self._metronome(metronome, self._place(offset))

    def _place(self, offset: Element | None) -> Fraction:
        """Place in the bar, moved by an ``offset``."""
        if offset is None or self._divisions == 0:
            return self._at
        return max(Fraction(0), self._at + number(offset) / self._divisions)

    def _sound(self, element: Element, offset: Element | None = None) -> None:
        """Read the tempo, the swing and the jumps of a ``sound``."""
        for jump in _JUMPS:
            if element.get(jump) is not None:
                message = f"a jump ({jump}); write the notes out in playing order"
                raise unsupported(message, element)
        swing = element.find("swing")
        if swing is not None:
            self._swing(swing)
        text = element.get("tempo")
        if text is None:
            return
        own_offset = element.find("offset")
        place = self._place(offset if own_offset is None else own_offset)
        tempo_bpm = _tempo(text, element)
        if tempo_bpm == 0:  # the schema: "the program should prompt the user"
            self._notices.add("a tempo of 0 is left out", measure_of(element))
            return
        self._mark_tempo(place, tempo_bpm, element)

    def _metronome(self, element: Element, place: Fraction) -> None:
        """Read a metronome mark such as dotted quarter = 80."""
        per_minute = element.find("per-minute")
        unit = element.find("beat-unit")
        found = re.search(
            r"\d+(\.\d*)?", "" if per_minute is None else text_of(per_minute)
        )
        if unit is None or found is None:
            text = "a metronome mark without a number is left out"
            self._notices.add(text, measure_of(element))
            return
        if text_of(unit) not in _UNIT_BEATS:
            message = f"a metronome mark for {text_of(unit)[:20]!r}"
            raise fault(message, element)
        dots = len(element.findall("beat-unit-dot"))
        beats = _UNIT_BEATS[text_of(unit)] * (2 - Fraction(1, 2 ** min(dots, 4)))
        per_minute_ = _tempo(found.group(), element)
        if (
            place not in self.bars[-1].tempos_bpm
        ):  # what sounds outranks what is printed
            self._mark_tempo(place, per_minute_ * float(beats), element)

    def _mark_tempo(self, place: Fraction, tempo_bpm: float, element: Element) -> None:
        """Keep a tempo mark."""
        slowest, fastest = TEMPO_RANGE_BPM
        if not slowest <= tempo_bpm <= fastest:
            message = f"a tempo of {tempo_bpm:g}; {slowest:g} to {fastest:g} quarter "
            message += "notes a minute can be read"
            raise fault(message, element)
        self.bars[-1].tempos_bpm[place] = tempo_bpm

    def _swing(self, element: Element) -> None:
        """Read a swing ratio of eighths; it holds for the whole lick."""
        swing = None
        if element.find("straight") is None:
            first = integer(required(element, "first"), 1, 1000)
            second = integer(required(element, "second"), 1, 1000)
            swing = first / second
        kind = element.find("swing-type")
        started = any(bar.notes for bar in self.bars)
        if kind is not None and text_of(kind) != "eighth":
            text = "swing of other notes than eighths is left out"
        elif started and swing != self.swing:
            text = "a change of swing inside the lick is left out"
        else:
            self.swing = swing
            return
        self._notices.add(text, measure_of(element))

    def _barline(self, element: Element) -> None:
        """Read repeat signs and endings."""
        bar = self.bars[-1]
        repeat = element.find("repeat")
        if repeat is not None and repeat.get("direction") == "forward":
            bar.repeat_starts = True
        elif repeat is not None:
            bar.times = integer_attribute(repeat, "times", default=2)
        ending = element.find("ending")
        if ending is None:
            return
        passes = re.findall(r"\d{1,3}", ending.get("number", ""))
        if ending.get("type") == "start":
            self._endings = frozenset(int(p) for p in passes)
        bar.endings = bar.endings | self._endings
        if ending.get("type") in ("stop", "discontinue"):
            self._endings = frozenset()


def _staff_of(element: Element) -> str:
    """Staff a note is written on."""
    staff = element.find("staff")
    return "1" if staff is None else text_of(staff)


def _tempo(text: str, element: Element) -> float:
    """Tempo written as a plain decimal number."""
    if re.fullmatch(r"\s*\d{1,6}(\.\d{0,30})?\s*", text) is None:
        message = f"a tempo of {text[:20]!r}"
        raise fault(message, element)
    return float(text)
