"""Which models are tried: what the study says that rates may differ by, and plain rivals."""

from __future__ import annotations

import pandas as pd

from pva.estimate.models import COLUMN, WITHIN

YEAR_TERM = "year"
MOST_COMBINED = 3  # terms of survival of which every combination is tried
NOT_TERMS = ("species", "bad_years")  # each species is estimated by itself; bad years where named
MOST_VISITS = 40  # beyond so many, detection by year takes the place of detection by visit
OF_VISITS = ("method", "effort", "passes", "visit")


def detection_choices(asked, steps: pd.DataFrame) -> list[tuple[str, ...]]:
    """Ways in which detection may differ: what the study asks for, and its plain rivals.

    A number for each of hundreds of visits tells little and takes hours; years then stand for them.

    Parameters
    ----------
    asked : sequence of str
    steps : DataFrame
        As made by `label_steps`.
    """
    visited = steps[steps["visit"].notna()]
    asked = tuple(a for a in asked if differs(visited, a))
    choices = [(), *((a,) for a in asked)]
    if asked:
        choices.append(asked)
    groups = [a for a in asked if a != "length"]
    if "length" in asked and groups:
        choices.append((*groups, f"length{WITHIN}{groups[0]}"))
    if differs(visited, "visit"):
        each = "visit" if visited["visit"].nunique() <= MOST_VISITS else YEAR_TERM
        choices.append((*[a for a in asked if a in ("method", "length")], each))
    if differs(visited, "source") and "source" not in asked:
        choices.append((*asked, "source"))
    return list(dict.fromkeys(choices))


def survival_choices(asked, steps: pd.DataFrame) -> list[tuple[str, ...]]:
    """Ways in which survival may differ: stages always where there are any, then what is asked.

    Every combination of up to three; of more, each alone, all, and all but one. Each with and
    without years of their own.

    Parameters
    ----------
    asked : sequence of str
    steps : DataFrame
        As made by `label_steps`.
    """
    base = ("stage",) if differs(steps, "stage") else ()
    others = [a for a in asked if a not in ("stage", YEAR_TERM) and differs(steps, a)]
    if len(others) <= MOST_COMBINED:
        sets = [base]
        for other in others:
            sets += [(*s, other) for s in sets]
    else:
        sets = [base, *((*base, a) for a in others), (*base, *others)]
        sets += [(*base, *(b for b in others if b != a)) for a in others]
    if differs(steps, YEAR_TERM):
        sets += [(*s, YEAR_TERM) for s in sets]
    return sets


def differs(steps: pd.DataFrame, term: str) -> bool:
    """Whether the steps hold more than one value of a term."""
    column = COLUMN.get(term, term)
    return term not in NOT_TERMS and column in steps and steps[column].nunique() > 1


def what_cannot_differ(rate: str, asked, steps: pd.DataFrame) -> list[str]:
    """What to say of terms that were asked for and that the records do not hold.

    Parameters
    ----------
    rate : {'survival', 'detection'}
    asked : sequence of str
    steps : DataFrame
        As made by `label_steps`.
    """
    steps = steps[steps["visit"].notna()] if rate == "detection" else steps
    words = []
    for term in asked:
        if term in NOT_TERMS or term == "stage":
            continue
        values = steps[COLUMN.get(term, term)]
        values = values.where(values.ne("")) if values.dtype == object else values
        known = values.dropna().nunique()
        of = "visits" if term in OF_VISITS else "animals"
        if known == 0:
            words.append(f"{rate} cannot be told by {term}: no {of[:-1]} states it")
        elif known == 1:
            words.append(f"{rate} cannot be told by {term}: all {of} are alike")
        elif values.isna().any() and term in ("effort", "passes"):
            missing = steps.loc[values.isna(), ["site", "visit"]].drop_duplicates()
            words.append(f"{term} is not stated for {len(missing)} visits, which are taken for "
                         "average ones")
    return words
