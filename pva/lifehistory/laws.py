"""Laws of what we do not know: from a uniform number to a drawn best value of a rate.

`se` gives a law with that mean and SD; an interval gives a law whose 2.5 and 97.5 % points are its
ends, except that for the bounded laws (uniform, log-uniform, triangular) the interval holds the
bounds themselves; the mode of a triangular law is the best value.
"""

from __future__ import annotations

import numpy as np
from scipy.special import betaincinv, expit, logit, ndtr, ndtri

from pva.lifehistory.links import match_positive, match_probability
from pva.lifehistory.rates import PROBABILITY, Rate

DISTRIBUTIONS = (
    "logit-normal", "beta", "lognormal", "normal", "uniform", "log-uniform", "triangular",
)
_Z975 = float(ndtri(0.975))


def drawn_values(rate: Rate, uniform: np.ndarray) -> np.ndarray:
    """Drawn means over years of a rate.

    Parameters
    ----------
    rate : Rate
        Without `link`; with `se` or `interval`, or neither (then the best value is repeated).
    uniform : ndarray, shape (draw,)
        Numbers in (0, 1).

    Returns
    -------
    ndarray, shape (draw,)
        Values on the natural scale.
    """
    if rate.se is None and rate.interval is None or rate.se == 0:
        return np.full(uniform.shape, rate.value)
    return _LAWS[_law_name(rate)](rate, uniform)


def law_median(rate: Rate) -> float:
    """Middle of the law, the best value where an interval stands without a value."""
    return float(_LAWS[_law_name(rate)](rate, np.array([0.5]))[0])


def _law_name(rate: Rate) -> str:
    return rate.distribution or ("logit-normal" if rate.kind == PROBABILITY else "lognormal")


def _link_normal(rate, uniform, link, inverse, match):
    if rate.interval is not None:
        low, high = (link(v) for v in rate.interval)
        centre, spread = (low + high) / 2, (high - low) / (2 * _Z975)
    else:
        centre, spread = match(rate.value, rate.se)
    return inverse(centre + spread * ndtri(uniform))


def _logit_normal(rate, uniform):
    return _link_normal(rate, uniform, logit, expit, match_probability)


def _lognormal(rate, uniform):
    return _link_normal(rate, uniform, np.log, np.exp, match_positive)


def _beta(rate, uniform):
    if rate.se is not None:
        size = rate.value * (1 - rate.value) / rate.se**2 - 1
        shape = rate.value * size, (1 - rate.value) * size
    else:
        shape = _beta_from_interval(*rate.interval)
    return betaincinv(*shape, uniform)


def _beta_from_interval(low, high):
    """Shapes of the beta law whose 2.5 and 97.5 % points are the ends of the interval."""
    from scipy.optimize import root  # slow to load, and few scenarios need it

    middle, spread = (low + high) / 2, (high - low) / (2 * _Z975)
    size = max(middle * (1 - middle) / spread**2 - 1, 0.5)

    def miss(log_shape):
        return betaincinv(*np.exp(log_shape), np.array([0.025, 0.975])) - [low, high]

    found = root(miss, np.log([middle * size, (1 - middle) * size]), tol=1e-12)
    if np.abs(miss(found.x)).max() > 1e-6:
        raise ValueError(f"no beta law has a 95 % interval of {low:g} to {high:g}")
    return np.exp(found.x)


def _normal(rate, uniform):
    """Normal cut to the possible range: 0 to 1 for a probability, above 0 for a positive rate."""
    if rate.interval is not None:
        mean = sum(rate.interval) / 2
        sd = (rate.interval[1] - rate.interval[0]) / (2 * _Z975)
    else:
        mean, sd = rate.value, rate.se
    low = ndtr(-mean / sd)
    high = ndtr((1 - mean) / sd) if rate.kind == PROBABILITY else 1.0
    return mean + sd * ndtri(low + (high - low) * uniform)


def _bounds(rate, half_width_in_sd):
    if rate.interval is not None:
        return rate.interval
    return rate.value - half_width_in_sd * rate.se, rate.value + half_width_in_sd * rate.se


def _uniform(rate, uniform):
    low, high = _bounds(rate, np.sqrt(3))
    return low + (high - low) * uniform


def _log_uniform(rate, uniform):
    low, high = np.log(rate.interval)
    return np.exp(low + (high - low) * uniform)


def _triangular(rate, uniform):
    low, high = _bounds(rate, np.sqrt(6))
    mode = (rate.value - low) / (high - low)
    rising = np.sqrt(mode * uniform)
    falling = 1 - np.sqrt((1 - mode) * (1 - uniform))
    return low + (high - low) * np.where(uniform < mode, rising, falling)


_LAWS = {
    "logit-normal": _logit_normal,
    "beta": _beta,
    "lognormal": _lognormal,
    "normal": _normal,
    "uniform": _uniform,
    "log-uniform": _log_uniform,
    "triangular": _triangular,
}
