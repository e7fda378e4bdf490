"""What a hand does on the day page in a browser, and how long to wait for another window."""

import functools
import time

TRIES = 3
PATIENCE_S = 30.0
"""A busy browser mostly takes six seconds to hand what one page keeps on to another process, not always."""


def in_a_browser_that_keeps(test):
    """Run a test again, in a browser's store of its own, where the first did not keep what it was given.

    On a busy machine (three browsers at a time on two cores) one of 75 fresh browsers never showed one window
    what another had kept, and a window that was loaded again now and then read its store as empty, though
    another window saw what stood in it.  A page cannot help that; what a page of ours loses, it loses every
    time.
    """

    @functools.wraps(test)
    def tried(*arguments, **fixtures):
        from playwright.sync_api import Error

        for _ in range(TRIES - 1):
            try:
                return test(*arguments, **fixtures)
            except (AssertionError, Error):
                continue
        return test(*arguments, **fixtures)

    return tried


def begin(page, card=0):
    page.locator(".test").nth(card).locator(".write").click()


def pull(page, held="", released="", card=0):
    begin(page, card)
    page.fill("#f-held", held)
    page.fill("#f-released", released)


def keep(page):
    page.get_by_role("button", name="Keep it").click()


def entries(page, card=0):
    return page.locator(".test").nth(card).locator(".entries li b").all_text_contents()


def wait_until(page, expression, *arguments):
    """Return when the script's expression holds.

    The browser's own waiting looks again with ``eval``, which the page's policy refuses.
    """
    end = time.monotonic() + PATIENCE_S
    while not page.evaluate(expression, *arguments):
        assert time.monotonic() < end, f"still not so: {expression}"
        page.wait_for_timeout(20)


def wait_until_handed_on(page, tmp_path):
    """Return when a page of another process sees what this one keeps."""
    empty = tmp_path / "empty.html"
    empty.write_text("<!doctype html><title>empty</title>", encoding="utf-8")
    kept = page.evaluate("JSON.stringify(localStorage)")
    assert len(kept) > 2
    other = page.context.new_page()
    other.goto(empty.as_uri())
    wait_until(other, "kept => JSON.stringify(localStorage) === kept", kept)
    other.close()


def key_of(page):
    return page.evaluate("JSON.parse(document.getElementById('day-data').textContent).key")
