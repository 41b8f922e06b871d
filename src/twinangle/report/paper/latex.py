r"""A paper's table as LaTeX, with the rules of the package booktabs.

What is not ours (codes, conditions, covariates) is escaped: no character of it is a command.
"""

from __future__ import annotations

from twinangle.report.paper.tables import PaperTable

_SPECIAL = {
    "\\": r"\textbackslash{}",
    "{": r"\{",
    "}": r"\}",
    "&": r"\&",
    "%": r"\%",
    "$": r"\$",
    "#": r"\#",
    "_": r"\_",
    "~": r"\textasciitilde{}",
    "^": r"\textasciicircum{}",
    "<": r"\textless{}",
    ">": r"\textgreater{}",
    "|": r"\textbar{}",
    '"': r"\textquotedbl{}",
    "`": r"\textasciigrave{}",
    "\n": " ",
    "−": "$-$",
    "±": r"$\pm$",
    "°": r"\textdegree{}",
    "²": r"\textsuperscript{2}",
    "–": "--",
    "\u00a0": "~",
    "\u202f": r"\,",
    "\u200b": "",
}  # fmt: skip
_TABLE = str.maketrans(_SPECIAL)


def escaped(text: str) -> str:
    """Return text that LaTeX prints as it stands."""
    return text.translate(_TABLE)


def as_latex(table: PaperTable) -> str:
    r"""Return the table as an environment to `\input`.

    It needs booktabs and textcomp, and UTF-8, which every engine of today reads.
    """
    numbers = len(table.head) - table.words
    lines = [
        "% Needs \\usepackage{booktabs} and \\usepackage{textcomp}.",
        r"\begin{table}",
        r"\centering",
        rf"\caption{{{escaped(table.title)}}}",
        rf"\label{{tab:{table.name.replace('_', '-')}}}",
        r"\footnotesize",
        rf"\begin{{tabular}}{{{'l' * table.words}{'r' * numbers}}}",
        r"\toprule",
        _row(table.head),
        r"\midrule",
        *(_row(row) for row in table.rows),
        r"\bottomrule",
        r"\end{tabular}",
        *(rf"\par\smallskip {escaped(note)}" for note in table.notes),
        r"\end{table}",
    ]
    return "\n".join(lines) + "\n"


def _row(cells: tuple[str, ...]) -> str:
    """Return a row; a cell in braces cannot be taken for the option of the rule above it."""
    shown = [escaped(cell) for cell in cells]
    first = f"{{{shown[0]}}}" if shown[0].startswith(("[", "*")) else shown[0]
    return " & ".join([first, *shown[1:]]) + r" \\"
