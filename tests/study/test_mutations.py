"""Whatever is in a study's files, the answer is a study or a list of faults."""

from __future__ import annotations

import numpy as np
import pytest

from twinangle.errors import StudyError
from twinangle.study import read_study

STUDY = b"""\
[study]
title = "Ridge path study"
joint = "knee"
trials = "trials.csv"
[wearable]
kind = "angle"
time = "time_s"
angles = { filter_a = "knee_a", filter_b = "knee_b" }
[reference]
kind = "angle"
rate_hz = 1000
angle = "knee_deg"
limits = [-5.0, 150.0]
[synchronisation]
method = "manual"
lag_s = 1.5
"""
TABLE = b"""\
participant,condition,wearable,reference,static_start_s,static_end_s,end_s,exclude,speed_m_s
P01,indoor,a.csv,a.csv,1,2,60.5,,1.25
P02,outdoor,a.csv,,1,2,,"wire, torn",1.1
"""


@pytest.mark.parametrize("which", ["study.toml", "trials.csv"])
def test_mutated_files_end_in_a_study_or_in_faults(tmp_path, which):
    rng = np.random.default_rng(17)
    (tmp_path / "a.csv").write_text("time_s\n")
    content = {"study.toml": STUDY, "trials.csv": TABLE}
    for name, text in content.items():
        (tmp_path / name).write_bytes(text)
    assert len(read_study(tmp_path).trials) == 2

    printable = np.frombuffer(b"\"'[]{}=,;.\t\n \\-#_0159azAZ\xc3\xff\x00", dtype=np.uint8)
    messages = []
    for _ in range(400):
        mutant = bytearray(content[which])
        for at in rng.integers(0, len(mutant), rng.integers(1, 5)):
            if rng.random() < 0.3:
                del mutant[at : at + int(rng.integers(1, 20))]
            else:
                mutant[at : at + 1] = bytes([rng.choice(printable)])
        (tmp_path / which).write_bytes(bytes(mutant))
        try:
            read_study(tmp_path)
        except StudyError as error:
            messages.append(str(error))
    assert len(messages) > 100
    assert all(("study.toml" in text) or ("trials" in text) for text in messages)
