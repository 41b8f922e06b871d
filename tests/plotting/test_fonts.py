from twinangle.plotting.fonts import covered


def test_machine_fonts_are_used_only_where_needed():
    assert covered("Ünal − 41° „x“ Ωμ Жук")
    assert not covered("日本")
