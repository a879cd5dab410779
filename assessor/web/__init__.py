"""Pages served to a browser: a player's desk, a teacher's class page, a school.

`doors` decides who is let in and how much they may send; `takes` keeps what comes in
on the disk; `listening` assesses it in a process of its own, started by `workers`;
`desk` is what is seen; `review` and `school` are the teacher's.  Nothing that a browser
sends is ever used as a path.

``static/htmx.min.js`` is htmx 2.0.11 as its authors publish it, with its licence beside
it; the rest of ``static`` is ours.
"""

from __future__ import annotations
