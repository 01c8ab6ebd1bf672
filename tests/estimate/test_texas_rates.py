"""Real records: tagged mussels of the Sabine River, three visits, twenty species, noisy lengths.

Figures to compare with are the authors' survival over the first interval (research code,
unpublished, species as a random effect; danStich/mussels, commit 8b9771dd): Megalonaias nervosa
0.67-0.97, Fusconaia chunii 0.54-0.83, Cyclonaias pustulosa 0.52-0.82, Lampsilis teres 0.68-0.96.
"""

import re
from pathlib import Path

import numpy as np
import pytest

import pva

DATA = Path(__file__).parents[3] / "shared" / "data" / "texas_river_mussels" / "captures.csv"
STUDY = Path(__file__).parents[1] / "field" / "texas" / "study.yaml"

pytestmark = pytest.mark.skipif(
    not (DATA.is_file() and STUDY.is_file()),
    reason="the river data are not part of the project and not beside it")

AUTHORS = {"Megalonaias nervosa": (0.67, 0.97), "Cyclonaias pustulosa": (0.52, 0.82)}


@pytest.fixture(scope="module")
def told(tmp_path_factory):
    folder = tmp_path_factory.mktemp("texas")
    (folder / "field").mkdir()
    (folder / "field" / "captures.csv").write_bytes(DATA.read_bytes())
    (folder / "study.yaml").write_text(STUDY.read_text(encoding="utf-8"), encoding="utf-8")
    return pva.estimate(folder)


@pytest.mark.parametrize("species", AUTHORS)
def test_survival_agrees_with_the_authors(told, species):
    """Intervals overlap by more than half of the shorter one."""
    low, high = told.rates[f"survival/all of {species}"].interval
    theirs = AUTHORS[species]
    overlap = min(high, theirs[1]) - max(low, theirs[0])
    assert overlap > 0.5 * min(high - low, theirs[1] - theirs[0])


def test_fusconaia_depends_on_what_is_assumed_of_detection(told):
    """With one detection for both visits survival is 0.60, inside the authors' 0.54-0.83; the
    records themselves favour a detection that doubled (AICc lower by more than 5), and then it is
    0.41. The model table shows both."""
    models = {m.name: m for m in told.by_species["Fusconaia chunii"].models}
    constant = models["survival constant, detection constant"]
    assert 0.54 < constant.laid.design.rates(constant.fit.beta)["survival"][0] < 0.83
    reported = told.by_species["Fusconaia chunii"].models[0]
    assert reported.name == "survival constant, detection by visit"
    assert constant.aicc - reported.aicc > 5


def test_survival_by_year_with_detection_by_visit_is_never_reported(told):
    """With three visits the last survival and detection are one product."""
    for result in told.by_species.values():
        if result.rates is not None:
            assert result.models[0].name != "survival by year, detection by visit"


def test_too_few_animals_and_too_vague_answers_are_refused(told):
    refused = {r["what"]: r for r in told.summary()["refused"]}
    lost = refused["survival of Potamilus fragilis"]
    assert lost["why"] == "0 of 19 marked animals were seen again; fewer than 10 tell nothing"
    assert refused["survival/all of Lampsilis teres"]["why"].startswith("cannot be told: 95 % int")
    assert told.rates["survival/all of Lampsilis teres"].link is None


def test_two_lengths_and_mixed_up_animals_give_no_curve(told):
    refused = {r["what"]: r for r in told.summary()["refused"]}
    why = refused["growth of Megalonaias nervosa"]["why"]
    assert why.startswith("21 animals were measured twice, 3 of them at three visits: two lengths")
    assert re.search(r"lengths read twice at a visit differ by 10.7 mm \(SD\) and do not help: "
                     "animals may be mixed up$", why)
    assert refused["growth of Cyclonaias pustulosa"]["why"] == (
        "11 of 124 lengths fit no growth of their animal")


def test_negative_increments_stay_in_and_are_shown(told):
    """About a quarter of all increments are negative. A curve is given for one species; its
    own are in the table behind the figure, and in the count beside the curve."""
    lengths = [r.following.lengths.sort_values(["animal", "day"]) for r in told.by_species.values()]
    steps = np.concatenate([t.groupby("animal")["length_mm"].diff().dropna() for t in lengths])
    assert 0.22 < (steps < 0).mean() < 0.27
    shown = told.tables["increments"]
    curves = {species: r.growth for species, r in told.by_species.items() if r.growth is not None}
    assert list(curves) == ["Fusconaia chunii"]
    own = shown[shown["species"] == "Fusconaia chunii"]["increment_mm"]
    assert (own < 0).sum() == curves["Fusconaia chunii"].negative
    assert 0.15 < (own < 0).mean() < 0.3


def test_years_cannot_be_told_from_two_intervals(told):
    assert ("Fusconaia chunii: how survival differs from year to year cannot be told from 2 "
            "ordinary intervals whose survival can be told") in told.notes
    assert told.rates["survival/all of Fusconaia chunii"].year_sd is None


def test_the_page_says_what_is_estimated(told):
    """Every survival of the table in docs/real-data.md, to the digits printed there."""
    page = (STUDY.parents[3] / "docs" / "real-data.md").read_text(encoding="utf-8")
    page = page.partition("### Survival")[2].partition("### Growth")[0]
    rows = re.findall(r"^\| \*(\w+ \w+)\* \| (\d+) \| (.+?) \|", page, re.M)
    assert len(rows) == 10
    for species, animals, said in rows:
        rate = told.rates[f"survival/all of {species}"]
        low, high = (f"{x:.2f}" for x in rate.interval)
        assert rate.n == int(animals)
        assert said == (f"refused: anything from {low} to {high}" if rate.value is None else
                        f"{rate.value:.2f} ({low} to {high})")
