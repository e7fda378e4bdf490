"""The report: one self-contained page that others can check."""

from holdcast.show.report.page import report_html

__all__ = ["report_html"]
