"""Link scales: mean and SD come out exactly as asked for; what no law can have is refused."""

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.special import expit, logit
from scipy.stats import norm

from pva.lifehistory.links import centre_for_mean, match_positive, match_probability


def moments(centre, spread):
    """Mean and SD of expit(centre + spread Z) by adaptive quadrature, not by the code's own."""
    def mean_of(power):
        around = -centre / spread if spread else 0.0  # where the curve is steep
        points = sorted({np.clip(around + k / max(spread, 1e-9), -12, 12) for k in (-8, 0, 8)})
        return quad(lambda z: expit(centre + spread * z) ** power * norm.pdf(z), -12, 12,
                    points=points, limit=400, epsabs=1e-13)[0]
    mean = mean_of(1)
    return mean, np.sqrt(max(mean_of(2) - mean**2, 0.0))


@pytest.mark.parametrize("mean", [0.001, 0.04, 0.3, 0.5, 0.92, 0.999])
@pytest.mark.parametrize("share", [0.02, 0.3, 0.7, 0.9])
def test_match_probability(mean, share):
    if share == 0.9:
        mean = min(max(mean, 0.04), 0.96)  # further out nearly all years are 0 or 1: refused
    sd = share * np.sqrt(mean * (1 - mean))
    centre, spread = match_probability(mean, sd)
    found = moments(centre, spread)
    assert found[0] == pytest.approx(mean, rel=1e-8 if share < 0.9 else 1e-6)
    assert found[1] == pytest.approx(sd, rel=1e-6)
    # the logit of the mean is not the middle: taken for it, the mean over years would be off
    if share == 0.7 and mean != 0.5:
        assert abs(moments(logit(mean), spread)[0] - mean) > 0.05 * min(mean, 1 - mean)


def test_matching_is_even_about_a_half():
    low, high = match_probability(0.2, 0.1), match_probability(0.8, 0.1)
    assert low[0] == pytest.approx(-high[0]) and low[1] == pytest.approx(high[1])


def test_years_that_hardly_differ():
    """Where the curve is straight, the link SD is the SD over the slope; no tolerance eats it."""
    for mean in (0.03, 0.5, 0.97):
        for sd in (1e-7, 1e-9, 1e-300):
            assert match_probability(mean, sd)[1] == pytest.approx(
                sd / (mean * (1 - mean)), rel=1e-10, abs=0)


def test_no_spread_is_the_logit_itself():
    assert match_probability(0.3, 0) == (pytest.approx(logit(0.3)), 0)
    assert centre_for_mean(np.array([0.1, 0.9]), 0.0) == pytest.approx(logit([0.1, 0.9]))


@pytest.mark.parametrize("spread", [0.0, 0.4, 2.0, 12.0])
def test_centre_for_mean_by_arrays(spread):
    means = np.array([1e-6, 0.01, 0.4, 0.99, 1 - 1e-6])
    centres = centre_for_mean(means, spread)
    assert centres.shape == means.shape and (np.diff(centres) > 0).all()
    if spread <= 2:
        for mean, centre in zip(means[1:4], centres[1:4], strict=True):
            assert moments(float(centre), spread)[0] == pytest.approx(mean, rel=1e-8)


def test_an_sd_no_probability_can_have_is_refused():
    for mean, sd in ((0.5, 0.5), (0.1, 0.3), (0.9, 0.31)):
        with pytest.raises(ValueError, match=f"no logit-normal law has mean {mean:g} and SD"):
            match_probability(mean, sd)
    with pytest.raises(ValueError, match="the SD must stay below"):
        match_probability(0.5, 0.499999)


@pytest.mark.parametrize(("mean", "sd"), [(2.2, 1.4), (1e-5, 1e-6), (3e4, 9e4)])
def test_match_positive(mean, sd):
    centre, spread = match_positive(mean, sd)
    assert np.exp(centre + spread**2 / 2) == pytest.approx(mean)
    assert mean * np.sqrt(np.expm1(spread**2)) == pytest.approx(sd)
