"""Photos: upright, small, without their notes, once, and beside the store."""

from __future__ import annotations

import hashlib
import os
import random
import struct
import zlib
from io import BytesIO
from pathlib import Path

import pytest
from PIL import Image

from aging.errors import CallError, LedgerError, SourceError
from aging.fieldwork.photos import (
    LONGEST_SIDE,
    MOST_BYTES,
    across_visits,
    file_of,
    folder_of,
    keep,
    redrawn,
)
from aging.ledger import open_ledger

TAKEN = "2025-10-06T09:41"
ORIENTATION, MAKER, GPS = 0x0112, 0x010F, 0x8825


def picture(size=(80, 40), kind="JPEG", turned=1) -> bytes:
    """Red left, blue right, as a camera that was held turned would write it, with its place."""
    drawn = Image.new("RGB", size, "red")
    drawn.paste("blue", (size[0] // 2, 0, *size))
    notes = drawn.getexif()
    notes[ORIENTATION], notes[MAKER] = turned, "Nobody's camera"
    notes.get_ifd(GPS).update({1: "N", 2: (40.0, 41.0, 42.0)})
    file = BytesIO()
    drawn.save(file, kind, exif=notes, comment=b"of nobody") if kind == "JPEG" else drawn.save(
        file, kind, exif=notes
    )
    return file.getvalue()


@pytest.fixture
def book(store):
    with open_ledger(store) as opened:
        yield opened


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_nothing_but_the_picture_is_kept(kind):
    given = picture(kind=kind)
    assert b"Nobody's camera" in given
    kept = redrawn(given)
    assert b"Nobody" not in kept
    assert b"nobody" not in kept
    assert b"Exif" not in kept
    with Image.open(BytesIO(kept)) as seen:
        assert (seen.format, seen.size, dict(seen.getexif())) == ("JPEG", (80, 40), {})


@pytest.mark.parametrize(("turned", "top"), [(6, "red"), (8, "blue")])
def test_it_is_set_upright(turned, top):
    with Image.open(BytesIO(redrawn(picture(turned=turned)))) as seen:
        assert seen.size == (40, 80)
        red, _, blue = seen.getpixel((20, 5))
        assert (red > blue) == (top == "red")


def test_it_is_made_small():
    with Image.open(BytesIO(redrawn(picture((4000, 1000))))) as seen:
        assert seen.size == (LONGEST_SIDE, LONGEST_SIDE // 4)


def test_the_same_photo_is_kept_once_where_its_digest_says(book, store):
    photo = keep(book, picture(), "P1", taken_on=TAKEN, by="anna", remark="streak")
    assert keep(book, picture(), "P1", taken_on="2025-10-06T09:50", by="anna") == photo
    (row,) = book.read().photos.to_dict("records")
    assert (row["photo"], row["panel"], row["taken_on"]) == (photo, "P1", TAKEN)
    file = file_of(Path(f"{store}.photos"), photo)
    assert hashlib.sha256(file.read_bytes()).hexdigest() == file.stem == photo
    assert file.parent.name == photo[:2]
    assert book.verify().whole
    with pytest.raises(CallError, match="one of P1 already"):
        keep(book, picture(), "P2", taken_on=TAKEN, by="bert")


def test_a_backup_takes_them_along(book, tmp_path):
    photo = keep(book, picture(), "P1", taken_on=TAKEN, by="anna")
    assert book.backup(tmp_path / "copy.sqlite").whole
    assert file_of(tmp_path / "copy.sqlite.photos", photo).is_file()


def bomb(width=60_000, height=60_000) -> bytes:
    """A PNG that says it is huge."""
    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    chunks = ((b"IHDR", head), (b"IDAT", zlib.compress(b"0" * 99)), (b"IEND", b""))
    return b"\x89PNG\r\n\x1a\n" + b"".join(
        struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))
        for name, data in chunks
    )


@pytest.mark.parametrize(
    ("data", "told"),
    [(b"", "no whole"), (b"%PDF-1.7", "no whole"), (b"<svg xmlns='x'/>", "no whole"),
     (picture()[:300], "no whole"), (bomb(), "smaller"), (bomb(9000, 8000), "72000000|pixels"),
     (bomb(10_000, 10_000), "smaller"), (b"\0" * (MOST_BYTES + 1), "allowed: up to")],
    ids=["empty", "pdf", "svg", "cut off", "bomb", "large", "half a bomb", "heavy"],
)  # fmt: skip
def test_what_is_no_photo_is_turned_away(book, data, told):
    with pytest.raises(SourceError, match=told):
        keep(book, data, "P1", taken_on=TAKEN, by="anna")
    assert book.read().photos.empty


@pytest.mark.filterwarnings("ignore::UserWarning")  # spoilt notes are none that matter
@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_a_spoilt_file_is_drawn_or_turned_away(kind):
    rng, good = random.Random(3), picture(kind=kind)  # noqa: S311 - a test
    for _ in range(60):
        spoilt = bytearray(good)
        for _ in range(rng.randint(1, 8)):
            spoilt[rng.randrange(len(spoilt))] = rng.randrange(256)
        try:
            kept = redrawn(bytes(spoilt[: rng.randint(1, len(spoilt))]))
        except SourceError:
            continue
        with Image.open(BytesIO(kept)) as seen:
            assert max(seen.size) <= LONGEST_SIDE


def test_a_server_needs_a_named_folder(monkeypatch, tmp_path):
    class Served:
        label = "postgresql://readings@server/trial"

    monkeypatch.delenv("AGING_PHOTOS", raising=False)
    with pytest.raises(LedgerError, match="AGING_PHOTOS"):
        folder_of(Served())
    monkeypatch.setenv("AGING_PHOTOS", str(tmp_path))
    assert folder_of(Served()) == tmp_path


def test_a_full_disk_leaves_no_half_photo(book, store, monkeypatch):
    def full(_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(LedgerError, match="No space left"):
        keep(book, picture(), "P1", taken_on=TAKEN, by="anna")
    monkeypatch.undo()
    assert not [one for one in Path(f"{store}.photos").rglob("*") if one.is_file()]
    assert book.read().photos.empty


def test_the_first_and_the_latest_stand_side_by_side(book):
    for month in range(1, 7):
        size = (80 + month, 40)
        keep(book, picture(size), "P1", taken_on=f"2025-0{month}-01", by="anna")
    keep(book, picture((200, 40)), "P2", taken_on="2025-01-01", by="anna")
    days = across_visits(book.read().photos, "P1", 3)["taken_on"].tolist()
    assert days == ["2025-01-01", "2025-05-01", "2025-06-01"]
    assert len(across_visits(book.read().photos, "P1", 9)) == 6
