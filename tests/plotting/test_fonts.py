from matplotlib import ft2font

from twinangle.plotting.fonts import COMMON, covered, font_folder


def test_machine_fonts_are_used_only_where_needed():
    assert covered("Ünal − 41° „x“ Ωμ Жук")
    assert not covered("日本")


def test_the_typeface_has_what_is_taken_for_granted():
    known = ft2font.FT2Font(str(font_folder() / "DejaVuSans.ttf")).get_charmap()
    asked = {code for first, end in COMMON for code in range(first, end)}
    assert asked <= known.keys()
