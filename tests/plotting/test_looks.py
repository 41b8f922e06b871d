import io

import matplotlib as mpl
import numpy as np
import pytest
from matplotlib.colors import to_rgb
from numpy.testing import assert_allclose

from twinangle.plotting.looks import REFERENCE, WEARABLE, new_figure, rendered, styled


# W3C, Web Content Accessibility Guidelines 2.1: relative luminance and contrast ratio.
def luminance(colour):
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in to_rgb(colour)]
    return float(np.dot([0.2126, 0.7152, 0.0722], linear))


def test_instruments_are_apart_in_grey():
    assert_allclose(luminance("#ffffff"), 1)
    dark, light = sorted([luminance(WEARABLE), luminance(REFERENCE)])
    assert (light + 0.05) / (dark + 0.05) > 2.5


# Machado, Oliveira & Fernandes 2009, IEEE Trans Vis Comput Graph 15:1291, full severity, for
# linear RGB; the matrices are from memory.
CVD = {
    "protanopia": [
        [0.152286, 1.052583, -0.204868],
        [0.114503, 0.786281, 0.099216],
        [-0.003882, -0.048116, 1.051998],
    ],
    "deuteranopia": [
        [0.367322, 0.860646, -0.227968],
        [0.280085, 0.672501, 0.047413],
        [-0.011820, 0.042940, 0.968881],
    ],
}


@pytest.mark.parametrize("name", CVD)
def test_instruments_are_apart_for_colour_blind_readers(name):
    def seen(colour):
        rgb = np.array(to_rgb(colour))
        linear = np.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4)
        return np.clip(np.array(CVD[name]) @ linear, 0, 1)

    assert_allclose(np.array(CVD[name]).sum(axis=1), 1, atol=2e-6)  # greys stay grey
    assert np.linalg.norm(seen(WEARABLE) - seen(REFERENCE)) > 0.3


def test_image_formats_are_written_at_300_dpi():
    from PIL import Image

    with mpl.rc_context(styled()):
        figure = new_figure(88, 40)
        figure.add_axes((0.2, 0.2, 0.7, 0.7)).plot([0, 1], [0, 1])
        for suffix, dpi in (("png", 300), ("png", 600), ("tiff", 300)):
            with Image.open(io.BytesIO(rendered(figure, suffix, dpi=dpi))) as image:
                assert abs(image.width - 88 / 25.4 * dpi) <= 1
                assert image.format == suffix.upper()


def test_unknown_image_format_is_refused():
    with pytest.raises(ValueError, match="expected svg, png or tiff, got 'jpg'"):
        rendered(new_figure(88, 40), "jpg")


def test_svg_keeps_its_text_and_has_the_same_bytes_each_time():
    def drawn():
        with mpl.rc_context(styled()):
            figure = new_figure(85, 40)
            axes = figure.add_axes((0.2, 0.3, 0.7, 0.6))
            axes.plot([0, 1], [0, 1])
            axes.set_title("a <b> & $c$")
            return rendered(figure, "svg", title="Two <points>").decode()

    first, second = drawn(), drawn()
    assert first == second
    assert "<dc:date>" not in first
    assert "a &lt;b&gt; &amp; $c$</text>" in first
    assert "<title>Two &lt;points&gt;</title>" in first
    assert "sans-serif" in first
    assert "Twinangle" not in first
    assert 'width="240.9' in first  # 85 mm in points, of which there are 72 an inch
