"""Limits of goals that no population could reach, or none could miss."""

from __future__ import annotations

from collections.abc import Sequence

from pva.estimate.estimates import PROBABILITIES
from pva.scenario.counts import MOST_ANIMALS, check_count
from pva.scenario.places import Problems
from pva.scenario.spec import ScenarioSpec
from pva.scenario.spec_plan import SurveyGoalSpec

SHARES = ("wild_share", "heterozygosity")
ANIMALS = ("adults", "animals", "wild_adults", "stocked_adults", "females", "recruits")
HIGHEST_REPLACEMENT = 10.0


def check_goal_limit(
    spec: ScenarioSpec, measure: str, number: float | None, path: Sequence, problems: Problems
) -> None:
    """Record a limit of a goal, or of `until`, outside the range of its measure.

    Parameters
    ----------
    spec : ScenarioSpec
    measure : str
        Yearly measure.
    number : float or None
        Limit as written; None where nothing is written.
    path : sequence
        Where it is written.
    problems : Problems
        Receives what is found.
    """
    if number is None:
        return
    if number < 0:
        problems.add(path, f"{{key}} is {number:g}, but `{measure}` is never below 0",
                     "Write a number of 0 or more.", code="goal-out-of-range")
        return
    top, why = _top(spec, measure)
    if top is not None and number > top:
        problems.add(path, f"{{key}} is {number:g}, but `{measure}` {why}",
                     f"Write a number from 0 to {top:g}.", code="goal-out-of-range")
    elif measure in ANIMALS and number > MOST_ANIMALS:
        check_count(number, path, problems)


def _top(spec: ScenarioSpec, measure: str) -> tuple[float | None, str]:
    if measure in SHARES:
        return 1.0, "is a share, at most 1"
    if measure == "replacement_ratio":
        return HIGHEST_REPLACEMENT, (
            "counts young adults per adult death: 1 keeps the number, and above "
            f"{HIGHEST_REPLACEMENT:g} it can only be a slip")
    if measure == "sites_occupied":
        sites = len(spec.sites) if spec.sites else 1
        return float(sites), f"is at most the number of sites, {sites}"
    return None, ""


def check_survey_limit(row: SurveyGoalSpec, path: Sequence, problems: Problems) -> None:
    """Record a limit of a survey goal outside the range of its estimate."""
    number, path = row.lower_limit_at_least, (*path, "lower_limit_at_least")
    if number < 0:
        problems.add(path, f"{{key}} is {number:g}, but `{row.estimate}` is never below 0",
                     "Write a number of 0 or more.", code="goal-out-of-range")
    elif number > 1 and row.estimate.split("/")[0] in PROBABILITIES:
        problems.add(path, f"{{key}} is {number:g}, but `{row.estimate}` is a chance, at most 1",
                     "Write a number from 0 to 1.", code="goal-out-of-range")
