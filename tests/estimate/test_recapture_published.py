"""Survival and detection against published recapture analyses."""

import csv

import numpy as np
import pandas as pd
import pytest

from pva.estimate.fit import Design, fit
from pva.estimate.fit_tests import fit_test
from pva.estimate.histories import from_table
from pva.estimate.profiles import profile_interval
from pva.files import read_yaml, shipped

ONE, EACH = np.ones((6, 1)), np.eye(6)
FLOOD = np.column_stack([[1, 0, 0, 1, 1, 1], [0, 1, 1, 0, 0, 0]]).astype(float)
DESIGNS = {"constant": ONE, "year": EACH, "flood": FLOOD}


@pytest.fixture(scope="module")
def dipper():
    """European dipper, Marzolin 1988 and Lebreton et al. 1992 (cited in the file)."""
    case, _ = read_yaml(shipped("shared/checks/dipper.yaml"))
    with open(shipped("shared/checks/" + case["histories"]), newline="") as handle:
        rows = [row for row in csv.reader(handle) if row and not row[0].startswith("#")]
    return case, np.array([[int(x) for x in row[:7]] for row in rows[1:]])


MODELS = [
    "survival constant, detection constant",
    "survival by year, detection constant",
    "survival constant, detection by year",
    "survival by year, detection by year",
    "survival by flood year, detection constant",
]


@pytest.mark.parametrize("name", MODELS)
def test_dipper(dipper, name):
    case, table = dipper
    model = next(m for m in case["models"] if m["name"].startswith(name))
    fitted = fit(from_table(table), Design(survival=DESIGNS[model["survival_by"]],
                                           detection=DESIGNS[model["detection_by"]]))
    deviance, k, n = -2 * fitted.loglik, fitted.rank, case["releases"]
    assert k == model["parameters"]
    assert deviance == pytest.approx(model["minus_two_log_likelihood"], abs=1e-4)
    assert deviance + 2 * k * n / (n - k - 1) == pytest.approx(model["aicc"], abs=1e-4)
    rates = fitted.design.rates(fitted.beta)
    for kind in ("survival", "detection"):
        estimates, where = model[kind], fitted.design.slices[kind]
        told = 1 / (1 + np.exp(-fitted.beta[where]))
        np.testing.assert_allclose(told[: len(estimates)], estimates, atol=6e-5)
        if f"{kind}_se" in model:
            se = np.sqrt(np.diag(fitted.covariance[where, where])) * told * (1 - told)
            np.testing.assert_allclose(se, model[f"{kind}_se"], atol=2e-4)
    if "last_product" in model:
        product = rates["survival"][-1] * rates["detection"][-1]
        assert product == pytest.approx(model["last_product"], abs=1e-4)
        told = np.ones(12, bool)
        told[[5, 11]] = False
        np.testing.assert_array_equal(fitted.told, told)
        assert np.isnan(fitted.covariance[5, 5])


def test_profile_of_a_well_told_rate_is_near_its_normal_interval(dipper):
    _, table = dipper
    fitted = fit(from_table(table), Design(survival=ONE, detection=ONE))
    low, high = profile_interval(fitted, np.array([1.0, 0.0]))
    se = np.sqrt(fitted.covariance[0, 0])
    assert low == pytest.approx(fitted.beta[0] - 1.96 * se, abs=0.02 * se + 0.002)
    assert high == pytest.approx(fitted.beta[0] + 1.96 * se, abs=0.02 * se + 0.002)


@pytest.mark.parametrize("grouped", ["days", "months"])
def test_meadow_voles(grouped):
    """Nichols, Pollock & Hines 1984 (cited in the file): data read, maximum derived."""
    case, _ = read_yaml(shipped("shared/checks/meadow_voles.yaml"))
    with open(shipped("shared/checks/" + case["histories"]), newline="") as handle:
        table = np.array([[int(x) for x in row] for row in csv.reader(handle)])
    assert table.shape == (case["animals"], case["occasions"])
    if grouped == "months":
        table = table.reshape(len(table), -1, case["months"]["occasions_joined"]).max(axis=2)
    one = np.ones((table.shape[1] - 1, 1))
    fitted = fit(from_table(table), Design(survival=one, detection=one))
    told = 1 / (1 + np.exp(-fitted.beta))
    assert -2 * fitted.loglik == pytest.approx(case[grouped]["minus_two_log_likelihood"], abs=1e-4)
    assert told == pytest.approx([case[grouped]["survival"], case[grouped]["detection"]], abs=6e-6)


def followed_dippers(table):
    """The histories as steps from visit to visit."""
    rows = []
    for animal, row in enumerate(table):
        begun = int(np.argmax(row))
        for k in range(begun, table.shape[1] - 1):
            rows.append((animal, "river", k, k + 1, False, "alive" if row[k + 1] else ""))
    return pd.DataFrame(rows, columns=["follow", "site", "start", "end", "released", "status"])


def test_dipper_new_against_earlier_marked(dipper):
    """Parts and sum as published (read): 0.08 0.232 0.847 0.288 0.326, 1.773 with 5 df; the table
    of birds seen against missed in 1985 is [[51, 0], [1, 2]], 9.463 by the exact test."""
    _, table = dipper
    tables = fit_test(followed_dippers(table)).tables
    new = tables[tables["question"] == "new against earlier marked"]
    np.testing.assert_allclose(new["chi_square"], [0.08, 0.232, 0.847, 0.288, 0.326], atol=6e-4)
    assert new["chi_square"].sum() == pytest.approx(1.773, abs=2e-3)
    missed = tables[(tables["question"] == "seen against missed") & (tables["day"] == 4)].iloc[0]
    counts = missed[["first_again", "first_not", "second_again", "second_not"]].tolist()
    assert counts == [51, 0, 1, 2]
    assert missed["chi_square"] == pytest.approx(9.463, abs=1e-3)
