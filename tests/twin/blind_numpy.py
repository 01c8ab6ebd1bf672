"""A second simulation of the model, in plain vectorised NumPy: a blind check of engine and twin.

It was written from the model's description alone (docs/model-year.md, docs/equations.md,
docs/scenario-reference.md), by someone who had seen neither the twin nor the engine, and shares no
code and no random numbers with them. It reads the resolved scenario; what is in doubt is drawn anew
for each replicate. All replicates lie side by side: the last dimension of every array is the
replicate.
"""

from __future__ import annotations

import numpy as np
from blind_answers import measure
from blind_luck import YearLuck
from blind_young import Young

from pva.scenario.resolved import BEFORE, LOST, RIVER, Resolved

WILD, STOCKED = 0, 1
FLOWS = ("recruits", "reached", "deaths", "carried", "fish", "collected", "cost")


class Blind:
    """One scenario, simulated.

    Parameters
    ----------
    question : Resolved
        Whole animals only; stages of several ages start empty. Calibrations hold no doubt.
    replicates : int
    seed : int

    Attributes
    ----------
    tally : dict of str to ndarray, shape (census, site, replicate)
    stages : ndarray, shape (census, origin, site, stage, 2)
        Means over replicates of animals and of their squares.
    """

    def __init__(self, question: Resolved, replicates: int, seed: int):
        self.question, self.size = question, replicates
        self.sites = [s.name for s in question.sites]
        self._rng = np.random.default_rng(seed)
        self._luck = YearLuck(question, replicates, self._rng)
        self._stage_of = np.repeat(np.arange(len(question.stages)),
                                   [s.years or 1 for s in question.stages])
        self._first_of = {s.name: int(np.argmax(self._stage_of == k))
                          for k, s in enumerate(question.stages)}
        self._young = Young(question, self._luck, self._stage_of)
        self._adult = np.array([question.stages[s].adult for s in self._stage_of])
        shape = len(question.years), len(self.sites)
        self.tally = {name: np.zeros((*shape, replicates)) for name in
                      (*FLOWS, "wild_adults", "stocked_adults", "animals", "breeders")}
        self.stages = np.zeros((shape[0], 2, shape[1], len(question.stages), 2))
        self._ended = np.zeros((len(question.releases), replicates), dtype=bool)
        self._again = {}

    def run(self) -> Blind:
        """Simulate all years."""
        n = [self._start(site) for site in self.question.sites]
        self._census(0, n)
        for y in range(len(self.question.years) - 1):
            n = self._year(y, n)
            self._census(y + 1, n)
        return self

    def _classes(self, stage, age=None):
        first = self._first_of[stage]
        if age is not None:
            return [first + age - 1]
        return list(range(first, first + (self.question.stage(stage).years or 1)))

    def _start(self, site):
        n = np.zeros((2, len(self._stage_of), self.size))
        for stage, rate in site.start.numbers.items():
            n[WILD, self._first_of[stage]] = np.floor(self._luck.truth(rate) + 0.5)
        return n

    # one year

    def _year(self, y, n):
        n = [x.copy() for x in n]
        self._collect(y, n)
        released = self._release(y, n)
        if self.question.census == BEFORE:
            born = [self._breed(y, i, x) for i, x in enumerate(n)]
        n = [self._live(y, i, x) for i, x in enumerate(n)]
        if self.question.census != BEFORE:
            born = [self._breed(y, i, x) for i, x in enumerate(n)]
        for row, i, animals in released:
            n[i] = n[i] + self._live(y, i, np.stack([0 * animals, animals]), row)
        n = self._move(y, n)
        self._settle(y, born, n)
        return [self._limited(s.limits, x) for s, x in zip(self.question.sites, n, strict=True)]

    def _taken(self, pool, number):
        """So many animals at random out of a pool, shape (cell, replicate)."""
        pool = pool.astype(np.int64)
        left = pool.sum(axis=0)
        wanted = np.minimum(np.asarray(number).astype(np.int64), left)
        taken = np.zeros_like(pool)
        for cell, good in enumerate(pool):
            taken[cell] = self._rng.hypergeometric(good, left - good, wanted)
            left, wanted = left - good, wanted - taken[cell]
        return taken.astype(float)

    def _removed(self, y, i, n, classes, number):
        """Animals taken from classes of a site, over both origins, shape (class, replicate)."""
        taken = self._taken(n[i][:, classes].reshape(-1, self.size), number)
        taken = taken.reshape(2, len(classes), self.size)
        n[i][:, classes] -= taken
        self.tally["collected"][y + 1, i] += taken.sum(axis=(0, 1))
        return taken.sum(axis=0)

    def _collect(self, y, n):
        for row in self.question.collections:
            number = np.floor(row.numbers.get(self.question.first + y, 0) + 0.5)
            if number:
                self._removed(y, self.sites.index(row.site), n, self._classes(row.stage), number)

    def _release(self, y, n):
        """(row, site, animals by class) of this year."""
        found, year = [], self.question.first + y
        for k, row in enumerate(self.question.releases):
            again = self._again.get((k, year), np.zeros(self.size, dtype=bool))
            planned = row.numbers.get(year, 0) + again * row.numbers[row.last_planned]
            planned = np.where(self._ended[k], 0, planned)
            number = np.floor(planned * self._luck.delivered(row) + 0.5)
            animals = np.zeros((len(self._stage_of), self.size))
            if row.from_site is None:
                animals[self._classes(row.stage, row.age)] = number
            else:
                classes = self._classes(row.stage, row.age if row.age_written else None)
                animals[classes] = self._removed(y, self.sites.index(row.from_site), n, classes,
                                                 number)
            site = self.sites.index(row.site)
            self.tally["cost"][y + 1, site] += animals.sum(axis=0) * row.cost_each
            found.append((row, site, animals))
        return found

    def _breed(self, y, i, n):
        """Young by class entered, at the place of birth."""
        site = self.question.sites[i]
        animals = n.sum(axis=0)
        mean, through = self._young.expected(y, i, animals)
        if through is not None:
            self.tally["carried"][y + 1, i] = through.carried
            self.tally["fish"][y + 1, i] = through.fish
        factor = self._luck.multiplier(y, i, lambda kind: kind.recruitment)
        crowd = animals[self._young.breeds].sum(axis=0)
        if site.limits.beverton_holt:
            factor = factor / (1 + crowd / site.limits.beverton_holt)
        if site.limits.ricker:
            factor = factor * np.exp(-crowd / site.limits.ricker)
        k = site.recruitment.dispersion
        if k:
            factor = factor * self._rng.gamma(k, 1 / k, self.size)
        return {self._first_of[stage]: self._rng.poisson(factor * m).astype(float)
                for stage, m in mean.items()}

    def _survival(self, y, i, stage, row):
        chance = self._luck.rate(self.question.sites[i].survival[stage], y, i)
        if row is not None and row.first_year_survival is not None:
            own = self._luck.rate(row.first_year_survival, y, i)
            chance = own * chance if row.times_survival else own
        return np.minimum(chance * self._luck.multiplier(y, i, lambda kind: kind.survival[stage]),
                          1.0)

    def _steps(self, y, i, c):
        """(class reached, share of survivors), none where age ends life."""
        stage = self.question.stages[self._stage_of[c]]
        if stage.years:
            return [(c + 1, 1.0)] if c + 1 < len(self._stage_of) else []
        left, steps = 1.0, []
        for name, rate in self.question.sites[i].growth[stage.name].items():
            part = np.minimum(self._luck.rate(rate, y, i), left)
            left = left - part
            steps.append((self._first_of[name], part))
        return [*steps, (c, left)]

    def _spread(self, n, shares):
        """Multinomial: one part for each share, then the rest."""
        parts, left = [], np.ones(self.size)
        for part in shares:
            chance = np.divide(part, left, out=np.zeros(self.size), where=left > 1e-12)
            parts.append(self._rng.binomial(n.astype(np.int64), np.clip(chance, 0, 1)))
            n, left = n - parts[-1], left - part
        return [*parts, n]

    def _live(self, y, i, n, row=None):
        """Survival and growth of residents, or of what a row released."""
        after = np.zeros_like(n)
        for c, s in enumerate(self._stage_of):
            if not n[:, c].any():
                continue
            chance = self._survival(y, i, self.question.stages[s].name, row)
            alive = self._rng.binomial(n[:, c].astype(np.int64), chance)
            steps = self._steps(y, i, c)
            *moved, old = self._spread(alive, [part for _, part in steps])
            if self._adult[c]:
                self.tally["deaths"][y + 1, i] += (n[:, c] - alive + old).sum(axis=0)
            for (to, _), part in zip(steps, moved, strict=True):
                after[:, to] += part
                if self._adult[to] and not self._adult[c]:
                    self.tally["reached"][y + 1, i] += part[WILD]
        return after

    def _move(self, y, n):
        after = [x.copy() for x in n]
        for i, name in enumerate(self.sites):
            for c, s in enumerate(self._stage_of):
                stages = "all", self.question.stages[s].name
                rows = [m for m in self.question.movement
                        if m.from_site == name and m.stage in stages]
                shares = [self._luck.rate(m.share, y, i) for m in rows]
                *gone, _ = self._spread(n[i][:, c], shares)
                for row, part in zip(rows, gone, strict=True):
                    after[i][:, c] -= part
                    if row.to != LOST:
                        after[self.sites.index(row.to)][:, c] += part
        return after

    def _settle(self, y, born, n):
        """Young come in where they were born or where hosts carried them."""
        for i, name in enumerate(self.sites):
            rows = [m for m in self.question.carried if m.from_site == name]
            for c, young in born[i].items():
                *gone, rest = self._spread(young, [m.share for m in rows])
                for to, part in zip([*(m.to for m in rows), name], [*gone, rest], strict=True):
                    j = self.sites.index(to)
                    n[j][WILD, c] += part
                    self.tally["recruits"][y + 1, j] += part
                    self.tally["reached"][y + 1, j] += part * self._adult[c]

    def _limited(self, limits, n):
        for most, classes in ((limits.ceiling_adults, np.flatnonzero(self._adult)),
                              (limits.ceiling_animals, np.arange(len(self._stage_of)))):
            if most is not None:
                kept = self._taken(n[:, classes].reshape(-1, self.size), np.floor(most))
                n[:, classes] = kept.reshape(2, len(classes), self.size)
        return n

    # the census

    def _census(self, y, n):
        n = np.stack(n)  # site, origin, class, replicate
        self.tally["wild_adults"][y] = n[:, WILD, self._adult].sum(axis=1)
        self.tally["stocked_adults"][y] = n[:, STOCKED, self._adult].sum(axis=1)
        self.tally["animals"][y] = n.sum(axis=(1, 2))
        self.tally["breeders"][y] = n[:, :, self._young.breeds].sum(axis=(1, 2))
        for s in range(len(self.question.stages)):
            animals = n[:, :, self._stage_of == s].sum(axis=2)
            self.stages[y, :, :, s, 0] = animals.mean(axis=-1).T
            self.stages[y, :, :, s, 1] = (animals**2).mean(axis=-1).T
        for k, row in enumerate(self.question.releases):
            self._rules(y, k, row)

    def _rules(self, y, k, row):
        """Rows that end, or are ordered again, after this census."""
        if row.until is not None:
            self._ended[k] |= self._held(y, row.until, lambda x: x >= row.until.at_least)
        if row.repeat is not None:
            arrives = self.question.first + y + row.order_lead
            if row.last_planned < arrives <= row.repeat.last:
                self._again[k, arrives] = self._held(y, row.repeat,
                                                     lambda x: x <= row.repeat.at_most)

    def _held(self, y, rule, test):
        if y + 1 < rule.running:
            return np.zeros(self.size, dtype=bool)
        sites = self.sites if rule.where == RIVER else rule.where
        seen = measure(self, rule.measure, list(sites), last=y)
        return test(seen[-rule.running:]).all(axis=0)
