"""Quadrats that a survey needs, against the published rule for freshwater mussels."""

import numpy as np
import pytest

from pva.estimate.survey_size import (
    quadrats_for_precision,
    quadrats_for_precision_short,
    quadrats_to_find_one,
)
from pva.files import read_yaml, shipped

KNOWN = read_yaml(shipped("shared/checks/survey_size.yaml"))[0]


def test_quadrats_for_a_precision():
    """Downing & Downing 1992 (formula read); the negative binomial from memory."""
    for row in KNOWN["quadrats_for_precision"]:
        short = quadrats_for_precision_short(row["mean_per_quadrat"],
                                             precision=KNOWN["precision"])
        assert short == pytest.approx(row["short_form"], abs=1e-9)
    law = quadrats_for_precision(4, precision=KNOWN["precision"])
    assert law == pytest.approx(11.79, abs=0.005)
    nb = KNOWN["negative_binomial"]
    assert quadrats_for_precision(nb["mean_per_quadrat"], precision=nb["precision"],
                                  clumping=nb["dispersion"]) == pytest.approx(nb["quadrats"])


def test_quadrats_that_find_at_least_one():
    one = KNOWN["at_least_one"]
    found = quadrats_to_find_one(one["density_per_m2"], quadrat_m2=one["quadrat_m2"],
                                 chance=one["chance"], efficiency=one["efficiency"])
    assert found == pytest.approx(one["quadrats"], abs=0.005)


def test_clumped_animals_need_more_quadrats():
    """0.5 a quadrat, k 0.3: the number asked for finds one in 95 % of 4,000 simulated surveys
    (SE 0.3 %); the number for even scatter finds one clearly less often."""
    rng = np.random.default_rng(2)
    needed = quadrats_to_find_one(2.0, quadrat_m2=0.25, chance=0.95, clumping=0.3)
    even = quadrats_to_find_one(2.0, quadrat_m2=0.25, chance=0.95)
    rates = [(rng.negative_binomial(0.3, 0.3 / 0.8, (4000, int(np.ceil(n)))).sum(1) > 0).mean()
             for n in (needed, even)]
    assert 0.94 < rates[0] < 0.98
    assert rates[1] < 0.91
