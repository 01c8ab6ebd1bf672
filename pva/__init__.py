"""Freshwater-mussel restoration, from field records to how many animals to stock.

The public names are loaded when first used, so that importing the package stays quick.
"""

from __future__ import annotations

from importlib import import_module

_PLACES = {
    "read_scenario": "pva.scenario.scenario",
    "Scenario": "pva.scenario.scenario",
    "run": "pva.results.run",
    "run_summary": "pva.results.summary",
    "stock": "pva.decide.stock",
    "compare": "pva.decide.compare",
    "credit": "pva.decide.credit",
    "sensitivity": "pva.decide.sensitivity",
    "donor": "pva.decide.donor",
    "explore": "pva.decide.explore",
    "Tasks": "pva.results.tasks",
    "explore_summary": "pva.decide.explore",
    "check_data": "pva.decide.check_data",
    "what_changed": "pva.decide.what_changed",
    "read_estimates": "pva.estimate.estimates_file",
    "Quadrats": "pva.decide.effort",
    "finding_one": "pva.decide.quadrat_effort",
    "density_precision": "pva.decide.quadrat_effort",
    "seeing_change": "pva.decide.quadrat_effort",
    "TagPlan": "pva.decide.survival_effort",
    "survival_effort": "pva.decide.survival_effort",
    "survey_verdict": "pva.decide.survey_verdict",
    "read_study": "pva.field",
    "estimate": "pva.estimate",
    "length_mesh": "pva.scenario.length_classes",
    "PvaError": "pva.errors",
}

__all__ = sorted(_PLACES)


def __getattr__(name: str):
    """Load a public name when it is first asked for."""
    if name not in _PLACES:
        raise AttributeError(f"module 'pva' has no attribute {name!r}")
    return getattr(import_module(_PLACES[name]), name)


def __dir__() -> list[str]:
    return __all__
