"""The report: one self-contained page that others can check."""

from holdcast.show.report.page import LogFacts, ModelCheck, Pictures, report_html
from holdcast.show.report.page_data import Reader

__all__ = ["LogFacts", "ModelCheck", "Pictures", "Reader", "report_html"]
