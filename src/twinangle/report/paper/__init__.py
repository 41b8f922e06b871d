"""The parts of a paper, made from a run's results: figures, tables, texts, checklists."""

from twinangle.report.paper.kit import begin_paper, paper_places

__all__ = ["begin_paper", "paper_places"]
