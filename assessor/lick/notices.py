"""What a reader of licks had to leave out or change, and where."""

from __future__ import annotations

_MOST_PLACES = 5


class Notices:
    """What had to be left out or changed, and in which measures."""

    def __init__(self) -> None:
        self._measures: dict[str, list[str]] = {}

    def add(self, text: str, measure: str | None = None) -> None:
        """Note `text`, once, and one more measure it holds for."""
        measures = self._measures.setdefault(text, [])
        if measure is not None and measure not in measures:
            measures.append(measure)

    def lines(self) -> tuple[str, ...]:
        """Each notice with its measures.

        >>> notices = Notices()
        >>> notices.add("grace notes are left out", "2")
        >>> notices.add("grace notes are left out", "5")
        >>> notices.lines()
        ('grace notes are left out (measures 2, 5)',)
        """
        lines = []
        for text, measures in self._measures.items():
            shown = ", ".join(measures[:_MOST_PLACES])
            if len(measures) > _MOST_PLACES:
                shown += f" and {len(measures) - _MOST_PLACES} more"
            word = "measure" if len(measures) == 1 else "measures"
            lines.append(f"{text} ({word} {shown})" if measures else text)
        return tuple(lines)
