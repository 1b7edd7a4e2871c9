"""A phone on the boat's network pairs, looks, and may change only with the other code."""

import pytest

pytestmark = pytest.mark.browser


@pytest.fixture
def network(serve, invented_answers, monkeypatch):
    """The pages as a phone meets them: it is not the board itself."""
    from analyzer.faces.web import session_middleware
    from analyzer.faces.web.access import Access
    from analyzer.faces.web.app import create_app

    monkeypatch.setattr(session_middleware, "is_own", lambda address: False)
    access = Access(b"k" * 32, {"look": "AAAA-2222", "change": "BBBB-3333"})
    with serve(create_app(invented_answers.InventedLog(), access=access)) as s:
        yield s.url


def pair(page, code):
    """By keyboard alone."""
    page.locator("#code").focus()
    page.keyboard.type(code)
    page.keyboard.press("Enter")


def test_code_opens_the_pages_and_they_remember(network, page):
    page.goto(network + "/trips")
    assert page.url.startswith(network + "/pair")
    assert page.locator("nav").count() == 0
    page.goto(network + "/pair?to=/trips")
    pair(page, "aaaa2222")
    page.wait_for_url(network + "/trips")
    page.goto(network)
    assert page.locator(".number").inner_text() == "13"


def test_looking_is_not_changing(network, chromium):
    context = chromium.new_context(viewport={"width": 390, "height": 844})
    page = context.new_page()
    page.goto(network + "/pair?to=/set-up")
    pair(page, "CCCC2222")
    assert "none of the codes" in page.locator("[role=alert]").inner_text()
    pair(page, "AAAA-2222")
    page.wait_for_url(network + "/set-up")
    assert page.locator("form.boat button").count() == 0
    page.goto(network + "/pair?to=/set-up")
    pair(page, "BBBB-3333")
    page.wait_for_url(network + "/set-up")
    page.locator("summary", has_text="Hull").click()
    page.locator('[name="hull.waterline_m"]').fill("8.6")
    page.locator("form.boat button").click()
    page.wait_for_url(network + "/set-up?saved=true")
    page.locator("summary", has_text="Hull").click()
    assert page.locator('[name="hull.waterline_m"]').input_value() == "8.6"
    context.close()
