"""A study named where a scenario is wanted, and the like: told in one sentence."""

from __future__ import annotations

import os
from collections.abc import Iterable

from pva.errors import FormError, Problem

STUDY, SCENARIO, ESTIMATES = "a study", "a scenario", "a file of estimates"
_TELLING = {  # keys that one kind has and the others have not
    STUDY: {"tables", "visits", "report", "new_animals", "corrected", "accepted"},
    SCENARIO: {"extends", "years", "census", "quasi_extinction", "runs", "goals", "recruitment",
               "releases"},
}
_ADVICE = {
    STUDY: "Name the folder of the study, or its study.yaml.",
    SCENARIO: "Name a scenario, such as one in the folder `scenarios` of the study.",
}


def refuse_another_kind(path: str | os.PathLike, keys: Iterable, wanted: str) -> None:
    """Refuse a file whose keys are plainly those of another kind.

    Parameters
    ----------
    path : path
    keys : iterable
        Keys at top level.
    wanted : {STUDY, SCENARIO}

    Raises
    ------
    FormError
        It holds no key that tells the kind wanted, and some that tell another one.
    """
    keys = {str(key) for key in keys}
    if keys & _TELLING[wanted]:
        return
    found = next((kind for kind, telling in _TELLING.items() if keys & telling), None)
    if found is None and any("/" in key for key in keys):
        found = ESTIMATES
    if found is not None:
        raise FormError(Problem(f"this is {found}, not {wanted}", _ADVICE[wanted], file=str(path),
                                code="another-kind"))
