import subprocess
import sys
from pathlib import Path

import matplotlib as mpl
from matplotlib import ft2font

from twinangle.plotting.fonts import COMMON, covered, font_folder, slim_font


def test_machine_fonts_are_used_only_where_needed():
    assert covered("Ünal − 41° „x“ Ωμ Жук")
    assert not covered("日本")


def test_the_typeface_has_what_is_taken_for_granted():
    known = ft2font.FT2Font(str(font_folder() / "DejaVuSans.ttf")).get_charmap()
    asked = {code for first, end in COMMON for code in range(first, end)}
    assert asked <= known.keys()


def test_typefaces_are_found_without_the_plotting_library():
    assert font_folder() == Path(mpl.get_data_path()) / "fonts" / "ttf"
    assert slim_font()  # written by now
    code = (
        "import sys; from twinangle.plotting.fonts import slim_font; slim_font(); "
        "sys.exit('matplotlib' in sys.modules)"
    )
    subprocess.run([sys.executable, "-c", code], check=True)
