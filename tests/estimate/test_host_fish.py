"""Host counts to fish per 100 m2 and glochidia per fish, as a scenario takes them."""

import numpy as np
import pytest
from invented import records

import pva
from pva.estimate.combined import Told
from pva.estimate.estimates import Estimates
from pva.estimate.estimates_file import read_estimates
from pva.estimate.estimates_write import write_estimates
from pva.estimate.host_fish import estimate_hosts
from pva.estimate.recruits_per_adult import ratios
from pva.estimate.removal import removal
from pva.estimate.unit_options import Found, UnitOptions

PLAIN = UnitOptions(effort_m2=100.0)


def sample(count, *, effort=5.0, date="2025-10-20", host="drum", site="Tallow Bend", **more):
    return {"date": date, "site": site, "host": host, "count": count, "effort": effort,
            "glochidia_per_fish": np.nan, **more}


def test_two_catches_have_a_closed_form():
    """Seber & Le Cren 1967 (from memory): catch of the first pass squared over the fall, 100 of 60
    and 24; whole-number likelihood lies a little lower. The share caught a pass is 1 - 24 / 60."""
    told = removal([60, 24])
    assert told.fish.value == pytest.approx(60**2 / (60 - 24), rel=0.03)
    assert told.caught_per_pass == pytest.approx(0.6, abs=0.03)
    large = removal([60000, 24000])
    assert large.fish.value == pytest.approx(100_000, rel=1e-4)
    assert large.caught_per_pass == pytest.approx(0.6, abs=1e-4)


def test_catches_that_do_not_fall_tell_no_number():
    assert removal([10, 9]) is None
    assert removal([5, 8, 7]) is None
    assert removal([0, 0]) is None


def test_removal_intervals_hold_the_truth():
    """400 fishings of 150 fish in three passes of 45 %: at least 370 intervals hold it (95 %,
    false alarm 1 in 400); the catch alone never does."""
    rng = np.random.default_rng(5)
    inside = 0
    for _ in range(400):
        left, catches = 150, []
        for _ in range(3):
            catches.append(rng.binomial(left, 0.45))
            left -= catches[-1]
        told = removal(catches)
        inside += told is not None and told.fish.low <= 150 <= told.fish.high
    assert inside >= 370


def test_density_by_effort_is_per_100_m2():
    told = estimate_hosts(records(hosts=[sample(50, effort=5.0)]), PLAIN)
    made = told.rates["hosts/drum/Tallow Bend"]
    assert made.value == pytest.approx(10.0)
    # exact Poisson limits of 50: 37.11 and 65.92 (Garwood, from memory)
    assert made.interval == pytest.approx((7.422, 13.184), abs=0.001)
    assert "low estimate" in made.note
    assert told.notes == ("Host fish (drum) are counted as if one pass caught every fish: host "
                          "densities are low estimates",)


def test_the_latest_year_stands_and_all_years_are_listed():
    told = estimate_hosts(records(hosts=[sample(10, date="2023-10-20"), sample(30)]), PLAIN)
    assert told.rates["hosts/drum/Tallow Bend"].value == pytest.approx(6.0)
    assert [r["year"] for r in told.rows] == [2023, 2025]


def test_area_stands_before_effort():
    told = estimate_hosts(records(hosts=[sample(10, area_m2=400.0)]), PLAIN)
    assert told.rates["hosts/drum/Tallow Bend"].value == pytest.approx(2.5)


def test_none_caught_leaves_a_limit():
    made = estimate_hosts(records(hosts=[sample(0)]), PLAIN).rates["hosts/drum/Tallow Bend"]
    assert made.value == 0.0
    assert made.interval == pytest.approx((0.0, -np.log(0.05) / 5), abs=1e-9)


def test_share_caught_by_a_pass_is_taken_out_with_its_doubt():
    options = UnitOptions(effort_m2=100.0, catches={"drum": Found(Told(0.5, 0.4, 0.6), "a trial")})
    plain = estimate_hosts(records(hosts=[sample(50)]), PLAIN).rates["hosts/drum/Tallow Bend"]
    made = estimate_hosts(records(hosts=[sample(50)]), options).rates["hosts/drum/Tallow Bend"]
    assert made.value == pytest.approx(20.0)
    assert made.interval[0] < 2 * plain.interval[0]
    assert made.interval[1] > 2 * plain.interval[1]


def test_passes_of_a_removal_fishing():
    """100, 40 and 16 on 500 m2: 165 fish were there."""
    made = [sample(c, **{"pass": p}) for p, c in enumerate((100, 40, 16), 1)]
    told = estimate_hosts(records(hosts=made), PLAIN)
    assert told.rows[0]["value"] == pytest.approx(165.5 / 5, abs=0.1)
    assert told.rows[0]["caught_per_pass"] == pytest.approx(0.609, abs=0.001)
    assert told.notes == ()


def test_passes_that_do_not_fall_are_refused():
    made = [sample(c, **{"pass": p}) for p, c in enumerate((10, 9), 1)]
    told = estimate_hosts(records(hosts=made), PLAIN)
    assert told.refused[0].what == "hosts/drum/Tallow Bend 2025"
    assert told.refused[0].why == "catches do not fall from pass to pass (10, 9)"


def test_unknown_area_is_refused():
    told = estimate_hosts(records(hosts=[sample(10)]), UnitOptions())
    assert told.rates == {}
    assert told.refused[0].why == "nobody says how much river was fished"
    assert told.refused[0].needed == (
        "`area_m2` of every sample, or `effort` with `hosts: effort_m2`, the m2 that a unit of it "
        "fishes")


def test_glochidia_per_fish_weighs_samples_by_their_fish():
    made = [sample(10, glochidia_per_fish=20.0, date="2023-10-20"),
            sample(30, glochidia_per_fish=10.0), sample(0)]
    told = estimate_hosts(records(hosts=made), PLAIN).rates["glochidia_per_host/drum/Tallow Bend"]
    assert told.value == pytest.approx((10 * 20 + 30 * 10) / 40)
    assert told.n == 2
    assert told.interval[0] < told.value < told.interval[1]


SCENARIO = """\
title: Invented
estimates: estimates.yaml
years: {{first: 2026, last: 2030}}
census: before breeding
stages: [{{name: juvenile, years: 2}}, {{name: adult, breeds: true}}]
survival: {{juvenile: 0.6, adult: 0.9}}
bad_years: {{none: "a test"}}
{recruitment}
sites:
  - name: Tallow Bend
    area_m2: 1000
    start: {{adult: 100}}
    {hosts}
quasi_extinction: {{adults_below: 5, from: 2028}}
runs: {{draws: 8, replicates: 2, seed: 1}}
"""
CHAIN = """\
recruitment:
  glochidia: 50000
  attachment: {calibrate: {glochidia_per_host: {estimate: glochidia_per_host/drum/Tallow Bend},
               hosts_per_100m2: 10, adults_per_m2: 0.1}}
  settlement: {calibrate: {recruits_per_adult: 0.4, hosts_per_100m2: 10, adults_per_m2: 0.1}}
  hosts: [{name: drum, suitability: 0.8, capacity: 200, contact: 0.05}]"""
PER_ADULT = "recruitment: {per_adult: {estimate: recruits_per_adult/Tallow Bend}}"
TARGET = CHAIN.replace("recruits_per_adult: 0.4",
                       "recruits_per_adult: {estimate: recruits_per_adult/Tallow Bend}")


@pytest.mark.parametrize("recruitment, hosts, named, value", [
    (CHAIN, "hosts: {drum: {per_100m2: {estimate: hosts/drum/Tallow Bend, year_sd: 2}}}",
     "hosts", 10.0),
    (CHAIN, "hosts: {drum: {per_100m2: 10}}", "attachment", 13.0),
    (TARGET, "hosts: {drum: {per_100m2: 10}}", "settlement", 0.4),
    (PER_ADULT, "", "per_adult", 0.4),
])
def test_a_scenario_takes_hosts_loads_and_recruits(tmp_path, recruitment, hosts, named, value):
    """The keys work where a planner would write them, and carry their intervals."""
    made = [sample(50, glochidia_per_fish=14.0), sample(50, glochidia_per_fish=12.0,
                                                        date="2024-10-20")]
    rates = dict(estimate_hosts(records(hosts=made), PLAIN).rates)
    rates |= ratios([{"site": "Tallow Bend", "survey": "2025", "adults": 20, "young": 8,
                      "per_adult": 0.4, "per_adult_low": 0.15, "per_adult_high": 0.95,
                      "young_below_mm": 23.0}])[0]
    write_estimates(Estimates(rates=rates), tmp_path / "estimates.yaml")
    assert set(read_estimates(tmp_path / "estimates.yaml").keys) == set(rates)
    file = tmp_path / "one.yaml"
    file.write_text(SCENARIO.format(recruitment=recruitment, hosts=hosts), encoding="utf-8")
    site = pva.read_scenario(file).resolved.sites[0]
    rate = site.hosts[0].density if named == "hosts" else getattr(site.recruitment, named)
    rate = getattr(rate, "rate", rate)
    assert rate.value == pytest.approx(value)
    assert rate.source.kind == "measured"
    assert rate.interval is not None or rate.se is not None
