"""The estimates file: round trip, editing by hand, and the text of every refusal."""

import numpy as np
import pytest

from pva.errors import FormError, MeaningError
from pva.estimate.estimates import Covariance, Estimate, Estimates, estimate_from_link
from pva.estimate.estimates_file import read_estimates
from pva.estimate.estimates_write import write_estimates
from pva.estimate.link_scale import Link, mean_over_years, natural
from pva.sources import Source


@pytest.fixture
def written(tmp_path):
    source = Source("measured", "recaptures 2018-2025")
    rates = {
        key: estimate_from_link(key, Link(*link), apparent=0.941, n=612, source=source)
        for key, link in {
            "survival/adult": (3.02, 0.23, 0.41),
            "release/hatchery": (1.1, 0.2, 0.0),
            "growth/subadult": (-0.4, 0.15, 0.0),
        }.items()
    }
    site = "Quillstone Riffle"
    adult = Estimate(f"abundance/{site}/adult", 410.0, interval=(290.0, 560.0), n=60)
    matrix = np.diag([0.23, 0.2, 0.15]) ** 2
    matrix[0, 1] = matrix[1, 0] = -0.01
    estimates = Estimates(rates, {site: {"adult": adult}}, Covariance(tuple(rates), matrix),
                          "Hesperwell River restoration (invented)", "Lampsilis ficta")
    return write_estimates(estimates, tmp_path / "estimates.yaml"), estimates


def test_what_is_written_is_read_back(written):
    path, estimates = written
    back = read_estimates(path)
    assert back.notes == ()
    assert back.keys == estimates.keys
    assert back.covariance.keys == estimates.covariance.keys
    np.testing.assert_array_equal(back.covariance.matrix, estimates.covariance.matrix)
    for key, estimate in estimates.rates.items():
        assert back.rates[key].value == pytest.approx(estimate.value, abs=1e-4)
        assert back.rates[key].link == estimate.link
        assert back.rates[key].source == estimate.source
    assert back.abundance["Quillstone Riffle"]["adult"].interval == (290.0, 560.0)


@pytest.mark.parametrize("old, new", [("value: 0.95,", "value: 0.951,"),
                                      ("se: 0.0111", "se: 0.0115"),
                                      ("year_sd: 0.0199", "year_sd: 0")])
def test_a_number_changed_by_hand_wins_over_its_link(written, old, new):
    path, _ = written
    text = path.read_text()
    assert old in text
    path.write_text(text.replace(old, new))
    back = read_estimates(path)
    assert back.rates["survival/adult"].link is None
    assert back.covariance.keys == ("release/hatchery", "growth/subadult")
    assert back.notes == (
        "survival/adult was changed by hand: value, se and year_sd as written are used, its link "
        "numbers and its place in the joint covariance are dropped",)


def test_a_missing_covariance_is_said(written):
    path, _ = written
    (path.parent / "estimates.nc").unlink()
    assert read_estimates(path).notes == (
        "the joint covariance 'estimates.nc' is missing: rates are drawn independently",)


def test_all_unknown_keys_are_told_together_with_their_lines(tmp_path):
    path = tmp_path / "estimates.yaml"
    path.write_text("survial/adult: {value: 0.9}\nsurvival/adult: {valeu: 0.9}\n")
    with pytest.raises(FormError) as caught:
        read_estimates(path)
    told = [str(p).replace(str(path), "estimates.yaml") for p in caught.value.problems]
    assert told == [
        "estimates.yaml, line 1, column 1: unknown key `survial/adult`; the nearest is `survival`. "
        "Keys begin with one of: survival, release, bad_year, growth, detection, tag_retention, "
        "staying, availability, surface_search, "
        "abundance, density, recruits_per_adult, growth_curve, hosts, glochidia_per_host.",
        "estimates.yaml, line 2, column 18: unknown key `valeu`; the nearest is `value`. Allowed "
        "are: value, se, interval, year_sd, link, apparent, n, source, note.",
    ]


def test_impossible_numbers_are_told_together(tmp_path):
    path = tmp_path / "estimates.yaml"
    path.write_text("survival/adult: {value: 1.2}\n"
                    "density/Tallow Bend: {value: 0.4, interval: [0.5, 0.9]}\n")
    with pytest.raises(MeaningError) as caught:
        read_estimates(path)
    assert [p.what for p in caught.value.problems] == [
        "`survival/adult` is a chance and cannot be 1.2",
        "the interval of `density/Tallow Bend`, 0.5 to 0.9, does not hold its value"]


def test_a_word_where_a_number_belongs(tmp_path):
    path = tmp_path / "estimates.yaml"
    path.write_text("survival/adult: {value: high}\nrelease/hatchery: good\n")
    with pytest.raises(FormError) as caught:
        read_estimates(path)
    assert [p.what for p in caught.value.problems] == [
        "`survival/adult` cannot be read: 'high' is not a number",
        "`release/hatchery` holds 'good' where a value belongs"]


def test_printed_value_is_the_mean_over_years():
    """Against a plain average over many years; 4 Monte Carlo SE: 1 false alarm in 16,000."""
    link = Link(2.2, 0.0, 0.8)
    z = np.random.default_rng(5).standard_normal(400_000)
    years = 1 / (1 + np.exp(-(link.mean + link.year_sd * z)))
    told = natural(link)
    assert told["value"] == pytest.approx(years.mean(), abs=4 * years.std() / len(years) ** 0.5)
    assert told["year_sd"] == pytest.approx(years.std(), rel=0.01)
    # the wrong formula, the value of the mean year, must be told apart by this test
    assert abs(1 / (1 + np.exp(-2.2)) - years.mean()) > 0.01
    assert float(mean_over_years(2.2, 0.0)) == pytest.approx(1 / (1 + np.exp(-2.2)))
