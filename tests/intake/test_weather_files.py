"""TMY3 and EPW: the file's own sums by day, the hour that ends it, what is missing or broken.

Greensboro (723170) and Sand Point (703165) are TMY3 files that come with pvlib; the EPW is ours.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pvlib
import pytest

from aging.errors import SourceError
from aging.intake.weather_files import CODES, read_weather_file

DATA = Path(pvlib.__file__).parent / "data"
GREENSBORO, SAND_POINT = DATA / "723170TYA.CSV", DATA / "703165TY.csv"
HEAD = "LOCATION,Somewhere Invented,-,-,invented,999999,{latitude},151.0,10.0,40.0\n" + "X\n" * 7
FIELDS = 35
GHI, RAIN, AIR, RH = 13, 33, 6, 8


def epw(path, *, latitude="-33.5", years=(2011, 2019), change=None, days=None, feed="\n"):
    """An EPW file whose sun, warmth and damp follow the hour; `change` gets the table of cells."""
    days = pd.date_range("2023-01-01", periods=365) if days is None else days
    day, hour = days.repeat(24), np.tile(np.arange(1, 25), len(days))
    cells = np.full((hour.size, FIELDS), "0", dtype=object)
    year = np.where(day.month == 1, *years)
    cells[:, :4] = np.stack([year, day.month, day.day, hour], axis=1)
    cells[:, AIR], cells[:, RH] = hour, 50 + hour
    cells[:, GHI] = np.where((hour > 6) & (hour <= 18), 500, 0)
    cells[:, RAIN] = np.where((hour == 24) & (day.day == 2), "1.5", "0.0")
    if change is not None:
        change(cells)
    rows = feed.join(",".join(map(str, row)) for row in cells)
    path.write_bytes((HEAD.format(latitude=latitude).replace("\n", feed) + rows).encode("cp1252"))
    return path


def raw(path):
    return pd.read_csv(path, skiprows=1)


@pytest.mark.parametrize("path", [GREENSBORO, SAND_POINT])
def test_days_of_a_tmy3_hold_the_files_own_sums(path):
    hours, found = raw(path), read_weather_file(path)
    year = found.year()
    assert len(year) == 365
    ghi = hours["GHI (W/m^2)"].to_numpy(float).reshape(365, 24)  # 01:00 to 24:00 of each day
    assert year["solar_MJ_m2"].to_numpy() == pytest.approx(ghi.sum(axis=1) * 0.0036)
    warm = hours["Dry-bulb (C)"].to_numpy(float).reshape(365, 24)
    assert year["temperature_C"].to_numpy() == pytest.approx(warm.mean(axis=1))
    damp = hours["RHum (%)"].to_numpy(float).reshape(365, 24)
    assert year["relative_humidity_pct"].to_numpy() == pytest.approx(damp.mean(axis=1))
    assert "uv_MJ_m2" not in year


def test_a_typical_year_says_what_it_is():
    found = read_weather_file(GREENSBORO)
    assert (found.place.latitude_deg, found.place.longitude_deg) == (36.1, -79.95)
    assert found.place.elevation_m == 273
    assert found.origin == (
        "of 723170TYA.CSV at 36.1, -79.95: a typical year put together from 1980 to 2003, "
        "no measured year"
    )


def test_days_of_an_epw(tmp_path):
    found = read_weather_file(epw(tmp_path / "a.epw"))
    year = found.year().set_index("date")
    assert year["solar_MJ_m2"].to_numpy() == pytest.approx(12 * 500 * 0.0036)
    assert year["temperature_C"].to_numpy() == pytest.approx(12.5)
    assert year["relative_humidity_pct"].to_numpy() == pytest.approx(62.5)
    assert year["rain_mm"].sum() == pytest.approx(12 * 1.5)
    assert year["rain_mm"]["2023-03-02"] == 1.5  # its hour 24 belongs to the day that it ends
    assert found.findings == ()
    assert found.years == (2011, 2019)
    assert (found.place.latitude_deg, found.place.azimuth_deg) == (-33.5, 0)


def test_one_year_is_not_called_typical(tmp_path):
    found = read_weather_file(epw(tmp_path / "a.epw", years=(2019, 2019), feed="\r\n"))
    assert found.origin.endswith("one year (2019), measured or modelled")


def test_the_year_is_laid_over_any_dates(tmp_path):
    def warm_by_day(cells):
        cells[:, AIR] = [month + day / 100 for month, day in cells[:, 1:3]]

    found = read_weather_file(epw(tmp_path / "a.epw", change=warm_by_day))
    laid = found.on(pd.date_range("2024-02-27", "2024-03-01")).set_index("date")["temperature_C"]
    assert laid.to_dict() == pytest.approx(
        {"2024-02-27": 2.27, "2024-02-28": 2.28, "2024-02-29": 2.28, "2024-03-01": 3.01}
    )


def test_a_29_february_of_the_file_is_left_out(tmp_path):
    leap = epw(
        tmp_path / "a.epw", years=(2024, 2024), days=pd.date_range("2024-01-01", periods=366)
    )
    assert len(read_weather_file(leap).days) == 365


def test_hours_without_a_value_leave_their_day_empty(tmp_path):
    def lose(cells):
        cells[30, AIR], cells[40, AIR], cells[60, GHI] = "99.9", "", "9999"
        cells[:, RAIN] = "999"

    found = read_weather_file(epw(tmp_path / "a.epw", change=lose))
    year = found.year()
    assert np.flatnonzero(year["temperature_C"].isna()).tolist() == [1]
    assert np.flatnonzero(year["solar_MJ_m2"].isna()).tolist() == [2]
    assert year["rain_mm"].isna().all()
    told = {one.column: (one.code, one.severity, one.row, one.seen) for one in found.findings}
    assert told == {
        "rain_mm": ("missing-hours", "warn", 9, "999, 8760 such hours"),
        "temperature_C": ("missing-hours", "warn", 39, "99.9, 2 such hours"),
        "solar_MJ_m2": ("missing-hours", "warn", 69, "9999, 1 such hours"),
    }


@pytest.mark.parametrize("most", ["0", "30", "400"])
def test_rain_that_no_climate_has_is_left_out(tmp_path, most):
    def pour(cells):
        cells[:, RAIN] = np.where(cells[:, RAIN] == "1.5", most, "0")
        if most == "400":
            cells[1:40, RAIN] = "1"

    found = read_weather_file(epw(tmp_path / "a.epw", change=pour))
    assert [one.code for one in found.findings] == ["doubtful-rain"]
    assert found.year()["rain_mm"].isna().all()


def test_tenths_of_a_millimetre_are_seen():
    for path in (GREENSBORO, SAND_POINT):
        found = read_weather_file(path)
        assert "doubtful-rain" in [one.code for one in found.findings]
        assert found.year()["rain_mm"].isna().all()
    assert {one.code for one in found.findings} == set(CODES)


def shorten(text, lines):
    return "\n".join(text.split("\n")[:lines])


@pytest.mark.parametrize(
    ("spoil", "message"),
    [
        (lambda _: "", "neither TMY3"),
        (lambda _: "date,rain_mm\n2024-01-01,1\n", "neither TMY3"),
        (lambda text: shorten(text, 4000), "166 days of 24 hours; needed: a whole year of 365"),
        (lambda text: text + "\n" + text.split("\n")[-1], "364 days of 24 hours"),
        (lambda text: shorten(text, 1), ": 0 days of 24 hours"),
        (lambda text: shorten(text, 8), ": 0 days of 24 hours"),
        (lambda text: text.replace("-33.5", "north", 1), "damaged EPW file.*north"),
        (lambda text: text.replace("-33.5", "-93.5", 1), "it lies at latitude -93.5"),
        (lambda text: text.replace("\n2019,5,", "\n2019,51,"), "damaged EPW file"),
    ],
)  # fmt: skip
def test_a_broken_file_is_refused_in_one_line(tmp_path, spoil, message):
    path = epw(tmp_path / "a.epw")
    path.write_text(spoil(path.read_text()))
    with pytest.raises(SourceError, match=message) as caught:
        read_weather_file(path)
    assert "a.epw" in str(caught.value)
    assert "\n" not in str(caught.value)


def test_a_damaged_tmy3_and_no_file_at_all(tmp_path):
    path = tmp_path / "t.csv"
    text = GREENSBORO.read_text()
    path.write_text(text.replace("GHI (W/m^2)", "sun", 1))
    with pytest.raises(SourceError, match="damaged TMY3 file"):
        read_weather_file(path)
    path.write_bytes(b"\xff\xfe\x00" * 99)
    with pytest.raises(SourceError):
        read_weather_file(path)
    with pytest.raises(SourceError, match="cannot be read"):
        read_weather_file(tmp_path / "none.epw")
    with pytest.raises(SourceError, match="cannot be read"):
        read_weather_file(tmp_path)
