"""Step 1 of the model year: the year's rates and bad years."""

from __future__ import annotations

import math

from numba import njit

from pva.engine.random_numbers import normal
from pva.model.record import FIXED, LOGIT


@njit(cache=True, nogil=True)
def year_rates(effects, value, work, key, year):
    """Natural values of every slot in a year.

    `value` has shape (period, slot). Cells follow a first-order autoregression with stationary
    variance 1; the first year is drawn from its stationary law.
    """
    rho = effects.carry_over
    fresh = math.sqrt(1.0 - rho * rho)
    for i in range(len(effects.cell_address)):
        z = normal(key, effects.cell_address[i], year)
        work.cell[i] = z if year == 0 or rho == 0.0 else rho * work.cell[i] + fresh * z
    now = value[effects.period[year]]
    for slot in range(len(effects.slot_kind)):
        kind = effects.slot_kind[slot]
        if kind == FIXED:
            work.rate[slot] = now[slot]
            continue
        pair = effects.slot_pair[slot]
        z = 0.0
        for j in range(effects.pair_start[pair], effects.pair_start[pair + 1]):
            z += effects.pair_weight[j] * work.cell[effects.pair_cell[j]]
        x = now[slot] + effects.slot_sd[slot] * z
        work.rate[slot] = 1.0 / (1.0 + math.exp(-x)) if kind == LOGIT else math.exp(x)


@njit(cache=True, nogil=True)
def year_disasters(bad, work, key, year):
    """Which bad years strike where, and the product of their multipliers.

    A start sets the years left anew, so a start during an earlier one extends it.
    """
    work.bad_survival[:] = 1.0
    work.bad_recruitment[:] = 1.0
    work.bad_hosts[:] = 1.0
    sites = work.bad_left.shape[1]
    for kind in range(len(bad.bad_length)):
        for site in range(sites):
            if bad.bad_fixed[kind, year] or _strikes(bad, kind, site, sites, key, year):
                work.bad_left[kind, site] = bad.bad_length[kind]
            if work.bad_left[kind, site] > 0:
                work.bad_left[kind, site] -= 1
                work.bad_recruitment[site] *= bad.bad_recruitment[kind]
                work.bad_hosts[site] *= bad.bad_hosts[kind]
                for c in range(work.bad_survival.shape[1]):
                    work.bad_survival[site, c] *= bad.bad_survival[kind, c]


@njit(cache=True, nogil=True)
def _strikes(bad, kind, site, sites, key, year):
    threshold = bad.bad_threshold[kind]
    if threshold == -math.inf:
        return False
    common = bad.bad_common[kind]
    z = 0.0
    if common > 0.0:
        z += math.sqrt(common) * normal(key, bad.bad_address[kind, sites], year)
    if common < 1.0:
        z += math.sqrt(1.0 - common) * normal(key, bad.bad_address[kind, site], year)
    return z < threshold
