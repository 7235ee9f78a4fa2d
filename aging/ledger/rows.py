"""Put many rows into a table, past SQLAlchemy's cost for each row."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from sqlalchemy import Connection, Table, insert


def put_rows(conn: Connection, table: Table, rows: Iterable[Sequence[object]]) -> None:
    """Insert rows whose cells stand in the order of the table's columns."""
    if conn.dialect.name == "postgresql":
        driver: Any = conn.connection.driver_connection
        columns = ", ".join(f'"{column.name}"' for column in table.columns)
        into = f'COPY "{table.name}" ({columns}) FROM STDIN'
        with driver.cursor() as cursor, cursor.copy(into) as copy:
            for row in rows:
                copy.write_row(row)
    else:
        conn.exec_driver_sql(str(insert(table).compile(dialect=conn.dialect)), list(rows))
