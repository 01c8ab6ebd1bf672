"""The catalogue: what it hands out, what it refuses, and whether it repeats its sources truly."""

import csv
import re
from pathlib import Path

import pytest

from pva.errors import MeaningError
from pva.files import read_yaml, shipped
from pva.lifehistory.catalogue import CONFIDENCES, STATUSES, cite, entries, lookup, not_found
from pva.lifehistory.laws import DISTRIBUTIONS

DOCUMENT = read_yaml(shipped("shared/life_history.yaml"))[0]


@pytest.mark.parametrize(
    ("key", "value", "interval"),
    [
        ("gravid_share", 0.8, (0.2, 1.0)),
        ("metamorphosis", 0.85, (0.2, 0.9)),
        ("adult_survival/long_lived", 0.92, (0.83, 0.98)),
        ("adult_survival/short_lived", 0.80, (0.49, 0.89)),
        ("first_year_survival/relocated", 0.90, (0.50, 0.98)),
        ("fecundity/lampsilis", 56_000, (9650, 326_000)),
        ("adult_survival/lampsilis_radiata_luteola/male", 0.576, (0.483, 0.66)),
    ],
)
def test_values_a_scenario_may_take(key, value, interval):
    found = lookup(key)
    assert (found.value, found.interval) == (value, interval)
    assert found.references and found.source.kind == "published"
    assert found.source.status == found.status


def test_spaces_and_capitals_do_not_matter():
    assert lookup("Gravid share") == lookup("gravid_share")


def test_a_slip_is_answered_with_the_nearest_key():
    with pytest.raises(MeaningError) as caught:
        lookup("gravidshare")
    assert str(caught.value) == (
        "the catalogue of published values has no `gravidshare`. Did you mean `gravid_share`?"
    )
    assert caught.value.problems[0].code == "published-key-unknown"


@pytest.mark.parametrize("key", ["juvenile_survival", "settlement", "attachment"])
def test_what_nobody_published_is_never_a_default(key):
    with pytest.raises(MeaningError) as caught:
        lookup(key)
    assert f"`{key}` has no published value: calibrate or mark assumed." in str(caught.value)
    shown = lookup(key, allow_low=True)
    assert shown.confidence == "low" and not shown.is_published
    assert cite(key).kind == "assumed"


def test_low_confidence_is_refused_with_what_it_rests_on():
    with pytest.raises(MeaningError) as caught:
        lookup("ne_over_n")
    assert str(caught.value) == (
        "`ne_over_n` is too weak a value to be taken by key (confidence low). It rests on a "
        "judgement over Jones, Neves & Hallerman 2012: one pair of species; the ends are "
        "judgement. Ask for local data, or write a value of your own with "
        "`source: {assumed: reason}`."
    )
    assert lookup("ne_over_n", allow_low=True).value == 0.05


def test_no_entry_of_low_confidence_can_be_looked_up():
    low = [entry.key for entry in entries() if entry.confidence == "low"]
    assert len(low) > 8
    for key in low:
        with pytest.raises(MeaningError):
            lookup(key)


def test_a_bound_is_no_value():
    with pytest.raises(MeaningError, match="gives only a bound .stated as above 0.97."):
        lookup("adult_survival/elliptio_complanata")


def test_a_share_over_three_years_is_no_yearly_rate():
    with pytest.raises(MeaningError) as caught:
        lookup("survival_three_years/lampsilis_cardium/relocated")
    assert str(caught.value).startswith(
        "`survival_three_years/lampsilis_cardium/relocated` is a share over 3 years, not a yearly "
        "rate. 0.892 a year if even; losses in the first two months."
    )
    assert caught.value.problems[0].code == "published-not-yearly"


def test_what_was_not_found_says_so():
    with pytest.raises(MeaningError, match="`cost_each` was looked for in the literature"):
        lookup("cost_each")
    assert "projection_matrix/unionidae" in not_found()


def test_free_words_are_a_citation_and_near_keys_are_slips():
    assert str(cite("Smith 2019, Table 2")) == "published: Smith 2019, Table 2"
    with pytest.raises(MeaningError, match="Did you mean `metamorphosis`"):
        cite("metamorphoses")


def test_every_entry_is_complete():
    seen = entries()
    assert len({entry.key for entry in seen}) == len(seen)
    for entry in seen:
        assert entry.status in STATUSES and entry.confidence in CONFIDENCES
        assert entry.unit and entry.citation and entry.references
        assert entry.distribution is None or entry.distribution in DISTRIBUTIONS
        if entry.interval is not None:
            low, high = entry.interval
            assert low < high
            assert entry.value is None or low <= entry.value <= high
        if entry.is_range and entry.interval is not None:
            assert entry.distribution in ("triangular", "log-uniform")
            assert entry.distribution != "log-uniform" or entry.interval[0] > 0


def test_citations_are_all_used_and_all_there():
    used = {
        row["citation"]
        for section in ("ranges", "values", "findings", "unknown")
        for row in DOCUMENT[section].values()
        if "citation" in row
    }
    assert used == set(DOCUMENT["citations"])


def test_catalogue_repeats_the_reference_it_was_entered_from():
    # the reference does not travel with the package; it is read where it lies beside the checkout
    reference = Path(__file__).parents[3] / "shared" / "literature" / "life_history.csv"
    if not reference.is_file():
        pytest.skip("the reference is not part of the project and not beside it")
    with open(reference, encoding="utf-8", newline="") as handle:
        rows = [numbers(" ".join(row)) for row in csv.reader(handle)]
    strange = []
    for key, row in DOCUMENT["values"].items():
        own = [row[k] for k in ("value", "se", "at_least", "at_most") if k in row]
        own += row.get("interval", [])
        if key.startswith(("female_share/", "attachment/")):
            continue  # 1.5 : 1 and 1 - 0.999996, worked out
        if not any({float(n) for n in own} <= found for found in rows):
            strange.append(key)
    assert strange == []


def numbers(text):
    """All numbers in a text, thousands commas read, as a set."""
    joined = re.sub(r"(?<=\d),(?=\d{3}\b)", "", text)
    return {float(n) for n in re.findall(r"\d+(?:\.\d+)?(?:e\d+)?", joined)}
