"""A hand-out as a PDF for paper, set by typst.

The words reach typst as data (JSON), never as its source: nothing in them can be taken
for an instruction.  Each lick is its heading and its systems of tab, whole on a page
where it fits.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Any

from assessor.figures import PAPERS, facts, strips, typeset
from assessor.figures.page import MARGIN_PT
from assessor.report.document import shipped
from assessor.report.handout import Handout, NumberedLick, Words

if TYPE_CHECKING:
    from markdown_it.tree import SyntaxTreeNode

# Blocks and inline signs that hold others, by their name in Markdown and on paper.
_HOLDERS = {
    "blockquote": "quote", "bullet_list": "bullets", "ordered_list": "numbers",
    "list_item": "item", "em": "emphasis", "strong": "strong", "s": "struck",
    "paragraph": "paragraph", "heading": "heading", "link": "link",
    "thead": "rows", "tbody": "rows", "tr": "row", "th": "cell", "td": "cell",
    "table": "table",
}  # fmt: skip
_TEXTS = {
    "text": "text", "code_inline": "code", "fence": "block", "code_block": "block"
}  # fmt: skip
_SIGNS = {"softbreak": "space", "hardbreak": "break", "hr": "rule"}

Node = dict[str, Any]


def pdf(handout: Handout, paper: str = "a4", *, staff: bool = False) -> bytes:
    """Hand-out on paper.

    Parameters
    ----------
    handout : Handout
    paper : str
        Key of `assessor.figures.PAPERS`.
    staff : bool
        With the five-line staff over the tab.

    Raises
    ------
    ModuleNotFoundError
        When typst, or for a staff verovio, is not installed.
    """
    sheet = PAPERS[paper]
    width = sheet.width - 2 * MARGIN_PT
    pictures: dict[str, bytes] = {}
    parts: list[Node] = []
    for part in handout.parts:
        if isinstance(part, Words):
            parts += _blocks(part)
            continue
        systems = strips(part.lick, width, staff=staff)
        drawn = dict(_named(part, [facts(part.lick, width), *systems]))
        parts.append(_lick(part, list(drawn)))
        pictures |= drawn
    content = {
        "title": handout.title,
        "titled": handout.titled,
        "width": sheet.width,
        "height": sheet.height,
        "margin": MARGIN_PT,
        "parts": parts,
    }
    files = {
        "main": shipped("handout.typ").encode(),
        "handout.json": json.dumps(content).encode(),
    }
    return typeset.compiled(files | pictures)


def _named(part: NumberedLick, svgs: Sequence[str]) -> Iterator[tuple[str, bytes]]:
    """Files of a lick's pictures."""
    for k, svg in enumerate(svgs):
        yield f"{part.number}-{k}.svg", svg.encode()


def _lick(part: NumberedLick, names: Sequence[str]) -> Node:
    """One lick, whose pictures are its facts and its systems."""
    return {
        "kind": "lick",
        "level": part.level,
        "label": f"lick-{part.number}",
        "heading": part.heading,
        "trains": part.lick.trains,
        "facts": names[0],
        "systems": names[1:],
    }


def _blocks(words: Words) -> list[Node]:
    """Blocks of a stretch of text."""
    from markdown_it.tree import SyntaxTreeNode

    return _nodes(SyntaxTreeNode(words.tokens).children)


def _nodes(nodes: Sequence[SyntaxTreeNode]) -> list[Node]:
    """Nodes as data; an inline node is the nodes in it."""
    out: list[Node] = []
    for node in nodes:
        if node.type == "inline":
            out += _nodes(node.children)
        elif node.type in _HOLDERS:
            out.append(_holder(node))
        elif node.type in _TEXTS:
            out.append({"kind": _TEXTS[node.type], "text": node.content})
        else:
            out.append({"kind": _SIGNS[node.type]})
    return out


def _holder(node: SyntaxTreeNode) -> Node:
    """One node that holds others, with what is special about its kind."""
    made: Node = {"kind": _HOLDERS[node.type], "parts": _nodes(node.children)}
    if node.type == "heading":
        made["level"] = int(node.tag[1:])
    elif node.type == "ordered_list":
        made["start"] = int(node.attrs.get("start", 1))
    elif node.type == "link":
        opening = node.nester_tokens
        assert opening is not None
        made["address"] = "" if opening.opening.hidden else node.attrs["href"]
    elif node.type in ("th", "td"):
        made["align"] = str(node.attrs.get("style", "")).partition(":")[2] or "left"
    return made
