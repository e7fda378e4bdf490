"""The day page: what to expect of each planned test, and a log to type in on the water, without a network."""

from holdcast.show.day.page import day_html, write_day_page
from holdcast.show.day.page_data import DayFacts, PlannedTest

__all__ = ["DayFacts", "PlannedTest", "day_html", "write_day_page"]
