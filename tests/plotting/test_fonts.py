import os
import subprocess
import sys
from pathlib import Path

import matplotlib as mpl
from matplotlib import ft2font

from twinangle.plotting import fonts
from twinangle.plotting.fonts import COMMON, covered, font_folder, slim_font


def test_machine_fonts_are_used_only_where_needed():
    assert covered("Ünal − 41° „x“ Ωμ Жук")
    assert not covered("日本")


def test_the_typeface_has_what_is_taken_for_granted():
    known = ft2font.FT2Font(str(font_folder() / "DejaVuSans.ttf")).get_charmap()
    asked = {code for first, end in COMMON for code in range(first, end)}
    assert asked <= known.keys()


def test_a_cache_that_may_not_be_looked_into_is_passed_by(tmp_path, monkeypatch):
    stat = Path.stat

    def refused(path: Path, **how: bool) -> os.stat_result:
        if path.is_relative_to(tmp_path / "of another user"):
            raise PermissionError(13, "Permission denied")
        return stat(path, **how)

    def written(target: Path) -> None:
        if target.parent != tmp_path:
            raise PermissionError(13, "Permission denied")
        target.write_bytes(b"a font")

    monkeypatch.setattr(Path, "stat", refused)
    monkeypatch.setattr(fonts, "user_cache", lambda: tmp_path / "of another user")
    monkeypatch.setattr(mpl, "get_cachedir", lambda: str(tmp_path))
    monkeypatch.setattr(fonts, "_write_slim_font", written)
    assert slim_font() == b"a font"


def test_typefaces_are_found_without_the_plotting_library():
    assert font_folder() == Path(mpl.get_data_path()) / "fonts" / "ttf"
    assert slim_font()  # written by now
    code = (
        "import sys; from twinangle.plotting.fonts import slim_font; slim_font(); "
        "sys.exit('matplotlib' in sys.modules)"
    )
    subprocess.run([sys.executable, "-c", code], check=True)
