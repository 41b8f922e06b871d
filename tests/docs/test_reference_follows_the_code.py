"""What the reference says of commands, study file, results and tables is what the code has."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path

import jsonschema
import numpy as np
import pytest
from typer.testing import CliRunner

from twinangle.cli import app
from twinangle.errors import StudyError
from twinangle.init import propose_study, write_proposal
from twinangle.results.serialise import KEYS
from twinangle.results.tables import TABLES
from twinangle.simulate import write_demo_study
from twinangle.study import read_study
from twinangle.study.schema import DEPENDS, EDITOR_LINE, NEEDED, schema_text, study_schema
from twinangle.study.section_faults import BY_KIND, PLAIN_SECTIONS, SECTIONS
from twinangle.study.settings import with_cycle_defaults

ROOT = Path(__file__).resolve().parents[2]
REFERENCE = ROOT / "docs/reference"
PAGES = [
    page for page in sorted((ROOT / "docs").glob("*/*.md")) if "<!-- made " in page.read_text()
]
# Independent of our models: what the standard (JSON Schema, draft 2020-12) makes of the schema.
STANDARD = jsonschema.Draft202012Validator(study_schema())


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.stem)
def test_every_marked_part_is_as_the_code_has_it(page, reference_blocks):
    text = page.read_text("utf-8")
    assert reference_blocks.renewed(text) == text, "run `make reference`"
    built = set(reference_blocks.BUILT.findall(text))
    assert reference_blocks.MARKED.search(text) or built
    assert built <= set(reference_blocks.AT_BUILD)


def test_the_study_page_has_every_section_and_kind():
    text = (REFERENCE / "study-file.md").read_text("utf-8")
    wanted = [name for name in SECTIONS if name not in BY_KIND]
    wanted += [f"{name} {kind}" for name, kinds in BY_KIND.items() for kind in kinds]
    for name in (*wanted, *study_schema()["$defs"]):
        assert f"<!-- made by `make reference`: keys of {name} -->" in text or name in (
            "SensorFilePatterns",  # its two keys are told with an example
        )


def test_every_key_of_the_study_file_says_what_it_means():
    for part in (*study_schema()["$defs"].values(), *_sections()):
        for key, made in part["properties"].items():
            assert made["description"].split("; left out")[0], key


def _sections():
    for made in study_schema()["properties"].values():
        yield from made.get("oneOf", [made])


def test_what_is_said_of_cycles_left_out_is_what_is_filled_in():
    assert {key for _, key in DEPENDS} == with_cycle_defaults({})["cycles"].keys()
    assert tuple(name for name in SECTIONS if name in NEEDED) == NEEDED
    assert set(study_schema()["properties"]) == set(PLAIN_SECTIONS) | set(BY_KIND)


def test_the_schema_that_is_kept_is_printed_and_is_a_schema():
    kept = (REFERENCE / "study.schema.json").read_text("utf-8")
    assert kept == schema_text(), "run `make reference`"
    assert CliRunner().invoke(app, ["schema"]).output == kept
    jsonschema.Draft202012Validator.check_schema(json.loads(kept))


@pytest.fixture(scope="module")
def study(tmp_path_factory):
    folder = tmp_path_factory.mktemp("study")
    write_demo_study(folder, participants=1, walk_s=12.0, conditions=["indoor"])
    return folder


def test_init_leaves_a_schema_that_its_study_file_names(study, tmp_path):
    for path in study.glob("*/*.csv"):
        (tmp_path / path.name).write_bytes(path.read_bytes())
    written = write_proposal(tmp_path, propose_study(tmp_path))
    assert [path.name for path in written] == ["study.toml", "trials.csv", "study.schema.json"]
    assert written[0].read_text("utf-8").splitlines()[0] == EDITOR_LINE
    assert written[2].read_text("utf-8") == schema_text()
    # What `init` left open is what an editor marks.
    open_places = list(STANDARD.iter_errors(tomllib.loads(written[0].read_text())))
    assert bool(open_places) == ('"?"' in written[0].read_text())


def test_the_schema_refuses_nothing_that_is_read_and_most_that_is_not(study):
    text = (study / "study.toml").read_text("utf-8")
    assert not list(STANDARD.iter_errors(tomllib.loads(text)))
    rng = np.random.default_rng(17)
    accepted = refused = seen = 0
    for _ in range(150):
        mutant = _mutant(text, rng)
        try:
            data = tomllib.loads(mutant)
        except tomllib.TOMLDecodeError:
            continue
        (study / "mutant.toml").write_text(mutant, "utf-8")
        faults = list(STANDARD.iter_errors(data))
        try:
            read_study(study / "mutant.toml")
        except StudyError:
            refused += 1
            seen += bool(faults)
        else:
            accepted += 1
            assert not faults, (mutant, faults)
    assert accepted > 20
    assert seen > 0.8 * refused > 20  # the others contradict across keys, or name missing columns


def _mutant(text, rng):
    """Return the file with a line lost, a key misspelt, or a value of another kind."""
    lines = text.split("\n")
    keyed = [i for i, line in enumerate(lines) if " = " in line and not line.startswith("#")]
    at = int(rng.choice(keyed))
    key, _, value = lines[at].partition(" = ")
    values = ["-1", "0", "0.5", '"x"', "true", '["a"]', "[1, 2, 3]", '"?"', '""', "1e3", value]
    lines[at] = {
        0: "",
        1: f"{key}x = {value}",
        2: f"{key} = {rng.choice(values)}",
        3: f"{key} = {rng.choice(values)}",
        4: f"{key} = {value} # kept",
    }[int(rng.integers(5))]
    return "\n".join(lines)


def test_every_key_of_the_results_is_in_the_reference(reference_blocks):
    from twinangle.results.model import StudyResults
    from twinangle.results.serialise import topic_fields
    from twinangle.results.trial_result import TrialResult

    text = reference_blocks.results()
    for key in KEYS.keys_of(TrialResult):
        assert f"| `{key}` |" in text, key
    for item in topic_fields(StudyResults):
        assert f"| `{KEYS.key(item)}` |" in text
    for link in {part.split(")")[0] for part in text.split("](#")[1:]}:
        assert any(
            line.removeprefix("## ").lower().replace(" ", "-") == link
            for line in text.split("\n")
            if line.startswith("## ")
        ), link


def test_no_row_of_the_reference_lacks_its_meaning(reference_blocks):
    for text in (reference_blocks.results(), reference_blocks.tables()):
        bare = [
            line for line in text.split("\n") if line.startswith("| `") and line.endswith("|  |")
        ]
        assert not bare


def test_every_table_of_a_run_is_in_the_reference(reference_blocks):
    text = reference_blocks.tables()
    for table in TABLES:
        assert f"### `{table.name}.csv`" in text
        assert all(f"| `{column.name}` |" in text for column in table.columns)


def test_every_command_is_told_with_its_options(reference_blocks):
    text = (REFERENCE / "commands.md").read_text("utf-8")
    runner = CliRunner()
    for command in app.registered_commands:
        name = (command.name or command.callback.__name__).replace("_", "-")
        shown = runner.invoke(app, [name, "--help"]).output
        part = text.split(f"## `twinangle {name}`\n")[1].split("\n## ")[0]
        for option in {word.strip(",.") for word in shown.split() if word.startswith("--")}:
            assert option == "--help" or option in part, (name, option)
