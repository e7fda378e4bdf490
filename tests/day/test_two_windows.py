"""The day page open twice on one phone: neither window loses what the other keeps."""

import pytest
from on_the_phone import (
    entries,
    in_a_browser_that_keeps,
    keep,
    key_of,
    pull,
    wait_until,
    wait_until_handed_on,
)

KEPT = "document.querySelectorAll('.entries li').length === {}"


@in_a_browser_that_keeps
def test_the_same_page_open_twice_loses_nothing(phone, tmp_path):
    one = phone()
    other = phone(context=one.context)
    pull(one, "1.0")
    keep(one)
    wait_until(other, KEPT.format(1))
    pull(other, "2.0")
    keep(other)
    wait_until(one, KEPT.format(2))
    pull(one, "3.0")
    keep(one)
    wait_until_handed_on(one, tmp_path)
    one.reload()
    assert len(entries(one)) == 3 and len(set(one.locator(".entries small").all_text_contents())) == 3


STALE_WHILE_IT_LOADS = """
const read = Storage.prototype.getItem;
Storage.prototype.getItem = function (key) {
  return document.readyState === "complete" ? read.call(this, key) : null;
};
"""


@in_a_browser_that_keeps
def test_a_page_that_opens_on_a_store_of_a_moment_ago_loses_nothing(phone):
    """Two windows have a process each: what one wrote may reach the other after it has loaded and written."""
    one = phone()
    pull(one, "1.0")
    keep(one)
    pull(one, "2.5", card=1)
    one.context.add_init_script(STALE_WHILE_IT_LOADS)
    other = phone(context=one.context)
    for page in (one, other):
        wait_until(page, KEPT.format(1))
    assert entries(one) == entries(other) == ["Held 1.0 kN; did not let go"]
    assert one.input_value("#f-held") == "2.5"  # what is being typed stays on its own screen
    keep(one)
    wait_until(other, KEPT.format(2))
    assert entries(other, 1) == ["Held 2.5 kN; did not let go"]


READS_NOTHING = "Storage.prototype.getItem = () => null;"


@in_a_browser_that_keeps
def test_a_page_that_is_told_nothing_leaves_the_log_as_it_is(phone, tmp_path):
    """Also where its browser reads a full store as empty, as a busy one does now and then."""
    page = phone()
    kept = "key => localStorage[key] ?? null"  # past the reading that is spoilt below
    assert page.evaluate(kept, key_of(page)) is None
    pull(page, "1.0")
    keep(page)
    log = page.evaluate(kept, key_of(page))
    wait_until_handed_on(page, tmp_path)
    page.context.add_init_script(READS_NOTHING)
    for _ in range(2):
        page.reload()
        assert entries(page) == []
        assert page.evaluate(kept, key_of(page)) == log
    page.evaluate("dispatchEvent(new StorageEvent('storage', { key: 'another', newValue: null }))")
    page.evaluate("document.dispatchEvent(new Event('visibilitychange'))")
    assert page.evaluate(kept, key_of(page)) == log


def stored(page):
    return page.evaluate("key => localStorage.getItem(key)", key_of(page))


def hand_over(pages):
    """Tell each page what the other wrote, late and crossing, until neither has anything new to say."""
    for turn in range(1, 6):
        texts = [stored(page) for page in pages]
        for page, text in zip(pages, reversed(texts), strict=True):
            page.evaluate(
                "([key, text]) => dispatchEvent(new StorageEvent('storage', { key, newValue: text }))",
                [key_of(page), text],
            )
        if [stored(page) for page in pages] == texts:
            return turn
    raise AssertionError("the two pages go on answering each other")


def kept_lines(page):
    return sorted(page.locator(".entries li").evaluate_all("all => all.map(line => line.innerText)"))


@pytest.fixture
def two_pages(phone):
    """The same page twice, neither of which has heard of the other's writing yet."""
    one, other = phone(), phone()
    # Of one name, so that both give out the same ids.
    name = one.evaluate("key => localStorage.getItem(key + ' phone')", key_of(one))
    other.evaluate("([key, name]) => localStorage.setItem(key + ' phone', name)", [key_of(one), name])
    other.reload()
    return one, other


def test_what_two_pages_kept_is_joined_whoever_hears_first(two_pages):
    one, other = two_pages
    for page, loads in ((one, ("1.0", "2.0")), (other, ("3.0",))):
        for held in loads:
            pull(page, held)
            keep(page)
    other.fill("#day-depth", "4,5")
    assert hand_over(two_pages) <= 3
    assert kept_lines(one) == kept_lines(other) and len(kept_lines(one)) == 3
    ids = one.locator(".entries small").all_text_contents()
    assert len(set(ids)) == 3  # both pages had given out the first number
    assert one.input_value("#day-depth") == "4,5"
    one.locator(".entries").first.get_by_role("button", name="Delete").first.click()
    other.locator(".entries").first.get_by_role("button", name="Edit").last.click()
    other.fill("#f-released", "3.5")
    keep(other)
    assert hand_over(two_pages) <= 3
    assert kept_lines(one) == kept_lines(other) and len(kept_lines(one)) == 2
    assert any("let go at 3.5 kN" in line for line in kept_lines(one))
    other.locator("#undo").click()
    hand_over(two_pages)
    assert kept_lines(one) == kept_lines(other) and len(kept_lines(one)) == 3


def test_saving_in_one_window_keeps_what_the_other_changed_before(two_pages):
    one, other = two_pages
    pull(one, "1.0")
    keep(one)
    hand_over(two_pages)
    other.locator(".entries").first.get_by_role("button", name="Edit").click()
    other.fill("#f-released", "1.5")
    keep(other)
    with one.expect_download():
        one.locator("#save-file").click()
    assert "all saved" in one.text_content("#save-words")
    hand_over(two_pages)
    for page in two_pages:
        assert entries(page) == ["Held 1.0 kN; let go at 1.5 kN"]
        assert "1 not saved yet" in page.text_content("#save-words")


def test_two_tests_typed_at_once_are_both_kept(two_pages):
    one, other = two_pages
    pull(one, "1.0")
    pull(other, "3.0", card=1)
    assert hand_over(two_pages) <= 4
    assert one.input_value("#f-held") == "1.0" and other.input_value("#f-held") == "3.0"
    other.fill("#f-released", "3.5")
    keep(other)
    hand_over(two_pages)
    assert entries(one, 1) == ["Held 3.0 kN; let go at 3.5 kN"]
    keep(one)
    hand_over(two_pages)
    assert kept_lines(one) == kept_lines(other) and len(kept_lines(one)) == 2
    assert len(set(one.locator(".entries small").all_text_contents())) == 2


@in_a_browser_that_keeps
def test_a_test_that_another_page_finished_is_closed_here(phone):
    one = phone()
    pull(one, "1.0")
    other = phone(context=one.context)
    wait_until(other, "document.querySelector('.place #entry') !== null")
    one.fill("#f-released", "1.5")
    keep(one)
    wait_until(other, KEPT.format(1))
    assert other.locator(".place #entry").count() == 0
    assert entries(other) == ["Held 1.0 kN; let go at 1.5 kN"]


@in_a_browser_that_keeps
def test_entries_without_stamps_are_read_and_can_be_edited(phone):
    """As a page wrote them that had no second window in mind."""
    page = phone()
    pull(page, "1.0")
    keep(page)
    page.evaluate(
        """key => {
          const text = JSON.parse(localStorage.getItem(key));
          for (const entry of text.entries)
            for (const name of ["made", "changed", "saved", "deleted"]) delete entry[name];
          localStorage.setItem(key, JSON.stringify({ ...text, removed: [], saved: [] }));
        }""",
        key_of(page),
    )
    page.reload()
    assert "1 not saved yet" in page.text_content("#save-words")
    page.locator(".entries").first.get_by_role("button", name="Edit").click()
    page.fill("#f-released", "2.5")
    keep(page)
    page.reload()
    assert entries(page) == ["Held 1.0 kN; let go at 2.5 kN"]
