from twinangle.report.provenance import flat_parameters


def test_parameters_are_flattened_in_order():
    found = flat_parameters({"a": {"b": None, "c": True}, "d": ("x", "y"), "e": 0.5, "f": []})
    assert found == [("a.b", "not set"), ("a.c", "yes"), ("d", "x, y"), ("e", "0.5"), ("f", "none")]
