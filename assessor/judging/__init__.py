"""How likely a doubtful finding is true.

A pass leaves doubts: an event that no note claims may be an extra note or the pick
that lands on a string; a note that nothing matched may have been left out or only
hidden; one that was matched may have been misread.  `describe_extra`, `describe_missed`
and `describe_pitch` say what there is to be said of one such finding; `probability`
weighs it with small nets that were learnt.
"""

from __future__ import annotations

from assessor.judging.description import (
    describe_extra,
    describe_missed,
    describe_pitch,
)
from assessor.judging.net import Question, probability
from assessor.judging.scene import Scene

__all__ = [
    "Question",
    "Scene",
    "describe_extra",
    "describe_missed",
    "describe_pitch",
    "probability",
]
