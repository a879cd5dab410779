"""Pictures: tab as SVG, alone or on pages fit to be handed out.

`systems` draws a lick as rows of tab, each a `TabPicture` that knows where its notes
and beats stand, so that other pictures can be lined up under it; `pages` puts them on
paper; `assessor.figures.typeset` turns pages into PDF and PNG.
"""

from __future__ import annotations

from assessor.figures.page import PAPERS, facts, pages, strip, strips
from assessor.figures.tab import TabPicture, systems

__all__ = ["PAPERS", "TabPicture", "facts", "pages", "strip", "strips", "systems"]
