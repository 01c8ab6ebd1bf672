"""Product-limit survival where every fate is known, against published remission times."""

import numpy as np
import pandas as pd
import pytest
from invented import SPECIES, records

from pva.estimate.known_fate import compare_fates, known_fate_survival
from pva.estimate.options import Options
from pva.estimate.run import estimate_records
from pva.files import read_yaml, shipped


def group(written):
    """Times as printed: a plus means cut off."""
    return known_fate_survival([float(t.rstrip("+")) for t in written],
                               [not t.endswith("+") for t in written])


@pytest.fixture(scope="module")
def case():
    return read_yaml(shipped("shared/checks/remission_times.yaml"))[0]


def test_remission_times(case):
    """Freireich et al. 1963 (cited in the file): shares to 0.001, Greenwood's SE to 0.0001."""
    table = group(case["times"]).table
    assert table["years"].tolist() == case["weeks"]
    np.testing.assert_allclose(table["survival"], case["share"], atol=1e-3)
    np.testing.assert_allclose(table["se"], case["se"], atol=1e-4)


def test_treated_against_placebo(case):
    chi_square, p_value = compare_fates(group(case["times"]), group(case["placebo_times"]))
    assert chi_square == pytest.approx(case["log_rank_chi_square"], abs=0.005)
    assert p_value < 1e-4


def test_second_published_table(case):
    table = group(case["second_case"]["times"]).table
    np.testing.assert_allclose(table["survival"], case["second_case"]["share"], atol=1e-6)


def caged(rng, survival=0.85, number=60, overlooked=0):
    """Animals in cages looked at every summer: each is alive or a shell, but for some of those that
    live to the end, which are overlooked at the second visit."""
    days = pd.to_datetime([f"{y}-06-01" for y in (2019, 2020, 2021, 2022)])
    released, met = [], []
    for i in range(number):
        tag = f"C{i:03d}"
        released.append({"animal": tag, "tag": tag, "species": SPECIES, "site": "Cages",
                         "date": pd.Timestamp("2018-06-01"), "source": "hatchery", "number": 1})
        for k, day in enumerate(days):
            lives = rng.random() < survival
            met.append({"animal": tag, "tag": tag, "species": SPECIES, "site": "Cages",
                        "visit": f"v{k}", "date": day, "status": "alive" if lives else "shell"})
            if not lives:
                break
    visits = [{"visit": f"v{k}", "site": "Cages", "first_date": d, "last_date": d,
               "method": "cage"} for k, d in enumerate(days)]
    last = [m["animal"] for m in met if m["visit"] == "v3" and m["status"] == "alive"]
    hidden = set(last[:overlooked])
    met = [m for m in met if not (m["animal"] in hidden and m["visit"] == "v1")]
    return records(releases=released, encounters=met, visits=visits)


def test_cages_are_told_beside_the_recapture_estimate():
    """Every animal accounted for: shares of those at risk by hand, and yearly survival from the
    recapture model agrees within 2 SE of the product-limit value after four years."""
    made = caged(np.random.default_rng(7))
    told = estimate_records(made, Options(species=(SPECIES,), release_separate=False))
    rows = told.summary()["known_fate"]
    assert {r["group"] for r in rows} == {"hatchery at Cages"}
    assert rows[0]["at_risk"] == 60
    by_hand = np.cumprod([1 - r["died"] / r["at_risk"] for r in rows])
    np.testing.assert_allclose([r["survival"] for r in rows], by_hand)
    yearly = told.rates["survival/all"].value
    assert abs(yearly**4 - rows[-1]["survival"]) < 2 * rows[-1]["se"]


def test_one_animal_missed_once_is_no_known_fate():
    alive_first = caged(np.random.default_rng(7), overlooked=1)
    told = estimate_records(alive_first, Options(species=(SPECIES,), release_separate=False))
    assert told.summary()["known_fate"] == []


def test_a_chance_of_finding_shells_at_its_limit_is_profiled_and_said():
    """All shells are found: the standard error is not used, the profile interval is, and it holds
    the truth (0.85)."""
    made = caged(np.random.default_rng(7), overlooked=3)
    told = estimate_records(made, Options(species=(SPECIES,), release_separate=False))
    estimate = told.rates["survival/all"]
    low, high = estimate.interval
    assert low < 0.85 < high
    assert estimate.note.endswith(
        "interval profiled: the chance that a shell is found sits at its limit")
    assert any("the chance that a shell is found sits at 1: a standard error of survival would "
               "mean nothing" in note for note in told.notes)
