"""The house: who may import whom, what the checkers say, what starting up loads."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
from collections.abc import Iterator
from graphlib import TopologicalSorter
from pathlib import Path

import pytest

TOP = Path(__file__).parents[1]
PACKAGE = TOP / "assessor"

# From the ground up: a room imports from rooms on lower floors only.  A room is a
# module or a package; modules that belong to one room are named together.
FLOORS: list[list[set[str]]] = [
    [{"errors"}, {"tuning"}, {"frames"}, {"words"}, {"whole_file"}],
    # dtw and trend know no music, but take the name of an array type from tuning
    [
        {"dtw"},
        {"trend"},
        {"lick"},
        {"recording", "decoding", "sound_check"},
        {"care"},
        {"sound_level"},
        {"kernels"},
        {"latency"},
    ],
    [{"spectrum"}, {"demo"}, {"load"}],
    [{"attack"}, {"contour"}, {"capture"}],
    [{"evidence"}, {"growth"}],
    [{"onset"}, {"sounding"}],
    [{"passes"}, {"warp"}],
    [{"alignment"}],
    [{"judging"}],
    [{"second_look"}, {"pitch"}],
    [{"measures"}],
    [{"assessment"}],
    [{"history"}, {"figures"}],
    [{"review"}, {"transcription"}],
    [{"report", "weeks"}],
    [{"web"}],
    [{"cli"}],
    [{"__main__"}],
]
ROOMS = {
    name: (floor, number)
    for floor, rooms in enumerate(FLOORS)
    for number, room in enumerate(rooms)
    for name in room
}
# The package itself is empty and below everything.
MODULES = sorted(
    ".".join(path.relative_to(TOP).with_suffix("").parts).removesuffix(".__init__")
    for path in PACKAGE.rglob("*.py")
)
FORBIDDEN_NAMES = {
    "utils", "util", "helpers", "helper", "common", "core", "base", "misc", "manager",
    "data", "process", "handle",
}  # fmt: skip
# Absolute paths of some machine, and addresses of package registries.
FORBIDDEN_WORDS = (
    r"(?<![\w.])/(?:home|root|work|farm|Users)/\w",
    r"[A-Z]:\\\\?Users",
    r"pypi\.org|python[h]osted|registry\.npmjs|deb\.debian",
)
TEXT_SUFFIXES = {".py", ".md", ".toml", ".txt", ".lick", ".json", ".cfg", ".yml", ""}


def _path(module: str) -> Path:
    path = TOP.joinpath(*module.split("."))
    return path / "__init__.py" if path.is_dir() else path.with_suffix(".py")


def _imported(module: str) -> Iterator[str]:
    """Modules of the package that a module imports, anywhere in its source."""
    for node in ast.walk(ast.parse(_path(module).read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (a.name for a in node.names if a.name in MODULES)
        if isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{module}: a relative import hides its floor"
            for alias in node.names:
                inner = f"{node.module}.{alias.name}"
                if inner in MODULES:
                    yield inner
                elif node.module in MODULES:
                    yield str(node.module)


def _room(module: str) -> str:
    """``assessor.lick.sheet`` is in ``lick``."""
    return module.split(".")[1]


# --------------------------------------------------------------------- imports


def test_every_module_has_its_room() -> None:
    """A new module is given a floor here before anything else."""
    rooms = {_room(module) for module in MODULES if "." in module}
    assert rooms - set(ROOMS) == set()


def test_the_manual_shows_the_floors() -> None:
    """The table of DEVELOPERS.md has every room that is built, on its floor."""
    text = (TOP / "DEVELOPERS.md").read_text(encoding="utf-8")
    rows = re.findall(r"^\| (\d+) \| ([^|]+) \|", text, re.M)
    shown = {
        name: int(n) for n, names in rows for name in re.findall(r"`(\w+)/?`", names)
    }
    built = {_room(module) for module in MODULES if "." in module} - {"__main__"}
    assert built - set(shown) == set()
    assert {name: ROOMS[name][0] for name in shown} == shown


@pytest.mark.parametrize("module", [m for m in MODULES if "." in m])
def test_imports_go_down(module: str) -> None:
    """Never up, never to another room on the same floor, never to the package."""
    floor, number = ROOMS[_room(module)]
    for other in _imported(module):
        assert other != "assessor"
        below, other_number = ROOMS[_room(other)]
        same_room = (below, other_number) == (floor, number)
        assert below < floor or same_room, f"{module} imports {other}"


def test_the_package_itself_imports_nothing() -> None:
    """Importing one module loads no other."""
    assert list(_imported("assessor")) == []


def test_no_cycles() -> None:
    """Inside a room modules may import each other, but not in a circle."""
    graph = {module: set(_imported(module)) - {module} for module in MODULES}
    order = list(TopologicalSorter(graph).static_order())  # raises CycleError
    assert sorted(order) == MODULES


def test_names_say_what_is_inside() -> None:
    """No drawer for things that found no place."""
    assert [m for m in MODULES if FORBIDDEN_NAMES & set(m.split("."))] == []


def test_no_module_is_hidden_from_the_build() -> None:
    """Every package of the tree is installed."""
    text = (TOP / "pyproject.toml").read_text(encoding="utf-8")
    packages = {m for m in MODULES if _path(m).name == "__init__.py"}
    named = set(re.findall(r'"(assessor[\w.]*)"', text))
    assert packages - named == set()


# ---------------------------------------------------------------- the checkers


@pytest.mark.parametrize(
    "command", ["ruff format --check", "ruff check", "mypy"], ids=str
)
def test_checkers_find_nothing(command: str) -> None:
    """With the settings in pyproject.toml, from the top of the tree."""
    words = command.split() + (["."] if command.startswith("ruff") else [])
    done = subprocess.run(
        [sys.executable, "-m", *words],
        cwd=TOP,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr


def _texts() -> list[Path]:
    """Text files that belong to the project."""
    listed = subprocess.run(
        ["git", "ls-files", "-z"],
        cwd=TOP,
        capture_output=True,
        text=True,
        check=False,
    )
    if listed.returncode == 0:
        paths = [TOP / name for name in listed.stdout.split("\0") if name]
    else:  # an unpacked archive
        folders = ("assessor", "tests", "benchmarks", "docs", "references")
        paths = [p for folder in folders for p in (TOP / folder).rglob("*")]
    return [p for p in paths if p.suffix in TEXT_SUFFIXES and p.is_file()]


def test_no_place_of_some_machine_is_named() -> None:
    """Neither an absolute path nor the address of a package registry."""
    texts = _texts()
    assert PACKAGE / "dtw.py" in texts
    found = [
        f"{path.relative_to(TOP)}: {match.group()}"
        for path in texts
        for words in FORBIDDEN_WORDS
        for match in re.finditer(words, path.read_text(encoding="utf-8"))
    ]
    assert found == []


def test_what_is_forbidden_would_be_found() -> None:
    """The expressions match what they are for, and nothing usual."""
    bad = ["'/ho" + "me/someone/x'", "C:\\Us" + "ers\\me", "https://py" + "pi.org/p"]
    for text in bad:
        assert any(re.search(words, text) for words in FORBIDDEN_WORDS)
    for text in ("a/home/b", "../shared/bench", "and/or", "4/4", "/usr/bin/env"):
        assert not any(re.search(words, text) for words in FORBIDDEN_WORDS)


# ------------------------------------------------------------------- start-up


def _loaded(code: str) -> set[str]:
    """Modules that are loaded once some code has run in a new interpreter."""
    done = subprocess.run(
        [sys.executable, "-c", f"{code}\nimport sys; print(*sys.modules)"],
        cwd=TOP,
        capture_output=True,
        text=True,
        check=True,
    )
    return set(done.stdout.split())


def test_the_command_line_loads_nothing_heavy() -> None:
    """Importing it is quick: what a command needs is loaded by the command."""
    loaded = _loaded("import assessor.cli")
    assert "assessor.cli" in loaded
    heavy = {"numpy", "scipy", "librosa", "soundfile", "soxr", "lxml", "rich", "av"}
    assert loaded & heavy == set()


ASSESS = """
from assessor import lick, recording, report
from assessor.assessment import assess
assess(recording.read("recordings/clean.flac"), lick.read("{lick}"))
"""


def test_assessing_loads_no_large_library() -> None:
    """From a FLAC and a sheet to everything measured."""
    named = re.search(r"references/\S+", (TOP / "recordings/clean.txt").read_text())
    assert named is not None
    loaded = _loaded(ASSESS.format(lick=named.group()))
    assert {"assessor.assessment", "assessor.report", "scipy.fft"} <= loaded
    large = {"librosa", "matplotlib", "scipy.signal", "numba", "sklearn", "lxml"}
    assert loaded & large == set()
