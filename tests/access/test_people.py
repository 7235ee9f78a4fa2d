"""Who may do what, however it is asked for; tests speak to the layer, not to a page."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest
from sqlalchemy import NullPool, create_engine, make_url, text

from aging import access
from aging.access import permissions
from aging.errors import AccessError, CallError, LedgerError
from aging.ledger import export, open_ledger, restore

CODE = "nine panels in the sun"


@pytest.fixture
def book(ledger_url, quick):  # noqa: ARG001
    with open_ledger(ledger_url, create=True) as made:
        yield made


@pytest.fixture
def team(book):
    access.add(book, "kai", ["keeper"], who=None, passcode=CODE)
    for name, role in (("tess", "technician"), ("mara", "manager"), ("rob", "reader")):
        access.add(book, name, [role], who="kai")
    return book


def did(book):
    return [(one.who, one.deed, one.on, one.through) for one in book.deeds()]


def test_a_store_without_people_is_open_and_records_nothing(book):
    with access.doing(book, None, "claim", "F1", through="command") as name:
        assert name is None
    assert book.deeds() == ()


def test_from_the_first_keeper_on_roles_decide_and_deeds_are_kept(team):
    with access.doing(team, "tess", "log", "P1", through="page") as name:
        assert name == "tess"
    with access.doing(team, "mara", "take out", "copy", through="command"):
        assert did(team)[-1] == ("mara", "take out", "copy", "command")  # before it leaves
    for who, deed in (("rob", "log"), ("tess", "claim"), ("mara", "settle"), ("kai", "claim")):
        with (
            pytest.raises(AccessError, match=f"{who} .* may not {deed}: for "),
            access.doing(team, who, deed, through="page"),
        ):
            pytest.fail("it was let in")
    for nobody in (None, "", "eve"):
        with pytest.raises(AccessError, match="sign in"):
            access.permitted(team, nobody, "see")
    assert did(team) == [("tess", "log", "P1", "page"), ("mara", "take out", "copy", "command")]


def test_a_deed_that_failed_is_not_told_as_done(team):
    with pytest.raises(LedgerError), access.doing(team, "tess", "log", through="page"):
        raise LedgerError("full")
    assert did(team) == []


def test_the_table_gives_each_role_what_its_job_needs_and_reasons_for_it():
    table = Path(permissions.__file__).with_suffix(".csv").read_text("utf-8")
    rows = list(csv.DictReader(table.splitlines()))
    assert all(row["reason"] for row in rows)
    assert {row["deed"] for row in rows if row["reader"] == "yes"} == {"see"}
    only_one = {row["deed"]: [role for role in access.ROLES if row[role] == "yes"] for row in rows}
    assert only_one["people"] == only_one["back up"] == ["keeper"]
    assert only_one["claim"] == ["manager"]


def test_a_change_of_role_holds_from_the_next_deed_on(team):
    access.change(team, "rob", who="kai", roles=["technician", "manager"])
    assert access.people(team)["rob"].roles == {"technician", "manager"}
    access.permitted(team, "rob", "claim")
    access.end(team, "rob", who="kai")
    with pytest.raises(AccessError):
        access.permitted(team, "rob", "see")


def test_the_first_is_a_keeper_and_one_stays(book):
    with pytest.raises(CallError, match="keeper"):
        access.add(book, "tess", ["technician"], who=None)
    access.add(book, "kai", ["keeper"], who=None)
    for undo in (
        lambda: access.end(book, "kai", who="kai"),
        lambda: access.change(book, "kai", who="kai", roles=["reader"]),
    ):
        with pytest.raises(CallError, match="keeper"):
            undo()


def test_only_a_keeper_changes_people_but_all_their_own_passcode(team):
    with pytest.raises(AccessError, match="may not people"):
        access.change(team, "tess", who="tess", roles=["keeper"])
    with pytest.raises(AccessError):
        access.add(team, "eve", ["keeper"], who=None)
    access.change(team, "tess", who="tess", passcode="rain on the rack")
    assert access.sign_in(team, "tess", "rain on the rack", through="command").name == "tess"
    with pytest.raises(AccessError):
        access.change(team, "tess", who="rob", passcode="mine now, it is")


def test_names_that_mislead_and_passcodes_too_short_are_refused(team):
    for name in ("KAI", "kai\n", " kai", "kai\x00", "\u202eiak", "", "x" * 81, "\uff4bai"):
        with pytest.raises(CallError, match="person"):
            access.add(team, name, ["reader"], who="kai")
    for code in ("short", "k" * 129):
        with pytest.raises(CallError, match="8 to 128"):
            access.change(team, "kai", who="kai", passcode=code)


def test_the_database_refuses_to_rewrite_people_and_deeds(team, ledger_url):
    with access.doing(team, "tess", "log", through="page"):
        pass
    engine = create_engine(make_url(ledger_url.replace("postgresql:", "postgresql+psycopg:")),
                           poolclass=NullPool)  # fmt: skip
    for table in ("people", "deeds"):
        for statement in (f"DELETE FROM {table}", f"UPDATE {table} SET \"at\" = '1999'"):  # noqa: S608
            with pytest.raises(Exception, match="never changed"), engine.begin() as conn:
                conn.execute(text(statement))


def test_passcodes_are_kept_as_digests_and_leave_only_in_a_backup(team, tmp_path):
    person = access.people(team)["kai"]
    assert person.passcode.startswith("$argon2id$")
    assert "argon2" not in repr(person)
    export(team, tmp_path / "out")
    told = b"".join(file.read_bytes() for file in (tmp_path / "out").rglob("*") if file.is_file())
    assert b"argon2" not in told
    assert b"kai" not in told
    assert "argon2" not in str(access.deeds(team))
    team.backup(tmp_path / "copy.sqlite")
    assert CODE.encode() not in (tmp_path / "copy.sqlite").read_bytes()
    with open_ledger(tmp_path / "copy.sqlite") as copy:
        assert access.sign_in(copy, "kai", CODE, through="command").name == "kai"


@pytest.mark.usefixtures("quick")
def test_a_restored_store_takes_up_its_people(tmp_path, postgres_url):
    with open_ledger(tmp_path / "first.sqlite", create=True) as first:
        access.add(first, "kai", ["keeper"], who=None)
        with access.doing(first, "kai", "back up", through="command"):
            first.backup(tmp_path / "copy.sqlite")
    restore(tmp_path / "copy.sqlite", postgres_url)
    with open_ledger(postgres_url) as back:
        access.add(back, "tess", ["technician"], who="kai")
        with access.doing(back, "tess", "log", "P1", through="page"):
            pass
        assert list(access.people(back)) == ["kai", "tess"]
        assert [one.deed for one in back.deeds()] == ["back up", "log"]
