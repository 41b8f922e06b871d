"""The whole page: head with its policy, contents, sections, and what a script draws."""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Collection, Mapping
from importlib import resources
from typing import Any

from twinangle.browser import uplot_licence, uplot_script, uplot_style
from twinangle.documents import DOCUMENTS, SUPPLEMENT
from twinangle.plotting.fonts import slim_font
from twinangle.report.web.explorer import (
    TITLE,
    explorer_blocks,
    explorer_data,
    explorer_markup,
)
from twinangle.report.web.markup import element, escaped, phrase
from twinangle.report.web.rendering import Rendering, anchor
from twinangle.results import StudyResults

ANSWER = "The answer"
BEHIND = (
    "Participants' pages, other procedures and forms, clocks, sensors, every warning, methods and "
    "hashes stand in supplement.pdf, every number in full in tables, both beside this file."
)
NOT_BEHIND = (
    "Every number stands in full in tables beside this file; the supplement was not asked for, and "
    "`twinangle report` makes it."
)


def report_page(
    results: StudyResults,
    content: Mapping[str, Any],
    drawings: Mapping[str, str],
    traces: Mapping[str, str],
    documents: Collection[str] = DOCUMENTS,
) -> str:
    """Return the report as one HTML document that needs no other file and no network.

    Parameters
    ----------
    results : StudyResults
        What a run found; only its traces' names and mean curves are read here.
    content : mapping
        As of :func:`twinangle.report.content.report_content`: what the PDF prints.
    drawings : mapping of str to str
        The figures as SVG documents, by name.
    traces : mapping of str to str
        The recordings' thinned traces as JSON, by stem.
    documents : collection of str
        What is made beside the PDF.
    """
    rendering = Rendering(drawings)
    first = rendering.section(ANSWER, content["first"])
    sections = [(ANSWER, first + _cautions(content))]
    for section in content["sections"]:
        title = section["title"]
        sections.append((title, rendering.section(title, section["blocks"])))
    recordings = explorer_data(results, traces)
    if recordings:
        below = rendering.section(TITLE, explorer_blocks(results, recordings))
        sections.append((TITLE, explorer_markup(recordings) + below))
    behind = BEHIND if SUPPLEMENT in documents else NOT_BEHIND
    body = _body(content, sections, behind)
    scripts = [uplot_script(), _own("page.js")] if recordings else []
    styles = _styles(rendering.fitting.styles(), with_plots=bool(recordings))
    return _document(content["title"], body, styles, scripts)


def _body(content: Mapping[str, Any], sections: list[tuple[str, str]], behind: str) -> str:
    """Return header, contents, sections and footer."""
    head = element("h1", element("bdi", phrase(content["title"])))
    head += element("p", phrase(content["subtitle"]), class_="subtitle")
    if content["banner"]:
        head += element("p", phrase(content["banner"]), class_="banner")
    links = "".join(
        element("li", element("a", phrase(title), href=f"#{anchor(k)}"))
        for k, (title, _) in enumerate(sections, start=1)
    )
    contents = element("nav", element("ul", links), aria_label="Contents")
    main = "".join(
        element(
            "section",
            element("h2", phrase(title), id=f"{anchor(k)}-title") + "\n" + inner,
            id=anchor(k),
            aria_labelledby=f"{anchor(k)}-title",
        )
        + "\n"
        for k, (title, inner) in enumerate(sections, start=1)
    )
    skip = element("a", "Skip to the answer", href=f"#{anchor(1)}", class_="skip")
    return "\n".join(
        (
            skip,
            element("header", head),
            element("div", contents + element("main", main, id="main"), class_="columns"),
            element("footer", _footer(behind)),
        )
    )


def _cautions(content: Mapping[str, Any]) -> str:
    return element("p", phrase(" ".join(content["cautions"])), class_="cautions")


def _footer(behind: str) -> str:
    """Return where the rest is, and the licence that goes with the plotting script."""
    licence = element("pre", escaped(uplot_licence().replace("\r\n", "\n").strip()))
    summary = element("summary", "Licence of the script that draws the plots to zoom (uPlot)")
    return element("p", escaped(behind)) + element("details", summary + licence)


def _styles(of_figures: str, *, with_plots: bool) -> str:
    """Return the one style sheet: typeface, page, plots, and the figures' classes."""
    font = slim_font()
    data = base64.b64encode(font).decode()
    face = f'@font-face{{font-family:"DejaVu Sans";src:url(data:font/ttf;base64,{data})}}\n'
    plots = uplot_style() if with_plots else ""
    return face + plots + _own("page.css") + of_figures


def _own(name: str) -> str:
    text = resources.files(__package__).joinpath(name).read_text(encoding="utf-8")
    return text.replace("\r\n", "\n")


def _document(title: str, body: str, styles: str, scripts: list[str]) -> str:
    """Return the document; its policy allows these styles and scripts, and no request at all."""
    allowed = " ".join(map(_hashed, scripts)) or "'none'"
    policy = (
        f"default-src 'none'; style-src {_hashed(styles)}; script-src {allowed}; "
        "font-src data:; base-uri 'none'; form-action 'none'"
    )
    written = "".join(f"<script>{script}</script>\n" for script in scripts)
    return (
        '<!DOCTYPE html>\n<html lang="en-GB">\n<head>\n<meta charset="utf-8">\n'
        f'<meta http-equiv="Content-Security-Policy" content="{policy}">\n'
        '<meta name="referrer" content="no-referrer">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{phrase(title).replace('<wbr>', '')}</title>\n"
        f"<style>{styles}</style>\n</head>\n<body>\n{body}\n{written}</body>\n</html>\n"
    )


def _hashed(text: str) -> str:
    digest = base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()
    return f"'sha256-{digest}'"
