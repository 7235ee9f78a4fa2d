"""Seal batches: keep what each holds and its digest in the chain, in the transaction it came in."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from itertools import groupby
from operator import itemgetter

from sqlalchemy import Connection, Table, func, insert, select

from aging.ledger.chain import Content, batch_digest, seal_text, sheet_digest

_AT_ONCE = 10_000


def last_ids(conn: Connection, tables: Mapping[str, Table]) -> dict[str, int]:
    """Highest row number of each sheet, 0 where it is empty."""
    highest = (select(func.max(table.c.id)).scalar_subquery() for table in tables.values())
    ids = conn.execute(select(*highest)).one()
    return {sheet: number or 0 for sheet, number in zip(tables, ids, strict=True)}


def contents(
    conn: Connection, tables: Mapping[str, Table], after: Mapping[str, int] | None = None
) -> dict[int, Content]:
    """What each batch holds, of all rows or of those whose numbers are above `after`.

    The rows of a batch lie together, for writers stand in line. Where they do not, rows were put
    in later: they are counted, and the digest is empty.
    """
    found: dict[int, Content] = defaultdict(dict)
    for sheet, table in tables.items():
        columns = sorted(table.columns, key=lambda column: column.name)
        names = [column.name for column in columns]
        query = select(*columns).order_by(table.c.id)
        if after is not None:
            query = query.where(table.c.id > after[sheet])
        rows = conn.execute(query, execution_options={"yield_per": _AT_ONCE})
        for number, run in groupby(rows, itemgetter(names.index("batch"))):
            count, digest = sheet_digest(names, run)
            earlier = found[number].get(sheet)
            found[number][sheet] = (count + earlier[0], "") if earlier else (count, digest)
    return found


def seal(conn: Connection, batch: Table, seals: Table, content: Mapping[int, Content]) -> None:
    """Add a seal for each batch that has none, in their order."""
    newest = select(seals).order_by(seals.c.batch.desc()).limit(1)
    last = conn.execute(newest).mappings().one_or_none()
    number, digest = (last["batch"], last["digest"]) if last else (0, "")
    missing = select(batch).where(batch.c.id > number).order_by(batch.c.id)
    for facts in conn.execute(missing).mappings().all():
        text = seal_text(content.get(facts["id"], {}))
        digest = batch_digest(digest, dict(facts), text)
        row = {"batch": facts["id"], "content": text, "digest": digest}
        conn.execute(insert(seals).values(row))
