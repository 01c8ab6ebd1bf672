"""What changed between two estimates files, such as last year's and this year's."""

from __future__ import annotations

from dataclasses import asdict, dataclass

from pva.estimate.estimates import Estimate, Estimates
from pva.results.summary import plain

MUCH = 2.0  # standard errors of the earlier estimate
_Z = 1.959963984540054
SAME, CHANGED, UNTOLD = "within its doubt", "beyond its doubt", "doubt not stated"
NEW, GONE = "new", "gone"


@dataclass(frozen=True)
class Change:
    """One key of two estimates files.

    Parameters
    ----------
    key : str
    before, after : float or None
        Values; None where the file has none.
    se_before, se_after : float or None
    difference : float or None
    in_se : float or None
        Difference over the standard error before.
    verdict : str
        ``within its doubt``, ``beyond its doubt``, ``doubt not stated``, ``new`` or ``gone``.
    """

    key: str
    before: float | None
    after: float | None
    se_before: float | None
    se_after: float | None
    difference: float | None
    in_se: float | None
    verdict: str


@dataclass(frozen=True)
class WhatChanged:
    """All keys of two estimates files side by side, the largest change first.

    Parameters
    ----------
    before, after : str
        Titles.
    rows : tuple of Change
    """

    before: str
    after: str
    rows: tuple[Change, ...]

    def summary(self) -> dict:
        """Plain dictionary for JSON."""
        beyond = [r.key for r in self.rows if r.verdict == CHANGED]
        return plain({"before": self.before, "after": self.after, "beyond_its_doubt": beyond,
                      "compared": sum(r.difference is not None for r in self.rows),
                      "rows": [asdict(r) for r in self.rows]})


def what_changed(before: Estimates, after: Estimates) -> WhatChanged:
    """Hold two estimates files side by side.

    Differences are measured in standard errors of the earlier estimate: more data may move a
    number by one or two of them and no reader need wonder. The later file holds the earlier
    records too, so the two are not independent and no test is made of it.

    Parameters
    ----------
    before, after : Estimates
    """
    old, new = _flat(before), _flat(after)
    rows = [_change(key, old.get(key), new.get(key)) for key in dict.fromkeys([*old, *new])]
    rows.sort(key=lambda r: -abs(r.in_se) if r.in_se is not None else 1.0)
    return WhatChanged(before.title, after.title, tuple(rows))


def _flat(estimates: Estimates) -> dict[str, Estimate]:
    more = {f"abundance/{site}/{stage}": one for site, stages in estimates.abundance.items()
            for stage, one in stages.items()}
    return {**estimates.rates, **more}


def _change(key: str, old: Estimate | None, new: Estimate | None) -> Change:
    before, after = (None if e is None else e.value for e in (old, new))
    ses = tuple(None if e is None else _se(e) for e in (old, new))
    if before is None or after is None:
        verdict = UNTOLD if before is None and after is None else NEW if before is None else GONE
        return Change(key, before, after, *ses, None, None, verdict)
    away = after - before
    if not ses[0]:
        return Change(key, before, after, *ses, away, None, UNTOLD)
    return Change(key, before, after, *ses, away, away / ses[0],
                  CHANGED if abs(away / ses[0]) > MUCH else SAME)


def _se(estimate: Estimate) -> float | None:
    """Standard error, or the one that the interval implies."""
    if estimate.se is not None:
        return estimate.se
    if estimate.interval is None:
        return None
    low, high = estimate.interval
    return (high - low) / (2 * _Z)
