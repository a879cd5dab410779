"""Numbers of things as they are said: one note, two notes, notes 1 to 4."""

from __future__ import annotations


def plural(count: int, name: str) -> str:
    """Count with its noun.

    >>> plural(1, "note"), plural(0, "note")
    ('1 note', '0 notes')
    """
    return f"{count} {name}{'' if count == 1 else 's'}"


def span(name: str, first: int, last: int) -> str:
    """Noun with the first and the last of its kind.

    >>> span("fret", 5, 5), span("fret", 5, 8)
    ('fret 5', 'frets 5 to 8')
    """
    return f"{name} {first}" if first == last else f"{name}s {first} to {last}"
