"""The frame around the places: what stands on the screen when the page opens, and in which light."""

from __future__ import annotations

import pytest


@pytest.mark.parametrize("size", ["laptop", "phone"])
@pytest.mark.parametrize("light", ["day", "night", "sun"])
def test_the_page_opens_with_its_three_instruments(visit, service, size, light):
    one = visit(size, light=light)
    page = one.go(service.address)
    assert page.locator("body").get_attribute("data-place") == "pressure"
    assert "invented" in page.locator("#invented").inner_text()
    assert page.locator("#plan canvas").is_visible()
    one.picture()
