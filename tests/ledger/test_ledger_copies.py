"""Backups while others write, and stores made of them."""

from __future__ import annotations

import sqlite3
from contextlib import closing, suppress
from hashlib import sha256

import pytest
from appender import appender
from ledger_example import RECORDED, assert_equal, example, numbered

from aging.cli import app
from aging.errors import CallError, LedgerError
from aging.ledger import open_ledger, restore


@pytest.fixture(params=["sqlite", "postgresql"])
def other_url(request, tmp_path):
    """A second store that does not exist yet, of either kind."""
    if request.param == "sqlite":
        return str(tmp_path / "restored.sqlite")
    return request.getfixturevalue("postgres_url")


def fill(ledger):
    ledger.append(example(), by="Ada", source="a folder")
    first = example().readings["reading_id"][0]
    ledger.correct(first, 0.81, by="Ben", reason="typo")


def test_a_backup_is_an_equal_store_with_the_same_chain(ledger_url, tmp_path):
    file = tmp_path / "copy.sqlite"
    with open_ledger(ledger_url, create=True) as ledger:
        fill(ledger)
        verdict = ledger.backup(file)
        assert verdict == ledger.verify()
        with open_ledger(file) as copy:
            assert copy.verify() == verdict
            assert_equal(copy.read(), ledger.read())
            assert_equal(copy.read(as_of_revision=1), example(), but=RECORDED)
    assert [each.name for each in tmp_path.glob("*copy*")] == [file.name]


def test_a_backup_restores_into_either_kind_and_goes_on(tmp_path, other_url):
    file = tmp_path / "copy.sqlite"
    with open_ledger(tmp_path / "aging.sqlite", create=True) as ledger:
        fill(ledger)
        verdict = ledger.backup(file)
        before = file.read_bytes()
        assert restore(file, other_url) == verdict
        assert file.read_bytes() == before
        with open_ledger(other_url) as restored:
            assert_equal(restored.read(), ledger.read())
            assert restored.verify() == verdict
            restored.append(numbered(1, 3), by="Ada", source="goes on")
            assert restored.verify().whole
            assert restored.verify().digests[2] == verdict.head


def test_a_server_s_store_comes_back_by_its_backup(postgres_url, tmp_path):
    with open_ledger(postgres_url, create=True) as ledger:
        fill(ledger)
        verdict = ledger.backup(tmp_path / "copy.sqlite")
    assert restore(tmp_path / "copy.sqlite", tmp_path / "aging.sqlite") == verdict


def test_only_an_empty_store_is_restored_into(tmp_path, other_url):
    file = tmp_path / "copy.sqlite"
    with open_ledger(tmp_path / "aging.sqlite", create=True) as ledger:
        fill(ledger)
        ledger.backup(file)
    with open_ledger(other_url, create=True) as other:
        other.append(numbered(1, 2), by="Ada", source="earlier")
        with pytest.raises(LedgerError, match="holds batches already"):
            restore(file, other_url)
        assert list(other.read().readings["reading_id"]) == ["r1", "r2"]


def test_an_altered_backup_is_named_and_not_restored(tmp_path):
    file, other = tmp_path / "copy.sqlite", tmp_path / "other.sqlite"
    with open_ledger(tmp_path / "aging.sqlite", create=True) as ledger:
        fill(ledger)
        ledger.backup(file)
    with closing(sqlite3.connect(file)) as conn:
        conn.executescript(
            "DROP TRIGGER readings_append_only_update; UPDATE readings SET value = 0.9 WHERE id = 2"
        )
    with pytest.raises(LedgerError, match=r"was altered \(batch 1, readings"):
        restore(file, other)
    assert not other.exists()


def test_what_is_there_is_not_written_over(tmp_path):
    file = tmp_path / "copy.sqlite"
    with open_ledger(tmp_path / "aging.sqlite", create=True) as ledger:
        ledger.backup(file)
        with pytest.raises(CallError, match=r"copy\.sqlite exists"):
            ledger.backup(file)
        with pytest.raises(LedgerError, match="cannot be written"):
            ledger.backup(tmp_path / "nowhere" / "copy.sqlite")


def test_photos_go_along_and_an_altered_one_is_named(tmp_path, postgres_url, monkeypatch):
    picture = b"white, a little grey"
    name = f"{sha256(picture).hexdigest()}.jpg"
    kept, copied, served = (
        tmp_path / folder / name[:2] / name
        for folder in ("aging.sqlite.photos", "copy.sqlite.photos", "served")
    )
    kept.parent.mkdir(parents=True)
    kept.write_bytes(picture)
    kept.with_name(".half-written").touch()
    file = tmp_path / "copy.sqlite"
    with open_ledger(tmp_path / "aging.sqlite", create=True) as ledger:
        ledger.append(numbered(1, 3), by="Ada", source="a folder")
        assert ledger.backup(file).whole
    assert copied.read_bytes() == picture
    assert [each.name for each in copied.parent.iterdir()] == [name]
    with pytest.raises(LedgerError, match="set AGING_PHOTOS"):
        restore(file, postgres_url)
    monkeypatch.setenv("AGING_PHOTOS", str(tmp_path / "served"))
    assert restore(file, postgres_url).whole
    assert served.read_bytes() == picture
    copied.write_bytes(b"white")
    assert restore(file, tmp_path / "new.sqlite").altered_photos == (name[:-4],)
    assert app(["restore", str(file), str(tmp_path / "newer.sqlite")]) == 1


def test_backups_while_others_write_hold_whole_batches(ledger_url, tmp_path):
    size, loads = 300, [(300 * load, 300) for load in range(12)]
    with open_ledger(ledger_url, create=True) as ledger, appender(ledger_url, *loads) as (_, pipe):
        pipe.send("go")
        held = []
        for number in range(4):
            with suppress(EOFError):
                while not isinstance(pipe.recv(), int):
                    pass
            ledger.backup(tmp_path / f"{number}.sqlite")
            with open_ledger(tmp_path / f"{number}.sqlite") as copy:
                assert copy.verify().whole
                held.append(copy.revision)
                assert len(copy.read().readings) == size * copy.revision
    assert held == sorted(held)
    assert 1 <= held[0] < held[-1]


def test_the_commands_back_up_verify_and_restore(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    with open_ledger("aging.sqlite", create=True) as ledger:
        fill(ledger)
        head = ledger.verify().head
    assert app(["backup", "aging.sqlite", "copy.sqlite"]) == 0
    assert app(["verify", "copy.sqlite", "--expect", head, "--json", "-"]) == 0
    assert app(["restore", "copy.sqlite", "new.sqlite"]) == 0
    assert capsys.readouterr().out.count(head) == 3
    assert app(["restore", "copy.sqlite", "new.sqlite"]) == 2
    assert app(["backup", "aging.sqlite", "copy.sqlite"]) == 2
    assert "exists" in capsys.readouterr().err
