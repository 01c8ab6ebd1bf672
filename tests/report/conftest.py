"""Small material for pages: one quick run, hand-written answers, invented estimates."""

from __future__ import annotations

from types import SimpleNamespace

import pandas as pd
import pytest

from pva.decide.donor import donor
from pva.decide.explore import explore
from pva.decide.sensitivity import sensitivity
from pva.decide.targets import target_curves
from pva.field.records import COLUMNS, FieldRecords, RowAccount
from pva.report.material import gather
from pva.report.page import render_report
from pva.results.run import run
from pva.scenario.scenario import Scenario

EVIL = "<script>alert('x')</script>"
PLAN = {
    "title": f"A plan {EVIL}", "species": "Lampsilis ficta (invented)",
    "description": "How many & where? <b>Now</b>",
    "years": {"first": 2026, "last": 2046}, "census": "before breeding",
    "stages": [{"name": "juvenile", "years": 2}, {"name": "adult", "breeds": True}],
    "survival": {
        "juvenile": {"value": 0.7, "interval": [0.5, 0.85], "year_sd": 0.05,
                     "source": {"assumed": "expert range </script>"}},
        "adult": {"value": 0.92, "se": 0.01, "source": {"measured": "recaptures 2018-2025"}}},
    "recruitment": {"per_adult": {"value": 0.3, "interval": [0.2, 0.45],
                                  "source": {"assumed": "judgement"}}},
    "bad_years": [{"name": "flood", "chance": 0.05, "survival": 0.8}],
    "sites": [{"name": f"Riffle {EVIL}", "area_m2": 900, "start": {"adult": 60}}],
    "releases": [{"name": "juveniles", "site": f"Riffle {EVIL}", "stage": "juvenile",
                  "number": 80, "first": 2026, "last": 2029, "order_lead": 2}],
    "quasi_extinction": {"adults_below": 20, "from": 2030},
    "goals": [{"name": "adults in 2040", "measure": "adults", "at_least": 150, "in": 2040},
              {"name": "breeding", "measure": "recruits", "at_least": 5,
               "in_years": [2036, 2044], "of_years": 5}],
    "chance_wanted": 0.8, "runs": {"draws": 16, "replicates": 6, "seed": 3},
}
ANSWER = {
    "title": "A plan", "digest": "", "seed": 3, "draws": 16, "replicates": 6,
    "independent_runs": 16,
    "releases": ["juveniles"], "release_years": [2026, 2027, 2028, 2029],
    "goals": ["adults in 2040", "breeding"], "most": 1600.0, "chance_wanted": 0.8,
    "reachable": True, "number": 123, "low": 110.0, "high": 140.0, "draw_low": 30.0,
    "draw_high": None, "chance_at_number": 0.801, "best_chance": 0.97, "best_number": 1600.0,
    "band": None, "more_is_better": True, "limit": None, "limits_lifted": [],
    "total_animals": 492.0, "cost": 0.0, "mothers": 0.0, "warnings": [],
    "curve": {"number": [0.0, 50.0, 100.0, 150.0, 400.0, 1600.0],
              "chance": [0.1, 0.5, 0.75, 0.85, 0.93, 0.97],
              "low": [0.05, 0.45, 0.71, 0.81, 0.9, 0.95],
              "high": [0.15, 0.55, 0.79, 0.89, 0.96, 0.99]},
    "order_sheet": [{"order_year": 2024, "release_year": 2026, "site": f"Riffle {EVIL}",
                     "release": "juveniles", "stage": "juvenile", "age": 1,
                     "source": "hatchery", "number": 123, "mothers": 0, "cost": 0.0}],
}
UNREACHABLE = ANSWER | {
    "reachable": False, "number": None, "low": None, "high": None, "draw_low": None,
    "chance_at_number": None, "best_chance": 0.12, "limit": "hosts",
    "limits_lifted": [{"limit": "hosts", "best_chance": 0.85}], "total_animals": None,
    "cost": None, "mothers": None, "order_sheet": [],
    "curve": {"number": [0.0, 800.0, 1600.0], "chance": [0.0, 0.1, 0.12],
              "low": [0.0, 0.08, 0.1], "high": [0.01, 0.13, 0.15]}}
COMPARISON = {
    "scenarios": ["A plan", "Passage blocked"], "seed": 3, "draws": 16, "replicates": 6,
    "independent_runs": 16,
    "against_first": [{"scenario": "Passage blocked", "differences": [
        {"outcome": "all goals", "first": 0.7, "other": 0.1, "difference": -0.6, "low": -0.7,
         "high": -0.5, "settled": True, "more_runs": None},
        {"outcome": "extinction", "first": 0.0, "other": 0.0, "difference": 0.0, "low": 0.0,
         "high": 0.0, "settled": True, "more_runs": None},
        {"outcome": "adults in the last year", "first": 310.0, "other": 250.0,
         "difference": -60.0, "low": -130.0, "high": 10.0, "settled": False,
         "more_runs": 1.4}]}],
    "warnings": []}
ESTIMATES = {
    "level": 4,
    "survival": [
        {"name": "survival/adult", "apparent": 0.931, "corrected": 0.946, "se": 0.011,
         "low": 0.922, "high": 0.965, "year_sd": 0.02, "n": 612, "heard_dead": 0.9,
         "heard_alive": 0.95, "per": "year", "note": None},
        {"name": "survival/juvenile", "apparent": None, "corrected": None, "se": None,
         "low": 0.4, "high": 0.93, "year_sd": None, "n": 31, "per": "year",
         "note": f"only bounds {EVIL}"},
        {"name": "release/hatchery", "apparent": None, "corrected": 0.77, "se": 0.03,
         "low": 0.71, "high": 0.83, "n": 1900, "per": "event", "note": None},
        {"name": "bad_year/2019 flood", "apparent": None, "corrected": 0.69, "se": 0.05,
         "low": 0.6, "high": 0.77, "n": 781, "per": "event", "note": None}],
    "detection": [{"name": "detection/antenna", "value": 0.71, "low": 0.1, "high": 0.95}],
    "tag_retention": {"tag": 0.981, "se": 0.005, "low": 0.968, "high": 0.989, "animals": 311},
    "growth": {"asymptote_mm": 82.1, "asymptote_mm_se": 0.9, "asymptote_mm_low": 80.0,
               "asymptote_mm_high": 84.0, "rate": 0.161, "negative_increments": 2, "animals": 5},
    "models": [{"name": "survival by stage, detection by method", "parameters": 8,
                "loglik": -2009.1, "aicc": 4034.3, "weight": 1.0}],
    "fit": {"overdispersion": 1.08, "p_value": 0.31},
    "density": [{"name": "density/Fennel Bar", "survey": "2025", "stage": "", "value": 0.0,
                 "low": 0.0, "high": 0.12, "units": 100, "blanks": 100, "animals": 0}],
    "recruits": [{"name": "recruits/Fennel Bar", "survey": "2025", "definite": 0, "probable": 0,
                  "cannot_tell": 1, "density_high": 0.12, "per_adult": None,
                  "per_adult_low": None, "per_adult_high": None}],
    "refused": [{"what": "survival of age 1", "why": "too few", "needed": "ten seen again"}],
    "notes": []}
PICTURES = {"increments": {"length_mm": [30.0, 40.0, 60.0, 75.0, 78.0],
                           "increment_mm": [7.0, 6.0, 3.0, -0.8, -0.4],
                           "years": [1.0, 1.1, 0.9, 1.0, 1.0]}}


DATA_CHECK = {
    "draws": 8, "replicates": 5, "held_out_from": 2025, "held_out": 1, "held_out_inside": 0,
    "clumping": None,
    "notes": ["no year was left out"], "rows": [
        {"what": "marked animals seen alive", "site": f"Riffle {EVIL}", "when": "2025-09",
         "year": 2026, "count": 40, "q05": 10.0, "q25": 15.0, "q50": 20.0, "q75": 26.0,
         "q95": 33.0, "percentile": 98.0, "verdict": "outside", "held_out": True}]}
NUMBERS = (0, 50, 100, 150, 400, 1600)


def invented_records() -> FieldRecords:
    """Two rows read, one set aside because its position was swapped."""
    tables = {name: pd.DataFrame({c: pd.Series(dtype=object) for c in columns})
              for name, columns in COLUMNS.items()}
    tables["units"] = pd.DataFrame([
        {"survey": "2025", "site": f"Riffle {EVIL}", "date": None, "transect": 1, "unit": "Q1",
         "area_m2": 0.25, "excavated": True, "depth_cm": 15, "sieve_mm": 6}])
    account = RowAccount(
        tables=pd.DataFrame([{"file": f"field/{EVIL}.csv", "is": "units", "in": 2, "used": 1,
                              "flagged": 0, "set_aside": 1}]),
        reasons=pd.DataFrame([{
            "code": "position-swapped", "effect": "set aside", "rows": 1,
            "sentence": "Latitude and longitude (-3.26775, 0.45319) seem to be swapped."}]),
        set_aside=pd.DataFrame(), flagged=pd.DataFrame())
    return FieldRecords(**tables, account=account, notes=[f"a note {EVIL}"])


@pytest.fixture(scope="session")
def plan():
    return Scenario.from_dict(PLAN)


@pytest.fixture(scope="session")
def data(plan):
    return run(plan, threads=1)


@pytest.fixture(scope="session")
def level_0(plan, data):
    """A plan and its run, nothing else."""
    return gather(runs=[(plan, data)])


@pytest.fixture(scope="session")
def everything(plan, data):
    """All that a page can hold."""
    study = SimpleNamespace(title=f"Study {EVIL}", species=["Lampsilis ficta"],
                            spec=SimpleNamespace(stages=[]))
    lower = plan.with_changes({"title": f"Lower {EVIL}", "survival.adult.value": 0.9})
    return gather(study=study, records=invented_records(), estimates=ESTIMATES,
                  pictures=PICTURES, runs=[(plan, data), (lower, data)],
                  stock=[(plan, ANSWER), (lower, UNREACHABLE)], comparison=COMPARISON,
                  sensitivity=sensitivity(plan), targets=target_curves(plan, NUMBERS),
                  grid=explore(plan, {"number": [0, 100, 400],
                                      "survival.adult.value": [0.88, 0.92, 0.95]}),
                  donor=donor(Scenario.from_dict(PLAN | {"collections": [
                      {"site": f"Riffle {EVIL}", "stage": "adult", "number": 5, "first": 2026,
                       "last": 2028}]})),
                  data_check=DATA_CHECK, commands=("pva report study --seed 3",))


@pytest.fixture(scope="session")
def whole_page(everything):
    return render_report(everything)


@pytest.fixture(scope="session")
def bare_page(level_0):
    return render_report(level_0)
