"""What all pages share: their templates, and the hashes their policy allows."""

from __future__ import annotations

import base64
import hashlib
from importlib import resources
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from jinja2 import Template


def template(name: str) -> Template:
    """A shipped template; what it inserts is escaped."""
    from jinja2 import Environment, PackageLoader, StrictUndefined

    environment = Environment(
        loader=PackageLoader("assessor.report"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    return environment.get_template(name)


def shipped(name: str) -> str:
    """A file shipped beside the templates."""
    folder = resources.files("assessor.report") / "templates"
    return (folder / name).read_text(encoding="utf-8")


def source_hash(text: str) -> str:
    """Source expression of an inline script or style (CSP level 3, hash-source)."""
    digest = base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()
    return f"'sha256-{digest}'"
