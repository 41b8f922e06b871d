"""The report as one page for a browser, from the blocks that the PDF is made from."""

from twinangle.report.web.page import report_page

__all__ = ["report_page"]
