"""What stands beside the estimates: other models of tag loss, leaving, reach, bounds and checks."""

from __future__ import annotations

from pva.report.blocks import Folded, Heading, Text, table
from pva.report.words import known, sentence

MOST_BATCHES = 8  # longer tables are folded away


def beside(summary) -> list:
    """Blocks of the part on estimates; empty where there is nothing of the kind.

    Parameters
    ----------
    summary : mapping
        What `pva estimate` gives.
    """
    return [*_tag_models(summary), *_leaving(summary), *_batches(summary), *_fates(summary),
            *_visits(summary)]


def _digits(value, digits: int = 3) -> str:
    return f"{value:.{digits}f}" if known(value) else ""


def _range(row) -> str:
    low, high = row.get("low"), row.get("high")
    return f"{low:.3f} to {high:.3f}" if known(low) and known(high) else ""


def _tag_models(summary):
    kept = summary.get("tag_retention") or {}
    kinds = {"": kept} if "models" in kept else {
        k: v for k, v in kept.items() if isinstance(v, dict) and "models" in v}
    rows = [[f"{m['name']}{' (used)' if m['name'] == one['model'] else ''}"
             f"{', ' + name if name else ''}", _digits(m["aicc"], 1), _digits(m["first_year"]),
             _digits(m["fifth_year"])] for name, one in kinds.items() for m in one["models"]]
    if not rows:
        return []
    return [table("Models of tag loss", ("Model", "AICc", "Kept through the first year",
                                         "Kept through the fifth year"), rows, numbers=(1, 2, 3))]


def _leaving(summary):
    rows = [[r["name"], _digits(r["value"]), _range(r), sentence(r["note"] or "")]
            for group in ("staying", "availability") for r in summary.get(group) or ()
            if known(r.get("value"))]
    if not rows:
        return []
    return [Heading("Leaving the site and lying out of reach"), table(
        "Chance of staying for a year; share of living animals within reach at a visit",
        ("What", "Estimate", "95 % interval", "Note"), rows, numbers=(1, 2))]


def _batches(summary):
    rows = [[f"{r['mark']}, {r['site']}", r["visit"], _digits(r["years"], 2), r["released"],
             r["found"], r["shells"], _digits(r["low"]), _digits(r["high"]),
             _digits(r["low_even"])] for r in summary.get("batch_bounds") or ()]
    if not rows:
        return []
    whole = table(
        "Survival since the release of batches without single tags",
        ("Mark", "Search", "Years", "Released", "Met alive", "Shells", "At least", "At most",
         "At least, if evenly spread"), rows, numbers=range(2, 9),
        note="Animals that lost the mark, left or were missed cannot be told from dead ones. Each "
             "bound holds in 95 of 100 studies.")
    few = len(rows) <= MOST_BATCHES
    return [Heading("Bounds from batch marks"),
            whole if few else Folded(f"{len(rows)} searches for batch marks", (whole,))]


def _fates(summary):
    rows = [[r["group"], _digits(r["years"], 2), r["at_risk"], r["died"], _digits(r["survival"]),
             _digits(r["se"]), _range(r)] for r in summary.get("known_fate") or ()]
    if not rows:
        return []
    return [Heading("Animals whose every fate is known"), table(
        "Product-limit survival since the release, a check beside the estimates",
        ("Release", "Years", "At risk", "Died", "Survival", "SE", "95 % interval"), rows,
        numbers=range(1, 7))]


def _visits(summary):
    crude = summary.get("visit_by_visit")
    if not crude:
        return []
    rows = [[f"{r['site']}, {r['visit']}", _digits(r["survival"]), _digits(r["survival_se"]),
             _digits(r["years"], 2), _digits(r["detection"]), _digits(r["alive"], 0),
             _digits(r["joining"], 0)] for r in crude["rows"]]
    said = Text("From sums over the tagged animals, nothing smoothed: survival above 1 or a "
                "negative number joining shows how little that visit tells. No number to plan "
                "with.")
    shown = table("Survival to the next visit, detection, numbers alive and joining",
                  ("Visit", "Survival", "SE", "Years", "Detection", "Alive", "Joining"), rows,
                  numbers=range(1, 7))
    return [Folded(f"A cross-check, {crude['label']}", (said, shown))]
