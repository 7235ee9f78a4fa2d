"""From nothing to a visit's report: a trial, a round without network, a doubt settled."""

from __future__ import annotations

import pytest
from walk import OVER, Walk, serving, typed

from aging.checks import check
from aging.ledger import open_ledger
from aging.source import open_source
from dashboard import keeping_words, load_words, start_words, ways_words

NEW, ODD = 0.85, "SITE1-CONTROL-2"
TYPED, MEANT = 0.58, 0.85  # two digits exchanged


def read(browser, sheet, to, width):
    """Read every panel of a round sheet, opened from a file with the network off."""
    context = browser.new_context(viewport={"width": width, "height": 844}, has_touch=True)
    context.set_offline(True)
    page = context.new_page()
    page.goto(sheet.as_uri())
    page.get_by_label("Who reads").fill("Tess")
    page.get_by_role("radio", name="as exposed").check()
    page.get_by_role("radio", name="dry", exact=True).check()
    page.get_by_label("Which one").fill("SR-1")
    page.screenshot(path=to / "sheet_before.png", full_page=True)
    page.click("#next")
    read = []
    while page.get_by_label("Solar reflectance, spot 1").count():
        read.append(page.get_by_role("heading", level=2).inner_text())
        for spot in (1, 2, 3):
            value = TYPED if ODD in read[-1] else NEW
            page.get_by_label(f"Solar reflectance, spot {spot}").fill(f"{value + spot / 1000:.3f}")
        page.screenshot(path=to / f"sheet_{len(read)}.png", full_page=True)
        page.click("#next")
    assert page.locator("html").evaluate(OVER) == 0
    page.screenshot(path=to / "sheet_end.png", full_page=True)
    with page.expect_download() as waiting:
        page.get_by_role("button", name="Save the round file").click()
    waiting.value.save_as(to / waiting.value.suggested_filename)
    context.close()
    return to / waiting.value.suggested_filename, read


@pytest.mark.parametrize("width", [390, pytest.param(1280, marks=pytest.mark.slow)])
def test_from_nothing_to_the_report_of_the_first_visit(browser, tmp_path, width):
    store = tmp_path / "trial.sqlite"
    with serving(cwd=tmp_path) as address:
        walk = Walk(browser, address, width, tmp_path)
        walk.open()
        walk.page.get_by_text(start_words.THREE_WAYS).wait_for()
        walk.step("nothing_yet")
        walk.press(start_words.BEGIN)
        walk.at(start_words.BEGIN)
        walk.step("form")
        walk.press(start_words.MAKE_IT)
        assert start_words.NOT_MADE in walk.text()
        walk.fill(start_words.BY, "Ada")
        walk.press(start_words.MAKE_IT)
        walk.page.get_by_text(start_words.MADE).wait_for()
        walk.step("made")
        sheet = walk.save(start_words.ROUND, tmp_path)
        file, panels = read(browser, sheet, tmp_path, width)
        with open_ledger(store) as book:
            hung = book.read().panels["panel"]
        assert len(hung) == 8
        assert set(panels) == set(hung)
        twice = {one for one in panels if panels.count(one) > 1}
        assert twice <= {
            ODD
        }  # read again where its replicates are known by then: racks are shuffled

        walk.go(start_words.TO_LOAD, load_words.TITLE)
        walk.page.locator("input[type=file]").set_input_files(file)
        walk.page.get_by_text(load_words.PREVIEW, exact=True).wait_for()
        walk.step("what_would_be_stored")
        walk.fill(load_words.BY, "Ada")
        walk.press(load_words.to_store(8, 0))
        walk.page.get_by_text(load_words.DONE).wait_for()
        walk.step("stored")
        typed("take", file.name, "--store", "trial.sqlite", cwd=tmp_path)  # nothing comes twice
        given = open_source(store)
        assert sorted(given.readings["panel"]) == sorted(hung)
        assert set(given.readings["operator"]) == {"Tess"}
        (doubt,) = check(given).open.to_dict("records")
        assert doubt["panel"] == ODD

        report = settled(walk, store)
    tells(store, report, browser, width)


def settled(walk, store):
    """Settle the doubt on its page, and save the report of the visit."""
    walk.menu(ways_words.SECTIONS["visit"], ways_words.DUE)
    walk.step("due_and_doubtful")
    walk.page.get_by_role("link", name="Look at them and settle them").click()
    walk.at(keeping_words.DOUBTS)
    walk.step("doubt")
    assert ODD in walk.text()
    walk.page.get_by_text(keeping_words.DECISIONS["corrected"]).click()
    walk.fill(keeping_words.NEW_VALUE, f"{MEANT:.3f}")
    walk.page.get_by_label(keeping_words.BY, exact=True).first.fill("Ada")
    walk.page.get_by_label(keeping_words.REASON, exact=True).first.fill("digits exchanged")
    walk.press(keeping_words.SETTLE)
    walk.page.get_by_text(keeping_words.DONE).wait_for()
    walk.step("settled")
    assert check(open_source(store)).open.empty
    return walk.save(keeping_words.REPORT_HTML, walk.pictures)


def tells(store, report, browser, width):
    """The store has both values of the reading, and the report tells offline what was decided."""
    with open_ledger(store) as book:
        ever = book.history()
        assert book.verify().whole
    mine = ever[ever["panel"] == ODD]
    assert mine["value"].tolist() == pytest.approx([TYPED + 0.002, MEANT])
    assert mine["reason"].dropna().tolist() == ["digits exchanged"]
    page = browser.new_context(viewport={"width": width, "height": 844}, offline=True).new_page()
    page.goto(report.as_uri())
    page.screenshot(path=report.with_suffix(".png"), full_page=True)
    assert page.locator("html").evaluate(OVER) == 0
    told = page.locator("body").inner_text()
    assert "digits exchanged" in told
    assert f"{MEANT:.3f}" in told
