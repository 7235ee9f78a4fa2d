"""The pages of claims in a real browser, at a desk and on a phone; a double tap makes one claim."""

from __future__ import annotations

import pytest
from claims_example import fill
from make_pictures import served

from aging.claims import standing
from aging.source import open_source
from dashboard import claim_words as wording
from dashboard import claims_case_words as case_words

PAGES = {"claims": wording.CLAIMS, "claim": wording.CLAIM, "claim_text": wording.TEXT,
         "claim_new?formulation=A8&basis=measured": wording.NEW}  # fmt: skip
OVER = "e => e.scrollWidth - e.clientWidth"


@pytest.fixture(scope="module")
def shop(tmp_path_factory):
    """A served store with claims: its file, their ids, the address."""
    path = tmp_path_factory.mktemp("claims") / "a.sqlite"
    ids = fill(path)
    with served(str(path)) as address:
        yield path, ids, address


def visit(browser, address, path, heading, width=1280):
    page = browser.new_context(viewport={"width": width, "height": 900}).new_page()
    page.goto(f"{address}/{path}")
    settle(page, heading)
    return page


def settle(page, heading):
    page.get_by_role("heading", name=heading, level=1, exact=True).wait_for(timeout=120_000)
    page.locator("[data-testid=stSpinner]").first.wait_for(state="detached", timeout=120_000)
    page.locator("[data-testid=stStatusWidget]").wait_for(state="detached", timeout=120_000)


@pytest.mark.parametrize("width", [1280, 390])
def test_no_page_of_claims_scrolls_sideways(browser, shop, width):
    for path, heading in PAGES.items():
        page = visit(browser, shop[2], path, heading, width)
        assert page.locator("html").evaluate(OVER) == 0
        assert page.locator("[data-testid=stMain]").evaluate(OVER) == 0
        assert page.locator("[data-testid=stException]").count() == 0
        charts = page.locator("[data-testid=stVegaLiteChart] svg")
        if path == "claim":
            charts.first.wait_for(timeout=60_000)
        assert all(svg.bounding_box()["width"] <= width for svg in charts.all())
        page.context.close()


def test_ticking_a_row_opens_its_claim_and_its_address_is_a_bookmark(browser, shop):
    _, ids, address = shop
    page = visit(browser, address, "claims", wording.CLAIMS)
    table = page.locator("[data-testid=stDataFrameResizable]").first
    box = table.bounding_box()
    page.mouse.click(box["x"] + 17, box["y"] + 35 * 1.5)  # the box of the first row
    settle(page, wording.CLAIM)
    assert page.url.endswith(f"claim?claim={ids['broken']}")
    page.goto(page.url)
    settle(page, wording.CLAIM)
    page.get_by_text("For internal use: B4, projected").first.wait_for(timeout=60_000)
    page.context.close()


def test_a_double_tap_makes_one_claim_and_opens_it(browser, shop):
    path, _, address = shop
    before = len(standing(open_source(path)))
    page = visit(browser, address, "claim_new?formulation=A8&months=48", wording.NEW, 390)
    name = page.get_by_label("Who decides")
    name.fill("Ada")
    page.get_by_role("button", name=case_words.RECORD, exact=True).dblclick()
    settle(page, wording.CLAIM)
    made = standing(open_source(path))
    assert len(made) == before + 1
    assert made[-1].made_by == "Ada"
    page.get_by_text(f"Claim {made[-1].claim}, made by Ada").wait_for(timeout=60_000)
    page.context.close()
