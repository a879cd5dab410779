"""What the sound says about one candidate event: nothing new, or which pitch.

`describe` measures each candidate; `log_probability` turns what was measured into one
softmax by a net that was learnt.
"""

from __future__ import annotations

from assessor.evidence.candidates import BoolArray, Candidates
from assessor.evidence.features import Features, describe
from assessor.evidence.net import Net, load_net, log_probability

__all__ = [
    "BoolArray",
    "Candidates",
    "Features",
    "Net",
    "describe",
    "load_net",
    "log_probability",
]
