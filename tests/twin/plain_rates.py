"""What every rate is in a year of a draw, straight from the scenario, in plain Python.

A drawn value is the mean over ordinary years. Good and bad years move the logit of a probability
and the log of a positive rate; the middle is set so that the mean over years stays the drawn one.
"""

import math
from functools import cache

import numpy as np
from plain_random import stream

from pva.lifehistory import links
from pva.lifehistory.rates import PROBABILITY, Rate
from pva.scenario.resolved import Calibration

match_probability = cache(links.match_probability)


@cache
def centre_for_mean(mean, sd):
    """Logit about which the years vary, for a mean over years."""
    return float(links.centre_for_mean(mean, sd))


def best(rate):
    """Best value: mean over ordinary years."""
    if rate.link is None:
        return rate.value
    return mean_of_link(rate, rate.link.mean)


def mean_of_link(rate, centre):
    """Mean over years of a rate whose link mean is `centre`."""
    sd = rate.link.year_sd
    if rate.kind == PROBABILITY:
        grid = [i / 20 for i in range(-180, 181)]
        weights = [math.exp(-z * z / 2) for z in grid]
        means = sum(w * expit(centre + sd * z) for z, w in zip(grid, weights, strict=True))
        return means / sum(weights)
    return math.exp(centre + sd**2 / 2)


def drawn_mean(rate, table, draw):
    """Mean over years of a rate in a draw, before any table by year."""
    if rate.link is None:
        return float(table.means(rate)[draw])
    return mean_of_link(rate, float(table.link_means(rate)[draw]))


def mean_in_year(rate, table, draw, year):
    """The drawn mean, moved with the table by year as far as the best value moves (link scale)."""
    mean = drawn_mean(rate, table, draw)
    if not rate.by_year:
        return mean
    past = [y for y in rate.by_year if y <= year] or [min(rate.by_year)]
    now, usual = rate.by_year[max(past)], best(rate)
    if now == usual:
        return mean
    if rate.kind != PROBABILITY:
        return mean * now / usual if usual > 0 else now
    if now in (0, 1) or usual in (0, 1):
        return now
    return expit(logit(mean) + logit(now) - logit(usual))


def link_sd(rate):
    """SD of years on the link scale: `year_sd` turned at the best value, the same in all draws."""
    if rate.link is not None:
        return rate.link.year_sd
    if not rate.year_sd:
        return 0.0
    inside = [v for v in (best(rate), *rate.by_year.values())
              if v > 0 and (v < 1 or rate.kind != PROBABILITY)]
    if rate.kind == PROBABILITY:
        return match_probability(inside[0], rate.year_sd)[1]
    return math.sqrt(math.log(1 + (rate.year_sd / inside[0]) ** 2))


def in_good_or_bad_year(rate, mean, z):
    """The rate of a year whose standard normal is z."""
    sd = link_sd(rate)
    if rate.kind == PROBABILITY:
        if mean in (0, 1):
            return mean
        return expit(centre_for_mean(mean, sd) + sd * z)
    return mean * math.exp(sd * z - sd**2 / 2)


def logit(p):
    return math.log(p / (1 - p))


def expit(x):
    return 1 / (1 + math.exp(-x))


# good and bad years shared between rates and between sites


def varying(resolved):
    """(effect, site) of every rate that differs between years, in life order."""
    found = {}

    def add(rate, site):
        if isinstance(rate, Rate) and link_sd(rate) > 0:
            found[rate.effect or rate.key, site] = True

    for site in resolved.sites:
        for stage in resolved.stages:
            if stage.years != 1 or stage is not resolved.stages[-1]:  # there nobody lives on
                add(site.survival[stage.name], site.name)
    for site in resolved.sites:
        for stage in resolved.stages:
            for rate in site.growth.get(stage.name, {}).values():
                add(rate, site.name)
    for site in resolved.sites:
        young = site.recruitment
        if young.form == "entries":
            for rate in young.entries.values():
                add(rate, site.name)
        elif young.form == "per_adult":
            add(young.per_adult, site.name)
        else:
            for rate in (young.females, young.gravid, young.glochidia, young.attachment,
                         young.settlement):
                if not isinstance(rate, Calibration):
                    add(rate, site.name)
    for site in resolved.sites:
        if site.recruitment.form == "hosts":
            for host, here in zip(site.recruitment.hosts, site.hosts, strict=True):
                for rate in (host.suitability, host.contact, host.capacity, here.density):
                    add(rate, site.name)
    for row in resolved.releases:
        add(row.first_year_survival, row.site)
    for row in resolved.movement:
        add(row.share, row.from_site)
    return list(found)


def shares_of_luck(names, correlation):
    """name -> {factor: weight}: what each name shares with the others, squares summing to 1."""
    if not isinstance(correlation, list) and correlation >= 0:
        return {n: {"\0shared by all": math.sqrt(correlation), n: math.sqrt(1 - correlation)}
                for n in names}
    if not isinstance(correlation, list):
        correlation = [[1.0 if a == b else correlation for b in names] for a in names]
    written = {(a, b): correlation[i][j] for i, a in enumerate(names)
               for j, b in enumerate(names)}
    order = sorted(names)
    root = np.linalg.cholesky(np.array([[written[a, b] for b in order] for a in order], float)
                              .reshape(len(names), len(names)))
    return {n: dict(zip(order, root[i], strict=True)) for i, n in enumerate(order)}


def luck_along_the_river(metre, scale):
    """Mark -> weight at a place: luck filled in half-way between known places, coarse to fine.

    Solved from the correlations at every step, where the package has the closed form.
    """
    width = 1
    while width < 32 * scale:
        width *= 2
    low = metre // width * width
    high = low + width
    known = {low: {f"\0river metre {low}": 1.0}, high: {f"\0river metre {high}": 1.0}}
    while metre not in known:
        middle = (low + high) // 2
        to_ends, apart = (math.exp(-d / scale) for d in (middle - low, high - low))
        share = np.linalg.solve([[1, apart], [apart, 1]], [to_ends, to_ends])
        own = math.sqrt(1 - float(share @ [to_ends, to_ends]))
        known[middle] = {f"\0river metre {middle}": own}
        for end, weight in zip((low, high), share, strict=True):
            for mark, inner in known[end].items():
                known[middle][mark] = known[middle].get(mark, 0.0) + float(weight) * inner
        low, high = (middle, high) if metre >= middle else (low, middle)
    return known[metre]


class YearLuck:
    """Standard normals of every (effect, site) by year, correlated as the scenario says."""

    def __init__(self, resolved, luck):
        self.luck = luck
        self.carry_over = resolved.year_effects.carry_over
        effects = list(dict.fromkeys(effect for effect, _ in varying(resolved)))
        said = resolved.year_effects.between_rates
        if isinstance(said, dict):
            said = [[1.0 if a == b else said.get((a, b), said.get((b, a), 0.0)) for b in effects]
                    for a in effects]
        self.by_effect = shares_of_luck(effects, said)
        between, scale = resolved.year_effects.between_sites, resolved.year_effects.distance_km
        if scale is None:
            self.by_site = shares_of_luck([s.name for s in resolved.sites], between)
        else:
            self.by_site = {s.name: luck_along_the_river(round(s.river_km * 1000), scale * 1000)
                            for s in resolved.sites}
        self.last = {}

    def of(self, effect, site, year):
        """Standard normal of an effect at a site in a model year (0, 1, ...)."""
        total = 0.0
        for rate_factor, rate_weight in self.by_effect[effect].items():
            for site_factor, site_weight in self.by_site[site].items():
                if rate_weight * site_weight != 0:
                    total += rate_weight * site_weight * self.cell(rate_factor, site_factor, year)
        return total

    def cell(self, rate_factor, site_factor, year):
        """First-order autoregression with variance 1 in every year, the first included."""
        place = (rate_factor, site_factor, year)
        if place not in self.last:
            fresh = self.luck.normal(stream("year effect", rate_factor, site_factor), year)
            if year > 0 and self.carry_over:
                rho = self.carry_over
                before = self.cell(rate_factor, site_factor, year - 1)
                fresh = rho * before + math.sqrt(1 - rho * rho) * fresh
            self.last[place] = fresh
        return self.last[place]
