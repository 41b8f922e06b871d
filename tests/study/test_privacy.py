"""Identifiers that may name a person are warned of; codes are not."""

from __future__ import annotations

import pytest

from twinangle.study import read_study


def warnings(folder, participant):
    (folder / "study.toml").write_text(
        '[study]\ntitle = "x"\njoint = "knee"\ntrials = "trials.csv"\n'
        '[wearable]\nkind = "angle"\ntime = "t"\nangle = "a"\n'
    )
    (folder / "a.csv").write_text("t,a\n")
    (folder / "trials.csv").write_text(f"participant;wearable\n{participant};a.csv\n")
    return read_study(folder).warnings


@pytest.mark.parametrize(
    "participant",
    ["Some Body", "Body, Some", "Somebody", "1990-05-17", "17.05.1990", "19900517", "x 1.2.99"],
)
def test_names_and_dates_are_warned_of(tmp_path, participant):
    (warning,) = warnings(tmp_path, participant)

    assert repr(participant) in warning
    assert "Use a code" in warning


@pytest.mark.parametrize("participant", ["P01", "S-12", "007", "sub-03", "AB", "KX17", "19991399"])
def test_codes_are_not(tmp_path, participant):
    assert warnings(tmp_path, participant) == ()
