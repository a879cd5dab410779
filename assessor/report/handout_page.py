"""A hand-out as one self-contained HTML page: words, tab, and each lick's sound.

Nothing is loaded from anywhere, and the policy of the report's page holds here too: the
page's own script and style by their hashes, sound in data addresses, nothing else.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from assessor.figures.picture import COLOURS, SHAPES
from assessor.figures.playable import playable_tab
from assessor.figures.take import LAYOUTS
from assessor.lick.notation import Lick
from assessor.report.document import shipped, source_hash, template
from assessor.report.handout import Handout, NumberedLick, Words, markdown
from assessor.report.result import tool_version
from assessor.report.sound import practice_clip
from assessor.tuning import STANDARD

if TYPE_CHECKING:
    from markdown_it import MarkdownIt

# Drawn this wide and shown larger, so that a fret number is as tall as the words.
LARGER = 0.8
SPEEDS_PERCENT = (40, 50, 60, 70, 80, 90, 100)


@dataclass(frozen=True)
class PageLick:
    """A lick as the page shows it.

    Attributes
    ----------
    number, level : int
    heading, trains : str
    facts : tuple of str
    layouts : dict of str to str
        The same tab as SVG for each width of window.
    address, line : str
        Its sound, and when each note starts in it and the last one ends; may be empty.
    speeds : tuple of (str, str)
        Share of the tempo, and how that is named.
    """

    number: int
    level: int
    heading: str
    trains: str
    facts: tuple[str, ...]
    layouts: dict[str, str]
    address: str
    line: str
    speeds: tuple[tuple[str, str], ...]


def page(handout: Handout, *, staff: bool = False, sound: bool = True) -> str:
    """Hand-out as an HTML document.

    Parameters
    ----------
    handout : Handout
    staff : bool
        With the five-line staff over the tab.
    sound : bool
        Whether the licks can be heard.

    Raises
    ------
    ModuleNotFoundError
        When a staff is asked for and verovio is not installed.
    """
    style = COLOURS + SHAPES + shipped("page.css") + shipped("handout.css")
    script = shipped("handout.js")
    reader = _reader()
    return template("handout.html").render(
        title=handout.title,
        titled=handout.titled,
        parts=[
            _page_lick(part, staff=staff, sound=sound)
            if isinstance(part, NumberedLick)
            else _words(part, reader)
            for part in handout.parts
        ],
        sound=sound,
        style=style,
        style_hash=source_hash(style),
        script=script,
        script_hash=source_hash(script),
        tool_version=tool_version(),
    )


def _reader() -> MarkdownIt:
    """Markdown whose wide blocks can be scrolled, by keys too."""
    reader = markdown()
    scrolled = '<div class="scroll" tabindex="0" role="region" aria-label="{}">\n'

    def table_open(*_: Any) -> str:
        return scrolled.format("table") + "<table>\n"

    def table_close(*_: Any) -> str:
        return "</table></div>\n"

    def code(self: Any, tokens: Any, at: int, *_: Any) -> str:
        from markdown_it.common.utils import escapeHtml

        text = escapeHtml(tokens[at].content)
        return scrolled.format("text") + f"<pre>{text}</pre></div>\n"

    reader.add_render_rule("table_open", table_open)
    reader.add_render_rule("table_close", table_close)
    for kind in ("fence", "code_block"):
        reader.add_render_rule(kind, code)
    return reader


def _words(part: Words, reader: MarkdownIt) -> str:
    """Words as HTML."""
    tokens = [
        # an alignment would be written as a style, which the policy forbids
        replace(token, attrs={"class": str(token.attrs["style"]).partition(":")[2]})
        if "style" in token.attrs
        else token
        for token in part.tokens
    ]
    return str(reader.renderer.render(tokens, reader.options, {}))


def _page_lick(part: NumberedLick, *, staff: bool, sound: bool) -> PageLick:
    """Draw and play a lick."""
    lick = part.lick
    clip = practice_clip(lick, part.over_midi) if sound else None
    return PageLick(
        number=part.number,
        level=part.level,
        heading=part.heading,
        trains=lick.trains,
        facts=tuple(_facts(lick)),
        layouts={
            name: playable_tab(
                lick, LARGER * width, name=f"Tab of {part.heading}", staff=staff
            )
            for name, width in LAYOUTS.items()
        },
        address=clip.address if clip else "",
        line=" ".join(f"{time_s:.3f}" for time_s in clip.line_s) if clip else "",
        speeds=tuple(
            (f"{percent / 100:g}", _speed(lick.tempo_bpm, percent))
            for percent in SPEEDS_PERCENT
        ),
    )


def _facts(lick: Lick) -> list[str]:
    """How it is to be played, in short."""
    facts = [f"{lick.tempo_bpm:g} bpm", str(lick.meter)]
    if lick.swing is not None:
        facts.append(f"swing {lick.swing:g}:1")
    standard = lick.tuning == STANDARD
    facts.append("standard tuning" if standard else f"tuning {lick.tuning}")
    if lick.capo:
        facts.append(f"capo {lick.capo}")
    return facts


def _speed(tempo_bpm: float, percent: int) -> str:
    """Tempo at a share of the speed."""
    return f"{tempo_bpm * percent / 100:.0f} bpm ({percent} %)"
