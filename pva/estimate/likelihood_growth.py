"""Likelihood of repeated shell lengths with the true first size unknown: arrays only, no labels.

An animal begins at a share `x` of the asymptote, grows by the von Bertalanffy curve towards an
asymptote of its own and is measured with error. The first size may follow the own asymptote
(`tie` = 1: animals of any age) or not (`tie` = 0: released at a chosen size). Given `x`, its
lengths are jointly normal, so the own asymptote is integrated exactly, and `x` over a grid whose
weights are estimated with the curve.

References
----------
Why the true first size must be modelled: James 1991, Biometrics 47:1519 (least squares on
increments is inconsistent; abstract read). A random asymptote with an unknown first age: Laslett,
Eveson & Polacheck 2002 (from memory).
"""

from __future__ import annotations

from typing import NamedTuple

import numba as nb
import numpy as np


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


@nb.njit(cache=True)
def growth_loglik(data, asymptote, rate, asymptote_variance, error_variance, tie, share,
                  log_weight):
    """Log likelihood and its derivatives.

    Parameters
    ----------
    data : Lengths
    asymptote, rate, asymptote_variance, error_variance, tie : float
        mm, per year, mm2, mm2, and how far first sizes follow the own asymptote (0 to 1).
    share : float array (node)
        Grid of first size over the mean asymptote, 0 to 1.
    log_weight : float array (group, node)
        Logarithm of the weights of the grid.

    Returns
    -------
    loglik : float
    gradient : float array (5)
        By the five parameters, in their order.
    weight_sum : float array (group, node)
        Posterior weights of the nodes, summed over the animals of each group.
    """
    gradient, weight_sum = np.zeros(5), np.zeros_like(log_weight)
    logs, parts = np.empty(share.size), np.empty((share.size, 5))
    total = 0.0
    for i in range(data.group.size):
        sums = _sums(data, i, rate)
        for m in range(share.size):
            logs[m] = log_weight[data.group[i], m] + _node(
                sums, share[m], asymptote, asymptote_variance, error_variance, tie,
                parts[m])
        top = logs.max()
        whole = 0.0
        for m in range(share.size):
            logs[m] = np.exp(logs[m] - top)
            whole += logs[m]
        total += top + np.log(whole)
        for m in range(share.size):
            weight = logs[m] / whole
            weight_sum[data.group[i], m] += weight
            for c in range(5):
                gradient[c] += weight * parts[m, c]
    return total, gradient, weight_sum


@nb.njit(cache=True)
def _sums(data, i, rate):
    """Sums over the measurements of one animal that every node needs."""
    sums = np.zeros(9)
    for j in range(data.first[i], data.first[i + 1]):
        t, y = data.elapsed[j], data.length[j]
        w = np.exp(-rate * t)
        sums[0] += 1.0
        sums[1] += y
        sums[2] += y * y
        sums[3] += w
        sums[4] += w * w
        sums[5] += y * w
        sums[6] += t * w
        sums[7] += t * w * w
        sums[8] += t * y * w
    return sums


@nb.njit(cache=True)
def _node(sums, x, asymptote, a, v, tie, part):
    """Normal log density of one animal's lengths at one node; derivatives go into `part`.

    Mean lengths are asymptote x f with f = 1 - p w; a millimetre more of own asymptote adds
    g = 1 - q w. The covariance is v I + a g g'.
    """
    n, w, ww, yw, tw, tww = sums[0], sums[3], sums[4], sums[5], sums[6], sums[7]
    p, q = 1.0 - x, 1.0 - tie * x
    ff = n - 2.0 * p * w + p * p * ww
    fg = n - (p + q) * w + p * q * ww
    gg = n - 2.0 * q * w + q * q * ww
    yf, yg = sums[1] - p * yw, sums[1] - q * yw
    u = yg - asymptote * fg
    d = v + a * gg
    quad = (sums[2] - 2.0 * asymptote * yf + asymptote * asymptote * ff - a * u * u / d) / v
    part[0] = (yf - asymptote * ff - a * u * fg / d) / v
    # by the rate: every sum changes
    d_rr = -2.0 * asymptote * p * sums[8] + asymptote * asymptote * 2.0 * p * (tw - p * tww)
    d_u = q * sums[8] - asymptote * ((p + q) * tw - 2.0 * p * q * tww)
    d_d = 2.0 * a * q * (tw - q * tww)
    part[1] = -0.5 * (d_d / d + (d_rr - a * (2.0 * u * d_u / d - u * u * d_d / (d * d))) / v)
    part[2] = -0.5 * (gg / d - u * u / (d * d))
    part[3] = -0.5 * ((n - 1.0) / v + 1.0 / d - quad / v + a * u * u / (d * d * v))
    # by the tie, through q
    d_u = x * (yw + asymptote * (p * ww - w))
    d_d = 2.0 * a * x * (w - q * ww)
    part[4] = -0.5 * (d_d / d - a * (2.0 * u * d_u / d - u * u * d_d / (d * d)) / v)
    return -0.5 * (n * np.log(2.0 * np.pi) + (n - 1.0) * np.log(v) + np.log(d) + quad)


@nb.njit(cache=True)
def growth_posterior(data, asymptote, rate, asymptote_variance, error_variance, tie, share,
                     log_weight):
    """Posterior mean of each animal's asymptote and of its true first length.

    Parameters
    ----------
    As for `growth_loglik`.

    Returns
    -------
    own_asymptote, first_length : float array (animal)
        mm.
    """
    n = data.group.size
    own, begun = np.zeros(n), np.zeros(n)
    logs, part = np.empty(share.size), np.empty(5)
    for i in range(n):
        sums = _sums(data, i, rate)
        for m in range(share.size):
            logs[m] = log_weight[data.group[i], m] + _node(
                sums, share[m], asymptote, asymptote_variance, error_variance, tie, part)
        top = logs.max()
        whole = 0.0
        for m in range(share.size):
            weight = np.exp(logs[m] - top)
            whole += weight
            more = _more(sums, share[m], asymptote, asymptote_variance, error_variance, tie)
            own[i] += weight * (asymptote + more)
            begun[i] += weight * share[m] * (asymptote + tie * more)
        own[i] /= whole
        begun[i] /= whole
    return own, begun


@nb.njit(cache=True)
def _more(sums, x, asymptote, a, v, tie):
    """Expected own asymptote less the mean one, given the lengths and the node."""
    p, q = 1.0 - x, 1.0 - tie * x
    fg = sums[0] - (p + q) * sums[3] + p * q * sums[4]
    gg = sums[0] - 2.0 * q * sums[3] + q * q * sums[4]
    return a * (sums[1] - q * sums[5] - asymptote * fg) / (v + a * gg)
