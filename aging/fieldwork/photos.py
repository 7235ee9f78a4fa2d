"""Photos of panels, kept beside the store and named by the digest of their content.

What is kept is drawn anew: upright, at most 1600 pixels long, as JPEG without any of the camera's
notes (place, owner, time). `<store>.photos/ab/abcd....jpg` beside an SQLite store; for a server's
store the folder that the environment names AGING_PHOTOS.
"""

from __future__ import annotations

import os
import struct
from hashlib import sha256
from io import BytesIO
from pathlib import Path
from tempfile import NamedTemporaryFile

import pandas as pd

from aging.errors import CallError, LedgerError, SourceError
from aging.ledger import Ledger
from aging.records import exposure_with

FOLDER = "AGING_PHOTOS"
LONGEST_SIDE, QUALITY = 1600, 85
MOST_BYTES, MOST_PIXELS = 25_000_000, 64_000_000
FORMATS = ("JPEG", "PNG", "WEBP")


def folder_of(ledger: Ledger) -> Path:
    """Where the photos of a store lie; LedgerError for a server's store without AGING_PHOTOS."""
    named = os.environ.get(FOLDER)
    if "://" not in ledger.label:
        return Path(f"{ledger.label}.photos")
    if not named:
        raise LedgerError(
            f"store {ledger.label}: no folder for photos; set {FOLDER} to one that is backed up"
        )
    return Path(named)


def file_of(folder: Path, photo: str) -> Path:
    """File of a photo in a folder of photos."""
    return folder / photo[:2] / f"{photo}.jpg"


def redrawn(data: bytes) -> bytes:
    """A photo as it is kept; SourceError for what is no picture, cut off or far too large."""
    from PIL import Image, ImageOps

    if len(data) > MOST_BYTES:
        raise SourceError(f"photo: {len(data)} bytes; allowed: up to {MOST_BYTES}; take it smaller")
    try:
        with Image.open(BytesIO(data), formats=FORMATS) as picture:
            if picture.width * picture.height > MOST_PIXELS:
                raise SourceError(
                    f"photo: {picture.width} x {picture.height} pixels; allowed: up to "
                    f"{MOST_PIXELS // 1_000_000} million; take it smaller"
                )
            picture.draft("RGB", (LONGEST_SIDE, LONGEST_SIDE))  # a large JPEG is never held whole
            upright = ImageOps.exif_transpose(picture).convert("RGB")
    except (Image.DecompressionBombError, Image.DecompressionBombWarning) as error:
        raise SourceError(f"photo: {error}; take it smaller") from error
    except (OSError, SyntaxError, ValueError, struct.error) as no:
        raise SourceError("photo: no whole JPEG, PNG or WebP picture; take it again") from no
    upright.thumbnail((LONGEST_SIDE, LONGEST_SIDE))
    upright.info.clear()
    kept = BytesIO()
    upright.save(kept, "JPEG", quality=QUALITY)
    return kept.getvalue()


def keep(
    ledger: Ledger, data: bytes, panel: str, *, taken_on: str, by: str, remark: str | None = None
) -> str:
    """Keep a photo of a panel and return its digest; the same photo again changes nothing.

    SourceError as `redrawn`; CallError for a photo that another panel has; LedgerError where it
    cannot be written.
    """
    kept = redrawn(data)
    photo = sha256(kept).hexdigest()
    there = ledger.read(only=("photos",)).photos
    owner = there.loc[there["photo"] == photo, "panel"].tolist()
    if owner:
        if owner != [panel]:
            raise CallError(f"photo: it is kept as one of {owner[0]} already; take another")
        return photo
    _write(file_of(folder_of(ledger), photo), kept)
    row = {"photo": photo, "panel": panel, "taken_on": taken_on, "operator": by, "remark": remark}
    ledger.append(exposure_with("photos", [row]), by=by, source="photo")
    return photo


def _write(file: Path, data: bytes) -> None:
    """Put a file in its place whole or not at all."""
    draft = None
    try:
        file.parent.mkdir(parents=True, exist_ok=True)
        with NamedTemporaryFile(dir=file.parent, prefix=".", delete=False) as draft:
            draft.write(data)
            draft.flush()
            os.fsync(draft.fileno())
        Path(draft.name).replace(file)
    except OSError as error:
        if draft is not None:
            Path(draft.name).unlink(missing_ok=True)
        raise LedgerError(f"photo {file}: cannot be kept ({error.strerror})") from error


def across_visits(photos: pd.DataFrame, panel: str, most: int = 4) -> pd.DataFrame:
    """Photos of a panel by day: the first and the latest ones, at most `most`."""
    mine = photos[photos["panel"] == panel].sort_values("taken_on", kind="stable")
    return mine if len(mine) <= most else pd.concat([mine.head(1), mine.tail(most - 1)])
