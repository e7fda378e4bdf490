"""The list of pulls to look at again as a screen and the page show it: short, and the same one."""

from holdcast.campaign.records import PullToCheck
from holdcast.show.text.result_doubts import MOST_PULLS, pulls_to_check_short, pulls_to_check_table

NAN = float("nan")


def pulls(number):
    """So many odd pulls of as many cells, then three more of the first."""
    cells = [*range(number), 0, 0, 0]
    return [
        PullToCheck((f"T{at:02d}",), f"A{cell}", "mud", 1000.0, 2000.0, NAN, NAN, f"reason {at}")
        for at, cell in enumerate(cells)
    ]


def test_a_screen_has_a_dozen_rows_and_names_the_file_with_all() -> None:
    lines = pulls_to_check_table(pulls(20), "si", "there/pulls_to_check.csv", width=140)
    rows = [line for line in lines if "reason" in line]
    assert len(rows) == MOST_PULLS == 12
    assert rows[0].startswith("T00, T20, T21 and 1 more") and "(the oddest of 4 odd pulls of this" in rows[0]
    assert lines[-1] == "And 8 more in there/pulls_to_check.csv"
    few = pulls_to_check_table(pulls(3), "si", "there/pulls_to_check.csv", width=140)
    assert sum("reason" in line for line in few) == 3
    assert not any("more in" in line for line in few)


def test_the_first_three_after_a_fit_are_rows_of_the_same_list() -> None:
    lines = pulls_to_check_short(pulls(20), "si", "there/pulls_to_check.csv", width=140)
    assert [line.split(",")[0].strip() for line in lines if "reason" in line] == ["T00", "T01", "T02"]
    assert lines[-1].strip() == "And 17 more in there/pulls_to_check.csv"
