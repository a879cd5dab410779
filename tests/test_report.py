"""The terminal report and the result file of hand-made assessments."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import hand_made as made
import jsonschema
import numpy as np
import pytest

from assessor import report
from assessor.alignment import Verdict
from assessor.assessment import Assessment, Settings
from assessor.lick.notation import Articulation, Bend, BendKind
from assessor.measures.clock import Click
from assessor.measures.second_opinion import Disagreement, SecondOpinion
from assessor.pitch import PlayedNote
from assessor.sound_check import Flag

SCHEMA = Path(__file__).parents[1] / "docs" / "result.schema.json"
COLOUR = re.compile(r"\x1b\[[0-9;]*m")

HAMMER = {"articulation": Articulation.HAMMER_ON}
BENT = {"bend": Bend(BendKind.BEND, 200.0), "vibrato": True}
LICK = made.lick(
    [k / 2 for k in range(16)],
    [(3, 5), (3, 7)] * 8,
    last_beats=2,
    extras={5: HAMMER, 15: BENT},
    title="Two notes",
)


def bent_note(top: float) -> PlayedNote:
    """Last note of the lick, bent by `top` cents and shaken."""
    since_s = np.arange(120) * 0.01
    swing = np.where(since_s > 0.3, 20 * np.sin(2 * np.pi * 5 * (since_s - 0.3)), 0.0)
    curve = np.interp(since_s, [0.1, 0.2], [0, top]) + swing
    onset_s = 1.0 + float(LICK.onsets_s()[15])
    midi_number = LICK.notes[15].midi_number
    return made.played(onset_s, midi_number, offset_s=onset_s + 1.2, cents=list(curve))


def faulty() -> Assessment:
    """One of everything: wrong, missed, extra, unsure, late, uneven, flat."""
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
    flag = Flag("noisy", -40.0, -50.0, "dB", "There is noise.")
    return made.assessed(LICK, passage, facts={"flags": (flag,)})


def faultless() -> Assessment:
    """As written."""
    return made.assessed(
        LICK, made.passage([*made.as_written(LICK)[:15], bent_note(200)])
    )


def several() -> Assessment:
    """Three passes: one with two faults, one broken off, one right and best."""
    notes: list[Any] = [*made.as_written(LICK)]
    first = made.passage([None, None, *notes[2:]])
    second = made.passage(
        [*notes[:9], *[None] * 7],
        verdicts=dict.fromkeys(range(9, 16), Verdict.UNSURE),
        complete=False,
    )
    return made.assessed(LICK, first, second, made.passage(notes), best=2)


def unreached() -> Assessment:
    """A single unsure note: nothing is judged."""
    single = made.lick([0])
    passage = made.passage([None], verdicts={0: Verdict.UNSURE}, complete=False)
    return made.assessed(single, passage)


def clicked() -> Assessment:
    """To a click, swung, pYIN asked."""
    swung = made.lick([k / 2 for k in range(17)], swing=2.0)
    settings = Settings(tempo_bpm=90.0, click=Click(0.25, 100.0))
    opinion = SecondOpinion("pyin", 15, 1, (Disagreement(0, 3, 60.0, 72.0),))
    passage = made.passage(made.as_written(swung, start_s=0.87))
    return made.assessed(
        swung, passage, settings=settings, name="take.mp3", second_opinion=opinion
    )


CASES = [faulty, faultless, several, unreached, clicked]


def under_notes(text: str, row: str) -> str:
    """First line of a report that starts with the word of a row."""
    return next(line for line in text.splitlines() if line.startswith(row))


def test_signs_stand_under_their_notes() -> None:
    """Each finding has its sign in the column of the fret it speaks of."""
    text = report.terminal(faulty())
    frets = under_notes(text, "        G|")
    columns = [k for k, sign in enumerate(frets) if sign in "57"]
    notes = under_notes(text, "notes").ljust(80)
    first = [notes[k] for k in columns]
    assert first[:8] == ["·", "·", "×", "·", "·", "·", "·", "○"]
    time = under_notes(text, "time").ljust(80)
    assert [time[k] for k in columns][:8] == ["·", "·", "·", "·", "·", "<", "·", " "]
    slurs = under_notes(text, "slurs").ljust(80)
    assert [k for k, sign in enumerate(slurs[8:], 8) if sign != " "] == [columns[5]]


def test_signs_of_the_second_system() -> None:
    """Unsure, late, extra and flat; a row with nothing to tell is left out."""
    lines = report.terminal(faulty(), 60).splitlines()
    notes = [line for line in lines if line.startswith("notes")]
    time = [line for line in lines if line.startswith("time")]
    pitch = [line for line in lines if line.startswith("pitch")]
    assert notes[-1].split()[1:] == ["·", "?", "·", "·", "·¦", "·", "·", "·"]
    assert time[-1].split()[1:] == ["·", "·", "·", ">", "·", "·", "·", "·"][1:]
    assert [line.split() for line in pitch] == [["pitch", "↓"]]
    assert len([line for line in lines if line.startswith("slurs")]) == 1


def test_legend_explains_every_sign_that_is_used_and_no_other() -> None:
    """One line, at 80 columns."""
    text = report.terminal(faulty())
    (legend,) = [line for line in text.splitlines() if line.startswith("· inside")]
    expected = "· inside  < early  > late  ↓ flat  × wrong  ○ missed  ¦ extra  ? unsure"
    assert legend == expected
    (legend,) = [
        line
        for line in report.terminal(faultless()).splitlines()
        if line.startswith("· inside")
    ]
    assert legend == "· inside"


def test_readings_say_value_uncertainty_and_limit() -> None:
    """Every area has its line, and what it is judged by."""
    text = report.terminal(faulty())
    assert re.search(
        r"^Notes   13 of 16 right, 1 wrong, 1 missed, 1 extra, 1", text, re.M
    )
    assert re.search(r"^Time    spread \d+ ms ±\d+, .*: 15 ms allowed$", text, re.M)
    assert re.search(
        r"^Bends   50 cents ±.* off, 0 of 1 inside +outside: 25", text, re.M
    )
    assert re.search(r"^Vibrato 5 Hz, 20 cents either way$", text, re.M)
    assert re.search(r"^Legato  intervals 40 ms .*outside: 15 ms allowed$", text, re.M)
    assert re.search(r"^Mark    \d+ of 100 = \(45 x 13/16 notes", text, re.M)


def test_a_bend_that_is_unsure_is_counted_apart() -> None:
    """Neither inside nor outside, as in the mark."""
    found = faulty()
    (one,) = found.passes
    (bent,) = one.bends.bent
    unsure = replace(bent, reached=replace(bent.reached, uncertainty=100.0))
    bends = replace(one.bends, bent=(bent, unsure))
    text = report.terminal(replace(found, passes=(replace(one, bends=bends),)))
    assert re.search(r"^Bends   .* off, 0 of 1 inside, 1 unsure ", text, re.M)


def test_wrong_notes_are_told_in_words_with_their_place() -> None:
    """The fingerboard's reading of the slip."""
    text = report.terminal(faulty())
    assert "bar 1, beat 2: one fret high: 6 instead of 5 on string 3" in text
    assert "bar 1, beat 4.5: this note did not sound" in text
    assert "bar 2, beat 4.5: the bend is 50 cents flat: 150 of 200" in text


def test_one_thing_to_work_on() -> None:
    """The dearest cause: the bend is the whole of its area."""
    text = report.terminal(faulty())
    (line,) = [line for line in text.splitlines() if line.startswith("Work on")]
    assert line.startswith("Work on bar 2, beat 4.5: the bend is 50 cents flat")


def test_faultless_take_is_sent_on() -> None:
    """Nothing outside: a tighter tolerance, or the written tempo."""
    assert "Next    Nothing lies outside the tolerance: try" in report.terminal(
        faultless()
    )
    slow = made.assessed(LICK, made.passage(made.as_written(LICK, pace=1.25)))
    assert "bring the tempo up" not in report.terminal(slow)  # its bend was not bent
    assert "Nothing could be judged" in report.terminal(unreached())
    plain = made.lick([k / 2 for k in range(16)])
    slow = made.assessed(plain, made.passage(made.as_written(plain, pace=1.25)))
    assert "from 80 towards the written 100 bpm" in " ".join(
        report.terminal(slow).split()
    )


def test_several_passes_have_one_line_each() -> None:
    """The best is marked, the broken one is called so."""
    lines = report.terminal(several()).splitlines()
    passes = [line for line in lines if line.startswith("Pass ")]
    assert len(passes) == 3
    assert "14 of 16 right" in passes[0]
    assert "broken off" in passes[1]
    assert [line.endswith("(best)") for line in passes] == [False, False, True]


def test_cautions_end_the_report() -> None:
    """Flags of the recording, and what else to know."""
    text = report.terminal(faulty())
    assert text.endswith("Caution There is noise.\n")
    assert "pyin hears another pitch in 1 of 16 notes" in report.terminal(clicked())
    assert "compressed recording" in report.terminal(clicked())
    moved = made.assessed(
        LICK, made.passage(made.as_written(LICK)), transposition=-1, tuning_cents=-12.0
    )
    assert "1 fret lower than written" in report.terminal(moved)
    assert "guitar 12 cents flat" in report.terminal(moved)


def test_long_recording_ends_with_volume_and_practice_time() -> None:
    """25 minutes and more: sources named, no medical claim."""
    long = made.assessed(
        LICK, made.passage(made.as_written(LICK)), duration_s=25 * 60.0
    )
    text = " ".join(report.terminal(long).split())
    for word in ("BAPAM", "NIOSH", "not medical advice"):
        assert word in text
    assert "BAPAM" not in report.terminal(faultless())


@pytest.mark.parametrize("case", CASES)
@pytest.mark.parametrize("width", [10, 40, 60, 80, 120])
def test_report_keeps_its_width(case: Any, width: int) -> None:
    """No line is longer than the columns, but for the least of 40."""
    for line in report.terminal(case(), width).splitlines():
        assert len(line) <= max(width, 40)
        assert line == line.rstrip()


@pytest.mark.parametrize("case", CASES)
def test_colour_adds_nothing_but_colour(case: Any) -> None:
    """Without its escape codes a painted report is the plain one."""
    painted = report.terminal(case(), colour=True)
    assert COLOUR.sub("", painted) == report.terminal(case())
    assert "\x1b" not in report.terminal(case())
    assert not re.search(r"\x1b\[(3[12]|9[12]|38;5;(1|2|9|10)|4[12])m", painted)


@pytest.mark.parametrize("case", CASES)
def test_ascii_report_has_the_same_signs(case: Any) -> None:
    """Every sign has a shape in ASCII."""
    text = report.terminal(case(), ascii_only=True)
    assert text.isascii()
    if case is faulty:
        legend = (
            ". inside  < early  > late  v flat  x wrong  o missed  + extra  ? unsure"
        )
        assert legend in text.splitlines()


def test_title_that_is_not_ascii_is_replaced() -> None:
    """A title in any script does not stop the report."""
    lick = made.lick([0, 1, 2, 3], title="Übung 練習")
    text = report.terminal(
        made.assessed(lick, made.passage(made.as_written(lick))), ascii_only=True
    )
    assert text.startswith("?bung ??\n")


def strict(schema: Any) -> Any:
    """Schema that allows no key it does not describe."""
    if isinstance(schema, list):
        return [strict(part) for part in schema]
    if not isinstance(schema, dict):
        return schema
    closed = {key: strict(part) for key, part in schema.items()}
    if "properties" in schema:
        closed.setdefault("additionalProperties", False)
    return closed


@pytest.mark.parametrize("case", CASES)
def test_result_is_as_the_schema_says(case: Any) -> None:
    """JSON without NaN, and no key that the published schema does not describe."""
    text = json.dumps(report.result(case()), allow_nan=False)
    schema = json.loads(SCHEMA.read_text(encoding="utf-8"))
    jsonschema.Draft202012Validator.check_schema(schema)
    jsonschema.Draft202012Validator(strict(schema)).validate(json.loads(text))


def test_schema_refuses_what_is_no_result() -> None:
    """A result without its passes."""
    schema = json.loads(SCHEMA.read_text(encoding="utf-8"))
    broken = report.result(faultless())
    del broken["passes"]
    with pytest.raises(jsonschema.ValidationError, match="'passes' is a required"):
        jsonschema.Draft202012Validator(schema).validate(broken)


def test_result_holds_what_was_measured() -> None:
    """The keys other programs read, with their values."""
    found = report.result(faulty())
    assert (found["format"], found["version"]) == ("assessor-result", 1)
    notes = found["passes"][found["best_pass"]]["notes"]
    assert [note["index"] for note in notes] == list(range(16))
    verdicts = {k: notes[k]["verdict"] for k in (2, 7, 9)}
    assert verdicts == {2: "wrong", 7: "missed", 9: "unsure"}
    assert notes[7]["onset_s"] is notes[7]["midi_number"] is None
    assert notes[2]["midi_number"] == LICK.notes[2].midi_number + 1
    assert notes[2]["slip"]["kind"] == "fret_high"
    assert notes[11]["deviation"]["value"] == pytest.approx(50.0, abs=2.0)
    assert notes[15]["bend"]["settled_cents"] == pytest.approx(150.0, abs=2.0)
    assert notes[15]["vibrato"]["rate_hz"] == pytest.approx(5.0, abs=0.1)
    (extra,) = found["passes"][0]["extra"]
    assert extra["midi_number"] == 70
    rule = notes[11]["deviation"]["rule"]
    source = found["settings"]["tolerance"]["rules"][rule]["source"]
    assert source == "Friberg & Sundberg 1995"


def test_moving_pitch_has_the_number_of_its_fret() -> None:
    """A note without a steady pitch, on a guitar 30 cents sharp."""
    note = made.played(1.0, 60, offset_s=1.0)
    found = report.result(
        made.assessed(made.lick([0]), made.passage([note]), tuning_cents=30.0)
    )
    assert found["passes"][0]["notes"][0]["midi_number"] == pytest.approx(60.3)
