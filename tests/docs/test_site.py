"""What the site does beyond the pages' own text: tables on a phone, outputs of tutorials."""

from __future__ import annotations

from types import SimpleNamespace

WORDS = """<table class="docutils align-default">
<thead>
<tr class="row-odd"><th class="head"><p>key</p></th>
<th class="head"><p>if left out</p></th>
<th class="head"><p>meaning</p></th>
</tr>
</thead>
<tbody>
<tr class="row-even"><td><p><code>time</code></p></td>
<td><p></p></td>
<td><p>column of times; may be left out where a rate is given</p></td>
</tr>
<tr class="row-odd"><td><p>unit</p></td>
<td><p>refused</p></td>
<td><p>short</p></td>
</tr>
</tbody>
</table>"""


def test_cells_of_a_table_of_words_say_their_heading(narrow_tables):
    said = narrow_tables.TABLE.sub(narrow_tables.stacked, f"<p>x</p>{WORDS}<p>y</p>")
    assert 'class="docutils align-default stacks"' in said
    assert said.count('data-head="meaning"') == 2
    assert said.count('data-head="if left out"') == 1
    assert said.count('data-empty=""') == 1
    assert 'data-head="key"' not in said  # the first cell is the title


def test_a_table_of_numbers_stays_one(narrow_tables):
    numbers = WORDS.replace("column of times; may be left out where a rate is given", "0.35")
    assert narrow_tables.TABLE.sub(narrow_tables.stacked, numbers) == numbers
    joined = WORDS.replace("<td><p>unit", '<td colspan="2"><p>unit')
    assert narrow_tables.TABLE.sub(narrow_tables.stacked, joined) == joined


def test_outputs_of_another_program_are_never_shown(tutorial_outputs, tmp_path, monkeypatch):
    folder = tmp_path / "executed"
    cells, made_with = tutorial_outputs.kept_outputs(folder)
    (folder / "cells").mkdir()
    assert tutorial_outputs.kept_outputs(folder) == (cells, made_with)
    assert (folder / "cells").is_dir()
    monkeypatch.setattr(tutorial_outputs, "our_code", lambda: {"twinangle": "changed"})
    again, other = tutorial_outputs.kept_outputs(folder)
    assert again == cells
    assert other != made_with  # so the site makes its pages anew
    assert not (folder / "cells").exists()


def test_a_tutorial_without_outputs_says_how_to_see_them(tutorial_outputs):
    text = "---\nfile_format: mystnb\n---\n\n# Title\n\nText\n\n```\n# no title\n```\n"

    def shown(mode, page):
        source = [text]
        app = SimpleNamespace(config=SimpleNamespace(nb_execution_mode=mode))
        tutorial_outputs._say_so(app, page, source)
        return source[0]

    assert shown("off", "tutorials/01").count("without running its cells") == 1
    assert "# Title\n\n:::{note}" in shown("off", "tutorials/01")
    assert shown("cache", "tutorials/01") == shown("off", "how-to/own-study") == text
