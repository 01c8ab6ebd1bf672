"""Step 1 of the model year: the year's rates and bad years."""

from __future__ import annotations

import math

import numpy as np

from pva.engine.compiled import inner
from pva.engine.lanes import fill
from pva.engine.random_numbers import normal
from pva.model.record import FIXED, LOGIT


@inner()
def year_rates(effects, value, work, year):
    """Natural values of every slot in a year.

    `value` has shape (draw, period, slot). Cells follow a first-order autoregression with
    stationary variance 1; the first year is drawn from its stationary law.
    """
    rho = effects.carry_over
    fresh = math.sqrt(1.0 - rho * rho)
    for c in range(len(effects.cell_address)):
        address = effects.cell_address[c]
        cell = work.cell[c]
        for i in range(len(cell)):
            z = normal(work.env_key[i], address, year)
            cell[i] = z if year == 0 or rho == 0.0 else rho * cell[i] + fresh * z
    period = effects.period[year]
    new = year == 0 or effects.period[year - 1] != period
    for slot in range(len(effects.slot_kind)):
        if effects.slot_kind[slot] == FIXED:
            if new:
                rate = work.rate[slot]
                for i in range(len(rate)):
                    rate[i] = value[work.draw[i], period, slot]
        else:
            _varying(effects, value, work, slot, period)


@inner()
def _varying(effects, value, work, slot, period):
    pair = effects.slot_pair[slot]
    rate = work.rate[slot]
    fill(rate, 0.0)
    for j in range(effects.pair_start[pair], effects.pair_start[pair + 1]):
        weight = effects.pair_weight[j]
        cell = work.cell[effects.pair_cell[j]]
        for i in range(len(rate)):
            rate[i] += weight * cell[i]
    sd = effects.slot_sd[slot]
    logit = effects.slot_kind[slot] == LOGIT
    for i in range(len(rate)):
        x = value[work.draw[i], period, slot] + sd * rate[i]
        rate[i] = 1.0 / (1.0 + math.exp(-x)) if logit else math.exp(x)


@inner()
def year_disasters(bad, work, year):
    """Which bad years strike where, and the product of their multipliers.

    A start sets the years left anew, so a start during an earlier one extends it.
    """
    if len(bad.bad_length) == 0:
        return
    for site in range(work.bad_left.shape[1]):
        fill(work.bad_recruitment[site], 1.0)
        fill(work.bad_hosts[site], 1.0)
        for c in range(work.bad_survival.shape[1]):
            fill(work.bad_survival[site, c], 1.0)
    for kind in range(len(bad.bad_length)):
        for site in range(work.bad_left.shape[1]):
            left = work.bad_left[kind, site]
            if bad.bad_fixed[kind, year]:
                for i in range(len(left)):
                    left[i] = bad.bad_length[kind]
            elif bad.bad_threshold[kind] > -np.inf:
                _strike(bad, work, kind, site, year)
            for i in range(len(left)):
                if left[i] > 0:
                    left[i] -= 1
                    work.bad_recruitment[site, i] *= bad.bad_recruitment[kind]
                    work.bad_hosts[site, i] *= bad.bad_hosts[kind]
                    for c in range(work.bad_survival.shape[1]):
                        work.bad_survival[site, c, i] *= bad.bad_survival[kind, c]


@inner()
def _strike(bad, work, kind, site, year):
    sites = work.bad_left.shape[1]
    common = bad.bad_common[kind]
    for i in range(len(work.env_key)):
        z = 0.0
        if common > 0.0:
            z += math.sqrt(common) * normal(work.env_key[i], bad.bad_address[kind, sites], year)
        if common < 1.0:
            z += math.sqrt(1.0 - common) * normal(work.env_key[i], bad.bad_address[kind, site],
                                                  year)
        if z < bad.bad_threshold[kind]:
            work.bad_left[kind, site, i] = bad.bad_length[kind]
