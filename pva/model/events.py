"""Bad years, releases, collections, movement and stop rules as arrays."""

from __future__ import annotations

import numpy as np
from scipy.special import ndtri

from pva.lifehistory.links import match_probability
from pva.model.classes import Classes
from pva.model.record import UNTIL_MEASURES
from pva.model.slots import Slots
from pva.scenario.resolved import LOST, RIVER, Resolved


def bad_year_arrays(resolved: Resolved, classes: Classes) -> dict:
    """Bad years; without chance of years only fixed ones happen."""
    kinds = resolved.bad_years
    years = list(resolved.years)[:-1]
    random = resolved.chance.years
    names = [s.name for s in resolved.stages]
    chance = np.array([k.chance if random and not k.years else 0.0 for k in kinds], dtype=float)
    return {
        "bad_chance": chance,
        "bad_threshold": ndtri(chance),
        "bad_common": np.array([k.strikes for k in kinds], dtype=float),
        "bad_length": np.array([k.length for k in kinds], dtype=float),
        "bad_fixed": np.array([[y in k.years for y in years] for k in kinds],
                              dtype=bool).reshape(len(kinds), len(years)),
        "bad_survival": np.array([[k.survival.get(names[i], 1.0) for k in kinds]
                                  for i in classes.stage]).reshape(len(classes), len(kinds)),
        "bad_recruitment": np.array([k.recruitment for k in kinds], dtype=float),
        "bad_hosts": np.array([k.hosts for k in kinds], dtype=float),
    }


def release_arrays(resolved: Resolved, classes: Classes, slots: Slots) -> dict:
    """Release rows; the numbers are planned numbers, before the delivered share."""
    rows, site_index = resolved.releases, _site_index(resolved)
    names = [s.name for s in resolved.stages]
    stage = [names.index(r.stage) for r in rows]
    target = [int(classes.first[i]) + r.age - 1 for i, r in zip(stage, rows, strict=True)]
    taken = [classes.of_stage(i) if not r.age_written else np.arange(len(classes)) == c
             for i, c, r in zip(stage, target, rows, strict=True)]
    return {
        "release_row": np.array(
            [(site_index[r.site], c,
              -1 if r.first_year_survival is None else slots.add(r.first_year_survival, r.site),
              r.times_survival, -1 if r.from_site is None else site_index[r.from_site])
             for r, c in zip(rows, target, strict=True)], dtype=np.int64).reshape(len(rows), 5),
        "release_number": _by_year(resolved, rows),
        "release_share": np.array([(*_delivered(r, years=resolved.chance.years), r.cost_each)
                                   for r in rows], dtype=float).reshape(len(rows), 4),
        "release_again": _again(resolved, rows),
        "release_from_class": np.array(taken, dtype=bool).reshape(len(rows), len(classes)),
    }


def _delivered(row, *, years):
    if row.delivered_sd == 0 or not years:
        return row.delivered_mean, 0.0, 0.0
    return row.delivered_mean, *match_probability(row.delivered_mean, row.delivered_sd)


def collection_arrays(resolved: Resolved, classes: Classes) -> dict:
    """Collections from a site, at random over origins and age classes of the stage."""
    rows, site_index = resolved.collections, _site_index(resolved)
    names = [s.name for s in resolved.stages]
    return {
        "collect_site": np.array([site_index[r.site] for r in rows], dtype=np.int64),
        "collect_class": np.array([classes.of_stage(names.index(r.stage)) for r in rows],
                                  dtype=bool).reshape(len(rows), len(classes)),
        "collect_number": _by_year(resolved, rows),
    }


def until_arrays(resolved: Resolved) -> dict:
    """Rules that end a release row, then rules that repeat one."""
    rows, sites = resolved.releases, [s.name for s in resolved.sites]
    ends = [(i, r.until, -1, 0, r.until.at_least) for i, r in enumerate(rows) if r.until]
    again = [(i, rows[i].repeat, k, rows[i].order_lead, rows[i].repeat.at_most)
             for k, i in enumerate(_repeated(rows))]
    rules = ends + again
    watched = [[u.where == RIVER or s in u.where for s in sites] for _, u, *_ in rules]
    return {
        "until_rule": np.array([(i, UNTIL_MEASURES.index(u.measure), u.running, k, lead)
                                for i, u, k, lead, _ in rules],
                               dtype=np.int64).reshape(len(rules), 5),
        "until_value": np.array([value for *_, value in rules], dtype=float),
        "until_area": site_areas(resolved),
        "until_site": np.array(watched, dtype=bool).reshape(len(rules), len(sites)),
    }


def _repeated(rows):
    """Release rows with a rule that repeats them."""
    return [i for i, row in enumerate(rows) if row.repeat is not None]


def _again(resolved, rows):
    """Rule, last planned and last possible model year of each row; -1 where it is not repeated."""
    places = {i: k for k, i in enumerate(_repeated(rows))}
    return np.array(
        [(places[i], r.last_planned - resolved.first, r.repeat.last - resolved.first)
         if i in places else (-1, -1, -1) for i, r in enumerate(rows)],
        dtype=np.int64).reshape(len(rows), 3)


def movement_arrays(resolved: Resolved, classes: Classes, slots: Slots) -> dict:
    """Movement rows and the shares of recruits that hosts carry."""
    rows, site_index = resolved.movement, _site_index(resolved)
    names = [s.name for s in resolved.stages]
    masks = [np.ones(len(classes), dtype=bool) if r.stage == "all"
             else classes.of_stage(names.index(r.stage)) for r in rows]
    carried = np.zeros((len(resolved.sites),) * 2)
    for row in resolved.carried:
        carried[site_index[row.from_site], site_index[row.to]] += row.share
    return {
        "move_row": np.array(
            [(site_index[r.from_site], -1 if r.to == LOST else site_index[r.to],
              slots.add(r.share, r.from_site)) for r in rows], dtype=np.int64
        ).reshape(len(rows), 3),
        "move_class": np.array(masks, dtype=bool).reshape(len(rows), len(classes)),
        "carried": carried,
    }


def site_areas(resolved: Resolved) -> np.ndarray:
    """Areas in m2, shape (site,), NaN unknown."""
    return np.array([np.nan if s.area_m2 is None else s.area_m2 for s in resolved.sites])


def _site_index(resolved):
    return {s.name: i for i, s in enumerate(resolved.sites)}


def _by_year(resolved, rows):
    years = list(resolved.years)[:-1]
    return np.array([[float(r.numbers.get(y, 0.0)) for y in years] for r in rows],
                    dtype=float).reshape(len(rows), len(years))
