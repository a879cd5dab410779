"""Takes and practice over weeks: the only SQL of the program.

`open_store` opens the store, `keep` puts a take into it; `takes_of` reads them back.
What they say over time is computed in `progress` and `plan`, from records alone.
"""

from __future__ import annotations
