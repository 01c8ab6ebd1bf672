"""Recruitment, hosts and their calibrations as slots and arrays."""

from __future__ import annotations

import numpy as np

from pva.model.calibrate import (
    place_of,
    refuse_above_one,
    shares_for_settlement,
    shares_for_target,
    solve_attachment,
    solve_settlement,
)
from pva.model.classes import Classes
from pva.model.draws import DrawTable
from pva.model.events import site_areas
from pva.model.matrix import best, fecundity_shape, linear_entries
from pva.model.record import CHAIN, ENTRIES, HALF_DENSITY, NOT_LIMITED, SCALE
from pva.model.slots import Slots, drawn_means
from pva.scenario.resolved import Calibration, HostDensity, Resolved, Site


class Calibrations:
    """Solutions of every calibration of a scenario, each solved once.

    Parameters
    ----------
    resolved : Resolved
    table : DrawTable or None
        With it, solutions by draw as well.
    """

    def __init__(self, resolved: Resolved, table: DrawTable | None = None):
        self._resolved, self._table = resolved, table
        self._draws: dict = {}
        self.cut: dict[str, int] = {}  # draws in which a solution above 1 was cut, by name

    def best_of(self, site: Site) -> tuple[float | None, float | None]:
        """Attachment and settlement of a site at best values (None without a host chain)."""
        recruitment = site.recruitment
        if recruitment.form != "hosts":
            return None, None
        attachment = recruitment.attachment
        if isinstance(attachment, Calibration):
            value = solve_attachment(self._place(attachment), best(attachment.rate),
                                     self._shares(site))
            refuse_above_one(value, "attachment", attachment)
            attachment = value
        else:
            attachment = best(attachment)
        settlement = recruitment.settlement
        if isinstance(settlement, Calibration):
            value = solve_settlement(self._place(settlement), settlement, attachment,
                                     best(settlement.rate), self._shares(site))
            refuse_above_one(value, "settlement", settlement)
            return attachment, value
        return attachment, best(settlement)

    def draws_of(self, site: Site) -> tuple[np.ndarray | None, np.ndarray | None]:
        """Attachment and settlement of a site by draw; None where the rate is not calibrated.

        A draw whose solution exceeds 1 is cut at 1 and counted in `cut`.
        """
        self.best_of(site)  # refuses what cannot be
        recruitment = site.recruitment
        attachment = settlement = None
        if isinstance(recruitment.attachment, Calibration):
            calibration = recruitment.attachment
            place = self._place(calibration)
            shares = self._shares(site)
            attachment = self._solved(
                "attachment", calibration, (),
                lambda target, _: solve_attachment(place, target, shares))
        if isinstance(recruitment.settlement, Calibration):
            calibration = recruitment.settlement
            place = self._place(calibration)
            given = attachment
            if given is None:
                given = drawn_means(recruitment.attachment, self._table)
            shares = self._shares(site)
            settlement = self._solved(
                "settlement", calibration, tuple(given),
                lambda target, a: solve_settlement(place, calibration, a, target, shares))
        return attachment, settlement

    def _place(self, calibration):
        return place_of(self._resolved.base, calibration)

    def _shares(self, site):
        """Shares among breeding animals at best values, which every draw keeps (6-keys)."""
        attachment, settlement = site.recruitment.attachment, site.recruitment.settlement
        if isinstance(settlement, Calibration):
            return shares_for_target(self._place(settlement), settlement)
        return shares_for_settlement(self._place(attachment), attachment, best(settlement))

    def _solved(self, name, calibration, given, solve):
        key = (name, repr(calibration), given)
        if key not in self._draws:
            targets = drawn_means(calibration.rate, self._table)
            inputs = given or (None,) * len(targets)
            known: dict = {}
            for pair in zip(targets, inputs, strict=True):
                if pair not in known:
                    known[pair] = solve(*pair)
            values = np.array([known[p] for p in zip(targets, inputs, strict=True)])
            if (values > 1).any():
                self.cut[name] = int((values > 1).sum())
            self._draws[key] = np.minimum(values, 1.0)
        return self._draws[key]


def entry_arrays(resolved: Resolved, classes: Classes, slots: Slots) -> dict:
    """Arrays of the linear forms, empty for the host chain."""
    first = linear_entries(resolved.stages, classes, resolved.sites[0].recruitment)
    slot = np.array([
        [slots.add(rate, site.name)
         for _, _, rate in linear_entries(resolved.stages, classes, site.recruitment)]
        for site in resolved.sites
    ], dtype=np.int64).reshape(len(resolved.sites), len(first))
    return {
        "recruit_form": ENTRIES,
        "entry_to": np.array([to for to, _, _ in first], dtype=np.int64),
        "entry_from": np.array([origin for _, origin, _ in first], dtype=np.int64),
        "entry_slot": slot,
        "recruit_class": np.array(sorted({to for to, _, _ in first}), dtype=np.int64),
    }


def chain_arrays(resolved: Resolved, classes: Classes, slots: Slots,
                 calibrations: Calibrations) -> dict:
    """Arrays of the host chain."""
    names = [s.name for s in resolved.stages]
    enters = int(classes.first[names.index(resolved.sites[0].recruitment.enters)])
    return {
        "recruit_form": CHAIN,
        "entry_to": np.zeros(0, dtype=np.int64),
        "entry_from": np.zeros(0, dtype=np.int64),
        "entry_slot": np.zeros((len(resolved.sites), 0), dtype=np.int64),
        "recruit_class": np.array([enters], dtype=np.int64),
        "chain_slot": np.array([_chain_slots(s, slots, calibrations) for s in resolved.sites]),
        "host_slot": np.array([_host_slots(s, slots) for s in resolved.sites]),
    }


def _chain_slots(site, slots, calibrations):
    recruitment = site.recruitment
    attachment, settlement = calibrations.draws_of(site)
    calibrated = {"attachment": attachment, "settlement": settlement}
    row = [slots.add(rate, site.name)
           for rate in (recruitment.females, recruitment.gravid, recruitment.glochidia)]
    for name, values in calibrated.items():
        if values is None:
            row.append(slots.add(getattr(recruitment, name), site.name))
        else:
            row.append(slots.add_fixed(values))
    return row


def _host_slots(site, slots):
    rows = []
    for host, here in zip(site.recruitment.hosts, site.hosts, strict=True):
        capacity = -1 if host.capacity is None else slots.add(host.capacity, site.name)
        rows.append([slots.add(host.suitability, site.name), slots.add(host.contact, site.name),
                     capacity, slots.add(here.density, site.name)])
    return rows


def no_chain_arrays(sites: int) -> dict:
    """Empty arrays of the host chain, for the linear forms."""
    return {
        "chain_slot": np.zeros((sites, 5), dtype=np.int64),
        "host_slot": np.zeros((sites, 0, 4), dtype=np.int64),
    }


def host_constants(resolved: Resolved) -> dict:
    """Immunity and blocking of hosts by site and year."""
    sites = resolved.sites
    hosts = max((len(s.hosts) for s in sites), default=0)
    factor = np.ones((len(resolved.years) - 1, len(sites), hosts))
    immunity = np.zeros((len(sites), hosts, 2))
    immunity[..., 1] = 1.0
    for s, site in enumerate(sites):
        for h, (host, here) in enumerate(zip(site.recruitment.hosts, site.hosts, strict=False)):
            factor[:, s, h] = [open_share(here, y) for y in list(resolved.years)[:-1]]
            immunity[s, h] = host.immunity_most, host.immunity_half_load
    return {"host_factor": factor, "host_immunity": immunity}


def open_share(here: HostDensity, year: int) -> float:
    """Share of the full host density that reaches the site in a year (blocking and ramp)."""
    if here.blocked_until is None:
        return 1.0
    return float(np.clip((year - here.blocked_until) / here.ramp_years, 0.0, 1.0))


def fertility_arrays(resolved: Resolved, classes: Classes) -> dict:
    """Fecundity by class, and what else decides how many young a site has."""
    forms = {None: NOT_LIMITED, "half_density": HALF_DENSITY, "scale": SCALE}
    kinds = [s.recruitment.fertilised or (None, 1.0) for s in resolved.sites]
    return {
        "fecundity_shape": np.array([fecundity_shape(resolved.stages, classes, s.recruitment)
                                     for s in resolved.sites]),
        "fertilised_form": np.array([forms[k] for k, _ in kinds], dtype=np.int64),
        "site_number": np.array([
            (area, s.recruitment.dispersion or 0.0, density,
             s.limits.beverton_holt or np.inf, s.limits.ricker or np.inf)
            for area, s, (_, density) in zip(site_areas(resolved), resolved.sites, kinds,
                                             strict=True)], dtype=float),
    }
