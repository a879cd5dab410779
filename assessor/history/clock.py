"""Moments: UTC inside, the player's own clock outside.

A *zone* of None is that of the machine, with its history of summer time.
"""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta, tzinfo

# Before this no take was recorded with this program: a clock that was never set
EARLIEST = datetime(2000, 1, 1, tzinfo=UTC)
SLACK = timedelta(minutes=2)  # clocks of two machines may differ by this much


def local(moment: datetime, zone: tzinfo | None = None) -> datetime:
    """Moment on the player's clock."""
    return moment.astimezone(zone)


def local_day(moment: datetime, zone: tzinfo | None = None) -> date:
    """Calendar day of a moment where the player is."""
    return moment.astimezone(zone).date()


def day_start(day: date, zone: tzinfo | None = None) -> datetime:
    """Moment a calendar day begins, UTC; a day has 23 to 25 hours.

    >>> from zoneinfo import ZoneInfo
    >>> berlin = ZoneInfo("Europe/Berlin")
    >>> change = date(2026, 10, 25)  # summer time ends
    >>> day_start(change + timedelta(days=1), berlin) - day_start(change, berlin)
    datetime.timedelta(days=1, seconds=3600)
    """
    return _as_utc(datetime.combine(day, time()), zone)


def parse(text: str, now: datetime, zone: tzinfo | None = None) -> tuple[datetime, str]:
    """Read a moment as the player writes it.

    Parameters
    ----------
    text : str
        ``2026-11-25 18:30``, ``2026-11-25`` (its beginning), ``18:30`` (today), or
        with an offset from UTC such as ``2026-11-25T18:30+01:00``.
    now : datetime

    Returns
    -------
    moment : datetime
        UTC.
    notice : str
        Words where the clock was changed then, so that the time came twice or not
        at all; else empty.

    Raises
    ------
    ValueError
        When it is none of these; the message says what is allowed.

    Examples
    --------
    >>> now = datetime(2026, 11, 25, tzinfo=UTC)
    >>> parse("2026-11-25 18:30", now, UTC)[0].isoformat()
    '2026-11-25T18:30:00+00:00'
    """
    try:
        if len(text) <= 5 and ":" in text:
            written = datetime.combine(local_day(now, zone), time.fromisoformat(text))
        else:
            written = datetime.fromisoformat(text)
    except ValueError as problem:
        message = f"{text!r} is no time; write 2026-11-25 18:30, 2026-11-25 or 18:30"
        raise ValueError(message) from problem
    if written.tzinfo is not None:
        return written.astimezone(UTC), ""
    return _as_utc(written, zone), _changed_then(written, zone)


def _as_utc(written: datetime, zone: tzinfo | None) -> datetime:
    if zone is None:
        # not `astimezone`: in the hour that spring leaves out it goes an hour back
        return datetime.fromtimestamp(written.timestamp(), UTC)
    return written.replace(tzinfo=zone).astimezone(UTC)


def _changed_then(written: datetime, zone: tzinfo | None) -> str:
    """Words when a local time is not one moment."""
    first = _as_utc(written.replace(fold=0), zone)
    second = _as_utc(written.replace(fold=1), zone)
    if first == second:
        return ""
    shown = f"{written:%Y-%m-%d %H:%M}"
    if local(first, zone).replace(tzinfo=None) != written:
        return f"{shown} did not exist: the clock was put forward then; read as later."
    return f"{shown} came twice: the clock was put back then; read as the first."


def recorded_at(
    modified: datetime, duration_s: float, now: datetime
) -> tuple[datetime, str]:
    """When a take began, by its file's date of change, and words if that is wrong.

    A recorder writes the file's date when it stops.  A date in the future or before
    2000 is a clock that was not set: then the take counts as recorded just now.

    >>> now = datetime(2026, 11, 25, 12, tzinfo=UTC)
    >>> recorded_at(datetime(1980, 1, 1, tzinfo=UTC), 30.0, now)[1][:44]
    'The file is dated 1980-01-01, so some clock '
    """
    began = modified - timedelta(seconds=duration_s)
    if EARLIEST <= modified <= now + SLACK:
        return began, ""
    return now - timedelta(seconds=duration_s), (
        f"The file is dated {modified:%Y-%m-%d}, so some clock was set wrong; kept as "
        "recorded now (say when with --at)."
    )


def went_back(latest: datetime | None, now: datetime) -> str:
    """Words when something was kept later than it is now; else empty."""
    if latest is None or latest <= now + SLACK:
        return ""
    return (
        f"This machine's clock says {now:%Y-%m-%d %H:%M} UTC, but a take was kept at "
        f"{latest:%Y-%m-%d %H:%M} UTC: one of the two is wrong; set the clock, and "
        "times given with --at are right all the same."
    )
