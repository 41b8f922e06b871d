"""The typefaces of figures and pages: those that come with the plotting library."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterable
from functools import lru_cache
from importlib.util import find_spec
from pathlib import Path
from typing import Any

from twinangle.platform_calls import user_cache

# Blocks of DejaVu Sans that most figures need: Latin with its western European letters,
# punctuation, and the minus sign. A name with others is drawn from the whole typeface.
_BLOCKS = ((0x20, 0x7F), (0xA0, 0x100), (0x2010, 0x2027), (0x2212, 0x2213))
# Blocks of which the whole DejaVu Sans has every character: Latin, Greek, punctuation, mathematics.
COMMON = ((0x20, 0x7F), (0xA0, 0x250), (0x3B1, 0x3CA), (0x2010, 0x2028), (0x2190, 0x2300))
SLIM_FAMILY = "Twinangle Sans"


def font_folder() -> Path:
    """Return the folder of the typefaces that come with the plotting library.

    Pages ask for it where nothing was drawn: the library is found and not loaded.
    """
    found = find_spec("matplotlib")
    assert found is not None
    assert found.origin is not None
    return Path(found.origin).with_name("mpl-data") / "fonts" / "ttf"


def _write_slim_font(target: Path) -> None:
    """Write the part of DejaVu Sans that figures need, without its layout tables."""
    from fontTools import subset
    from fontTools.ttLib import TTFont

    font = TTFont(font_folder() / "DejaVuSans.ttf", recalcTimestamp=False)
    options = subset.Options(layout_features=[], hinting=False, name_IDs=["*"])
    options.drop_tables += ["GSUB", "GPOS", "GDEF", "kern", "FFTM", "MATH"]
    chosen = subset.Subsetter(options)
    chosen.populate(unicodes=[code for first, last in _BLOCKS for code in range(first, last)])
    chosen.subset(font)
    for record in font["name"].names:
        if record.nameID in (1, 4, 6, 16):
            name = SLIM_FAMILY.replace(" ", "") if record.nameID == 6 else SLIM_FAMILY
            record.string = name
    target.parent.mkdir(parents=True, exist_ok=True)
    handle, temporary = tempfile.mkstemp(dir=target.parent, suffix=".ttf")
    os.close(handle)
    font.save(temporary)
    os.replace(temporary, target)  # another process may be writing the same file


@lru_cache(maxsize=1)
def font_families() -> tuple[str, ...]:
    """Return the typefaces of the figures, first choice first.

    The first is a part of the second that most figures need, small enough to go with the report's
    page, and cut out once (kept in the user's cache folder). Characters outside it come from the
    whole one.
    """
    from matplotlib import font_manager

    font_manager.fontManager.addfont(_slim_font_file())
    return (SLIM_FAMILY, "DejaVu Sans")


def slim_font() -> bytes:
    """Return the file of the first of :func:`font_families`, for a page that shows figures.

    Drawings name the whole typeface, DejaVu Sans, of which it is a part.

    The file's name table says whose it is and under which terms, as every copy has to.
    """
    return _slim_font_file().read_bytes()


def _slim_font_file() -> Path:
    """Return where the cut-down typeface is kept; it is written where it is not there yet."""
    name = f"twinangle-sans-2-{(font_folder() / 'DejaVuSans.ttf').stat().st_size}.ttf"
    target = user_cache() / "twinangle" / "fonts" / name
    try:
        if not target.exists():
            _write_slim_font(target)
    except OSError:  # nothing can be written there: the plotting library finds another folder
        import matplotlib as mpl

        target = Path(mpl.get_cachedir()) / name
        if not target.exists():
            _write_slim_font(target)
    return target


def covered(characters: Iterable[str]) -> bool:
    """Return whether the plotting library's typeface has every one of the characters.

    Each rerun asks, also one that draws nothing: the typeface is not read for common letters.
    """
    asked = {ord(c) for c in set(characters)} - {0x0A, 0x200B, 0x202F}
    rare = {code for code in asked if not any(a <= code < b for a, b in COMMON)}
    if not rare:
        return True
    from matplotlib import ft2font

    return rare <= ft2font.FT2Font(str(font_folder() / "DejaVuSans.ttf")).get_charmap().keys()


@lru_cache(maxsize=4096)
def size_of(
    text: str, family: tuple[str, ...], size: float, weight: Any, slant: Any
) -> tuple[float, float, float]:
    """Return width, height and descent of a text, in points."""
    from matplotlib.font_manager import FontProperties
    from matplotlib.textpath import text_to_path

    prop = FontProperties(family=list(family), size=size, weight=weight, style=slant)
    width, height, descent = text_to_path.get_text_width_height_descent(text, prop, ismath=False)
    return float(width), float(height), float(descent)


@lru_cache(maxsize=64)
def heights_of(
    family: tuple[str, ...], size: float, weight: Any, slant: Any
) -> tuple[float | None, float | None, float | None]:
    """Return ascent, descent and gap of lines in points; None where the typeface does not say."""
    from matplotlib.font_manager import FontProperties, findfont, get_font

    prop = FontProperties(family=list(family), size=size, weight=weight, style=slant)
    font = get_font(findfont(prop))
    table, head = font.get_sfnt_table("OS/2"), font.get_sfnt_table("head")
    if table is None or head is None:
        return None, None, None
    scale = size / head["unitsPerEm"]
    return (
        table["sTypoAscender"] * scale, -table["sTypoDescender"] * scale,
        table["sTypoLineGap"] * scale,
    )  # fmt: skip
