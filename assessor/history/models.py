"""The tables of the store; the same on SQLite and PostgreSQL.

Moments are UTC inside.  A take's row holds what is asked for over and over; its whole
result stands beside it, compressed, so that reading ten thousand rows stays cheap.
"""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

from sqlalchemy import (
    JSON,
    DateTime,
    Float,
    ForeignKey,
    Index,
    LargeBinary,
    MetaData,
    String,
    Text,
    UniqueConstraint,
)
from sqlalchemy.engine import Dialect
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column
from sqlalchemy.types import TypeDecorator

# Named, so that a later migration can drop them on SQLite too
NAMES = {
    "ix": "ix_%(table_name)s_%(column_0_N_name)s",
    "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "ck": "ck_%(table_name)s_%(constraint_name)s",
    "fk": "fk_%(table_name)s_%(column_0_name)s_%(referred_table_name)s",
    "pk": "pk_%(table_name)s",
}


class Utc(TypeDecorator[datetime]):
    """A moment: aware on the way in, UTC on the way out; SQLite drops the zone."""

    impl = DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(
        self, value: datetime | None, dialect: Dialect
    ) -> datetime | None:
        """Moment as UTC.

        Raises
        ------
        ValueError
            When it has no time zone.
        """
        if value is None:
            return None
        if value.tzinfo is None:
            message = f"{value} has no time zone; moments are stored as UTC"
            raise ValueError(message)
        moment = value.astimezone(UTC)
        return moment.replace(tzinfo=None) if dialect.name == "sqlite" else moment

    def process_result_value(
        self, value: datetime | None, dialect: Dialect
    ) -> datetime | None:
        """Moment with its zone, UTC."""
        if value is None:
            return None
        return value.astimezone(UTC) if value.tzinfo else value.replace(tzinfo=UTC)


class Base(DeclarativeBase):
    """What all tables share."""

    metadata = MetaData(naming_convention=NAMES)
    type_annotation_map = {  # noqa: RUF012  SQLAlchemy's own way
        datetime: Utc,
        dict[str, Any]: JSON,
        str: String,
        float: Float,
    }


class Player(Base):
    """Who plays; the unnamed player has the empty name."""

    __tablename__ = "player"
    id: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str] = mapped_column(unique=True)
    child: Mapped[bool] = mapped_column(default=False)


class Device(Base):
    """What takes are recorded with; `line` = no microphone, so no sound level."""

    __tablename__ = "device"
    id: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str] = mapped_column(unique=True)
    line: Mapped[bool] = mapped_column(default=False)


class LickRow(Base):
    """A lick by its content; title, tempo and place as last seen."""

    __tablename__ = "lick"
    id: Mapped[int] = mapped_column(primary_key=True)
    digest: Mapped[str] = mapped_column(String(64), unique=True)
    title: Mapped[str]
    tempo_bpm: Mapped[float]
    notes: Mapped[int]
    file: Mapped[str]
    sheet: Mapped[str | None] = mapped_column(Text)


class TakeRow(Base):
    """One take of one lick by one player."""

    __tablename__ = "take"
    __table_args__ = (
        UniqueConstraint("player_id", "lick_id", "digest"),
        Index(None, "lick_id", "recorded_at"),
        Index(None, "player_id", "recorded_at"),
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    player_id: Mapped[int] = mapped_column(ForeignKey("player.id"))
    lick_id: Mapped[int] = mapped_column(ForeignKey("lick.id"))
    device_id: Mapped[int | None] = mapped_column(ForeignKey("device.id"))
    digest: Mapped[str] = mapped_column(String(64))
    recorded_at: Mapped[datetime]
    kept_at: Mapped[datetime]
    duration_s: Mapped[float]
    file: Mapped[str]
    copy: Mapped[str | None]
    tool_version: Mapped[str]
    summary: Mapped[dict[str, Any]]
    a_level_dbfs: Mapped[float | None]


class ResultRow(Base):
    """The whole result of a take: JSON, zlib."""

    __tablename__ = "result"
    take_id: Mapped[int] = mapped_column(
        ForeignKey("take.id", ondelete="CASCADE"), primary_key=True
    )
    body: Mapped[bytes] = mapped_column(LargeBinary)


class CalibrationRow(Base):
    """A meter reading for a device: dBA where the ears are, less dBFS in the take."""

    __tablename__ = "calibration"
    __table_args__ = (UniqueConstraint("device_id", "measured_at"),)
    id: Mapped[int] = mapped_column(primary_key=True)
    device_id: Mapped[int] = mapped_column(ForeignKey("device.id", ondelete="CASCADE"))
    measured_at: Mapped[datetime]
    meter_dba: Mapped[float]
    a_level_dbfs: Mapped[float]


class SessionRow(Base):
    """A stretch of practice, recorded or not; open while it has no end."""

    __tablename__ = "session"
    __table_args__ = (UniqueConstraint("player_id", "started_at"),)
    id: Mapped[int] = mapped_column(primary_key=True)
    player_id: Mapped[int] = mapped_column(ForeignKey("player.id"))
    started_at: Mapped[datetime]
    ended_at: Mapped[datetime | None]
    what: Mapped[str] = mapped_column(default="")
    felt: Mapped[str] = mapped_column(default="")
    strain: Mapped[int | None]
    level_dba: Mapped[float | None]
