"""Nothing that is needed at run time forbids the project's own licence, BSD-3-Clause."""

import importlib.metadata as metadata
import re
import tomllib
from pathlib import Path

import pytest
from packaging.requirements import Requirement

ROOT = Path(__file__).resolve().parents[2]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
# Licences that let a BSD-3-Clause project depend on a package, as package metadata name them.
ALLOWED = re.compile(
    r"BSD|MIT|Apache|ISC|PSF|Python Software Foundation|HPND|Zlib|CC0|LLVM-exception", re.I
)
FORBIDDEN = re.compile(r"\b[AL]?GPL|General Public|Proprietary|Commercial|-NC", re.I)


def plain(name: str) -> str:
    return re.sub(r"[-_.]+", "-", name).lower()


def needed() -> dict[str, metadata.Distribution]:
    """Every package that the run-time dependencies bring, by its plain name."""
    found: dict[str, metadata.Distribution] = {}
    waiting = list(PROJECT["dependencies"])
    while waiting:
        wanted = Requirement(waiting.pop())
        if wanted.marker is not None and not wanted.marker.evaluate({"extra": ""}):
            continue
        if plain(wanted.name) not in found:
            found[plain(wanted.name)] = metadata.distribution(wanted.name)
            waiting += found[plain(wanted.name)].requires or []
    return found


def licence(package: metadata.Distribution) -> str:
    about = package.metadata
    classifiers = [text for text in about.get_all("Classifier") or [] if text.startswith("License")]
    return about.get("License-Expression") or "; ".join(classifiers) or about.get("License") or ""


def test_every_run_time_package_has_a_licence_that_allows_ours():
    named = {name: licence(package) for name, package in needed().items()}
    assert "numpy" in named
    assert {name: text for name, text in named.items() if FORBIDDEN.search(text)} == {}
    assert {name: text for name, text in named.items() if not ALLOWED.search(text)} == {}


def test_developers_md_lists_every_one_of_them():
    section = (ROOT / "DEVELOPERS.md").read_text().split("## Licences")[1]
    listed = {plain(word) for word in re.findall(r"[\w.-]+\w", section)}
    assert set(needed()) - listed == set()


def test_the_second_opinion_of_the_tests_is_not_among_them():
    assert "pingouin" not in needed()
    pinned = (ROOT / "requirements.txt").read_text()
    assert "pingouin" not in pinned
    for name in PROJECT["dependencies"]:
        assert re.search(rf"(?mi)^{Requirement(name).name}==", pinned)


@pytest.mark.parametrize("name", ["LICENSE", "pyproject.toml", "CITATION.cff", "README.md"])
def test_one_licence_is_stated_everywhere(name):
    text = (ROOT / name).read_text()
    assert re.search(r"BSD.3.Clause", text)
    assert "GPL" not in text


def test_no_module_carries_another_projects_notice():
    notice = re.compile(r"copyright|\(c\) \d{4}|(adapted|ported|copied) from|licensed under", re.I)
    paths = list((ROOT / "src").rglob("*.py"))
    assert len(paths) > 100
    for path in paths:
        assert not notice.search(path.read_text()), path
