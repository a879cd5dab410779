"""A lick as the store knows it: by its content."""

from __future__ import annotations

from assessor.errors import LickError
from assessor.lick import sheet
from assessor.lick.digest import digest_of
from assessor.lick.notation import Lick

__all__ = ["digest_of", "lick_of", "sheet_of"]


def sheet_of(lick: Lick) -> str | None:
    """Lick as a sheet; None when a sheet cannot hold it whole."""
    try:
        text = sheet.write(lick)
        whole = digest_of(lick_of(text)) == digest_of(lick)
    except (LickError, ValueError):
        return None
    return text if whole else None


def lick_of(text: str) -> Lick:
    """Lick from a kept sheet.

    Raises
    ------
    LickError
        When it is none.
    """
    return sheet.read(text, "kept lick")
