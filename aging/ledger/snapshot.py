"""What stands in a store, kept on disk by the digest of its newest batch.

That digest closes over all batches before it, so that a snapshot fits whichever store has it in
its chain. Nothing in a store is changed, so that what came since only adds: readings, newer
versions of facts, and corrections, which take away what they supersede. What another program
alters behind the triggers a snapshot does not see, and `aging.ledger.verify` does.
"""

from __future__ import annotations

from collections.abc import Mapping

import pandas as pd
from sqlalchemy import Connection, select

from aging import shelf
from aging.ledger.schema import SEAL
from aging.records import SHEETS, Exposure

KIND, WORTH = "store", 5000  # rows that are read as fast as a snapshot is written
Frames = Mapping[str, pd.DataFrame]


def last(conn: Connection) -> tuple[int, Frames | None]:
    """Batch and content of the newest snapshot that is of this store."""
    known = [name.removeprefix(_own()) for name in shelf.names(KIND) if name.startswith(_own())]
    query = select(SEAL.c.batch, SEAL.c.digest).where(SEAL.c.digest.in_(known))
    for batch, digest in conn.execute(query.order_by(SEAL.c.batch.desc())).all():
        if kept := shelf.get(KIND, _own() + digest):
            return batch, kept.frames
    return 0, None


def joined(base: Frames, later: Frames) -> Frames:
    """What stands, from a snapshot and every row that was stored since."""
    frames = {}
    for sheet, new in later.items():
        both = pd.concat([base[sheet], new], ignore_index=True) if len(new) else base[sheet]
        if sheet != "readings":
            key = list(SHEETS[sheet].key)
            both = both.drop_duplicates(key, keep="last", ignore_index=True)
        elif new["supersedes"].notna().any():
            superseded = both["reading_id"].isin(new["supersedes"].dropna())
            both = both[~superseded].reset_index(drop=True)
        frames[sheet] = both
    return frames


def keep(conn: Connection, batch: int, frames: Frames, fresh: int) -> Exposure:
    """The exposure of these frames, kept for the next time where enough of its rows are fresh."""
    if fresh >= WORTH:
        digest = conn.scalar(select(SEAL.c.digest).where(SEAL.c.batch == batch))
        if digest is not None:
            shelf.put(KIND, _own() + digest, shelf.Kept(frames=frames))
    return Exposure(**frames)


def _own() -> str:
    """What the names of this release's snapshots begin with."""
    return shelf.digest(KIND)[:16] + "-"
