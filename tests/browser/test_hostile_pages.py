"""Names that are no names, in a real browser, in every page that is written: no script of theirs runs."""

from __future__ import annotations

from collections.abc import Callable

import exported
import pytest
from playwright.sync_api import BrowserContext
from test_hostile import PIECES, findings_of, pages_of

from browser.conftest import Watched, all_sizes

STRINGS = (
    '</script><script>document.title = "broken"</script>',
    "<img src=x onerror=\"document.title = 'broken'\"><svg/onload=\"document.title = 'broken'\">",
    "]]> & \"quotes' and ${7*7} {{7*7}} \u202eright to left",
    "=HYPERLINK(1) \x00 null 👩🏽‍🚀",
)


@pytest.mark.parametrize("text", STRINGS)
def test_no_page_runs_what_a_name_holds(context: BrowserContext, text: str) -> None:
    """The pages' own policy is switched off by a setting of the browser: escaping alone must hold."""
    page = context.browser.new_context(bypass_csp=True, offline=True).new_page()
    troubles: list[str] = []
    page.on("dialog", lambda dialog: (troubles.append("dialog"), dialog.dismiss()))
    page.on("pageerror", lambda error: troubles.append(str(error)))
    for name, written in pages_of(text).items():
        page.set_content(written, wait_until="load")
        if 'id="findings"' in written:  # or its last steps would run on the page that comes next
            page.wait_for_selector("html.ready", state="attached")
        page.wait_for_timeout(50)
        assert page.title() != "broken", name
        assert page.locator("img, iframe, bdi *, [onerror], [onload]").count() == 0, name
        shown = page.evaluate("() => document.body.textContent")
        assert text.split("\x00")[0].split("\u202e")[0].strip() in shown, name
    assert troubles == []
    page.context.close()


@all_sizes
def test_details_show_every_piece_as_text(open_page: Callable[..., Watched]) -> None:
    everything = "".join(piece for piece in PIECES if piece not in ("\x00", "") and len(piece) < 200)
    opened = open_page(findings_of(everything), "#spot=1")
    told = opened.page.locator("#details-body").text_content() or ""
    assert "</script><script>alert(1)</script>" in told
    assert exported.HOSTILE[2] in told
    assert opened.page.locator("#details-body img, #details-body script, #spots script, bdi *").count() == 0
    assert opened.page.evaluate("() => document.documentElement.scrollWidth - window.innerWidth") <= 0
    assert opened.messages == []
    assert opened.asked_for() == []
