"""Answers of every shipped scenario in few runs, as plain data to be held against a kept file.

The twin proves that a number is right. This file only says that it is still the same, for every
scenario that people can hold in their hands and through all the layers, in seconds.
"""

from __future__ import annotations

import hashlib
import json
import shutil
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np

from pva.decide.stock import stock
from pva.engine.random_numbers import SCHEME
from pva.engine.run import simulate
from pva.model.assemble import assemble
from pva.model.record import TALLIES
from pva.results.run import run, with_runs
from pva.results.summary import run_summary
from pva.scenario.scenario import Scenario, read_scenario

KEPT = Path(__file__).with_name("answers.json")
TOP = Path(__file__).parents[2]
SEED, DRAWS, REPLICATES = 41, 3, 40
STOCKED = ("hesperwell/scenarios/base", "no-field-data", "questions/river",
           "questions/host-returns")
_OTHER_BLOCKS = 32  # replicates of a block, so that few replicates keep several threads busy


def names() -> list[str]:
    """Every shipped scenario under `scenarios`; a new one is found by itself."""
    folder = TOP / "scenarios"
    files = sorted(p for p in folder.rglob("*.yaml") if _is_scenario(p))
    return [p.relative_to(folder).with_suffix("").as_posix() for p in files]


def _is_scenario(path: Path) -> bool:
    """Whether a file has what every scenario has, or extends another."""
    lines = path.read_text(encoding="utf-8").splitlines()
    return any(line.startswith(("quasi_extinction:", "extends:")) for line in lines)


@cache
def scenario(name: str) -> Scenario:
    """A shipped scenario; one that refers to estimates reads the demo's invented truth."""
    path = TOP / "scenarios" / f"{name}.yaml"
    if path.parent.name == "scenarios" and path.parents[1] != TOP:
        path = Path(_study(path.parent).name) / "scenarios" / path.name
    return read_scenario(path)


@cache
def _study(folder: Path) -> TemporaryDirectory:
    """A copy of a study's scenarios beside estimates that never change with the estimators."""
    copy = TemporaryDirectory(prefix="frozen-")
    study = Path(copy.name)
    shutil.copytree(folder, study / "scenarios")
    (study / "estimates").mkdir()
    shutil.copy(TOP / "tests/demo/true_estimates.yaml", study / "estimates" / "estimates.yaml")
    return copy


def answer(name: str, *, threads: int = 1) -> dict:
    """What is kept of one scenario; no number depends on `threads`."""
    question = scenario(name)
    draws = DRAWS if question.resolved.chance.unknown else 1
    data = run(question, seed=SEED, threads=threads, draws=draws, replicates=REPLICATES)
    summary = run_summary(data)
    years = summary["years"]
    marks = sorted({*range(0, len(years), 10), 1, len(years) - 1} & set(range(len(years))))

    def at(values):
        return [exact(values[i]) for i in marks]

    found = {"years": at(years)}
    for risk in ("extinction", "quasi_extinction"):
        found[risk] = at(summary[risk]["chance"])
    found["goals"] = {g["name"]: exact(g["chance"]) for g in summary["goals"]}
    found["adults"] = {k: at(summary["adults"][k]) for k in ("mean", "q05", "q50", "q95")}
    found["wild_adults"] = at(summary["measures"]["wild_adults"])
    found["tallies"] = tally_digests(question, draws, threads=threads)
    if name in STOCKED:
        found["stock"] = number_to_stock(question, threads=threads)
    return json.loads(json.dumps(found))


def exact(value: float | None) -> float | None:
    """Twelve digits: the order in which fractions are summed is not what is frozen here."""
    return None if value is None else float(f"{value:.12g}")


def tally_digests(question: Scenario, draws: int, *, threads: int) -> dict[str, str]:
    """Digest of every yearly tally of every replicate, to the last bit."""
    resolved = with_runs(question.resolved, draws=draws, replicates=REPLICATES)
    model = assemble(resolved, seed=SEED)
    size = None if threads == 1 else _OTHER_BLOCKS
    blocks = simulate(model.plan, model.draws, seed=SEED, replicates=REPLICATES, threads=threads,
                      size=size)
    found = np.concatenate([b.tallies for b in blocks]) + 0.0  # one kind of zero
    return {name: hashlib.sha256(np.ascontiguousarray(found[..., i]).tobytes()).hexdigest()[:8]
            for i, name in enumerate(TALLIES)}


def number_to_stock(question: Scenario, *, threads: int) -> dict:
    """The number to stock in few runs."""
    few = question.with_changes({"runs.draws": 10, "runs.replicates": 10})
    found = stock(few, seed=SEED, threads=threads).summary()
    return {k: found[k] if isinstance(found[k], bool) else exact(found[k]) for k in
            ("reachable", "number", "low", "high", "chance_at_number", "total_animals")}


def kept() -> dict:
    """The file as it is."""
    return json.loads(KEPT.read_text(encoding="utf-8"))


def head() -> dict:
    """What the answers belong to."""
    return {"scheme": SCHEME, "seed": SEED, "draws": DRAWS, "replicates": REPLICATES}


def differences(old, new, place: str = "") -> list[str]:
    """Every number that is not the same, in words."""
    if isinstance(old, dict) and isinstance(new, dict):
        return [line for key in sorted({*old, *new})
                for line in differences(old.get(key), new.get(key), f"{place} {key}".strip())]
    return [] if old == new else [f"{place}: kept {old}, now {new}"]
