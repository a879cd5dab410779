"""Licks of a folder, found by what they are made of."""

from __future__ import annotations

from pathlib import Path

import pytest

from assessor.errors import LickError
from assessor.lick.library import (
    QUANTITIES,
    Entry,
    Library,
    open_library,
    parse_query,
    search,
    shipped_folder,
)

REFERENCES = Path(__file__).parents[1] / "references"
HEADER = "title: {title}\ntempo: {tempo}\ntuning: {tuning}\ntrains: {trains}\n\n"
TAB = """   q   q   q   q
{e}|-----------------|
B|-----------------|
G|-{0}-{1}-{2}-{3}-|
D|-----------------|
A|-----------------|
{E}|-----------------|
"""


def sheet(*signs: str, tempo: int = 90, drop: bool = False, **words: str) -> str:
    """Four quarter notes on the third string."""
    texts = {"title": "a line", "trains": "nothing at all"} | words
    tuning = "drop D" if drop else "standard"
    frets = [sign.ljust(3, "-") for sign in signs]
    header = HEADER.format(tempo=tempo, tuning=tuning, **texts)
    return header + TAB.format(*frets, e="e", E="D" if drop else "E")


@pytest.fixture(scope="module")
def shelf(tmp_path_factory: pytest.TempPathFactory) -> Library:
    """Three licks of one bar: A minor from a long A, a bend, a slow one in drop D."""
    folder = tmp_path_factory.mktemp("licks")
    (folder / "line.lick").write_text(sheet("2", "4", "5", "2"))
    (folder / "bent.lick").write_text(
        sheet("7b9", "5", "7", "5", tempo=120, title="One bend")
    )
    (folder / "deeper").mkdir()
    (folder / "deeper" / "low.lick").write_text(
        sheet("x", "0", "2", "0", tempo=60, drop=True, trains="Slow muting")
    )
    return open_library(folder)


def names(found: tuple[Entry, ...]) -> set[str]:
    """Names of the files without their ending."""
    return {entry.path.stem for entry in found}


@pytest.mark.parametrize(
    ("query", "expected"),
    [
        ("", {"line", "bent", "low"}),
        ("bends", {"bent"}),
        ("Bends", {"bent"}),
        ("bends=0", {"line", "low"}),
        ("tempo<90", {"low"}),
        ("tempo<=90", {"line", "low"}),
        ("tempo>90", {"bent"}),
        ("tempo>=90 bends=0", {"line"}),
        ("tempo < 100 dead", {"low"}),
        ("notes=4 bars=1", {"line", "bent", "low"}),
        ("bend", {"bent"}),  # a word of the title, and no quantity
        ("MUTING", {"low"}),
        ("drop D", {"low"}),
        ("4/4 deeper", set()),
        ("low", {"low"}),
        ("G major", {"line", "bent", "low"}),
        ("a minor", {"line", "bent", "low"}),
        ("A minor pentatonic", {"bent", "low"}),
        ("C whole-tone", {"bent"}),
    ],
)
def test_queries(shelf: Library, query: str, expected: set[str]) -> None:
    """Quantities, comparisons, scales and words; all of them at once."""
    assert names(search(shelf, parse_query(query.split()))) == expected


@pytest.mark.parametrize(
    "words",
    [["A minor pentatonic"], ["A", "minor", "pentatonic"], ["A minor", "pentatonic"]],
)
def test_a_scale_may_be_quoted_or_not(words: list[str]) -> None:
    """However the shell cuts it."""
    library = open_library(REFERENCES)
    found = search(library, parse_query(words))
    assert "pentatonic-hammers-and-pulls" in names(found)
    assert "triplets-into-sixteenths" not in names(found)


def test_a_scale_without_tonic_is_taken_on_the_tonic_found() -> None:
    """D dorian has the notes of C major; the lick is in D."""
    library = open_library(REFERENCES)
    assert "triplets-into-sixteenths" in names(search(library, parse_query(["dorian"])))
    in_major = names(search(library, parse_query(["major"])))
    assert "triplets-into-sixteenths" not in in_major
    assert "hybrid-picked-tenths" in in_major


def test_dead_notes_lie_in_no_scale(tmp_path: Path) -> None:
    """Nothing that is heard is in A minor."""
    (tmp_path / "dead.lick").write_text(sheet("x", "x", "x", "x"))
    library = open_library(tmp_path)
    assert search(library, parse_query(["A minor"])) == ()
    assert names(search(library, parse_query(["dead"]))) == {"dead"}


@pytest.mark.parametrize(
    ("query", "message"),
    [
        ("tempoo<100", "'tempoo' is no quantity; known are tempo"),
        ("tempo<fast", "stands a number"),
        ("tempo<", "stands a number"),
        ("<100", "is no quantity"),
        ("tempo<1<2", "is no comparison"),
    ],
)
def test_what_is_no_query_is_refused(query: str, message: str) -> None:
    """With what may stand there."""
    with pytest.raises(ValueError, match=message):
        parse_query([query])


def test_every_quantity_can_be_asked_for(shelf: Library) -> None:
    """Each gives a number for each lick, and has a meaning."""
    for quantity in QUANTITIES.values():
        assert quantity.meaning
        assert all(quantity.of(entry) >= 0 for entry in shelf.entries)


@pytest.mark.parametrize("name", QUANTITIES)
def test_every_quantity_finds_something_that_ships(name: str) -> None:
    """A kind of lick that is missing here would be missing in the library."""
    assert search(open_library(REFERENCES), parse_query([name]))


def test_what_cannot_be_read_is_told_and_the_rest_is_found(tmp_path: Path) -> None:
    """A broken sheet, a text, a hidden file, and one lick."""
    (tmp_path / "good.lick").write_text(sheet("5", "7", "5", "7"))
    (tmp_path / "broken.lick").write_text("title: no tempo\n")
    (tmp_path / "words.txt").write_text("not looked at")
    (tmp_path / ".hidden.lick").write_text("not looked at")
    found = open_library(tmp_path)
    assert names(found.entries) == {"good"}
    assert [Path(problem.path).name for problem in found.unread] == ["broken.lick"]


@pytest.mark.parametrize("name", ["nowhere", "file.lick"])
def test_a_folder_that_is_none(tmp_path: Path, name: str) -> None:
    """Neither there nor a file."""
    (tmp_path / "file.lick").write_text("x")
    with pytest.raises(LickError, match="no such folder"):
        open_library(tmp_path / name)


def test_the_licks_that_ship_are_found() -> None:
    """In a clone they lie at the top; each says what it trains."""
    library = open_library(shipped_folder())
    assert len(library.entries) >= 12
    assert library.unread == ()
    assert all(entry.lick.trains for entry in library.entries)


def test_the_licks_that_ship_are_installed() -> None:
    """The build takes them into the package, where `shipped_folder` looks first."""
    text = (REFERENCES.parent / "pyproject.toml").read_text(encoding="utf-8")
    assert '"assessor.references" = "references"' in text
    assert '"assessor.references" = ["*.lick"]' in text
    assert '    "assessor.references",' in text
