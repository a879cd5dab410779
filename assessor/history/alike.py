"""Which takes of a lick may stand in one row with the newest."""

from __future__ import annotations

from collections.abc import Sequence

from assessor.history.takes import Take


class Alike:
    """Takes as the newest: same version, and where asked tolerance, click or none.

    Parameters
    ----------
    takes : sequence of Take
        All of a lick, the newest last.
    """

    def __init__(self, takes: Sequence[Take]) -> None:
        kinds = {kind(take) for take in takes}
        self.version, self.tolerance, self.to_click = kind(takes[-1])
        self.all = len(kinds) == 1

    def among(
        self, takes: list[Take], *, by_tolerance: bool = False, by_click: bool = False
    ) -> tuple[list[Take], bool]:
        """Those of some takes that are, or all and False when none is."""
        if self.all:
            return takes, True
        same = []
        for take in takes:
            version, tolerance, to_click = kind(take)
            ok = version == self.version
            ok &= not by_tolerance or tolerance == self.tolerance
            if ok and (not by_click or to_click == self.to_click):
                same.append(take)
        return same or takes, bool(same)


def kind(take: Take) -> tuple[str, str, bool]:
    """Version, tolerance, and whether it was played to a click."""
    return take.tool_version, take.summary.tolerance, take.summary.to_click
