"""A named person in a real browser: their cookie is out of every script's reach, tables stay in."""

from __future__ import annotations

import pytest
from rack_example import fill
from walk import Walk, serving

from aging import access
from aging.ledger import open_ledger
from dashboard import entry_words as wording
from dashboard import wording as words

CODE = "nine panels in the sun"


@pytest.fixture(scope="module")
def address(tmp_path_factory):
    made = tmp_path_factory.mktemp("team")
    store = fill(made)
    with open_ledger(store) as book:
        access.add(book, "kai", ["keeper"], who=None, passcode=CODE)
        access.add(book, "rob", ["reader"], who="kai", passcode=CODE)
    with serving(store, cwd=made) as served:
        yield served


@pytest.fixture(scope="module")
def walk(browser, address, tmp_path_factory):
    """Rob, signed in on the page that he asked for."""
    one = Walk(browser, address, 1280, tmp_path_factory.mktemp("pictures"))
    one.page.goto(f"{address}/overview")
    one.at(wording.TITLE)
    one.page.get_by_label(wording.NAME, exact=True).fill("rob")
    one.page.get_by_label(wording.PASSCODE, exact=True).fill(CODE)
    with one.page.expect_response("**/entry/*") as told:
        one.press(wording.SIGN_IN)
    one.given = told.value
    one.at(words.OVERVIEW)
    return one


def test_the_cookie_is_out_of_reach_of_scripts_and_other_sites(walk):
    (cookie,) = [c for c in walk.page.context.cookies() if c["name"].startswith("aging_")]
    assert (cookie["httpOnly"], cookie["sameSite"], cookie["path"]) == (True, "Strict", "/")
    assert cookie["expires"] == -1  # goes with the browser
    assert "aging_" not in walk.page.evaluate("document.cookie")
    assert cookie["value"] not in walk.page.content()
    again = walk.page.request.post(walk.given.url)  # a ticket is spent
    assert "set-cookie" not in again.headers


def test_a_new_tab_asks_for_no_passcode_again(walk, address):
    tab = walk.page.context.new_page()
    tab.goto(f"{address}/overview")
    tab.get_by_role("heading", name=words.OVERVIEW, level=1).wait_for()
    tab.close()


def test_who_may_take_nothing_out_finds_no_way_to_save_a_table_or_a_chart(walk):
    for shown in ("stDataFrame", "stVegaLiteChart"):
        walk.page.get_by_test_id(shown).first.hover()
    saving = walk.page.locator("button[aria-label^=Download], button[aria-label^=Copy]")
    named = {one.get_attribute("aria-label") for one in saving.all()}
    assert named == {"Download as CSV", "Download as PNG", "Copy Vega-Lite spec"}
    assert not any(one.is_visible() for one in saving.all())
    assert walk.page.get_by_role("button", name="Fullscreen").first.is_visible()
    walk.step("kept in")
