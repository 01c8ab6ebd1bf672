"""Shipped scenarios with one thing wrong: an answer or a refusal in words, and nothing ignored.

Fast: 200 documents are read. Slow: 900 more are read, and 100 of those accepted are run.
"""

from __future__ import annotations

import json
import random
from collections import Counter
from pathlib import Path

import pytest
from mutating import holds, marked, mutated

from pva.errors import PvaError
from pva.files import read_yaml
from pva.scenario.scenario import Scenario

TOP = Path(__file__).parents[2]
PLACES = (TOP / "scenarios", TOP / "scenarios" / "questions", TOP / "tests" / "scenario" / "files")
LEFT_OUT = {"estimates.yaml"}
TURNED = {"capacity_per_m2"}  # stands in the twin as whole animals: capacity times area


def documents() -> list[tuple[str, dict, Path]]:
    found = []
    for place in PLACES:
        for path in sorted(place.glob("*.yaml")):
            if path.name not in LEFT_OUT:
                found.append((path.name, read_yaml(path)[0], place))
    return found


DOCUMENTS = documents()


def read_mutated(seed: int) -> tuple[Scenario | None, str]:
    """A scenario with one change; None where it is refused."""
    chance = random.Random(seed)
    name, document, folder = chance.choice(DOCUMENTS)
    changed, what = mutated(document, chance)
    before = repr(changed)
    try:
        question = Scenario.from_dict(changed, base_folder=folder)
    except PvaError as error:
        assert error.problems, (seed, name, what)
        for one in error.problems:
            assert one.what and one.todo and one.code, (seed, name, what, one)
            assert "Error" not in one.what and "Traceback" not in one.what, (seed, name, what, one)
        question = None
    assert repr(changed) == before, (seed, "the input was changed")
    return question, f"{seed} {name}: {what}"


def check_marked(seed: int) -> bool:
    """A value that stands nowhere else is refused, or stands in the resolved twin."""
    chance = random.Random(seed)
    name, document, folder = chance.choice(DOCUMENTS)
    changed, mark, path = marked(document, chance)
    try:
        question = Scenario.from_dict(changed, base_folder=folder)
    except PvaError:
        return False
    if path[-1] in TURNED:
        return True
    assert holds(question.twin(), mark), f"{seed} {name}: {mark} at {path} was ignored"
    return True


def tried(seeds) -> Counter:
    found = Counter()
    for seed in seeds:
        question, what = read_mutated(seed)
        found["accepted" if question else "refused"] += 1
        if question and seed % 4 == 0:
            assert Scenario.from_dict(question.twin()).digest == question.digest, what
    return found


def test_scenarios_with_one_thing_wrong():
    found = tried(range(120))
    assert found["refused"] > 50 and found["accepted"] > 20


def test_no_value_is_silently_ignored():
    found = Counter(check_marked(seed) for seed in range(80))
    assert found[True] > 30 and found[False] > 10


def test_a_value_that_is_ignored_would_be_found():
    _, document, folder = DOCUMENTS[0]
    twin = Scenario.from_dict(document, base_folder=folder).twin()
    assert not holds(twin, 0.123456789) and holds(twin, twin["title"])


@pytest.mark.slow
def test_many_more_scenarios_with_one_thing_wrong():
    found = tried(range(1000, 1600))
    assert sum(found.values()) == 600 and found["refused"] > 300
    kept = Counter(check_marked(seed) for seed in range(1000, 1300))
    assert kept[True] > 150


@pytest.mark.slow
def test_accepted_scenarios_run_or_say_why_they_cannot():
    from pva.results.matrix_summary import matrix_summary
    from pva.results.run import run
    from pva.results.summary import run_summary

    ran = Counter()
    for seed in range(5000, 7000):
        question, what = read_mutated(seed)
        if question is None:
            continue
        try:
            data = run(question, draws=2, replicates=2, seed=1, threads=1)
            json.dumps([run_summary(data), matrix_summary(question, seed=1)], allow_nan=False)
            assert question.assumptions() and question.parameters() and question.twin_yaml()
            ran["answered"] += 1
        except PvaError as error:
            assert all(one.what and one.todo for one in error.problems), what
            ran["cannot"] += 1
        except Exception as error:
            raise AssertionError(what) from error
        if sum(ran.values()) == 100:
            break
    assert sum(ran.values()) == 100 and ran["answered"] > 60
