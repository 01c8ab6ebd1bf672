"""Small counts: inversion from the low end with one uniform number, for a row of lanes at once.

Chances are summed until they reach the uniform number. Lanes take their steps together, four at a
time; a lane that has arrived stands still. One uniform number decides, and more of it never gives
fewer, so scenarios that differ by little share their luck.
"""

from __future__ import annotations

from pva.compiled import inner
from pva.engine.elementary import exp, fma, log_of_rest
from pva.engine.random_numbers import uniform
from pva.engine.rejection import BINOMIAL
from pva.engine.space import PITCH

SWITCH = 10.0  # below this mean; from it on transformed rejection is valid
MOST = 100.0  # a count of mean 10 exceeds it once in 1e60
# columns of the scratch space: one array with fixed distances, so that the compiler sees that they
# do not overlap
_LEFT, _CHANCE, _SLOPE, _TOP = 0, PITCH, 2 * PITCH, 3 * PITCH
_STEPS = 4


@inner()
def small_counts(kind, n, p, q, key, count, space, out):
    """Counts of means below `SWITCH`, into `out`; all shapes (lane,).

    Binomial: how often the rarer outcome, chance q = min(p, 1 - p), comes in n trials. Where p is
    the larger, luck is read from its other end, so that successes still rise with it. Poisson:
    means q; n and p are not used.
    """
    if kind == BINOMIAL:
        _begin_binomials(n, p, q, key, count, space, out)
    else:
        _begin_poissons(q, key, count, space, out)
    step = 0.0
    while step < MOST:
        if _four_steps(step, space, out) == 0:
            break
        step += _STEPS


@inner()
def _begin_binomials(n, p, q, key, count, space, out):
    for i in range(len(out)):
        u = uniform(key[i], count)
        odds = q[i] / (1.0 - q[i])
        space[_LEFT + i] = u if p[i] <= 0.5 else 1.0 - u
        space[_CHANCE + i] = exp(n[i] * log_of_rest(q[i]))
        space[_SLOPE + i] = -odds
        space[_TOP + i] = odds * (n[i] + 1.0)
        out[i] = 0.0


@inner()
def _begin_poissons(mean, key, count, space, out):
    for i in range(len(out)):
        space[_LEFT + i] = uniform(key[i], count)
        space[_CHANCE + i] = exp(-mean[i])
        space[_SLOPE + i] = 0.0
        space[_TOP + i] = mean[i]
        out[i] = 0.0


@inner()
def _four_steps(done, space, out):
    """The chance of k is that of k - 1 times (top + slope k) / k; returns lanes still going."""
    going = 0
    for i in range(len(out)):
        left, chance = space[_LEFT + i], space[_CHANCE + i]
        top, slope = space[_TOP + i], space[_SLOPE + i]
        k = out[i]
        left, chance, k = _step(done + 1.0, left, chance, k, slope, top)
        left, chance, k = _step(done + 2.0, left, chance, k, slope, top)
        left, chance, k = _step(done + 3.0, left, chance, k, slope, top)
        left, chance, k = _step(done + 4.0, left, chance, k, slope, top)
        space[_LEFT + i] = left
        space[_CHANCE + i] = chance
        out[i] = k
        going += 1 if (left > chance) & (chance > 0.0) else 0
    return going


@inner()
def _step(number, left, chance, k, slope, top):
    on = (left > chance) & (chance > 0.0)
    left = left - chance if on else -1.0
    chance *= max(fma(slope, number, top), 0.0) * (1.0 / number)
    return left, chance, k + (1.0 if on else 0.0)
