"""Version, module and completion, and that the version is one."""

import re
import subprocess
import sys
import tomllib
from pathlib import Path

from typer.testing import CliRunner

from twinangle import __version__
from twinangle.cli import app

ROOT = Path(__file__).resolve().parents[2]


def test_the_version_is_one_everywhere():
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    cited = re.search(r"^version: (\S+)$", (ROOT / "CITATION.cff").read_text(), re.M)
    assert cited is not None
    assert project["version"] == cited[1] == __version__


def test_the_module_runs_as_the_command():
    done = subprocess.run(
        [sys.executable, "-m", "twinangle", "--version"],
        capture_output=True,
        text=True,
        check=False,
    )
    assert (done.returncode, done.stdout, done.stderr) == (0, f"twinangle {__version__}\n", "")


def test_every_command_is_told_in_one_line():
    shown = CliRunner().invoke(app, ["--help"], env={"COLUMNS": "80"}).output
    told = shown.partition("Commands:")[2].partition("\n\n")[0]
    assert {"run", "check", "init", "report", "demo"} <= set(re.findall(r"^  (\w+) ", told, re.M))
    assert "..." not in told
    assert "…" not in told


def test_completion_is_offered():
    shown = CliRunner().invoke(app, ["--help"]).output
    assert "--show-completion" in shown
    assert "--install-completion" in shown
