"""The life-cycle chain from breeding females to metamorphosed juveniles, per site and year.

Plain arithmetic on numbers and arrays; the engine holds the same lines in its kernel and a test
keeps the two equal.
"""

from __future__ import annotations

import numpy as np


def mean_power(at_1_mm: float, power: float, length_mm: tuple[float, float]) -> float:
    """Glochidia per gravid female, averaged evenly over the lengths of a stage.

    Parameters
    ----------
    at_1_mm : float
        Glochidia of a female of 1 mm by the power law (a scale, not an animal).
    power : float
        Exponent of length.
    length_mm : tuple of float
        Lower and upper length of the stage, mm.
    """
    low, high = length_mm
    if high == low:
        return at_1_mm * low**power
    if power == -1:
        return at_1_mm * np.log(high / low) / (high - low)
    return at_1_mm * (high ** (power + 1) - low ** (power + 1)) / ((power + 1) * (high - low))


def share_fertilised(fertilised: tuple[str, float] | None, adults_per_m2: float) -> float:
    """Share of eggs fertilised at a density of mature animals of both sexes per m2."""
    if fertilised is None:
        return 1.0
    form, density = fertilised
    if form == "half_density":
        return adults_per_m2 / (adults_per_m2 + density) if adults_per_m2 > 0 else 0.0
    return float(-np.expm1(-adults_per_m2 / density))


def carried_per_fish(load, capacity):
    """Glochidia that stay on a fish offered `load`; `capacity` inf = all of them."""
    load = np.asarray(load, float)
    if np.isinf(capacity):
        return load
    return capacity * -np.expm1(-load / capacity)


def glochidia_on_hosts(glochidia, attachment, fish, density_per_100m2, contact, capacity):
    """Load offered and carried per fish, for every host.

    Parameters
    ----------
    glochidia : float
        Glochidia released at the site in the year.
    attachment : float
        Share of glochidia meeting a fish that attach.
    fish, density_per_100m2, contact, capacity : ndarray, shape (host,)
        Fish at the site, their density, contact constant per density, capacity per fish.

    Returns
    -------
    tuple of ndarray, shape (host,)
        Load offered per fish, glochidia carried per fish (0 where there is no fish).
    """
    meeting = contact * density_per_100m2
    total = meeting.sum()
    load = np.zeros(len(fish))
    carried = np.zeros(len(fish))
    if total <= 0:
        return load, carried
    met = -np.expm1(-total)
    for i in np.flatnonzero(fish > 0):
        load[i] = glochidia * attachment * met * meeting[i] / total / fish[i]
        carried[i] = carried_per_fish(load[i], capacity[i])
    return load, carried


def immune_share(most: float, half_load: float, load_last_year: float) -> float:
    """Share of carried glochidia a primed fish throws off; 0 where nothing was offered."""
    return most * (1.0 - 2.0 ** (-load_last_year / half_load))
