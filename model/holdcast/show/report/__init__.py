"""The report: one self-contained page that others can check."""

from holdcast.show.report.page import LogFacts, ModelCheck, report_html

__all__ = ["LogFacts", "ModelCheck", "report_html"]
