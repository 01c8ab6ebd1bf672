"""What a run asks the engine to sum up: measures as rows of tallies, goals and risks as watches."""

from __future__ import annotations

import numpy as np

from pva.engine import asked as a
from pva.engine.asked import Asked
from pva.model.record import STOCKS, T_COLLECTED, T_COST
from pva.results.goals import site_groups
from pva.results.measures import FLOWS, MEASURES, SUMMED, TERMS, Places
from pva.scenario.resolved import RIVER, Resolved

_KINDS = {"sites_occupied": a.OCCUPIED, "heterozygosity": a.LOSS}
EXTINCT, BELOW, GOALS = range(3)  # the watches of every run, then those of the goals
ADULTS, WILD_ADULTS = 0, 1  # the rows that are counted in every run


class Asking:
    """The questions of a run.

    Parameters
    ----------
    resolved : Resolved
    places : Places
    keep : int
        Trajectories of adults kept, those of the first replicates.

    Attributes
    ----------
    asked : Asked
        For the engine.
    means : dict of (str, int) to int
        (measure, place) -> row, for measures that are no sums; places are the river, then sites.
    """

    def __init__(self, resolved: Resolved, places: Places, *, keep: int = 0):
        self._resolved, self._places = resolved, places
        self._names = [s.name for s in resolved.sites]
        self._rows: dict[tuple, int] = {}
        self._arrays: dict[str, list] = {
            f: [] for f, v in a.nothing_asked()._asdict().items() if isinstance(v, np.ndarray)}
        river = range(len(self._names))
        self._arrays["summed"] = self._summed()
        for row, name in ((ADULTS, "adults"), (WILD_ADULTS, "wild_adults")):
            self._row(name, river)
            self._arrays["row"][row][a.A_COUNT] = row
        self.means = {(name, p): self._row(name, sites)
                      for p, sites in enumerate(self._summed_places())
                      for name in MEASURES if name not in SUMMED and self._can_occur(name)}
        self._risks()
        for goal in resolved.goals:
            self._goal(goal)
        self.asked = Asked(
            **{f: self._array(f) for f in self._arrays}, whole=int(resolved.chance.individuals),
            start=resolved.quasi_extinction.from_year - resolved.first, keep=keep)

    def _summed(self):
        """Tallies that are not 0 everywhere, and of which the census does not give the sums."""
        wanted = {t for name in SUMMED for t in TERMS[name][0]} | {T_COLLECTED}
        if not self._resolved.collections:
            wanted -= {T_COLLECTED}
        if not any(release.cost_each for release in self._resolved.releases):
            wanted -= {T_COST}
        return sorted(wanted - STOCKS if self._resolved.chance.individuals else wanted)

    def _summed_places(self):
        sites = range(len(self._names))
        return [sites] if len(sites) == 1 else [sites, *([i] for i in sites)]

    def _can_occur(self, name):
        """Whether the measure is not null everywhere."""
        if name == "heterozygosity":
            return self._places.genetics is not None and bool(self._places.generation_years)
        hosts = any(s.recruitment.form == "hosts" for s in self._resolved.sites)
        return hosts if name == "glochidia_per_host" else True

    def _row(self, name, sites):
        key = name, tuple(sites)
        if key not in self._rows:
            self._rows[key] = len(self._rows)
            self._add_row(name, key[1])
        return self._rows[key]

    def _add_row(self, name, sites):
        top, bottom = TERMS[name]
        kind = _KINDS.get(name, a.RATIO if bottom else a.SUM)
        terms = self._arrays["term"]
        first = len(terms)
        terms += [(s, t) for t in top for s in sites]
        middle = len(terms)
        if kind == a.OCCUPIED:
            terms += [(s, t) for s in sites for t in bottom]
        else:
            terms += [(s, t) for t in bottom for s in sites]
        self._arrays["row"].append([kind, name in FLOWS, first, middle, len(terms), -1])
        self._arrays["number"].append(self._numbers(name, sites))

    def _numbers(self, name, sites):
        genetics, years = self._places.genetics, self._places.generation_years
        if name == "heterozygosity":
            if genetics is None or not years:
                return 1.0, 1.0, np.nan
            return genetics.ne_over_n, years, 1 - 1 / (2 * genetics.founders)
        area = self._places.area[list(sites)].sum()
        return (area if name == "adults_per_m2" else 1.0), 0.0, 0.0

    def _risks(self):
        rule = self._resolved.quasi_extinction
        first, last = rule.from_year - self._resolved.first, len(self._resolved.years) - 1
        once = {"window": (first, last), "times": 1, "every": 1}
        self._watch("animals", RIVER, (1.0, 0.0), **once)
        below = np.nextafter(rule.adults_below, -np.inf)  # less than, not at most
        self._watch("adults", rule.where, (1.0, below), **once)

    def _goal(self, goal):
        first, last = (y - self._resolved.first for y in goal.years)
        running = goal.running is not None
        times = goal.running if running else goal.of_years
        side = 1.0 if goal.at_most else -1.0
        self._watch(goal.measure, goal.where, (side, side * goal.value), window=(first, last),
                    times=last - first + 1 if times is None else times, running=running, every=0)

    def _watch(self, measure, where, limit, *, window, times, every, running=0):
        groups, needed = site_groups(where, self._names)
        watched = self._arrays["watched"]
        begin = len(watched)
        watched += [self._row(measure, sites.tolist()) for sites in groups]
        self._arrays["watch"].append([*window, times, running, begin, len(watched), needed, every])
        self._arrays["limit"].append(limit)

    def _array(self, field):
        empty = getattr(a.nothing_asked(), field)
        return np.array(self._arrays[field], dtype=empty.dtype).reshape(-1, *empty.shape[1:])
