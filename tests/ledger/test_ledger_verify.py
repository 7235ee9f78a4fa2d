"""What the database refuses, and what the chain shows of what somebody altered all the same."""

from __future__ import annotations

import shutil
import sqlite3
from contextlib import closing
from hashlib import sha256
from pathlib import Path

import pytest
from alembic import command
from ledger_example import counts, example, only, reading, with_readings
from sqlalchemy import NullPool, create_engine, text

from aging.cli import app
from aging.errors import LedgerError
from aging.ledger import DeedRow, PersonRow, migrate, open_ledger
from aging.ledger.guards import guard, unguarded
from aging.ledger.schema import METADATA
from aging.ledger.store import connect

FIRST = "P1/2023-02-01/solar_reflectance/as_exposed"


def filled(where):
    """A store of four batches: a load, a correction, a load, a changed fact."""
    with open_ledger(where, create=True) as ledger:
        ledger.append(example(), by="Ada", source="a folder")
        ledger.correct(FIRST, 0.81, by="Ben", reason="typo")
        later = with_readings(example(), reading("P3", "2023-06-01", 0.8))
        assert counts(ledger.append(later, by="Cleo", source="a phone"))["readings"][0] == 1
        panels = example().panels
        panels["closed_on"] = "2024-01-10"
        ledger.append(only(panels=panels), by="Dan", source="an office")
        return ledger.verify()


@pytest.fixture(scope="module")
def four_batches(tmp_path_factory):
    file = tmp_path_factory.mktemp("store") / "aging.sqlite"
    filled(file)
    return file


@pytest.fixture
def path(tmp_path, four_batches):
    return Path(shutil.copy(four_batches, tmp_path))


def execute(url, *statements):
    engine = create_engine(url.replace("postgresql:", "postgresql+psycopg:"), poolclass=NullPool)
    with engine.begin() as conn:
        for statement in statements:
            conn.execute(text(statement))


def test_the_chain_of_a_sound_store_is_whole(ledger_url):
    with open_ledger(ledger_url, create=True) as ledger:
        assert (ledger.verify().whole, ledger.verify().head) == (True, "")
    verdict = filled(ledger_url)
    assert verdict.whole
    assert list(verdict.digests) == [1, 2, 3, 4]
    assert len(set(verdict.digests.values())) == 4
    assert verdict.rows == sum(len(rows) for _, rows in example().frames()) + 5


def test_the_database_refuses_to_change_or_delete_what_is_stored(ledger_url):
    filled(ledger_url)
    with open_ledger(ledger_url) as book:
        book.tell([PersonRow("2024-01-01", "Ada", "Ada", "added", "keeper")], lambda _: None)
        book.record(DeedRow("2024-01-01", "Ada", "log", "", "page"))
        before = book.verify()
    for table in METADATA.tables:
        column = METADATA.tables[table].columns[0].name
        statements = [f"UPDATE {table} SET {column} = 1", f"DELETE FROM {table}"]  # noqa: S608
        if ledger_url.startswith("postgresql"):
            statements.append(f"TRUNCATE {table} CASCADE")
        for statement in statements:
            with pytest.raises(Exception, match="never changed or deleted"):
                execute(ledger_url, statement)
    with open_ledger(ledger_url) as ledger:
        assert ledger.verify() == before


def test_a_table_that_a_migration_forgot_to_guard_is_guarded(ledger_url):
    with open_ledger(ledger_url, create=True) as ledger, ledger._store.writing() as conn:  # noqa: SLF001
        assert unguarded(conn) == ()
        conn.execute(text("CREATE TABLE visits (id INTEGER)"))
        assert unguarded(conn) == ("visits",)
        guard(conn)
        assert unguarded(conn) == ()


DROP = "DROP TRIGGER {0}_append_only_update; DROP TRIGGER {0}_append_only_delete;"
CELL = "{}: its {} rows are not as they were stored"
ROWS = "{}: {} rows, {} were stored"
CHANGED = "who, when, where from, why, the seal or the order of batches was changed"
GONE = "the batch is gone"
ALTERED = {  # what was done, and what each batch says then
    "a value": (
        "UPDATE readings SET value = 0.9 WHERE id = 2", {1: CELL.format("readings", 5)}
    ),
    "a value in its last bit": (
        "UPDATE readings SET value = 0.3 WHERE id = 1", {1: CELL.format("readings", 5)}
    ),
    "a text": (
        "UPDATE panels SET formulation = 'A8' WHERE id = 1", {1: CELL.format("panels", 3)}
    ),
    "an empty cell": (
        "UPDATE sites SET climate = '' WHERE id = 1", {1: CELL.format("sites", 2)}
    ),
    "a row number": (
        "UPDATE panels SET id = 99 WHERE id = 1", {1: CELL.format("panels", 3)}
    ),
    "a deleted row": (
        "DELETE FROM readings WHERE id = 3", {1: ROWS.format("readings", 4, 5)}
    ),
    "a sheet made empty": (
        "DELETE FROM operators", {1: ROWS.format("operators", 0, 1)}
    ),
    "a row put into an old batch": (
        "INSERT INTO events (batch, 'on', kind) VALUES (1, '2023-01-01', 'dust')",
        {1: ROWS.format("events", 4, 3)},
    ),
    "a row moved to another batch": (
        "UPDATE readings SET batch = 3 WHERE id = 6",
        {2: ROWS.format("readings", 0, 1), 3: ROWS.format("readings", 2, 1)},
    ),
    "a row replaced past the triggers": (
        "INSERT OR REPLACE INTO weather (id, batch, site, date) VALUES (1, 1, 'x', 'y')",
        {1: CELL.format("weather", 6)},
    ),
    "an author": ("UPDATE batch SET recorded_by = 'Eve' WHERE id = 2", {2: CHANGED}),
    "a moment": ("UPDATE batch SET recorded_at = '2020' WHERE id = 3", {3: CHANGED}),
    "a reason": ("UPDATE batch SET reason = NULL WHERE id = 2", {2: CHANGED}),
    "a batch taken out": (
        "PRAGMA foreign_keys = OFF; DELETE FROM batch WHERE id = 2", {2: GONE}
    ),
    "a seal taken out": (
        "DELETE FROM seal WHERE batch = 3", {3: "its seal is gone", 4: CHANGED}
    ),
    "a batch without a trace": (
        """DELETE FROM readings WHERE batch = 2; DELETE FROM seal WHERE batch = 2;
        DELETE FROM batch WHERE id = 2""",
        {2: GONE, 3: CHANGED},
    ),
    "a seal made to fit": (
        "UPDATE seal SET content = replace(content, '[5,', '[6,') WHERE batch = 1",
        {1: CHANGED},
    ),
    "rows of no batch": (
        "INSERT INTO sites (batch, site) VALUES (9, 'x')",
        {8: GONE, 9: "rows of a batch that was never stored"},
    ),
}  # fmt: skip


def alter(path, statements):
    with closing(sqlite3.connect(path)) as conn:
        conn.executescript("".join(map(DROP.format, METADATA.tables)) + statements)
        assert conn.execute("SELECT changes()").fetchone() != (0,)


@pytest.mark.parametrize("name", ALTERED)
def test_what_is_altered_is_shown_at_its_batch_alone(path, name):
    statements, places = ALTERED[name]
    alter(path, statements)
    with open_ledger(path) as ledger:
        verdict = ledger.verify()
    assert not verdict.whole
    told = {number: [b.what for b in verdict.breaks if b.batch == number] for number in places}
    assert {one.batch for one in verdict.breaks} == set(places)
    for number, words in places.items():
        assert any(what.startswith(words) for what in told[number]), told
    assert set(verdict.unguarded) == set(METADATA.tables)


def test_a_break_says_who_stored_the_batch_and_when(path):
    alter(path, "UPDATE readings SET value = 0.9 WHERE batch = 3")
    with open_ledger(path) as ledger:
        (one,) = ledger.verify().breaks
        moment = ledger.history()["recorded_at"].iloc[-1]
    assert (one.batch, one.recorded_by, one.source) == (3, "Cleo", "a phone")
    assert one.recorded_at == moment


def test_a_guard_that_was_taken_off_is_named_on_every_kind_of_store(ledger_url):
    filled(ledger_url)
    if ledger_url.startswith("sqlite"):
        execute(ledger_url, "DROP TRIGGER readings_append_only_delete")
    else:
        off = "ALTER TABLE readings DISABLE TRIGGER ALL"
        execute(ledger_url, off, "UPDATE readings SET value = 0.9 WHERE id = 2")
    with open_ledger(ledger_url) as ledger:
        verdict = ledger.verify()
    assert verdict.unguarded == ("readings",)
    altered = [] if ledger_url.startswith("sqlite") else [1]
    assert [one.batch for one in verdict.breaks] == altered


def test_batches_cut_off_are_seen_by_a_digest_noted_elsewhere(path, capsys):
    with open_ledger(path) as ledger:
        noted = ledger.verify().digests
    alter(
        path,
        "DELETE FROM panels WHERE batch = 4; DELETE FROM seal WHERE batch = 4;"
        " DELETE FROM batch WHERE id = 4;",
    )  # fmt: skip
    with open_ledger(path) as ledger, ledger._store.writing() as conn:  # noqa: SLF001
        guard(conn)
    assert app(["verify", str(path)]) == 0
    assert app(["verify", str(path), "--expect", noted[3].upper()]) == 0
    assert "is in the chain" in capsys.readouterr().out
    assert app(["verify", str(path), "--expect", noted[4]]) == 1
    assert "is not in the chain" in capsys.readouterr().out


def test_an_older_store_is_sealed_as_it_is_found(ledger_url, monkeypatch):
    upgrade = command.upgrade
    with monkeypatch.context() as earlier:
        earlier.setattr(command, "upgrade", lambda config, _: upgrade(config, "0002"))
        earlier.setattr(migrate, "guard", lambda _: None)
        migrate.bring_up_to_date(connect(ledger_url, create=True), create=True)
    batch = "INSERT INTO batch VALUES ({0}, '2024-01-0{0}', 'Ada', 'a folder', NULL)"
    row = "INSERT INTO sites (batch, site, elevation_m) VALUES ({0}, 'S{0}', 0.1)"
    execute(ledger_url, *(form.format(number) for number in (1, 2) for form in (batch, row)))
    with open_ledger(ledger_url) as ledger:
        verdict = ledger.verify()
        assert (verdict.whole, verdict.rows, list(verdict.digests)) == (True, 2, [1, 2])
        ledger.append(example(), by="Ada", source="a folder")
        assert ledger.verify().whole
        assert ledger.verify().digests[2] == verdict.head
    with pytest.raises(Exception, match="never changed or deleted"):
        execute(ledger_url, "DELETE FROM sites")


def test_a_damaged_file_is_told_as_a_store_that_cannot_be_read(path):
    cells = bytearray(path.read_bytes())
    cells[4096:] = b"\xff" * (len(cells) - 4096)
    path.write_bytes(cells)
    with pytest.raises(LedgerError, match=r"damaged|cannot be read"):
        open_ledger(path).verify()


def test_a_photo_altered_or_gone_is_named(path, capsys):
    folder, lost = path.with_name(path.name + ".photos"), example().photos["photo"][0]
    pictures = {sha256(picture).hexdigest(): picture for picture in (b"white", b"grey")}
    with open_ledger(path) as ledger:
        assert ledger.verify().whole
        folder.mkdir()
        (folder / ".half-written").touch()
        for digest, picture in pictures.items():
            (folder / f"{digest}.jpg").write_bytes(picture)
        assert ledger.verify().altered_photos == (lost,)
        bad = min(pictures)
        (folder / f"{bad}.jpg").write_bytes(b"black")
        assert ledger.verify().altered_photos == tuple(sorted([bad, lost]))
    assert app(["verify", str(path)]) == 1
    assert f"photo {bad}" in "".join(capsys.readouterr().out)


def test_the_command_says_where_it_breaks(path, capsys):
    assert app(["verify", str(path)]) == 0
    assert "as they were stored" in " ".join(capsys.readouterr().out.split())
    alter(path, "UPDATE readings SET value = 0.9 WHERE batch = 3")
    assert app(["verify", str(path)]) == 1
    words = " ".join(capsys.readouterr().out.split())
    assert "ALTERED" in words
    assert "Cleo" in words
    assert "table readings: the database no longer refuses changes" in words


DEEDS = [DeedRow(f"2024-01-0{day}", "Ada", "log", f"P{day}", "page") for day in (1, 2, 3, 4)]
PERSON = (
    "INSERT INTO people (at, \"by\", person, kind, value) VALUES ('1', 'a', 'a', 'role', 'keeper')"
)
OLD = (
    "INSERT INTO deeds (at, who, deed, \"on\", through) VALUES ('2023', 'Ada', 'log', '{}', 'page')"
)


def off(url, *statements):
    """What somebody does who may take the guards off, and put them back."""
    if url.startswith("sqlite"):
        guards = [part for table in ("deeds", "people") for part in DROP.format(table).split(";")]
    else:
        guards = [f"ALTER TABLE {table} DISABLE TRIGGER ALL" for table in ("deeds", "people")]
    execute(url, *(one for one in guards if one.strip()), *statements)


@pytest.mark.parametrize(
    ("statement", "row"),
    [
        ("UPDATE deeds SET who = 'Eve' WHERE id = 2", 2),
        ("UPDATE deeds SET digest = NULL WHERE id = 3", 3),
        ("DELETE FROM deeds WHERE id = 2", 3),
        ("DELETE FROM deeds WHERE id = 1", 2),
        ("UPDATE deeds SET \"on\" = 'P1' WHERE id = 4", 4),
    ],
)
def test_the_first_altered_deed_is_named(ledger_url, statement, row):
    with open_ledger(ledger_url, create=True) as book:
        for deed in DEEDS:
            book.record(deed)
        assert book.verify().altered_logs == ()
        assert len(set(book.verify().logs["deeds"])) == 4
    off(ledger_url, statement)
    with open_ledger(ledger_url) as book:
        (told,) = book.verify().altered_logs
        assert not book.verify().whole
    assert told.startswith(f"deeds, row {row} ('2024-01-0{row}', ")


def test_a_deed_cut_off_is_seen_by_its_digest_noted_elsewhere(tmp_path, capsys):
    store = tmp_path / "s.sqlite"
    with open_ledger(store, create=True) as book:
        for deed in DEEDS:
            book.record(deed)
        noted = book.verify().logs["deeds"][-1]
    assert app(["verify", str(store), "--expect", noted]) == 0
    assert f"digest of deeds, 4 rows: {noted}" in " ".join(capsys.readouterr().out.split())
    off(f"sqlite:///{store}", "DELETE FROM deeds WHERE id = 4")
    assert app(["verify", str(store), "--expect", noted]) == 1
    assert "is not in the chain" in capsys.readouterr().out


def test_a_role_given_past_the_program_is_named(ledger_url):
    with open_ledger(ledger_url, create=True) as book:
        book.tell([PersonRow("2024", "Ada", "Ada", "added", "reader")], lambda _: None)
    execute(ledger_url, PERSON)  # no guard stops a row that is added
    with open_ledger(ledger_url) as book:
        (told,) = book.verify().altered_logs
    assert told.startswith("people, row 2 ('1', 'a', 'a', 'role')")


def test_deeds_of_an_older_release_are_held_by_the_first_digest_after_them(ledger_url, monkeypatch):
    upgrade = command.upgrade
    with monkeypatch.context() as earlier:
        earlier.setattr(command, "upgrade", lambda config, _: upgrade(config, "0009"))
        migrate.bring_up_to_date(connect(ledger_url, create=True), create=True)
    execute(ledger_url, OLD.format("P1"), OLD.format("P2"))
    with open_ledger(ledger_url) as book:
        assert book.verify().altered_logs == ()
        for deed in DEEDS:
            book.record(deed)
        assert (book.verify().altered_logs, len(book.deeds())) == ((), 6)
    off(ledger_url, "UPDATE deeds SET \"on\" = 'P9' WHERE id = 1")
    with open_ledger(ledger_url) as book:
        (told,) = book.verify().altered_logs
    assert told.startswith("deeds, row 3 ")
