"""Kind and gravity of warnings in `results.json`: beside the texts, and back."""

import json
from dataclasses import replace

import pytest

from twinangle.notices import Notice
from twinangle.results.equality import difference, same_results
from twinangle.results.read_back import results_of
from twinangle.results.serialise import study_record

TOLD = Notice("gyroscope bias 3.1 °/s.", "gyroscope-bias", "grave", 3.1)


def test_kind_and_gravity_are_written_and_read_back(study):
    first = study.trials[0]
    clock = first.synchronisation
    told = (TOLD, "a plain string.", Notice("read so.", "how-it-was-read", "note"))
    clock = None if clock is None else replace(clock, warnings=(TOLD,))
    first = replace(first, warnings=told, synchronisation=clock, cycles=None, paired=None)
    written = replace(study, trials=(first,))
    record = json.loads(json.dumps(study_record(written)))
    assert record["trials"][0]["warnings"] == [str(each) for each in told]
    back = results_of(record).trials[0]
    assert same_results(back.warnings, told), difference(back.warnings, told)
    if clock is not None:
        assert same_results(back.synchronisation, clock)


def test_a_wrong_number_of_kinds_is_refused(study):
    one = replace(study.trials[0], warnings=(TOLD,))
    record = json.loads(json.dumps(study_record(replace(study, trials=(one,)))))
    record["trials"][0]["warning_kinds"] *= 2
    with pytest.raises(ValueError, match=r"trials\[0\]\.warning_kinds: expected 1 values, got 2"):
        results_of(record)
