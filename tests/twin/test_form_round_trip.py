"""Random scenarios: the spreadsheet form keeps what they mean.

Most of what the maker makes is fit for the engine only and cannot be written as a scenario; the
others hold every kind of row, rate and key in company.
"""

from __future__ import annotations

import random

import pytest
from random_scenarios import Maker

from pva.errors import PvaError
from pva.scenario.scenario import Scenario
from pva.scenario.twin import twin_of
from pva.scenario.workbook_read import read_form
from pva.scenario.workbook_write import write_form


def check(seeds, folder):
    """How many scenarios of these seeds could be written; each came back the same."""
    many = 0
    for seed in seeds:
        try:
            scenario = Scenario.from_dict(twin_of(Maker(random.Random(seed)).resolved()))
        except (PvaError, ValueError):
            continue
        back = read_form(write_form(folder / "form.xlsx", scenario))
        assert back.digest == scenario.digest, f"seed {seed}"
        many += 1
    return many


def test_random_scenarios_keep_their_meaning(tmp_path):
    assert check(range(200), tmp_path) >= 5


@pytest.mark.slow
def test_many_random_scenarios_keep_their_meaning(tmp_path):
    assert check(range(1000, 2200), tmp_path) >= 20
