"""Every way is found by thumb, by keyboard, by a link that was sent, and by a screen reader."""

from __future__ import annotations

import pytest
from axe_check import THEIRS, findings
from claims_example import fill
from test_browser import serve
from walk import calm

from dashboard import (
    claim_words,
    due_words,
    keeping_words,
    log_words,
    trial_wording,
    ways_words,
    wording,
)

HEADINGS = {
    "": ways_words.WAYS_HEADING, "due": ways_words.DUE, "leading": ways_words.LEADING,
    "holding": ways_words.HOLDING, "log": log_words.TITLE, "doubts": keeping_words.DOUBTS,
    "story": keeping_words.STORY, "claims": claim_words.CLAIMS, "methods": "",
}  # fmt: skip
TALL = 44
SHOWN = """seen => { const main = document.querySelector('[data-testid=stMain]');
  return main.innerText.includes(seen)
    || [...main.querySelectorAll('input')].some(one => one.value.includes(seen)); }"""
CALLED = """name => { const one = document.activeElement;
  const label = one.getAttribute('aria-label'), text = one.innerText || '';
  return one.matches('a, button, input, summary')
    && (label ? label === name : text.trim().endsWith(name)); }"""
SHORT = """() => [...document.querySelectorAll('[data-testid=stSidebarNavLink]')]
  .map(one => one.getBoundingClientRect().height).filter(tall => tall < 44)"""


@pytest.fixture(scope="module")
def site(tmp_path_factory):
    home = tmp_path_factory.mktemp("ways")
    ids = fill(home / "a.sqlite")
    with serve(home / "a.sqlite", home) as url:
        yield url, ids


def opened(browser, url: str, path: str, width: int = 1280):
    page = browser.new_context(viewport={"width": width, "height": 900}).new_page()
    page.goto(f"{url}/{path}")
    settled(page)
    return page


def settled(page, heading: str = ""):
    page.get_by_role("heading", level=1, name=heading or None).first.wait_for(timeout=120_000)
    calm(page)


def tab_to(page, name: str, most: int = 60) -> None:
    """Press Tab until what has the focus is called `name`."""
    for _ in range(most):
        page.keyboard.press("Tab")
        if page.evaluate(CALLED, name):
            return
    pytest.fail(f"Tab does not reach {name!r}")


@pytest.mark.parametrize("path", HEADINGS)
def test_no_page_has_a_grave_finding_of_accessibility(browser, site, path):
    page = opened(browser, site[0], path)
    if HEADINGS[path]:
        assert page.get_by_role("heading", level=1).inner_text() == HEADINGS[path]
    assert findings(page) == []
    page.context.close()


def test_the_list_of_what_is_not_ours_is_short():
    assert len(THEIRS) <= 3
    assert all(THEIRS.values())


def test_on_a_phone_every_page_is_one_thumb_away(browser, site):
    page = opened(browser, site[0], "", width=390)
    page.get_by_test_id("stExpandSidebarButton").click()
    page.get_by_test_id("stSidebarNavLink").first.wait_for()
    assert page.get_by_test_id("stSidebarNavLink").count() > 15
    assert page.evaluate(SHORT) == []
    page.get_by_test_id("stSidebarNavLink").filter(has_text=ways_words.DUE).click()
    settled(page, ways_words.DUE)
    link = page.get_by_role("link", name=due_words.LOG_ANYWAY)
    assert link.bounding_box()["height"] >= TALL
    page.context.close()


def test_a_link_that_was_sent_opens_what_was_chosen(browser, site):
    url, ids = site
    for path, seen in (
        ("log?panel=TOWN-A8-2", "TOWN-A8-2"), ("story?panel=DESERT-B4-1", "DESERT-B4-1"),
        ("compare?months=24&worthwhile=0.01", "at 24 months"),
        ("leading?months=48", "at 48 months"), (f"claim?claim={ids['at risk']}", "At risk"),
    ):  # fmt: skip
        page = opened(browser, url, path)
        page.wait_for_function(SHOWN, arg=seen, timeout=60_000)
        assert all(part in page.url for part in path.partition("?")[2].split("&"))
        page.context.close()


def test_a_claim_is_opened_by_keyboard_alone(browser, site):
    page = opened(browser, site[0], "holding")
    page.get_by_role("link", name=claim_words.OPEN_CLAIM).first.wait_for(timeout=120_000)
    calm(page)
    tab_to(page, claim_words.OPEN_CLAIM)
    page.keyboard.press("Enter")
    settled(page, claim_words.CLAIM)
    page.context.close()


def test_a_comparison_is_read_by_keyboard_alone(browser, site):
    page = opened(browser, site[0], "")
    tab_to(page, wording.COMPARE)
    page.keyboard.press("Enter")
    settled(page, wording.COMPARE)
    page.get_by_role("heading", name=trial_wording.NUMBERS_HEADING).wait_for(timeout=120_000)
    calm(page)
    tab_to(page, "Property, months and level")
    page.keyboard.press("Enter")
    page.get_by_role("combobox", name=wording.MONTHS).wait_for()
    calm(page)
    tab_to(page, wording.NUMBERS_HEADING)
    page.keyboard.press("Enter")
    page.locator("details[open]").nth(1).wait_for()  # after the choices, the numbers of a chart
    page.context.close()


def test_a_reading_is_logged_by_keyboard_alone(browser, site):
    page = opened(browser, site[0], "log?panel=TOWN-A8-2")
    page.get_by_role("textbox", name="Solar reflectance", exact=True).wait_for(timeout=120_000)
    calm(page)
    tab_to(page, "Solar reflectance")
    page.keyboard.type("0.70 0.71 0.72")
    page.keyboard.press("Tab")
    page.get_by_text("Mean 0.710").first.wait_for(timeout=30_000)
    calm(page)
    tab_to(page, log_words.SAVE)
    page.keyboard.press("Enter")
    page.get_by_text(log_words.LACKING, exact=False).first.wait_for(timeout=30_000)
    field = page.get_by_role("textbox", name="Solar reflectance", exact=True)
    assert field.input_value() == "0.70 0.71 0.72"
    page.context.close()
