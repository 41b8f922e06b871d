"""PDF files of figures, made of their SVG by a child process."""

import re
import zlib

import matplotlib as mpl
import numpy as np
import pytest

from twinangle.plotting.drawn import Drawn
from twinangle.plotting.looks import new_figure, styled
from twinangle.report.figure_files import Rendered, write_pdfs


def figure_of(words):
    with mpl.rc_context(styled()):
        figure = new_figure(88, 40)
        axes = figure.add_axes((0.2, 0.3, 0.7, 0.6))
        axes.plot(np.arange(3.0), [0, 2, 1])
        axes.set_xlabel("Angle (°)")
        return Rendered(Drawn("some", figure, "Some.", words))


def test_pdf_has_the_size_of_its_figure_its_words_and_the_same_bytes(tmp_path):
    written = []
    for name in ("first", "second"):
        made = figure_of('Curve "a" <rises>, then falls')
        with mpl.rc_context(styled()):
            made.write(tmp_path, name, ("svg", "pdf"))
            assert not (tmp_path / f"{name}.pdf").exists()  # it waits for the others
            write_pdfs([made])
        written.append((tmp_path / f"{name}.pdf").read_bytes())
    first, second = written
    assert first == second
    # ISO 32000-1, 7.7.3.3: the page's size in points of 1/72 inch.
    (box,) = re.findall(rb"/MediaBox ?\[([\d. ]+)\]", first)
    assert np.allclose([float(x) for x in box.split()], np.array([0, 0, 88, 40]) / 25.4 * 72,
                       atol=0.02)  # fmt: skip
    assert b"rises" in first or any(
        b"rises" in zlib.decompress(found)
        for found in re.findall(rb"stream\r?\n(.*?)\r?\nendstream", first, re.DOTALL)
        if found[:1] == b"x"
    )


def test_what_is_no_drawing_is_told_in_the_typesetters_words(tmp_path, monkeypatch):
    made = figure_of("Nothing")
    made.write(tmp_path, "some", ("pdf",))
    monkeypatch.setattr(made, "rendered", lambda suffix, dpi: b"<svg")
    with pytest.raises(RuntimeError, match=r"could not be written as PDF: .*SVG"):
        write_pdfs([made])
    assert not (tmp_path / "some.pdf").exists()
