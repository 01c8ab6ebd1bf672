"""What `pva estimate` prints and writes as JSON: one dictionary, one source for every table."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import expit, logit

from pva.estimate.levels import level_words
from pva.estimate.link_scale import Z95
from pva.estimate.species_growth import growth_row
from pva.estimate.summary_survival import (
    average_rows,
    effect_rows,
    fit_row,
    model_rows,
    year_row,
)
from pva.estimate.to_estimates import named
from pva.estimate.visit_by_visit import LABEL


@dataclass(frozen=True)
class StudySummary:
    """The summary of a study's estimates.

    Parameters
    ----------
    content : dict
        As described in `as_dict`.
    """

    content: dict

    def as_dict(self) -> dict:
        """Plain Python: numbers, text, lists and None."""
        return _plain(self.content)


def summarise(told) -> StudySummary:
    """Build the summary.

    Parameters
    ----------
    told : StudyEstimates
    """
    results = told.by_species
    alone = len(results) == 1
    tagged = {name: "" if alone else name for name in results}
    first = next(iter(results.values()), None)
    return StudySummary({
        "title": told.title, "species": told.species, "level": told.level,
        "level_words": level_words(told.level, measured=any(
            r.following.lengths["animal"].duplicated().any() for r in results.values())),
        "rows": told.records.account.totals if told.records is not None else None,
        "survival": [row for n, r in results.items() for row in _survival(told, r, tagged[n])],
        "detection": [_estimate_row(e) for k, e in told.rates.items()
                      if k.startswith("detection/")],
        "tag_retention": _one_or_many(results, _retention),
        "staying": [_estimate_row(e) for k, e in told.rates.items() if k.startswith("staying/")],
        "availability": [_estimate_row(e) for k, e in told.rates.items()
                         if k.startswith("availability/")],
        "growth": _one_or_many(results, growth_row),
        "transitions": [_estimate_row(e) for k, e in told.rates.items()
                        if k.startswith("growth/")],
        "models": [row for n, r in results.items() for row in model_rows(r, tagged[n])],
        "effects": [row for n, r in results.items() for row in effect_rows(r, tagged[n])],
        "years": _one_or_many(results, year_row) if first is not None else None,
        "averaged": [row for r in results.values() for row in average_rows(r)],
        "fit": _one_or_many(results, fit_row) if first is not None else None,
        "known_fate": known_fate_rows(told.known_fates),
        "visit_by_visit": visit_rows(told.tables.get("visit_by_visit")),
        "batch_bounds": _records(told.tables.get("batch_bounds")),
        "density": [_without(row, "site") for row in told.bed.rows],
        "recruits": [_without(row, "site") for row in told.bed.recruits],
        "surface_search": told.bed.surface, "next_units": told.bed.next_units,
        "hosts": [_without(row, "site") for row in told.hosts.rows],
        "glochidia_per_host": [_without(row, "site") for row in told.hosts.loads],
        "abundance": [_estimate_row(e) for stages in told.abundance.values()
                      for e in stages.values()],
        "refused": [{"what": r.what, "why": r.why, "needed": r.needed} for r in told.refused]
        + [_bounds_row(k, e) for k, e in told.rates.items() if e.value is None],
        "notes": list(told.notes),
    })


def _without(row: dict, *names: str) -> dict:
    return {k: v for k, v in row.items() if k not in names}


def _one_or_many(results, make):
    """The thing itself in a study of one species, by species otherwise."""
    made = {name: make(r) for name, r in results.items()}
    if len(made) == 1:
        return next(iter(made.values()))
    return {name: one for name, one in made.items() if one is not None} or None


def _survival(told, result, species: str) -> list[dict]:
    rows = []
    for key, estimate in told.rates.items():
        plain = key.removesuffix(f" of {species}") if species else key
        group = plain.split("/")[0]
        if group not in ("survival", "release", "bad_year") or named(plain, species) != key:
            continue
        if species and not key.endswith(f" of {species}"):
            continue
        losses = result.losses
        corrected = estimate.value if losses else None
        apparent = estimate.apparent if losses else estimate.value
        low, high = estimate.interval or (None, None)
        heard = result.rates.heard.get(plain) if result.rates else None
        bounds = [x for x in (*(heard or ()), estimate.value) if x is not None]
        rows.append({
            "name": key, "apparent": apparent, "corrected": corrected, "se": estimate.se,
            "low": low, "high": high, "year_sd": estimate.year_sd, "n": estimate.n,
            "heard_dead": heard[0] if heard else None, "heard_alive": heard[1] if heard else None,
            "heard_low": min(bounds) if heard else None,
            "heard_high": max(bounds) if heard else None,
            **_heard_with_doubt(bounds if heard else (), estimate.link),
            "corrected_for": list(losses.corrected_for),
            "per": "year" if group == "survival" else "event", "note": estimate.note or None,
        })
    return rows


def _bounds_row(key: str, e) -> dict:
    """A number that is not given, with its bounds where there are any."""
    low, high = e.interval or (None, None)
    return {"what": key, "why": e.note, "needed": "", "low": low, "high": high}


def _heard_with_doubt(readings, link) -> dict:
    """The range of the readings with the doubt that each of them has."""
    ends = {"heard_low_with_doubt": None, "heard_high_with_doubt": None}
    if link is None or not readings or not 0 < min(readings) <= max(readings) < 1:
        return ends
    half = Z95 * link.se
    return {"heard_low_with_doubt": float(expit(logit(min(readings)) - half)),
            "heard_high_with_doubt": float(expit(logit(max(readings)) + half))}


def known_fate_rows(fates) -> list[dict]:
    """Product-limit survival of releases with known fates, and how two of them differ."""
    rows = []
    for fate in fates:
        rows += [{"group": fate.group, "animals": fate.animals, **row}
                 for row in fate.table.to_dict("records")]
    return rows


def visit_rows(table) -> dict | None:
    """Crude estimates of every visit under the label that says what they are."""
    rows = _records(table)
    return {"label": LABEL, "rows": rows} if rows else None


def _records(table) -> list[dict]:
    return [] if table is None else table.to_dict("records")


def _estimate_row(e) -> dict:
    low, high = e.interval or (None, None)
    return {"name": e.key, "value": e.value, "se": e.se, "low": low, "high": high, "n": e.n,
            "note": e.note or None}


def _retention(result) -> dict | None:
    kept = result.retention
    if kept is None:
        return None
    low, high = kept.interval
    return {"tag": kept.tag, "se": kept.se, "low": low, "high": high,
            "second_mark": kept.second_mark, "meetings": kept.meetings, "animals": kept.animals,
            "lost": kept.lost, "model": kept.name,
            "kept_to_age": [{"years": t, "tag": float(kept.kept(0, t))} for t in (1, 2, 5, 10)],
            "models": [{"name": m.name, "aicc": m.aicc, "first_year": m.tag,
                        "fifth_year": float(m.kept(4, 5))}
                       for m in (kept, kept.rival) if m is not None]}


def _plain(thing):
    """Numbers of numpy become Python's; what is not finite becomes None."""
    if isinstance(thing, dict):
        return {str(k): _plain(v) for k, v in thing.items()}
    if isinstance(thing, (list, tuple, np.ndarray)):
        return [_plain(v) for v in thing]
    if isinstance(thing, (bool, np.bool_)):
        return bool(thing)
    if isinstance(thing, (int, np.integer)):
        return int(thing)
    if isinstance(thing, (float, np.floating)):
        return float(thing) if np.isfinite(thing) else None
    return thing
