"""Which of the entry levels the records reach."""

from __future__ import annotations

from pva.estimate.following import Following
from pva.field.records import SHELL, FieldRecords

LEVEL_WORDS = ("a plan without data", "releases, batch marks or quadrats", "tags and two visits",
               "tags, three visits or more, and lengths",
               "tags, visits and lengths, with double marks, shells, repeat passes or host fish")
UNMEASURED_WORDS = {
    3: "tags and three visits or more; no animal was measured twice",
    4: "tags and visits, with double marks, shells, repeat passes or host fish; no animal was "
       "measured twice"}


def level_words(level: int, *, measured: bool) -> str:
    """A level in words.

    Parameters
    ----------
    level : int
    measured : bool
        Whether any animal was measured at two visits.
    """
    return LEVEL_WORDS[level] if measured else UNMEASURED_WORDS.get(level, LEVEL_WORDS[level])


def entry_level(records: FieldRecords, following: Following) -> int:
    """Level 0 to 4: what the records allow.

    Parameters
    ----------
    records : FieldRecords
    following : Following

    Returns
    -------
    int
        0 no data; 1 releases, batches or quadrats; 2 tags and two visits; 3 tags and three visits
        or more, which tell survival, and growth where lengths were taken; 4 double marks, shells,
        repeat passes or host counts besides.
    """
    some = len(records.releases) or len(records.units) or len(records.encounters)
    steps = following.steps
    if not len(steps) or not steps["status"].ne("").any():
        return 1 if some else 0
    # the release or first capture is an occasion too
    occasions = 1 + int(steps.groupby("follow").size().max())
    if occasions < 3:
        return 2
    more = (
        records.releases["second_mark"].notna().any()
        or records.encounters["status"].eq(SHELL).any()
        or (records.visits["passes"].fillna(1) > 1).any()
        or len(records.hosts) > 0
    )
    return 4 if more else 3
