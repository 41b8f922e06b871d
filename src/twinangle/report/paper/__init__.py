"""The parts of a paper, made from a run's results: figures, tables, texts, checklists."""

from twinangle.report.paper.kit import PAPER, begin_paper, paper_places

__all__ = ["PAPER", "begin_paper", "paper_places"]
