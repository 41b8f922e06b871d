"""The report of a run: reads results, computes no statistic."""

from twinangle.report.document import write_report

__all__ = ["write_report"]
