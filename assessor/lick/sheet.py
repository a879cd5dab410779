"""The lick sheet: our plain-text format for licks, as a guitarist types tab.

`docs/lick-sheet.md` is the grammar.
"""

from __future__ import annotations

from assessor.lick.sheet_layout import System
from assessor.lick.sheet_writing import tab_systems, write

__all__ = ["System", "tab_systems", "write"]
