"""Bytes of a CSV file to cells of text, whatever program wrote them.

Encodings: UTF-8 with or without a mark, UTF-16 likewise, else Windows-1252. Delimiters: comma,
semicolon or tab, the one that stands most often in the header outside quotation marks. Regular
files go through Arrow; ragged ones, row by row, through the standard library.
"""

from __future__ import annotations

import codecs
import csv
import io
import re
from dataclasses import replace
from itertools import chain, islice

import pandas as pd

from aging.intake.raw import Raw, headed, shown
from aging.records import Finding

DELIMITERS = (",", ";", "\t")
_HEAD = 1 << 17  # no header is longer than this many characters
_END = "\x1aend of file\x1a"


def decode(data: bytes) -> tuple[str, str]:
    """Text and the encoding it was read in; UnicodeDecodeError where no encoding fits."""
    if data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return data.decode("utf-16"), "utf-16"
    head = data[:1000]
    for encoding, high in (("utf-16-le", head[1::2]), ("utf-16-be", head[::2])):
        if len(head) > 1 and high.count(0) > 0.4 * len(high) and head.count(0) < 0.6 * len(head):
            return data.decode(encoding), encoding
    try:
        return data.decode("utf-8-sig"), "utf-8"
    except UnicodeDecodeError:
        return data.decode("cp1252"), "cp1252"


def delimiter_of(text: str) -> str:
    """The delimiter of a header line."""
    outside = re.sub(r'"[^"]*"', "", text)
    return max(DELIMITERS, key=outside.count)


def parse(sheet: str, file: str, data: bytes, site: str | None = None) -> Raw:
    """Read one CSV file; whatever is wrong with it is in the findings of the result."""
    raw = Raw(sheet, file, site=site)
    try:
        text, encoding = decode(data)
        if encoding == "cp1252":
            raw = replace(raw, notes=(f"{file}: not UTF-8, read as Windows-1252",))
        return _table(raw, text.replace("\r\n", "\n").replace("\r", "\n"))
    except UnicodeDecodeError as error:
        seen = f"byte 0x{error.object[error.start]:02x} at {error.start}"
    except csv.Error as error:
        seen = str(error)
    return raw.breaks("unreadable-file", seen, "a CSV file", "save it as UTF-8 CSV")


def _table(raw: Raw, text: str) -> Raw:
    first = 1
    if text[:4].lower() == "sep=" and text[4:5] in DELIMITERS and text[5:6] == "\n":
        delimiter, text, first = text[4], text[6:], 2  # a spreadsheet's own hint
    else:
        lines = text[:_HEAD].split("\n")
        delimiter = delimiter_of(next((line for line in lines if line.strip(" \t,;")), ""))
    head = io.StringIO(text[:_HEAD], newline="\n")
    for header in csv.reader(head, delimiter=delimiter):
        first += 1
        if any(cell.strip() for cell in header):
            break
    else:
        return raw.breaks("empty-file", "", "a header and rows", "fill the file or remove it")
    raw = replace(raw, decimal_comma=delimiter != ",")
    body = text[head.tell() :]
    cells = _regular(body, delimiter, len(header))
    if cells is not None:
        return headed(raw, header, cells.set_axis(range(first, first + len(cells))))
    return _ragged(raw, header, body, delimiter, first)


def _regular(body: str, delimiter: str, width: int) -> pd.DataFrame | None:
    """Cells of a file whose rows all have `width` cells; None where one has not."""
    import pyarrow as pa
    from pyarrow import csv as arrow

    if body.count('"') % 2 or not body:
        return None
    names = [str(i) for i in range(width)]
    try:
        table = arrow.read_csv(
            pa.BufferReader(body.encode()),
            read_options=arrow.ReadOptions(column_names=names),
            parse_options=arrow.ParseOptions(
                delimiter=delimiter, newlines_in_values='"' in body, ignore_empty_lines=False
            ),
            convert_options=arrow.ConvertOptions(
                column_types=dict.fromkeys(names, pa.string()), strings_can_be_null=False
            ),
        )
    except pa.ArrowInvalid:
        return None
    cells: pd.DataFrame = table.to_pandas()
    return cells


def _ragged(raw: Raw, header: list[str], body: str, delimiter: str, first: int) -> Raw:
    """Cells of a file row by row: short rows are filled up, long ones found."""
    width, number = len(header), first
    ending = "" if body.endswith("\n") else "\n"
    lines = chain(io.StringIO(body + ending, newline="\n"), (_END,))
    reader = csv.reader(lines, delimiter=delimiter)
    blocks, long, last = [], [], [""]
    while block := list(islice(reader, 50_000)):
        padded = [(row + [""] * width)[:width] for row in block]
        blocks.append(pd.DataFrame(padded, dtype="str"))
        long += [(i, row[width:]) for i, row in enumerate(block, number) if any(row[width:])]
        number, last = number + len(block), block[-1]
    cells = pd.concat(blocks, ignore_index=True).iloc[:-1]
    cells.index = pd.RangeIndex(first, first + len(cells))
    if last != [_END]:
        rows = [line for line in body.split("\n") if line.strip()]
        raw = replace(raw, cells=pd.DataFrame({"line": pd.Series(rows, dtype="str")}))
        return raw.breaks(
            "unclosed-quote", last[-1].partition("\n")[0], "quotation marks in pairs",
            "close or remove the quotation mark", number - 1,
        )  # fmt: skip
    action = "put text that holds the delimiter in quotation marks"
    found = [
        Finding("extra-cells", "block", raw.file, row, None, shown(delimiter.join(rest)),
                f"{width} cells, as in the header", action)
        for row, rest in long
    ]  # fmt: skip
    raw = headed(raw, header, cells)
    return replace(raw, findings=(*raw.findings, *found))
