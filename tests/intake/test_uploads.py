"""Files that a person hands over land in a folder of their own, whatever their names say."""

from __future__ import annotations

import io
import zipfile

import pytest

from aging.errors import SourceError
from aging.intake.uploads import laid_out


def packed(**files: str) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, text in files.items():
            archive.writestr(name.replace("__", "/"), text)
    return out.getvalue()


def laid(tmp_path, *files):
    made = laid_out(files, tmp_path)
    inside = sorted(str(p.relative_to(tmp_path)) for p in tmp_path.rglob("*") if p.is_file())
    return made, inside


def test_one_file_is_read_as_it_is_and_several_as_a_folder(tmp_path):
    (tmp_path / "one").mkdir()
    assert laid(tmp_path / "one", ("lab.csv", b"a"))[0] == tmp_path / "one" / "lab.csv"
    (tmp_path / "two").mkdir()
    made, inside = laid(tmp_path / "two", ("a.csv", b"a"), ("b.CSV", b"b"), ("c.txt", b"c"))
    assert (made, inside) == (tmp_path / "two", ["a.csv", "b.CSV"])


def test_of_a_zip_the_uppermost_sheets_and_their_weather_are_taken(tmp_path):
    content = packed(**{"trial__panels.csv": "p", "trial__weather__Y.csv": "w",
                        "trial__old__panels.csv": "o", "trial__.hidden.csv": "h"})  # fmt: skip
    _, inside = laid(tmp_path, ("trial.zip", content))
    assert inside == ["panels.csv", "weather/Y.csv"]
    assert (tmp_path / "panels.csv").read_text() == "p"


@pytest.mark.parametrize("name", ["../../up.csv", "/etc/up.csv", "..\\up.csv"])
def test_no_name_leads_out_of_the_folder(tmp_path, name):
    inner = tmp_path / "inner"
    inner.mkdir()
    laid_out([(name, b"x")], inner)
    laid_out([("z.zip", packed(**{name: "y", "ok.csv": "k"}))], inner)
    written = [p for p in tmp_path.rglob("*") if p.is_file()]
    assert {"ok.csv", "up.csv"} == {p.name for p in written}
    assert all(inner in p.parents for p in written)


@pytest.mark.parametrize(
    ("files", "told"),
    [
        ([("a.txt", b"x")], "nothing to read"),
        ([("a.zip", b"PK no zip")], "no whole ZIP"),
        ([("a.csv", b"x"), ("a.csv", b"y")], "two files have this name"),
        ([("a.zip", packed(**{f"{n}.csv": "" for n in range(501)}))], "more than 500 files"),
    ],
)
def test_what_cannot_be_laid_out_is_told(tmp_path, files, told):
    with pytest.raises(SourceError, match=told):
        laid_out(files, tmp_path)


@pytest.mark.parametrize("name", ["a\x00.csv", "\u202evsc.a.csv", "a" * 300 + ".csv", "", ".."])
def test_a_name_that_is_none_is_refused_before_anything_is_written(tmp_path, name):
    with pytest.raises(SourceError, match="rename it"):
        laid_out([(name, b"panel\n")], tmp_path)
    assert list(tmp_path.iterdir()) == []


def test_a_round_file_comes_by_itself(tmp_path):
    assert laid_out([("round.json", b"{}")], tmp_path).name == "round.json"
    with pytest.raises(SourceError, match="by itself"):
        laid_out([("round.json", b"{}"), ("a.csv", b"a")], tmp_path)
