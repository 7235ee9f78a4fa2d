"""A round on a phone without network: typed, closed, opened, handed in, taken."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from aging.cli import app
from aging.ledger import open_ledger

SMALL = """() => {
  document.querySelectorAll('details').forEach((one) => { one.open = true; });
  const short = [];
  for (const node of document.querySelectorAll('button, select, input, textarea, summary, a')) {
    const box = (node.closest('.switch, .choice') ?? node).getBoundingClientRect();
    if (!box.width) continue;
    const font = parseFloat(getComputedStyle(node).fontSize);
    if (box.width < 44 || box.height < 44 || font < 16) short.push(node.outerHTML);
    if (box.left < 0 || box.right > innerWidth) short.push('outside: ' + node.outerHTML);
  }
  return { short, over: document.documentElement.scrollWidth - innerWidth,
    unnamed: [...document.querySelectorAll('input, select, textarea')].filter(
      (one) => !one.labels.length && !one.ariaLabel).length,
    seen: document.querySelectorAll('button, input').length };
}"""


def begin(page):
    page.get_by_label("Who reads").fill("bert")
    page.get_by_role("radio", name="as exposed").check()
    page.get_by_role("radio", name="dry", exact=True).check()
    page.click("#next")


def spots(page, *texts):
    for place, text in enumerate(texts, 1):
        page.get_by_label(f"Solar reflectance, spot {place}").fill(text)


def card(page, name="solar_reflectance"):
    return page.locator(f"section[data-property={name}]")


def rules(page):
    card(page).evaluate("one => one.refresh()")  # which else comes a moment after the last digit
    found = card(page).locator(".doubt[data-rule]")
    return [one.get_attribute("data-rule") for one in found.all()]


def rate(page, step):
    card(page, "chalking_astm").get_by_role("radio", name=str(step), exact=True).check()


def read_five(page):
    begin(page)
    for place, value in enumerate(("0,750", ".71", "0.74", "0,745", "0.744")):
        spots(page, value, value, value)
        if place:
            rate(page, 8)
        page.click("#next")


def save(page, to: Path) -> dict:
    page.evaluate("go(END)")
    with page.expect_download() as waiting:
        page.get_by_role("button", name="Save the round file").click()
    waiting.value.save_as(to)
    return json.loads(to.read_text(encoding="utf-8"))


def test_a_round_survives_a_closed_browser_and_each_reading_counts_once(
    phone, store, tmp_path, capsys
):
    page = phone(tmp_path / "mine")
    read_five(page)
    assert "5 of 6 panels" in page.locator("#progress").inner_text()
    page.context.close()

    page = phone(tmp_path / "mine")
    assert "5 of 6 panels" in page.locator("#progress").inner_text()
    page.evaluate("go(1)")
    assert page.get_by_label("Solar reflectance, spot 2").input_value() == ".71"
    file = save(page, tmp_path / "round.json")
    assert [one["panel"] for one in file["readings"]].count("P1") == 2
    assert {one["value"] for one in file["readings"]} == {0.75, 0.71, 0.74, 0.745, 0.744, 8}

    other = phone(tmp_path / "other")
    assert "0 of 6 panels" in other.locator("#progress").inner_text()
    other.evaluate("go(END)")
    other.set_input_files("#bring", tmp_path / "round.json")
    other.get_by_text("9 readings in the file, 9 new here").wait_for()
    again = save(other, tmp_path / "again.json")
    ids = {one["reading_id"] for one in file["readings"]}
    assert {one["reading_id"] for one in again["readings"]} == ids
    assert len(ids) == 9

    for name in ("round.json", "again.json", "round.json"):
        assert app(["take", str(tmp_path / name), "--store", str(store)]) == 0
    assert capsys.readouterr().out.count("Loaded into") == 3
    with open_ledger(store) as book:
        stored = book.read().readings
    mine = stored[stored["reading_id"].isin(ids)]
    assert len(mine) == len(ids)
    assert set(mine["operator"]) == {"bert"}
    assert set(mine.loc[mine["property"] == "chalking_astm", "method"]) == {"D"}
    assert set(mine["weighting"].dropna()) == {"G173 global tilt"}


@pytest.mark.parametrize("width", [390, 1280])
def test_it_fits_a_thumb(phone, tmp_path, width):
    page = phone(tmp_path / "mine", width)
    begin(page)
    for place in (-1, 0, 1, 6):
        page.evaluate(f"go({place})")
        if 0 < place < 6:
            spots(page, "0.5", "0.9", "x")
            rules(page)
            card(page).get_by_role("button", name="A spot is dirty").click()
        found = page.evaluate(SMALL)
        assert (found["short"], found["over"], found["unnamed"]) == ([], 0, 0)
        assert found["seen"] > 8
        picture = tmp_path / f"{place}.png"
        page.screenshot(path=picture, full_page=True)
        assert picture.stat().st_size > 10_000


ASKED = {
    ("0.71", "0.70", "0,72"): [],
    ("0.55", "0.55", "0.55"): ["fell-fast"],
    ("0.76", "0.76", "0.76"): ["rose"],
    ("0.80", "0.80", "0.80"): ["like-washed"],
    ("0.90", "0.90", "0.90"): ["above-new"],
    ("0.25", "0.25", "0.25"): ["unusual", "fell-fast"],
    ("0.74", "0.71", "0.67"): ["spots"],
    ("71", "70", "72"): ["percent-for-fraction"],
    ("1.2", "", ""): ["out-of-range"],
    ("0.7l", "", ""): ["not-a-number"],
    ("1,234.5", "", ""): ["not-a-number"],
}


def test_it_asks_on_the_spot(phone, tmp_path):
    page = phone(tmp_path / "mine")
    begin(page)
    page.click("#next")
    for typed, asked in ASKED.items():
        spots(page, *typed)
        assert rules(page) == asked, typed
    page.evaluate("go(0)")
    for value, asked in (("0.75", []), ("0.77", ["file-specimens"])):
        spots(page, value)
        assert rules(page) == asked, "a file specimen does not move"


def test_a_panel_far_from_its_replicates_of_the_round_is_asked_about(phone, tmp_path):
    page = phone(tmp_path / "mine")
    begin(page)
    for place, typed, asked in (
        (2, "0.75", []), (3, "0.75", []), (4, "0.688", ["replicates"]), (4, "0.72", []),
    ):  # fmt: skip
        page.evaluate(f"go({place})")
        spots(page, typed)
        assert rules(page) == asked, typed


def test_questions_are_answered_or_mended(phone, tmp_path):
    page = phone(tmp_path / "mine")
    begin(page)
    page.click("#next")
    assert "Last" not in card(page).inner_text()
    spots(page, "55", "0.54", "0.56")
    card(page).locator(".doubt[data-rule=percent-for-fraction]").wait_for()
    page.get_by_role("button", name="Divide by 100").click()
    assert page.get_by_label("Solar reflectance, spot 1").input_value() == "0.55"
    assert "Last 0.710 on 2025-09-10, expect 0.650 to 0.740" in card(page).inner_text()
    assert "Mean 0.550, SD 0.0100, range 0.020; 3 of 3 spots" in card(page).inner_text()
    rate(page, 8)
    page.click("#next")
    assert page.get_by_role("heading", level=2).inner_text() == "P1"
    card(page).get_by_text("Keep it, with a reason").click()
    card(page).get_by_role("button", name="read again, same value").click()
    assert "Kept: read again, same value" in card(page).inner_text()
    page.click("#next")
    assert page.get_by_role("heading", level=2).inner_text() == "P2"
    rows = save(page, tmp_path / "round.json")["readings"]
    (row,) = [one for one in rows if one["property"] == "solar_reflectance"]
    assert row["kept"] == [{"rule": "fell-fast", "reason": "read again, same value"}]


def test_a_wet_panel_blocks_and_a_dirty_spot_does_not_count(phone, store, tmp_path, capsys):
    page = phone(tmp_path / "mine")
    begin(page)
    page.click("#next")
    spots(page, "0.71", "0.40", "0.72")
    card(page).get_by_role("button", name="A spot is dirty").click()
    card(page).get_by_label("dirty").nth(1).check()
    assert rules(page) == []
    page.get_by_text("Surface as exposed, dry").click()
    page.get_by_role("radio", name="wet", exact=True).check()
    assert rules(page) == ["wet-surface"]
    (row,) = save(page, tmp_path / "wet.json")["readings"]
    assert (row["spot_values"], row["contaminated_spot_values"]) == ([0.71, 0.72], [0.4])
    assert app(["take", str(tmp_path / "wet.json"), "--store", str(store)]) == 1
    assert "read it again when dry" in capsys.readouterr().out

    page.evaluate("go(1)")
    page.get_by_text("Surface as exposed, wet").click()
    page.get_by_role("radio", name="dry", exact=True).check()
    assert rules(page) == []
    save(page, tmp_path / "dry.json")
    assert app(["take", str(tmp_path / "dry.json"), "--store", str(store)]) == 0
    with open_ledger(store) as book:
        stored = book.read().readings.set_index("reading_id")
    assert stored.loc[row["reading_id"], "spot_values"] == "0.71 0.72"


def test_what_was_handed_in_is_corrected_with_a_reason(phone, store, tmp_path):
    page = phone(tmp_path / "mine")
    begin(page)
    page.click("#next")
    spots(page, "0.71", "0.71", "0.71")
    (first,) = save(page, tmp_path / "one.json")["readings"]
    page.evaluate("go(1)")
    assert page.get_by_label("Solar reflectance, spot 1").is_disabled()
    page.get_by_text("Handed in: correct it").click()
    page.get_by_label("Why it was wrong").fill("misread")
    page.get_by_role("button", name="Correct it").click()
    spots(page, "0.72", "0.72", "0.72")
    file = save(page, tmp_path / "two.json")
    assert {one["supersedes"]: one["value"] for one in file["readings"]} == {
        "": 0.71, first["reading_id"]: 0.72,
    }  # fmt: skip
    for name in ("one.json", "two.json", "one.json"):
        assert app(["take", str(tmp_path / name), "--store", str(store)]) == 0
    with open_ledger(store) as book:
        stored = book.read().readings
    assert stored.loc[stored["operator"] == "bert", "value"].tolist() == [0.72]


def test_a_panel_that_cannot_be_read_is_told_why(phone, store, tmp_path):
    page = phone(tmp_path / "mine")
    begin(page)
    page.click("#next")
    page.get_by_text("This panel cannot be read").click()
    page.get_by_role("radio", name="not found").check()
    assert "1 of 6 panels" in page.locator("#progress").inner_text()
    page.evaluate("setUp({todo: true}); go(0)")
    page.click("#next")
    assert page.get_by_role("heading", level=2).inner_text() == "P2"
    save(page, tmp_path / "round.json")
    assert app(["take", str(tmp_path / "round.json"), "--store", str(store)]) == 0
    with open_ledger(store) as book:
        events = book.read().events
    assert events.loc[events["panel"] == "P1", "remark"].tolist() == ["not found"]


def test_two_tabs_lose_nothing(phone, tmp_path):
    one = phone(tmp_path / "mine")
    begin(one)
    other = one.context.new_page()
    other.goto(one.url)
    other.evaluate("go(2)")
    spots(other, "0.73", "0.73", "0.73")
    one.bring_to_front()
    one.evaluate("go(1)")
    spots(one, "0.71", "0.71", "0.71")
    one.evaluate("go(2)")
    assert one.get_by_label("Solar reflectance, spot 1").input_value() == "0.73"
    # the other tab writes the same reading while this one has not heard of it yet
    one.evaluate("""() => {
      const key = [...known.keys()].find((name) => known.get(name).panel === "P2");
      const theirs = { ...structuredClone(known.get(key)), changed_at: "2999-01-01T00:00:00.000Z" };
      theirs.spots[0].text = "0.99";
      localStorage.setItem(PREFIX + key, JSON.stringify(theirs));
    }""")
    spots(one, "0.74")
    assert "Another tab had changed P2 too" in one.locator("#say").inner_text()
    entries = [row["entry"] for row in save(one, tmp_path / "round.json")["readings"]]
    assert sorted(entry["spots"][0]["text"] for entry in entries) == ["0.71", "0.74"]
    (history,) = [entry["earlier"] for entry in entries if entry["panel"] == "P2"]
    assert [past["spots"][0]["text"] for past in history] == ["0.99"]


def test_the_later_edit_wins_and_the_earlier_is_kept(phone, tmp_path):
    page = phone(tmp_path / "mine")
    begin(page)
    spots(page, "0.7x")
    early = save(page, tmp_path / "early.json")
    page.evaluate("go(0)")
    spots(page, "0.75", "0.75", "0.75")
    page.evaluate("go(END)")
    page.set_input_files("#bring", tmp_path / "early.json")
    page.get_by_text("1 readings in the file, 0 new here").wait_for()
    (row,) = save(page, tmp_path / "late.json")["readings"]
    assert (row["value"], row["reading_id"]) == (0.75, early["readings"][0]["reading_id"])
    assert [past["spots"][0]["text"] for past in row["entry"]["earlier"]] == ["0.7x"]
    assert row["edited"] == 1


def test_another_file_is_turned_away(phone, tmp_path):
    page = phone(tmp_path / "mine")
    page.evaluate("go(END)")
    for text in ("{", "[]", '{"format": "round-file", "version": 2, "readings": []}'):
        page.evaluate("document.getElementById('say').textContent = ''")
        (tmp_path / "bad.json").write_text(text)
        page.set_input_files("#bring", tmp_path / "bad.json")
        page.get_by_text("This is no").wait_for()
    strange = {"format": "round-file", "version": 1, "not_read": [{"panel": "<b>"}], "readings": [
        {}, None, {"entry": {"reading_id": "x"}}]}  # fmt: skip
    (tmp_path / "bad.json").write_text(json.dumps(strange))
    page.set_input_files("#bring", tmp_path / "bad.json")
    page.get_by_text("4 do not belong to this sheet").wait_for()
    assert page.evaluate("records().length") == 0


FULL = """Storage.prototype.setItem = () => { throw new DOMException('', 'QuotaExceededError'); }"""


def test_a_browser_that_keeps_nothing_says_so_loudly_and_still_hands_in(phone, tmp_path):
    page = phone(tmp_path / "mine", script=FULL)
    assert "keeps NOTHING" in page.get_by_role("alert").inner_text()
    begin(page)
    spots(page, "0.75", "0.75", "0.75")
    (row,) = save(page, tmp_path / "round.json")["readings"]
    assert row["value"] == 0.75


def test_the_commands_say_what_they_did(folder, tmp_path, capsys):
    out = tmp_path / "round.html"
    call = ["round", str(folder), "--site", "HILL", "--on", "2025-10-06", "--out", str(out)]
    assert app([*call, "--properties", "gloss_60", "--operator", "anna"]) == 0
    assert "6 panels at HILL on 2025-10-06" in capsys.readouterr().out
    assert "Gloss at 60 deg" in out.read_text(encoding="utf-8")
    assert app([*call, "--properties", "sparkle"]) == 2
    assert "sparkle" in capsys.readouterr().err
