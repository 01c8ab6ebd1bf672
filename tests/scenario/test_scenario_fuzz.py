"""Whatever is done to a scenario, it is read, or refused in words: never a traceback."""

from __future__ import annotations

import copy
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pva.errors import PvaError
from pva.files import read_yaml
from pva.scenario.scenario import Scenario

FILES = Path(__file__).with_name("files")
DOCUMENTS = [read_yaml(FILES / f"{n}.yaml")[0]
             for n in ("everything", "matrix", "matrix-sites", "hosts")]
WORDS = ["adult", "large", "Upper", "value", "se", "river", "hatchery", "drum", "all", "", "off",
         "1e-5", "survival/large", "estimate", "by_year", "each site"]
SCALARS = st.one_of(
    st.none(), st.booleans(), st.integers(-3, 2100), st.floats(width=32), st.sampled_from(WORDS)
)
VALUES = st.recursive(
    SCALARS,
    lambda inner: st.one_of(
        st.lists(inner, max_size=3),
        st.dictionaries(st.one_of(st.sampled_from(WORDS), st.integers(2025, 2060)), inner,
                        max_size=3),
    ),
    max_leaves=6,
)


def containers(data, found):
    """Every non-empty mapping and list of a document."""
    if isinstance(data, dict | list) and data:
        found.append(data)
        for one in data.values() if isinstance(data, dict) else data:
            containers(one, found)
    return found


@st.composite
def spoilt(draw):
    """A scenario with one to three values replaced, removed, renamed or added."""
    document = copy.deepcopy(draw(st.sampled_from(DOCUMENTS)))
    for _ in range(draw(st.integers(1, 3))):
        block = draw(st.sampled_from(containers(document, [])))
        keys = list(block) if isinstance(block, dict) else list(range(len(block)))
        key, act = draw(st.sampled_from(keys)), draw(st.sampled_from("replace remove add".split()))
        if act == "remove" and len(document) > 1:
            del block[key]
        elif act == "add" and isinstance(block, dict):
            block[draw(st.sampled_from(WORDS))] = draw(VALUES)
        else:
            block[key] = draw(VALUES)
        if not document:
            break
    return document


RATES = st.one_of(
    st.floats(0.001, 0.999),
    st.fixed_dictionaries({"value": st.floats(0.2, 0.8)},
                          optional={"se": st.floats(0, 0.3), "year_sd": st.floats(0, 0.3)}),
    st.fixed_dictionaries({"interval": st.tuples(st.floats(0.01, 0.5), st.floats(0.5, 0.99))},
                          optional={"distribution": st.sampled_from(
                              ["beta", "uniform", "triangular", "normal", "logit-normal"])}),
    st.fixed_dictionaries({"by_year": st.dictionaries(st.integers(2030, 2040),
                                                      st.floats(0.1, 0.9), min_size=1)}),
)
LEAVES = ("survival", "growth", "share", "gravid", "per_adult", "suitability", "contact",
          "first_year_survival")


@st.composite
def altered(draw):
    """A scenario with other rates and numbers of the right form."""
    document = copy.deepcopy(draw(st.sampled_from(DOCUMENTS)))
    for block in containers(document, []):
        for key in list(block) if isinstance(block, dict) else []:
            if key in LEAVES and draw(st.integers(0, 2)) == 0:
                if isinstance(block[key], dict) and key in ("survival", "growth"):
                    stage = draw(st.sampled_from(list(block[key])))
                    block[key][stage] = draw(RATES)
                elif key not in ("survival", "growth"):
                    block[key] = draw(RATES)
            elif isinstance(block[key], float) and draw(st.booleans()):
                block[key] = draw(st.floats(0, 1))
    return document


@settings(max_examples=150, deadline=None, derandomize=True,
          suppress_health_check=[HealthCheck.too_slow])
@given(altered())
def test_twin_of_altered_scenarios_reads_back(document):
    try:
        scenario = Scenario.from_dict(document, base_folder=FILES)
    except PvaError as error:
        assert all(p.what and p.todo for p in error.problems)
    else:
        assert Scenario.from_dict(scenario.twin()).digest == scenario.digest


@settings(max_examples=250, deadline=None, derandomize=True,
          suppress_health_check=[HealthCheck.too_slow])
@given(spoilt())
def test_spoilt_scenarios_are_read_or_refused_in_words(document):
    before = repr(document)
    try:
        scenario = Scenario.from_dict(document, base_folder=FILES)
    except PvaError as error:
        assert error.problems and all(p.what and p.todo for p in error.problems)
    else:
        assert Scenario.from_dict(scenario.twin()).digest == scenario.digest
    assert repr(document) == before, "the input is left as it was"


@pytest.mark.parametrize("text", [
    "", "[]", "a", "{}", "title: x\nyears: 3", "? [1]\n: 2", "title: *x", "a: {b", "- a\n- b",
    "title: x\nsites: [1, {name: 2}]", "extends: ''", "extends: .", "estimates: .", "\x00",
    "years: {first: 1e400, last: 2}", "survival: {adult: {by_year: {x: 1}}}",
    "releases: [{name: a}, {name: a}, 3]", "bad_years: 3", "matrix: {stages: 3}",
])  # fmt: skip
def test_odd_files_are_refused_in_words(tmp_path, text):
    from pva.scenario.scenario import read_scenario

    path = tmp_path / "odd.yaml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(PvaError) as caught:
        read_scenario(path)
    assert all(p.what and p.todo for p in caught.value.problems)
