"""Step 1 of the model year: the year's rates and bad years."""

from __future__ import annotations

import math

from pva.compiled import inner
from pva.engine.elementary import exp, logistic
from pva.engine.lanes import fill
from pva.engine.random_numbers import FIRST, counter, normals, uniform
from pva.model.record import FIXED, LOGIT


@inner()
def year_rates(effects, value, work, year):
    """Natural values of every slot in a year.

    `value` has shape (draw, period, slot). Cells follow a first-order autoregression with
    stationary variance 1; the first year is drawn from its stationary law.
    """
    period = effects.period[year]
    if year == 0 or effects.period[year - 1] != period:
        _new_period(effects, value, work, period)
    _cells(effects, work, year)
    for slot in range(len(effects.slot_kind)):
        if effects.slot_kind[slot] != FIXED:
            _varying(effects, work, slot)


@inner()
def _new_period(effects, value, work, period):
    """What does not change from year to year: fixed rates, and the middles of the others."""
    for slot in range(len(effects.slot_kind)):
        row = work.rate[slot] if effects.slot_kind[slot] == FIXED else work.middle[slot]
        for i in range(len(row)):
            row[i] = value[work.draw[i], period, slot]


@inner()
def _cells(effects, work, year):
    rho = effects.carry_over
    fresh = math.sqrt(1.0 - rho * rho)
    for c in range(len(effects.cell_address)):
        cell = work.cell[c]
        if year == 0 or rho == 0.0:
            normals(work.env_key, effects.cell_address[c], year, cell)
        else:
            normals(work.env_key, effects.cell_address[c], year, work.some)
            for i in range(len(cell)):
                cell[i] = rho * cell[i] + fresh * work.some[i]


@inner()
def _varying(effects, work, slot):
    pair = effects.slot_pair[slot]
    rate, middle, sd = work.rate[slot], work.middle[slot], effects.slot_sd[slot]
    x = middle
    for j in range(effects.pair_start[pair], effects.pair_start[pair + 1]):
        weight = sd * effects.pair_weight[j]
        cell = work.cell[effects.pair_cell[j]]
        for i in range(len(rate)):
            rate[i] = x[i] + weight * cell[i]
        x = rate
    if effects.slot_kind[slot] == LOGIT:
        for i in range(len(rate)):
            rate[i] = logistic(rate[i])
    else:
        for i in range(len(rate)):
            rate[i] = exp(rate[i])


@inner()
def year_disasters(bad, work, year):
    """Which bad years strike where, into `work.struck`.

    A start sets the years left anew, so a start during an earlier one extends it.
    """
    for kind in range(len(bad.bad_length)):
        for site in range(work.struck.shape[1]):
            left, struck = work.bad_left[kind, site], work.struck[kind, site]
            if bad.bad_fixed[kind, year]:
                fill(left, bad.bad_length[kind])
            elif bad.bad_chance[kind] > 0.0:
                _strike(bad, work, kind, site, year, left)
            for i in range(len(left)):
                struck[i] = 1.0 if left[i] > 0.0 else 0.0
                left[i] -= struck[i]


@inner()
def _strike(bad, work, kind, site, year, left):
    """Starts of bad years; one normal decides where sites share their luck in part."""
    common, length = bad.bad_common[kind], bad.bad_length[kind]
    shared, own = bad.bad_address[kind, work.struck.shape[1]], bad.bad_address[kind, site]
    if common <= 0.0 or common >= 1.0:
        count = counter(own if common <= 0.0 else shared, year, FIRST)
        for i in range(len(left)):
            left[i] = length if uniform(work.env_key[i], count) < bad.bad_chance[kind] else left[i]
        return
    normals(work.env_key, shared, year, work.total)
    normals(work.env_key, own, year, work.some)
    for i in range(len(left)):
        z = math.sqrt(common) * work.total[i] + math.sqrt(1.0 - common) * work.some[i]
        left[i] = length if z < bad.bad_threshold[kind] else left[i]


@inner()
def suffer(row, work, site, multiplier):
    """Multiply a row by the multipliers (kind,) of the bad years that hold at the site."""
    for kind in range(len(multiplier)):
        times = multiplier[kind]
        if times == 1.0:
            continue
        struck = work.struck[kind, site]
        for i in range(len(row)):
            row[i] *= times if struck[i] > 0.0 else 1.0
