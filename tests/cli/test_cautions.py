"""Cautions stand where people act: the documents, the help of the commands, the methods text."""

import re
from pathlib import Path

import pytest
from typer.testing import CliRunner

from twinangle.cautions import MOVEMENTS, RECORDING, STRAPS, to_be_stated
from twinangle.cli import app

ROOT = Path(__file__).resolve().parents[2]
WHOM = ("surgery", "pain", "falling")


@pytest.mark.parametrize("command", [(), ("run",), ("check",), ("init",), ("plan",)])
def test_help_says_whom_to_spare_and_how_to_strap(command):
    shown = " ".join(CliRunner().invoke(app, [*command, "--help"]).output.split())
    assert RECORDING in shown
    for word in (*WHOM, "jump", "functional movement", "skin"):
        assert word in RECORDING


@pytest.mark.parametrize(
    "name",
    [
        "README.md",
        "docs/how-to/recording.md",
        "docs/background/synchronisation.md",
        "docs/index.md",
    ],
)
def test_documents_that_name_the_movements_lead_to_the_cautions(name):
    text = (ROOT / name).read_text(encoding="utf-8")
    assert "recording.md" in text or name == "docs/how-to/recording.md"


def test_the_page_on_recording_names_every_reason():
    text = (ROOT / "docs/how-to/recording.md").read_text(encoding="utf-8").lower()
    for word in (*WHOM, "jump", "stamp", "heel tap", "functional movement", "strap", "allergies"):
        assert word in text, word


def test_wherever_a_message_asks_for_a_movement_it_points_to_the_cautions():
    asks = re.compile(r"Jump, stamp|a jump, a stamp or heel taps, from|`functional_end_s`, or a")
    found = 0
    for path in (ROOT / "src").rglob("*.py"):
        for place in asks.finditer(path.read_text(encoding="utf-8")):
            found += 1
            behind = path.read_text(encoding="utf-8")[place.end() : place.end() + 260]
            assert "docs/how-to/recording.md" in behind, path
    assert found == 3


def test_the_authors_are_asked_for_what_nobody_recorded():
    both = to_be_stated(("the synchronising movements", "the functional movement"))
    assert both.startswith("[To be stated by the authors: who was spared the synchronising")
    for word in (*WHOM, "straps", "skin"):
        assert word in both
    assert "spared" not in to_be_stated(())
    assert "surgery" in MOVEMENTS
    assert "latex" in STRAPS
