"""Triggers by which the database itself refuses to change or delete what is stored."""

from __future__ import annotations

from sqlalchemy import Connection, inspect, text

VERSION_TABLE = "ledger_version"
_REFUSAL = "what is stored is never changed or deleted; record a correction instead"
_FUNCTION = f"""
CREATE OR REPLACE FUNCTION append_only() RETURNS trigger LANGUAGE plpgsql AS
$$ BEGIN RAISE EXCEPTION '{_REFUSAL}' USING ERRCODE = 'restrict_violation'; END $$
"""
_SQLITE = f"""
CREATE TRIGGER IF NOT EXISTS {{table}}_append_only_{{act}} BEFORE {{act}} ON {{table}}
BEGIN SELECT RAISE(ABORT, '{_REFUSAL}'); END
"""
_POSTGRESQL = """
CREATE TRIGGER {table}_append_only BEFORE UPDATE OR DELETE OR TRUNCATE ON {table}
FOR EACH STATEMENT EXECUTE FUNCTION append_only()
"""
_GUARDS = {
    "sqlite": [_SQLITE.replace("{act}", act) for act in ("update", "delete")],
    "postgresql": [_POSTGRESQL],
}
_STANDING = {
    "sqlite": "SELECT tbl_name FROM sqlite_master WHERE type = 'trigger'"
    " AND name IN (tbl_name || '_append_only_update', tbl_name || '_append_only_delete')",
    "postgresql": "SELECT relname FROM pg_trigger JOIN pg_class ON pg_class.oid = tgrelid"
    " WHERE tgname = relname || '_append_only' AND tgenabled = 'O'"
    " AND relnamespace = current_schema()::regnamespace",
}


def unguarded(conn: Connection) -> tuple[str, ...]:
    """Tables, but for that of the store's shape, whose rows the database would let be changed."""
    kind = conn.dialect.name
    standing = list(conn.scalars(text(_STANDING[kind])))
    tables = set(inspect(conn).get_table_names()) - {VERSION_TABLE}
    return tuple(sorted(t for t in tables if standing.count(t) < len(_GUARDS[kind])))


def guard(conn: Connection) -> None:
    """Guard every table that is not guarded yet."""
    kind = conn.dialect.name
    if kind == "postgresql":
        conn.execute(text(_FUNCTION))
    for table in unguarded(conn):
        for statement in _GUARDS[kind]:
            conn.execute(text(statement.format(table=table)))
