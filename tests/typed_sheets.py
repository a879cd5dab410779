"""Short lick sheets for the tests, typed on one string."""

from __future__ import annotations

from assessor.lick.notation import Lick
from assessor.lick.sheet import read


def typed(
    rhythm: str, tab: str, *, header: str = "", over: str = "", under: str = ""
) -> str:
    """One system with `tab` on the B string and nothing on the others."""
    empty = "".join("|" if sign == "|" else "-" for sign in tab)
    names = [f"e|{empty}", f"B|{tab}", *(f"{name}|{empty}" for name in "GDAE")]
    rows = [f"  {rhythm}", f"  {over}", *names, f"  {under}"]
    return f"tempo: 90\n{header}\n\n" + "\n".join(row for row in rows if row.strip())


def read_typed(rhythm: str, tab: str, **rows: str) -> Lick:
    """Lick of one system on the B string."""
    return read(typed(rhythm, tab, **rows), "typed.lick")
