"""Real counts: softshell clams in 41 plots of 1 x 2 ft, half of them empty and the rest heaped.

Published with the data (github btupper/softshell, commit a12dce6d, MIT): 41 plots, 21 empty, mean
12.1 a plot, variance 494.7. No total of the flat is given, nor its area: what can be compared is
the total over the plots, 41 x 12.1 = 496 to rounding.
"""

import csv
from pathlib import Path

import numpy as np
import pytest

import pva
from pva.estimate.survey_density import t_interval

DATA = Path(__file__).parents[3] / "shared" / "data" / "clam_plots" / "softshell_plot_counts.csv"
STUDY = Path(__file__).parents[1] / "field" / "clams" / "study.yaml"
PLOTS, EMPTY, MEAN, VARIANCE, PLOT_M2 = 41, 21, 12.1, 494.7, 2 * 0.09290304

pytestmark = pytest.mark.skipif(
    not DATA.is_file(), reason="the clam counts are not part of the project and not beside it")


@pytest.fixture(scope="module")
def told(tmp_path_factory):
    folder = tmp_path_factory.mktemp("clams")
    (folder / "clams.csv").write_bytes(DATA.read_bytes())
    with DATA.open(newline="", encoding="utf-8") as handle:
        plots = dict.fromkeys(row["plot"] for row in csv.DictReader(handle))
    (folder / "plots.csv").write_text("plot,area\n" + "".join(f"{p},2\n" for p in plots))
    (folder / "study.yaml").write_text(STUDY.read_text(encoding="utf-8"), encoding="utf-8")
    return pva.estimate(folder)


def test_every_row_is_used(told):
    rows = told.summary()["rows"]
    assert rows["in"] == 861 == rows["used"]
    assert told.refused == ()


def test_total_and_spread_agree_with_what_is_published(told):
    whole = told.bed.rows[0]
    counts = told.bed.counts["animals"]
    assert (whole["units"], whole["blanks"]) == (PLOTS, EMPTY)
    assert whole["animals"] == pytest.approx(MEAN * PLOTS, abs=0.05 * PLOTS)
    assert round(counts.mean(), 1) == MEAN
    assert round(counts.var(ddof=1), 1) == VARIANCE


def test_density_is_per_m2_and_its_interval_that_of_a_clumped_bed(told):
    whole = told.bed.rows[0]
    assert whole["value"] == pytest.approx(whole["animals"] / (PLOTS * PLOT_M2))
    assert whole["interval_by"] == "negative binomial"
    assert whole["clumping"] < 0.3
    textbook = t_interval(told.bed.counts["animals"], np.full(PLOTS, PLOT_M2))
    assert whole["low"] > textbook.low and whole["high"] > 1.2 * textbook.high


def test_size_classes_become_stages_that_add_up(told):
    """Counted in the table itself: 13 below 25 mm, 132 from 25 to 50, 353 of 50 and longer."""
    found = {r["stage"]: r["animals"] for r in told.bed.rows}
    assert found == {"": 498, "small": 13, "middle": 132, "large": 353}
    density = told.rates
    parts = sum(density[f"density/flat/{s}"].value for s in ("small", "middle", "large"))
    assert parts == pytest.approx(density["density/flat"].value)


def test_no_area_no_abundance(told):
    assert told.abundance == {}
