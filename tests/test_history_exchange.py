"""Export, import and forgetting, the same on both databases."""

from __future__ import annotations

import json
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import pytest
import stores
from sqlalchemy import text

from assessor.errors import HistoryError
from assessor.history import migrate
from assessor.history.exchange import export_lines, import_lines
from assessor.history.forget import Forgotten, forget
from assessor.history.models import CalibrationRow, Device, Player, SessionRow
from assessor.history.store import Store, open_store
from assessor.history.takes import Selection, licks_of, named, takes_of

OTHER = {"sqlite": "postgresql", "postgresql": "sqlite"}
HEAD_LINE = '{"format":"assessor-history","version":1}'


@pytest.fixture(params=stores.BOTH)
def store(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Store]:
    """An empty store on each database."""
    with stores.new_store(request.param, tmp_path) as opened:
        yield opened


def fill(store: Store) -> None:
    """Some of everything, of two players."""
    for number in range(3):
        stores.put(store, number, player="Ada", days_ago=number, device="phone")
    stores.put(store, 9, player="Bea", days_ago=1)
    with store.writing() as session:
        ada = named(session, Player, "Ada")
        began = stores.NOW - timedelta(days=1)
        row = SessionRow(player_id=ada.id, started_at=began, what="scales", felt="ok")
        session.add(row)
        phone = named(session, Device, "phone")
        session.add(
            CalibrationRow(
                device_id=phone.id, measured_at=began, meter_dba=88, a_level_dbfs=-30
            )
        )


def names(store: Store) -> set[str]:
    """Players there are."""
    with store.engine.connect() as connection:
        return set(connection.scalars(text("SELECT name FROM player")))


def test_there_and_back_on_the_other_database(store: Store, tmp_path: Path) -> None:
    """What is exported, imported elsewhere and exported again is the same."""
    fill(store)
    lines = list(export_lines(store))
    kind = OTHER[store.engine.dialect.name]
    with stores.new_store(kind, tmp_path / "other") as other:
        counts = import_lines(other, lines)
        assert list(export_lines(other)) == lines
        assert counts == {
            "player": 2,
            "device": 1,
            "lick": 1,
            "calibration": 1,
            "session": 1,
            "take": 4,
        }
        assert set(import_lines(other, lines).values()) == {0}
        assert list(export_lines(other)) == lines


def test_copies_are_no_part_of_an_export(store: Store) -> None:
    """Else forgetting an imported take could delete any file of this machine."""
    stores.put(store, 1, copy="somewhere.wav")
    (take,) = [line for line in export_lines(store) if '"kind":"take"' in line]
    assert "somewhere.wav" not in take


GOOD_TAKE = {"kind": "take", "player": "", "lick": "00", "device": None}


@pytest.mark.parametrize(
    ("lines", "words"),
    [
        ([], "empty"),
        (["nonsense"], "line 1"),
        (['{"format":"recipes","version":1}'], "'recipes'"),
        (['{"format":"assessor-history","version":2}'], "newest known is 1"),
        ([HEAD_LINE, "[]"], "line 2"),
        ([HEAD_LINE, '{"kind":"player"}'], "line 2"),
        ([HEAD_LINE, '{"kind":"recipe"}'], "'recipe'"),
        (
            [
                HEAD_LINE,
                '{"kind":"player","name":"Ada","child":false}',
                json.dumps(GOOD_TAKE | {"result": stores.result()}),
            ],
            "line 3.*no line before",
        ),
        (
            [
                HEAD_LINE,
                '{"kind":"session","player":"Ada","started_at":"2026-11-25T18:00:00",'
                '"ended_at":null,"what":"","felt":"","strain":null,"level_dba":null}',
            ],
            "no offset from UTC",
        ),
    ],
)
def test_bad_lines(store: Store, lines: list[str], words: str) -> None:
    """The line is named, and nothing of the file is in the store."""
    with pytest.raises(HistoryError, match=words):
        import_lines(store, lines)
    assert names(store) == set()


def test_forget_a_player(store: Store) -> None:
    """Takes, practice and the name; another player's stay, and so does the lick."""
    fill(store)
    assert forget(store, Selection(player="Ada")) == Forgotten(3, 1, 0, 0)
    assert [take.player for take in takes_of(store)] == ["Bea"]
    assert names(store) == {"Bea"}
    assert len(licks_of(store)) == 1


def test_forget_a_take(store: Store) -> None:
    """One take; practice stays, the lick goes with its last take."""
    fill(store)
    first = takes_of(store)[0]
    assert forget(store, Selection(take_id=first.take_id)) == Forgotten(1, 0, 0, 0)
    assert first.take_id not in {take.take_id for take in takes_of(store)}
    forget(store, Selection(lick=first.lick))
    assert (takes_of(store), licks_of(store)) == ([], [])
    assert names(store) == {"Ada"}  # whose practice is still there


def test_forget_a_time(store: Store) -> None:
    """From the first moment on, before the last."""
    fill(store)
    span = Selection(
        since=stores.NOW - timedelta(days=1), until=stores.NOW - timedelta(hours=1)
    )
    assert forget(store, span) == Forgotten(2, 1, 0, 0)
    assert len(takes_of(store)) == 2


def test_no_results_stay_behind(store: Store) -> None:
    """Their rows go with their takes."""
    fill(store)
    forget(store, Selection())
    with store.engine.connect() as connection:
        for table in ("result", "take", "lick", "player", "session"):
            count = connection.scalar(text(f"SELECT count(*) FROM {table}"))
            assert count == 0, table


def test_forgotten_words_are_not_in_the_file(tmp_path: Path) -> None:
    """Neither in the database nor in its log, while other takes are."""
    file = tmp_path / "history.db"
    with stores.new_store("sqlite", tmp_path) as store:
        for number in range(8):
            player = ("Zebedee the Third", "Somebody Else")[number % 2]
            stores.put(store, number, player=player)
        before = b"".join(one.read_bytes() for one in tmp_path.iterdir())
        forget(store, Selection(player="Zebedee the Third"))
        after = b"".join(one.read_bytes() for one in tmp_path.iterdir())
    assert b"Zebedee" in before
    assert b"Zebedee" not in after
    assert b"Somebody Else" in after
    assert f"{0:064x}".encode() not in after
    assert file.exists()


def test_copies_go_with_their_last_take(tmp_path: Path) -> None:
    """A copy that another take shares stays."""
    copy = tmp_path / "copy.wav"
    copy.write_bytes(b"sound")
    with stores.new_store("sqlite", tmp_path) as store:
        stores.put(store, 1, player="Ada", copy=str(copy))
        stores.put(store, 1, player="Bea", copy=str(copy))
        assert forget(store, Selection(player="Ada")).copies == 0
        assert copy.exists()
        assert forget(store, Selection(player="Bea")).copies == 1
        assert not copy.exists()


@pytest.mark.parametrize("kind", stores.BOTH)
def test_backups_are_cleaned_on_request(kind: str, tmp_path: Path) -> None:
    """A backup of the first schema loses the player's takes, and nothing else."""
    with stores.place(kind, tmp_path) as where:
        with open_store(where) as store:
            stores.put(store, 1, player="Zebedee")
            stores.put(store, 2, player="Bea")
            with store.engine.begin() as connection:
                for statement in stores.BACK_TO_0001:
                    connection.execute(text(statement))
        with open_store(where) as store:
            (backup,) = migrate.backups_of(store.engine, store.place)
            assert forget(store, Selection(player="Zebedee")).backups == 0
            assert in_backup(store, backup) == {"Zebedee", "Bea"}
            again = forget(store, Selection(player="Zebedee"), backups=True)
            assert again == Forgotten(0, 0, 0, 1)
            assert in_backup(store, backup) == {"Bea"}
    if kind == "sqlite":
        left = b"".join(one.read_bytes() for one in tmp_path.iterdir())
        assert b"Zebedee" not in left
        assert [one.suffix for one in tmp_path.iterdir()].count(".backup") == 1


def in_backup(store: Store, backup: str) -> set[str]:
    """Players in a backup."""
    with store.engine.connect() as connection:
        if store.place.file is None:
            query = f"SELECT name FROM {backup}.player"
            return set(connection.scalars(text(query)))
        raw = connection.connection.driver_connection
        assert raw is not None
        raw.execute("ATTACH DATABASE ? AS backup", (backup,))
        found = {row[0] for row in raw.execute("SELECT name FROM backup.player")}
        raw.execute("DETACH DATABASE backup")
        return found
