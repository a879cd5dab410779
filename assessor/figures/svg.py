"""SVG elements as text, every attribute and every text escaped."""

from __future__ import annotations

from xml.sax.saxutils import escape, quoteattr

Value = str | float


def element(name: str, /, *children: str, **attributes: Value) -> str:
    """One element; `children` are markup already, underscores become hyphens.

    >>> element("line", x1=0, x2=12.5, stroke_width=0.75)
    '<line x1="0" x2="12.5" stroke-width="0.75"/>'
    """
    written = "".join(
        f" {key.strip('_').replace('_', '-')}={quoteattr(_plain(value))}"
        for key, value in attributes.items()
    )
    inner = "".join(children)
    return f"<{name}{written}>{inner}</{name}>" if inner else f"<{name}{written}/>"


def _plain(value: Value) -> str:
    """Text as it is, numbers to a hundredth."""
    if isinstance(value, str):
        return value
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def words(text: str, x: float, y: float, size: float, **attributes: Value) -> str:
    """Text with its baseline at `y`.

    >>> words("<b>", 1, 2, 9)
    '<text x="1" y="2" font-size="9">&lt;b&gt;</text>'
    """
    return element("text", escape(text), x=x, y=y, font_size=size, **attributes)


def path(commands: str, *values: float, **attributes: Value) -> str:
    """Path; each ``_`` of `commands` stands for the next value.

    >>> path("M_,_ H_", 1, 2, 3.5, stroke_width=1)
    '<path d="M1,2 H3.5" stroke-width="1"/>'
    """
    pieces = commands.split("_")
    filled = [p + _plain(v) for p, v in zip(pieces[:-1], values, strict=True)]
    return element("path", d="".join(filled) + pieces[-1], **attributes)
