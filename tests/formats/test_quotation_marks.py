"""A stray quotation mark swallows rows in any reader of such tables: it is refused with its row."""

from __future__ import annotations

import pytest

from twinangle.errors import RecordingError
from twinangle.formats import describe_file, read_recording


def text(marks: dict[int, str], *, columns: int = 3, n: int = 2000) -> str:
    """Return rows of numbers with a last column of remarks, some of them given."""
    head = ["time_s", "knee_deg", "note"][:columns]
    lines = [",".join(head)]
    for k in range(n):
        cells = [f"{k / 100:.2f}", f"{k % 60}.5", ""][:columns]
        if k in marks:
            cells[-1] = marks[k]
        lines.append(",".join(cells))
    return "\n".join(lines) + "\n"


@pytest.mark.parametrize(
    ("marks", "columns", "row"),
    [
        ({50: '"'}, 3, 52),  # the rest of the file is one cell
        ({50: '"x', 1276: '"x'}, 3, 52),  # 1,226 rows between the two
        ({50: '"30.5'}, 2, 52),
        ({50: '"30.5', 51: '31.5"'}, 2, 52),
        ({3: '"fine"', 50: '"x', 90: 'y"'}, 3, 52),
    ],
)
def test_a_stray_mark_is_refused_with_its_row(tmp_path, marks, columns, row):
    path = tmp_path / "goni.csv"
    path.write_text(text(marks, columns=columns))
    for read in (
        lambda: read_recording(path, columns=["knee_deg"], time="time_s"),
        lambda: describe_file(path),
    ):
        with pytest.raises(RecordingError) as caught:
            read()
        assert f"row {row}: " in str(caught.value)
        assert "quotation mark" in str(caught.value)


@pytest.mark.parametrize(
    "marks",
    [
        {50: '"slipped, twice"', 60: '"a ""word"""'},
        {50: '"two\nlines"', 70: '"three\nmore\nlines"'},
        {50: 'a 24" screen', 60: "5'9\""},
    ],
)
def test_marks_that_close_or_do_not_open_a_cell_pass(tmp_path, marks):
    path = tmp_path / "goni.csv"
    path.write_text(text(marks))
    recording = read_recording(path, columns=["knee_deg"], time="time_s")
    assert recording.values.shape == (2000, 1)


def test_marks_above_the_column_names_and_in_comments_are_nobodys_business(tmp_path):
    path = tmp_path / "goni.csv"
    path.write_text('Screen 24"\n# the "other one\n' + text({}))
    assert describe_file(path).n_samples == 2000
