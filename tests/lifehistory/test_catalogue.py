"""The catalogue: what it hands out, what it refuses, and whether it repeats its sources truly."""

import pytest

from pva.errors import MeaningError
from pva.files import read_yaml, shipped
from pva.lifehistory import catalogue
from pva.lifehistory.catalogue import (
    CONFIDENCES,
    PLACES,
    STATUSES,
    cite,
    entries,
    lookup,
    named,
    not_found,
)
from pva.lifehistory.laws import DISTRIBUTIONS

DOCUMENT = read_yaml(shipped("shared/life_history.yaml"))[0]


def test_entries_read_one_by_one_are_those_of_the_whole_file():
    assert [*catalogue._written()] == [*DOCUMENT]
    for section, rows in DOCUMENT.items():
        assert {key: catalogue._row(section, key) for key in catalogue._written()[section]} == rows
    assert [e.key for e in entries()] == [*DOCUMENT["ranges"], *DOCUMENT["values"]]


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
    shown = named(key)
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
    assert named("ne_over_n").value == 0.05


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


@pytest.mark.parametrize(
    ("key", "place", "what"),
    [
        ("adult_mortality/fusconaia_ebena", ("survival", "adult"), "survival"),
        ("drought/mortality", ("sites", 0, "survival", "adult"), "survival"),
        ("fecundity_lifetime/margaritifera_margaritifera", ("recruitment", "glochidia"),
         "glochidia"),
        ("fertilised_share", ("recruitment", "gravid"), "gravid"),
        ("gravid_share", ("releases", 0, "first_year_survival"), "first_year_survival"),
        ("drought/mortality", ("growth", "subadult"), "growth"),
        ("age_1_share/lampsilis_fasciola", ("recruitment", "per_adult"), "per_adult"),
    ],
)
def test_a_mortality_is_no_survival(key, place, what):
    with pytest.raises(MeaningError) as caught:
        lookup(key, place=place)
    assert caught.value.problems[0].what == f"`{key}` is another quantity than `{what}` asks for"
    assert f"or {_own_words}" in caught.value.problems[0].todo
    assert lookup(key).key == key


_own_words = "write a value of your own with `source: {assumed: reason}`"


def test_every_low_entry_is_refused_with_a_whole_message():
    """No low entry gets by, in whatever place it is asked for; each says what to do instead."""
    for entry in entries():
        if entry.confidence != "low":
            continue
        for place in ((), ("survival", "adult"), ("recruitment", "settlement")):
            with pytest.raises(MeaningError) as caught:
                lookup(entry.key, place=place)
            problem = caught.value.problems[0]
            assert problem.code == (
                "published-value-weak" if entry.is_published else "published-value-missing")
            assert problem.why and _own_words in problem.todo
        source = cite(entry.key)
        assert source.kind == "assumed" or "too weak to stand as a default" in source.text


@pytest.mark.parametrize("step", ["attachment", "metamorphosis", "settlement"])
def test_a_recalled_step_of_the_chain_is_not_taken_by_key(step):
    with pytest.raises(MeaningError) as caught:
        lookup(f"{step}/margaritifera_margaritifera")
    assert str(caught.value).startswith(
        f"`{step}/margaritifera_margaritifera` is recalled, and no text seen gives this step for "
        "mussels in the wild. It rests on Young & Williams 1984: 1 - 0.9")
    assert str(caught.value).endswith(
        f"Calibrate it where the scenario allows, or {_own_words}.")


def test_places_name_keys_that_exist():
    groups = {entry.key.partition("/")[0] for entry in entries()}
    assert {name for names in PLACES.values() for name in names} <= groups


def test_figures_in_words():
    said = {e.key: (e.figure, e.origin) for e in entries()}
    assert said["adult_survival/lampsilis_radiata_luteola/female"] == (
        "0.4851 (95 % interval 0.391 to 0.572)",
        "Lampsilis radiata luteola; upstream site; 171 animals, 540 captures, 5 years; recapture")
    assert said["recapture_share/epioblasma_brevidens/reader"][0] == "above 0.95"
    assert said["attachment"][0] == "1e-05 (1e-06 to 0.001)"
    assert said["juveniles_produced/virginia_hatcheries"][0] == "8,456,191"


def test_every_single_figure_names_its_species():
    for entry in entries():
        assert bool(entry.species) != entry.is_range, entry.key
