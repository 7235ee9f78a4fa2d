from __future__ import annotations

import os
import stat

import numpy as np
import pandas as pd
import pytest

from aging import shelf


@pytest.fixture
def place(tmp_path, monkeypatch):
    monkeypatch.setenv("AGING_CACHE", str(tmp_path / "own"))
    return tmp_path / "own"


def kept():
    frame = pd.DataFrame({
        "name": pd.Series(["Ärger", None, ""], dtype="str"), "value": [0.1, np.nan, -0.0],
        "on": pd.to_datetime(["2020-01-01", None, "2021-02-03"]), "count": [1, 2, 3],
    })  # fmt: skip
    empty = frame.iloc[:0]
    arrays = {"draws": np.random.default_rng(1).random((3, 4, 5)), "node": np.arange(7),
              "none": np.zeros((0, 2))}  # fmt: skip
    return shelf.Kept({"seed": 3, "notes": ["a", "b"]}, {"some": frame, "none": empty}, arrays)


def files(place):
    return sorted(place.glob("*"))


@pytest.mark.usefixtures("place")
def test_what_comes_back_is_what_was_kept_to_the_last_digit():
    shelf.put("fit", "a", kept())
    back, given = shelf.get("fit", "a"), kept()
    assert back.facts == given.facts
    for name, frame in given.frames.items():
        pd.testing.assert_frame_equal(back.frames[name], frame, check_exact=True)
    for name, array in given.arrays.items():
        assert back.arrays[name].dtype == array.dtype
        np.testing.assert_array_equal(back.arrays[name], array)
    assert (shelf.has("fit", "a"), shelf.names("fit")) == (True, {"a"})
    assert shelf.get("fit", "b") is None


def test_only_the_user_may_look_or_write(place):
    shelf.put("fit", "a", kept())
    assert stat.S_IMODE(place.stat().st_mode) == 0o700
    assert [stat.S_IMODE(file.stat().st_mode) for file in files(place)] == [0o600]
    place.chmod(0o777)
    assert shelf.folder() is None
    assert shelf.get("fit", "a") is None


def test_off_keeps_nothing(place, monkeypatch):
    monkeypatch.setenv("AGING_CACHE", "off")
    shelf.put("fit", "a", kept())
    assert shelf.get("fit", "a") is None
    assert shelf.names("fit") == set()
    assert not place.exists()


def test_without_a_folder_of_its_own_the_users_cache_serves(monkeypatch, tmp_path):
    monkeypatch.delenv("AGING_CACHE")
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    assert shelf.folder() == tmp_path / "aging"


@pytest.mark.parametrize("cut", [0, 10, 64, 300, -1])
def test_a_file_cut_short_is_thrown_away_and_can_be_kept_anew(place, cut):
    shelf.put("fit", "a", kept())
    (file,) = files(place)
    file.write_bytes(file.read_bytes()[:cut])
    assert shelf.get("fit", "a") is None
    assert files(place) == []
    shelf.put("fit", "a", kept())
    assert shelf.get("fit", "a") is not None


def test_one_altered_byte_anywhere_never_gives_another_digit(place):
    shelf.put("fit", "a", kept())
    (file,) = files(place)
    sound = file.read_bytes()
    for at in range(0, len(sound), 97):
        file.write_bytes(sound[:at] + bytes([sound[at] ^ 0x55]) + sound[at + 1 :])
        back = shelf.get("fit", "a")
        assert back is None or (back.arrays["draws"] == kept().arrays["draws"]).all()


def test_an_interrupted_write_leaves_nothing(place, monkeypatch):
    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(shelf, "_write", full)
    shelf.put("fit", "a", kept())
    assert files(place) == []


def test_the_longest_unused_go_first(place, monkeypatch):
    for age, name in enumerate("dcba"):
        shelf.put("fit", name, kept())
        (file,) = place.glob(f"fit-{name}*")
        os.utime(file, (1e9 - age, 1e9 - age))
    shelf.get("fit", "a")  # used again
    monkeypatch.setattr(shelf, "MOST_BYTES", 3 * file.stat().st_size)
    shelf.put("fit", "e", kept())
    assert shelf.names("fit") == {"e", "a", "d"}


def test_a_digest_tells_apart_what_differs_in_anything():
    ones = np.ones(4)
    parts = [
        [1], [1.0], ["1"], [[1]], [1, 1], [11], [None], [ones], [ones.astype(int)], [ones > 0],
        [ones.reshape(2, 2)], [-ones], [{"a": 1}], [{"b": 1}], ["ab", "c"], ["a", "bc"],
        [pd.DataFrame({"a": [1.0]})], [pd.DataFrame({"b": [1.0]})], [pd.DataFrame({"a": [2.0]})],
    ]  # fmt: skip
    assert len({shelf.digest(*each) for each in parts}) == len(parts)
    assert shelf.digest(ones, "a") == shelf.digest(np.ones(4), "a")
