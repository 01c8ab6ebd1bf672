"""The host chain at its limits, and mean fecundity over a stage."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import quad

from pva.lifehistory.hosts import (
    glochidia_on_hosts,
    immune_share,
    mean_power,
    share_fertilised,
)

DENSITY = np.array([8.0, 2.0])
FISH = DENSITY * 1500 / 100
CONTACT = np.array([0.05, 0.02])
CAPACITY = np.array([60.0, 10.0])


def carried(glochidia, density=DENSITY, capacity=CAPACITY, attachment=1e-3):
    return glochidia_on_hosts(glochidia, attachment, density * 15, density, CONTACT, capacity)


def test_mean_power_is_the_integral_over_the_lengths():
    for power in (0.0, 1.0, 2.7, 3.0, -1.0):
        mean = quad(lambda x, p=power: 4.0 * x**p, 50, 92)[0] / 42
        assert mean_power(4.0, power, (50, 92)) == pytest.approx(mean)
    assert mean_power(4.0, 2.0, (70, 70)) == 4 * 70**2


def test_no_fish_carry_nothing():
    load, on_fish = carried(1e7, density=np.zeros(2))
    assert not load.any()
    assert not on_fish.any()


def test_few_glochidia_are_carried_in_proportion():
    _, few = carried(1e3)
    _, twice = carried(2e3)
    assert twice == pytest.approx(2 * few, rel=1e-3)


def test_many_glochidia_fill_the_fish_whatever_their_number():
    for glochidia in (1e9, 1e12):
        _, full = carried(glochidia)
        assert full == pytest.approx(CAPACITY)


def test_never_more_attached_than_released():
    for glochidia in (1.0, 1e4, 1e8):
        load, on_fish = carried(glochidia, attachment=1.0, capacity=np.full(2, np.inf))
        met = 1 - np.exp(-(CONTACT * DENSITY).sum())
        assert (FISH * load).sum() == pytest.approx(glochidia * met)
        assert (FISH * on_fish).sum() <= glochidia


def test_hosts_share_the_glochidia_by_density_times_contact():
    load, _ = carried(1e6)
    shares = FISH * load / (FISH * load).sum()
    assert shares == pytest.approx(CONTACT * DENSITY / (CONTACT * DENSITY).sum())


def test_fertilisation():
    assert share_fertilised(None, 0.0) == 1
    assert share_fertilised(("half_density", 0.5), 0.5) == 0.5
    assert share_fertilised(("half_density", 0.5), 0.0) == 0
    assert share_fertilised(("scale", 0.5), 0.5) == pytest.approx(1 - np.exp(-1))


def test_immunity():
    assert immune_share(0.4, 20.0, 0.0) == 0
    assert immune_share(0.4, 20.0, 20.0) == pytest.approx(0.2)
    assert immune_share(0.4, 20.0, 1e9) == pytest.approx(0.4)
