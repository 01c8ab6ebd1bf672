"""Young for the blind simulation (blind_numpy.py): per adult, per animal, or through the hosts.

Written from the model's description alone; shares no code with the twin or the engine.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


def _best(rate):
    return rate.value


def _calibrated(rule):
    return hasattr(rule, "target")


@dataclass(frozen=True)
class Passage:
    """What went through the hosts of a site: numbers, or shape (replicate,)."""

    juveniles: np.ndarray | float
    carried: np.ndarray | float
    fish: np.ndarray | float
    offered: tuple  # glochidia per fish, by host


def share(part, whole):
    """part / whole, 0 where whole is 0."""
    part, whole = np.broadcast_arrays(np.asarray(part, dtype=float), whole)
    return np.divide(part, whole, out=np.zeros(part.shape), where=whole > 0)


def passage(recruitment, glochidia, density, *, area, attachment, rate, loads=None):
    """Glochidia on their way through the hosts.

    Parameters
    ----------
    recruitment : Recruitment
    glochidia : ndarray or float
        Released at the site.
    density : list
        Fish per 100 m2, by host.
    area : float
        m2.
    attachment : ndarray or float
    rate : callable
        Gives the rate of the year.
    loads : tuple or None
        Offered per fish last year, by host; None = the first year.
    """
    contact = [rate(h.contact) * d for h, d in zip(recruitment.hosts, density, strict=True)]
    met = glochidia * attachment * -np.expm1(-sum(contact))
    juveniles = carried = total = 0.0
    offered = []
    for k, host in enumerate(recruitment.hosts):
        fish = np.asarray(density[k] * area / 100)
        each = share(met * share(contact[k], sum(contact)), fish)
        held = each
        if host.capacity is not None:
            held = rate(host.capacity) * -np.expm1(-each / rate(host.capacity))
        immune = 0.0
        if loads is not None:
            immune = host.immunity_most * (1 - 2.0 ** (-loads[k] / host.immunity_half_load))
        juveniles = juveniles + fish * held * rate(host.suitability) * (1 - immune)
        carried, total = carried + fish * held, total + fish
        offered.append(each)
    return Passage(juveniles, carried, total, tuple(offered))


class Young:
    """Expected young by stage.

    Parameters
    ----------
    question : Resolved
    luck : YearLuck
    stage_of : ndarray of int, shape (class,)
    """

    def __init__(self, question, luck, stage_of):
        self._question, self._luck, self._stage_of = question, luck, stage_of
        self.breeds = np.array([question.stages[s].breeds for s in stage_of])
        self._loads = {}
        self._solved = {s.name: self._solve(s) for s in question.sites}

    def expected(self, y, i, animals):
        """(mean young by stage entered, passage or None) of the animals that may breed.

        `animals` has the shape (class, replicate).
        """
        recruitment = self._question.sites[i].recruitment
        if recruitment.form == "per_adult":
            rate = self._luck.rate(recruitment.per_adult, y, i)
            return {recruitment.enters: rate * animals[self.breeds].sum(axis=0)}, None
        if recruitment.form == "entries":
            return self._by_entries(y, i, animals), None
        return self._by_hosts(y, i, animals)

    def _by_entries(self, y, i, animals):
        names = [s.name for s in self._question.stages]
        mean = {}
        for (to, parent), entry in self._question.sites[i].recruitment.entries.items():
            parents = animals[self._stage_of == names.index(parent)].sum(axis=0)
            mean[to] = mean.get(to, 0.0) + self._luck.rate(entry, y, i) * parents
        return mean

    def _by_hosts(self, y, i, animals):
        site = self._question.sites[i]
        recruitment = site.recruitment

        def rate(one):
            return self._luck.rate(one, y, i)

        attachment, settlement = self._solved[site.name]
        attachment = rate(recruitment.attachment) if attachment is None else attachment
        settlement = rate(recruitment.settlement) if settlement is None else settlement
        through = passage(
            recruitment, self._glochidia(recruitment, animals, site.area_m2, rate),
            [self._density(site, host.name, y, i) for host in recruitment.hosts],
            area=site.area_m2, attachment=attachment, rate=rate, loads=self._loads.get(i))
        self._loads[i] = through.offered
        return {recruitment.enters: through.juveniles * settlement}, through

    def _density(self, site, host, y, i):
        known = next(h for h in site.hosts if h.host == host)
        full = self._luck.rate(known.density, y, i)
        if known.blocked_until is not None:
            steps = self._question.first + y - known.blocked_until
            full = full * min(max(steps / known.ramp_years, 0.0), 1.0)
        return full * self._luck.multiplier(y, i, lambda kind: kind.hosts)

    def _glochidia(self, recruitment, animals, area, rate):
        mature = animals[self.breeds].sum(axis=0)
        fertilised = 1.0
        if recruitment.fertilised:
            kind, scale = recruitment.fertilised
            density = mature / area
            fertilised = (density / (density + scale) if kind == "half_density"
                          else -np.expm1(-density / scale))
        mothers = np.tensordot(self._shape(recruitment.power), animals, 1)
        return (mothers * fertilised * rate(recruitment.females) * rate(recruitment.gravid)
                * rate(recruitment.glochidia))

    def _shape(self, power):
        """Glochidia of a class relative to the rate; a power of length averaged over lengths."""
        shape = self.breeds.astype(float)
        if power is not None:
            for c in np.flatnonzero(self.breeds):
                low, high = self._question.stages[self._stage_of[c]].length_mm
                whole = (high ** (power + 1) - low ** (power + 1)) / (power + 1)
                shape[c] = whole / (high - low)
        return shape

    def _solve(self, site):
        """(attachment, settlement) solved at the base file's values; None where given.

        For one breeding class, and targets of recruits per adult and glochidia per host.
        """
        given = site.recruitment
        attachment = settlement = None
        if _calibrated(given.attachment):
            attachment = self._least(
                lambda a: self._at(given.attachment, a, "carried"), given.attachment.rate.value)
        if _calibrated(given.settlement):
            known = _best(given.attachment) if attachment is None else attachment
            settlement = (given.settlement.rate.value
                          / self._at(given.settlement, known, "juveniles"))
        return attachment, settlement

    def _at(self, rule, attachment, what):
        """Glochidia carried per fish, or juveniles per adult, at the state of a calibration."""
        base = self._question.base
        split = np.array([h.density.value for h in base.first_site_hosts])
        density = rule.hosts_per_100m2 * split / split.sum()
        adults = np.where(self.breeds, rule.adults_per_m2, 0.0)
        through = passage(base.recruitment, self._glochidia(base.recruitment, adults, 1.0, _best),
                          density, area=1.0, attachment=attachment, rate=_best)
        whole = through.fish if what == "carried" else rule.adults_per_m2
        return float(getattr(through, what) / whole)

    @staticmethod
    def _least(rises, wanted):
        low, high = 0.0, 1.0
        for _ in range(100):
            middle = (low + high) / 2
            low, high = (middle, high) if rises(middle) < wanted else (low, middle)
        return low
