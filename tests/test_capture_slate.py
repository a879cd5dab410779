"""What a take's file says of how it was recorded."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import datetime, timedelta, timezone
from pathlib import Path

import numpy as np
import pytest
import soundfile
from hypothesis import given
from hypothesis import strategies as st

from assessor import recording
from assessor.capture.slate import (
    TAGS,
    ClickKind,
    Ended,
    Slate,
    read_slate,
    slate_of,
    tags_of,
    write_flac,
)

FULL = Slate(
    title="Übung — drei",
    tempo_bpm=92.5,
    lick_file="drei.lick",
    lick_sheet="title: Übung\n\n   q\ne|-5-|\n",
    click=ClickKind.SUBDIVIDED,
    click_sent_s=2.594594,
    latency_s=0.0421875,
    latency_spread_s=0.0002,
    drift_ppm=-31.5,
    input="Line in: front",
    output="Phones = rear",
    started_at=datetime(2026, 11, 25, 18, 30, 7, tzinfo=timezone(timedelta(hours=1))),
    peak_dbfs=-6.25,
    level_dbfs=-21.5,
    dropouts_s=(1.25, 3.5),
    ended=Ended.UNPLUGGED,
)
HALF_STEP = 0.5 / 2**23


def test_every_attribute_has_a_tag() -> None:
    """Nothing that is known is lost on the way to the file."""
    assert {attribute for attribute, _ in TAGS.values()} == set(vars(FULL))
    assert slate_of(tags_of(FULL)) == FULL


@given(st.floats(-1e4, 1e4), st.lists(st.floats(0, 1e4), max_size=4))
def test_numbers_survive(drift: float, lost: list[float]) -> None:
    """To a billionth of their size."""
    slate = Slate("A", 100, drift_ppm=drift, dropouts_s=tuple(lost))
    again = slate_of(tags_of(slate))
    assert again is not None
    assert again.drift_ppm == pytest.approx(drift, rel=1e-8)
    assert again.dropouts_s == pytest.approx(lost, rel=1e-8)


def test_flac_holds_sound_and_slate(tmp_path: Path) -> None:
    """Lossless to half a step of 24 bits; another reader sees title and date."""
    file = tmp_path / "take.flac"
    sound = np.random.default_rng(1).uniform(-0.9, 0.9, 10_000).astype(np.float32)
    write_flac(file, [sound[:1], sound[:0], sound[1:7000], sound[7000:]], 48_000, FULL)
    assert read_slate(file) == FULL
    heard = recording.read(file)
    assert heard.sample_rate_hz == 48_000
    back, _ = soundfile.read(file)
    assert np.abs(back - sound).max() <= HALF_STEP
    with soundfile.SoundFile(file) as opened:
        assert (opened.title, opened.date) == (FULL.title, "2026-11-25T18:30:07+01:00")


def test_comment_block_as_the_standard_has_it(tmp_path: Path) -> None:
    """RFC 9639, 8.6: block type 4, little-endian lengths, then NAME=value in UTF-8."""
    file = tmp_path / "take.flac"
    write_flac(file, [np.zeros(100, np.float32)], 44_100, Slate("é", 100))
    data = file.read_bytes()
    assert data[:4] == b"fLaC"
    position, last = 4, False
    while not last:
        last, kind = bool(data[position] & 0x80), data[position] & 0x7F
        size = int.from_bytes(data[position + 1 : position + 4], "big")
        if kind == 4:
            break
        position += 4 + size
    block = data[position + 4 : position + 4 + size]
    assert len("TITLE=é".encode()).to_bytes(4, "little") + "TITLE=é".encode() in block


def test_loud_sound_is_cut_off_not_wrapped(tmp_path: Path) -> None:
    """Beyond full scale is full scale, of the same sign."""
    file = tmp_path / "take.flac"
    write_flac(file, [np.array([1.5, -1.5], np.float32)], 44_100, Slate("A", 100))
    assert soundfile.read(file)[0] == pytest.approx([1, -1], abs=2 * HALF_STEP)


def test_nothing_is_left_of_a_file_that_failed(tmp_path: Path) -> None:
    """Whole or not at all."""

    def blocks() -> object:
        yield np.zeros(100, np.float32)
        message = "gone"
        raise OSError(message)

    with pytest.raises(OSError, match="gone"):
        write_flac(tmp_path / "take.flac", blocks(), 44_100, FULL)  # type: ignore[arg-type]
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    "tags",
    [
        {},
        {"TITLE": "a song", "ARTIST": "someone"},
        {"TITLE": "A", "TEMPO_BPM": "fast"},
        {"TITLE": "A", "TEMPO_BPM": "nan"},
        {"TITLE": "A", "TEMPO_BPM": "-3"},
    ],
)
def test_other_tags_are_no_slate(tags: dict[str, str]) -> None:
    """Without title and tempo nothing is known of the take."""
    assert slate_of(tags) is None


@pytest.mark.parametrize(
    "name", ["CLICK", "CLICK_SENT_S", "DATE", "DROPOUTS_S", "ENDED"]
)
def test_a_spoilt_tag_counts_as_not_there(name: str) -> None:
    """Tags are open to anyone; the others still count."""
    attribute, _ = TAGS[name]
    again = slate_of({**tags_of(FULL), name: "x y"})
    missing = getattr(Slate("A", 100), attribute)
    assert again == replace(FULL, **{attribute: missing})


def test_no_sound_file_has_no_slate(tmp_path: Path) -> None:
    """Neither words nor nothing."""
    file = tmp_path / "words.flac"
    file.write_text("words")
    assert read_slate(file) is None
    assert read_slate(tmp_path / "nothing.flac") is None


# ------------------------------------------------------------------ the click

CLICKED = Slate(
    "A", 100, click=ClickKind.ACCENT, click_sent_s=2.4, latency_s=0.05,
    latency_spread_s=0.006, drift_ppm=0.0,
)  # fmt: skip


def test_click_lies_one_latency_later() -> None:
    """A spread of just what cannot be noticed is allowed."""
    assert CLICKED.click_in_take == pytest.approx((2.45, 100))
    assert CLICKED.flags() == ()


def test_drift_moves_click_and_tempo() -> None:
    """With the input's clock 100 ppm fast, counts lie 100 ppm further apart."""
    at_s, tempo_bpm = replace(CLICKED, drift_ppm=100.0).click_in_take or (0, 0)
    assert at_s == pytest.approx(2.4 * 1.0001 + 0.05)
    assert 60 / tempo_bpm == pytest.approx(60 / 100 * 1.0001)


@pytest.mark.parametrize(
    ("change", "kinds", "words"),
    [
        ({"latency_s": None}, ["click_unknown"], "never measured"),
        ({"latency_spread_s": 0.0061}, ["click_unknown"], "by 6.1 ms"),
        ({"dropouts_s": (1.0,)}, ["click_unknown", "dropouts"], r"1 place \(1.00 s\)"),
        ({"click": ClickKind.COUNT_IN}, [], ""),
        ({"click": ClickKind.NONE}, [], ""),
    ],
)
def test_unknown_click_is_not_judged_by(
    change: dict[str, object], kinds: list[str], words: str
) -> None:
    """The report says why; a click that did not go on needs no excuse."""
    slate = replace(CLICKED, **change)  # type: ignore[arg-type]
    assert slate.click_in_take is None
    flags = slate.flags()
    assert [flag.kind for flag in flags] == kinds
    assert not words or re.search(words, str(flags))
