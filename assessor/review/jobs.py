"""One take to be assessed: all a worker needs, and what comes back from it."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass, field

from assessor.assessment import Settings
from assessor.lick.notation import Lick
from assessor.review.corrections import Correction
from assessor.review.finding import Finding


@dataclass(frozen=True)
class Job:
    """One take to be assessed.

    Attributes
    ----------
    take_id : str
        16 hex digits, the same for the same player, recording and lick.
    address : str
        Path, or URL.
    shown_name : str
        What stands in reports in the place of the file's name.
    lick : Lick
        As written.
    settings : Settings
    corrections : tuple of Correction
        What the teacher says of this take; those that hold.
    report, sound : bool
        Whether the take's own report is drawn, and whether it can be heard.
    program : str
        Version.
    """

    take_id: str
    address: str
    shown_name: str
    lick: Lick
    settings: Settings
    corrections: tuple[Correction, ...] = ()
    report: bool = True
    sound: bool = True
    program: str = ""

    @property
    def key(self) -> str:
        """Digest of everything the outcome depends on, but the recording.

        That is in `take_id`.  What has this key already needs not be assessed again.
        """
        settings = self.settings
        content = [
            self.take_id,
            self.shown_name,
            repr(self.lick),
            settings.tempo_bpm,
            settings.click and asdict(settings.click),
            {name: asdict(rule) for name, rule in settings.tolerance.rules.items()},
            str(settings.tracker),
            [asdict(correction) for correction in self.corrections],
            self.report,
            self.sound,
            self.program,
        ]
        text = json.dumps(content, sort_keys=True, default=str)
        return hashlib.sha256(text.encode()).hexdigest()


@dataclass(frozen=True)
class Outcome:
    """What became of a job.

    Attributes
    ----------
    take_id : str
    found : Finding or None
        What the tool found; None when the take could not be assessed.
    shown : Finding or None
        The same with the teacher's corrections.
    reason : str
        Why it could not be assessed, without any name or path; else empty.
    unfit : int
        Corrections that speak of nothing that is in the take.
    cpu_s : float
        Of the worker.
    files : mapping of str to bytes
        To be kept beside it, by name.
    lost : bool
        The program that listened to it did not live to say what it found; the next run
        tries again.
    """

    take_id: str
    found: Finding | None
    shown: Finding | None
    reason: str = ""
    unfit: int = 0
    cpu_s: float = field(default=0.0, compare=False)
    files: Mapping[str, bytes] = field(default_factory=dict)
    lost: bool = False

    @classmethod
    def refused(cls, job: Job, reason: str) -> Outcome:
        """A row with a reason."""
        return cls(job.take_id, None, None, reason)

    @classmethod
    def given_up(cls, job: Job, reason: str) -> Outcome:
        """A row with a reason that may be another one next time."""
        return cls(job.take_id, None, None, reason, lost=True)


Work = Callable[[Job], Outcome]


def take_id_of(pseudonym: str, digest: str, lick: str, nth: int = 0) -> str:
    """Name of a take that says nothing of its player.

    Parameters
    ----------
    pseudonym : str
    digest : str
        Of the recording.
    lick : str
        Its digest.
    nth : int
        Of the licks with this digest, where one is asked for at several tempi.
    """
    text = json.dumps([pseudonym, digest, lick, nth])
    return hashlib.sha256(text.encode()).hexdigest()[:16]
