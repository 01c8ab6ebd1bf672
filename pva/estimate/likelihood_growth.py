"""Likelihood of repeated shell lengths with the true first size unknown: arrays only, no labels.

An animal begins at a share `x` of the asymptote, grows by the von Bertalanffy curve towards an
asymptote of its own and is measured with error. The first size may follow the own asymptote
(`tie` = 1: animals of any age) or not (`tie` = 0: released at a chosen size). Given `x`, its
lengths are jointly normal, so the own asymptote is integrated exactly, and `x` over a grid whose
weights are estimated with the curve. At most one length of an animal is misread: it then says
nothing and may be any length.

References
----------
Why the true first size must be modelled: James 1991, Biometrics 47:1519 (least squares on
increments is inconsistent; abstract read). A random asymptote with an unknown first age: Laslett,
Eveson & Polacheck 2002 (from memory).
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from pva.compiled import kept, part

SUMS = 12
NEGLIGIBLE = 1e-11  # posterior weight below which a node adds nothing to a derivative
NEVER = -500.0  # log weight of a node that a group cannot begin at


class Lengths(NamedTuple):
    """Lengths of animals measured at least once; measurements of all animals lie end to end.

    Parameters
    ----------
    first : int array (animal + 1)
        Where the measurements of each animal begin.
    elapsed : float array (measurement)
        Growing time since the first measurement, years.
    length : float array (measurement)
        Shell length, mm.
    group : int array (animal)
        Animals of a group share one distribution of first sizes.
    """

    first: np.ndarray
    elapsed: np.ndarray
    length: np.ndarray
    group: np.ndarray


class Rates(NamedTuple):
    """What growth is made of.

    Parameters
    ----------
    asymptote, rate : float array (curve)
        mm, per year.
    asymptote_variance, error_variance : float
        mm2.
    tie : float array (group)
        How far first sizes follow the own asymptote (0 to 1).
    odds : float
        Odds that a length is misread; 0 = none is.
    anywhere : float
        Log density of a misread length, per mm.
    """

    asymptote: np.ndarray
    rate: np.ndarray
    asymptote_variance: float
    error_variance: float
    tie: np.ndarray
    odds: float
    anywhere: float


class Slopes(NamedTuple):
    """Derivatives of the log likelihood, in the order and form of `Rates`, and besides.

    Parameters
    ----------
    asymptote, rate : float array (curve)
    variances : float array (3)
        By the two variances and by the log odds of a misread length.
    tie : float array (group)
    slowed : float array (1)
        By what `slowed` is the derivative of the elapsed times to.
    weight_sum : float array (group, node)
        Posterior weights of the nodes, summed over the animals of each group.
    """

    asymptote: np.ndarray
    rate: np.ndarray
    variances: np.ndarray
    tie: np.ndarray
    slowed: np.ndarray
    weight_sum: np.ndarray


@kept()
def growth_loglik(data, curve, slowed, rates, share, log_weight):
    """Log likelihood and its derivatives.

    Parameters
    ----------
    data : Lengths
    curve : int array (animal)
        Which curve each animal follows.
    slowed : float array (measurement)
        Derivative of each elapsed time by some amount of time lost.
    rates : Rates
    share : float array (node)
        Grid of first size over the mean asymptote, 0 to 1.
    log_weight : float array (group, node)
        Logarithm of the weights of the grid.

    Returns
    -------
    loglik : float
    slopes : Slopes
    """
    slopes = Slopes(np.zeros(rates.asymptote.size), np.zeros(rates.asymptote.size), np.zeros(3),
                    np.zeros(rates.tie.size), np.zeros(1), np.zeros_like(log_weight))
    most = _most(data.first)
    logs, each = np.empty((most + 1, share.size)), np.empty((most + 1, SUMS))
    part, total = np.empty(6), 0.0
    for i in range(data.group.size):
        total += _animal(data, i, curve[i], slowed, rates, share, log_weight, logs, each)
        n = data.first[i + 1] - data.first[i]
        g, c = data.group[i], curve[i]
        for k in range(n + 1 if rates.odds > 0 else 1):
            for m in range(share.size):
                weight = logs[k, m]
                if weight < NEGLIGIBLE:
                    continue
                _slopes(each[k], share[m], rates.asymptote[c], rates.rate[c],
                        rates.asymptote_variance, rates.error_variance, rates.tie[g], part)
                slopes.weight_sum[g, m] += weight
                slopes.asymptote[c] += weight * part[0]
                slopes.rate[c] += weight * part[1]
                slopes.variances[0] += weight * part[2]
                slopes.variances[1] += weight * part[3]
                slopes.tie[g] += weight * part[4]
                slopes.slowed[0] += weight * part[5]
                if k > 0:
                    slopes.variances[2] += weight
        slopes.variances[2] -= n * rates.odds / (1.0 + n * rates.odds)
    return total, slopes


@kept()
def growth_posterior(data, curve, rates, share, log_weight):
    """What the lengths say about each animal.

    Parameters
    ----------
    As for `growth_loglik`.

    Returns
    -------
    own_asymptote, first_length : float array (animal)
        Posterior means, mm.
    misread : float array (measurement)
        Chance that the length is misread.
    """
    animals = data.group.size
    own, begun, misread = np.zeros(animals), np.zeros(animals), np.zeros(data.length.size)
    most = _most(data.first)
    logs, each = np.empty((most + 1, share.size)), np.empty((most + 1, SUMS))
    slowed = np.zeros(data.length.size)
    for i in range(animals):
        _animal(data, i, curve[i], slowed, rates, share, log_weight, logs, each)
        n, top = data.first[i + 1] - data.first[i], rates.asymptote[curve[i]]
        tie = rates.tie[data.group[i]]
        for k in range(n + 1 if rates.odds > 0 else 1):
            for m in range(share.size):
                weight = logs[k, m]
                more = _more(each[k], share[m], top, rates.asymptote_variance,
                             rates.error_variance, tie)
                own[i] += weight * (top + more)
                begun[i] += weight * share[m] * (top + tie * more)
                if k > 0:
                    misread[data.first[i] + k - 1] += weight
    return own, begun, misread


@part()
def _most(first):
    """Measurements of the animal that has most."""
    most = 0
    for i in range(first.size - 1):
        most = max(most, first[i + 1] - first[i])
    return most


@part()
def _animal(data, i, c, slowed, rates, share, log_weight, logs, each):
    """Log likelihood of one animal.

    Posterior weights (which length is misread, node) go into `logs`: row 0 none, row k the k-th;
    the sums behind them go into `each`.
    """
    n = data.first[i + 1] - data.first[i]
    _all_sums(data, i, rates.rate[c], slowed, each)
    rows = n + 1 if rates.odds > 0 else 1
    none = -np.log(1.0 + n * rates.odds)
    one = none + (np.log(rates.odds) + rates.anywhere if rates.odds > 0 else 0.0)
    g, top = data.group[i], -np.inf
    for k in range(rows):
        prior = none if k == 0 else one
        for m in range(share.size):
            if log_weight[g, m] <= NEVER:
                logs[k, m] = -np.inf
                continue
            logs[k, m] = prior + log_weight[g, m] + _value(
                each[k], share[m], rates.asymptote[c], rates.asymptote_variance,
                rates.error_variance, rates.tie[g])
            top = max(top, logs[k, m])
    whole = 0.0
    for k in range(rows):
        for m in range(share.size):
            logs[k, m] = np.exp(logs[k, m] - top)
            whole += logs[k, m]
    for k in range(rows):
        for m in range(share.size):
            logs[k, m] /= whole
    return top + np.log(whole)


@part()
def _all_sums(data, i, rate, slowed, each):
    """Sums over the measurements of one animal that every node needs: row 0 over all, row k
    without the k-th."""
    at, n = data.first[i], data.first[i + 1] - data.first[i]
    for m in range(SUMS):  # sum by sum: rows as a whole would double the time of compiling
        each[0, m] = 0.0
    for j in range(n):
        t, y, s = data.elapsed[at + j], data.length[at + j], slowed[at + j]
        w = np.exp(-rate * t)
        row = each[j + 1]
        row[0], row[1], row[2], row[3], row[4], row[5] = 1.0, y, y * y, w, w * w, y * w
        row[6], row[7], row[8] = t * w, t * w * w, t * y * w
        row[9], row[10], row[11] = s * w, s * w * w, s * y * w
        for m in range(SUMS):
            each[0, m] += row[m]
    for j in range(n):
        for m in range(SUMS):
            each[j + 1, m] = each[0, m] - each[j + 1, m]


@part()
def _forms(sums, x, asymptote, a, v, tie):
    """Sums of products of one animal's lengths and mean curve, and its quadratic form.

    Mean lengths are asymptote x f with f = 1 - p w; a millimetre more of own asymptote adds
    g = 1 - q w. The covariance is v I + a g g'.
    """
    n, w, ww, yw = sums[0], sums[3], sums[4], sums[5]
    p, q = 1.0 - x, 1.0 - tie * x
    ff = n - 2.0 * p * w + p * p * ww
    fg = n - (p + q) * w + p * q * ww
    gg = n - 2.0 * q * w + q * q * ww
    yf, yg = sums[1] - p * yw, sums[1] - q * yw
    u, d = yg - asymptote * fg, v + a * gg
    quad = (sums[2] - 2.0 * asymptote * yf + asymptote * asymptote * ff - a * u * u / d) / v
    return ff, fg, gg, yf, u, d, quad


@part()
def _value(sums, x, asymptote, a, v, tie):
    """Normal log density of one animal's lengths at one node."""
    n = sums[0]
    _, _, _, _, _, d, quad = _forms(sums, x, asymptote, a, v, tie)
    return -0.5 * (n * np.log(2.0 * np.pi) + (n - 1.0) * np.log(v) + np.log(d) + quad)


@part()
def _slopes(sums, x, asymptote, rate, a, v, tie, part):
    """Derivatives of `_value` by asymptote, rate, both variances, tie and time lost."""
    n, w, ww, yw = sums[0], sums[3], sums[4], sums[5]
    p, q = 1.0 - x, 1.0 - tie * x
    ff, fg, gg, yf, u, d, quad = _forms(sums, x, asymptote, a, v, tie)
    part[0] = (yf - asymptote * ff - a * u * fg / d) / v
    for k in range(2):  # by the rate, and by time lost: every sum changes
        tw, tww, tyw = sums[6 + 3 * k], sums[7 + 3 * k], sums[8 + 3 * k]
        d_rr = -2.0 * asymptote * p * tyw + asymptote * asymptote * 2.0 * p * (tw - p * tww)
        d_u = q * tyw - asymptote * ((p + q) * tw - 2.0 * p * q * tww)
        d_d = 2.0 * a * q * (tw - q * tww)
        by_time = -0.5 * (d_d / d + (d_rr - a * (2.0 * u * d_u / d - u * u * d_d / (d * d))) / v)
        part[1 if k == 0 else 5] = by_time if k == 0 else rate * by_time
    part[2] = -0.5 * (gg / d - u * u / (d * d))
    part[3] = -0.5 * ((n - 1.0) / v + 1.0 / d - quad / v + a * u * u / (d * d * v))
    d_u = x * (yw + asymptote * (p * ww - w))
    d_d = 2.0 * a * x * (w - q * ww)
    part[4] = -0.5 * (d_d / d - a * (2.0 * u * d_u / d - u * u * d_d / (d * d)) / v)


@part()
def _more(sums, x, asymptote, a, v, tie):
    """Expected own asymptote less the mean one, given the lengths and the node."""
    _, _, _, _, u, d, _ = _forms(sums, x, asymptote, a, v, tie)
    return a * u / d
