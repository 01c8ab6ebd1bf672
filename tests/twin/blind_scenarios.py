"""Scenarios of the blind check (test_blind_numpy.py): one mechanism after the other, then all.

Animals, rivers and rates are invented. Where rates are in doubt (`DOUBTFUL`) every replicate has
its own.
"""

STAGES = """
stages: [{name: juvenile, years: 2}, {name: sub}, {name: adult, breeds: true}]
survival:
  juvenile: {value: 0.6, year_sd: 0.12}
  sub: 0.8
  adult: {value: 0.9, year_sd: 0.05}
growth: {sub: {value: 0.5, year_sd: 0.1}}
"""
SCENARIOS = {"few animals of one stage": """
title: Individual chance alone
years: {first: 2000, last: 2015}
census: after breeding
stages: [{name: adult, breeds: true}]
survival: {adult: 0.75}
recruitment: {per_adult: 0.3}
start: {adult: 6}
bad_years: {none: a check}
quasi_extinction: {adults_below: 3}
goals: [{name: three years, measure: adults, at_least: 6, in_years: [2004, 2014], running: 3}]
""", "luck of years": """
title: How years differ
years: {first: 2000, last: 2014}
census: after breeding
""" + STAGES + """
recruitment: {per_adult: {value: 0.9, year_sd: 0.6, by_year: {2005: 0.6}}, dispersion: 0.8}
year_effects: {between_rates: 0.5, between_sites: {river_km: 20}, carry_over: 0.5}
sites:
  - {name: Upper, river_km: 30, start: {sub: 20, adult: 50}}
  - {name: Middle, river_km: 24, start: {adult: 60}, survival: {adult: {value: 0.82, year_sd: 0.1}}}
  - {name: Lower, river_km: 5, start: {sub: 40, adult: 20}}
bad_years: {none: a check}
quasi_extinction: {adults_below: 30, where: 2}
goals: [{name: each, measure: adults, at_least: 25, in: 2012, where: each site}]
""", "what is not known": """
title: Rates in doubt
years: {first: 2000, last: 2014}
census: before breeding
stages: [{name: juvenile, years: 2}, {name: sub}, {name: adult, breeds: true}]
survival:
  juvenile: {value: 0.6, interval: [0.4, 0.75], year_sd: 0.1}
  sub: {value: 0.8, se: 0.08}
  adult: {value: 0.88, se: 0.04, year_sd: 0.05, by_year: {2000: 0.88, 2007: 0.8}}
growth: {sub: {value: 0.5, interval: [0.3, 0.7]}}
recruitment: {per_adult: {value: 0.7, interval: [0.3, 1.3], year_sd: 0.3, by_year: {2006: 1}}}
sites:
  - {name: Upper, start: {sub: 20, adult: {value: 60, se: 15}}}
  - {name: Lower, start: {adult: 40}, survival: {adult: {value: 0.85, se: 0.06}}}
movement: [{stage: sub, from: Upper, to: Lower, share: {value: 0.2, se: 0.1}}]
releases: [{site: Lower, stage: sub, number: 30, first: 2001, last: 2004,
            first_year_survival: {value: 0.5, interval: [0.2, 0.8]}}]
bad_years: [{name: drought, chance: 0.1, survival: 0.8}]
quasi_extinction: {adults_below: 60}
goals: [{name: both, measure: adults, at_least: 35, in: 2012, where: each site}]
""", "bad years": """
title: Bad years of four kinds
years: {first: 2000, last: 2014}
census: before breeding
""" + STAGES + """
recruitment: {per_adult: 0.7}
sites:
  - {name: Upper, start: {sub: 20, adult: 50}}
  - {name: Lower, start: {adult: 60}}
bad_years:
  - {name: drought, chance: 0.15, length: 2, survival: {sub: 0.6, adult: 0.7}, strikes: together}
  - {name: spill, chance: 0.1, survival: 0.6, recruitment: 0.3, strikes: separately}
  - {name: flood, chance: 0.15, survival: {juvenile: 0.5}, length: 3, strikes: 0.6}
  - {name: works, years: [2003, 2004], length: 2, recruitment: 0.4}
releases:
  - {site: Lower, stage: sub, number: 40, first: 2001, last: 2004, first_year_survival: 0.7}
quasi_extinction: {adults_below: 40}
goals: [{name: rest, measure: adults, at_least: 25, in_years: [2005, 2014], of_years: 6, where: 2}]
""", "hosts": """
title: Two hosts, one of them blocked
years: {first: 2000, last: 2014}
census: before breeding
stages: [{name: young, years: 2}, {name: sub, length_mm: [30, 50]},
         {name: adult, length_mm: [50, 90], breeds: true}]
survival: {young: 0.6, sub: 0.8, adult: 0.85}
growth: {sub: 0.4}
recruitment:
  females: 0.45
  gravid: {value: 0.8, year_sd: 0.1}
  glochidia: {at_1_mm: 0.8, power: 2.6}
  fertilised: {half_density: 0.03}
  attachment: {calibrate: {glochidia_per_host: 20, hosts_per_100m2: 8, adults_per_m2: 0.1}}
  settlement: {calibrate: {recruits_per_adult: 0.9, hosts_per_100m2: 8, adults_per_m2: 0.1}}
  hosts:
    - {name: drum, suitability: 0.6, capacity: 40, contact: 0.06,
       immunity: {most: 0.8, half_load: 15}}
    - {name: bass, suitability: {value: 0.2, year_sd: 0.05}, contact: 0.02}
sites:
  - {name: Upper, area_m2: 700, start: {sub: 20, adult: 60},
     hosts: {drum: {per_100m2: {value: 6, year_sd: 3}}, bass: {per_100m2: 3}}}
  - {name: Lower, area_m2: 1500, start: {adult: 90},
     hosts: {drum: {until: 2003, blocked: true, then_per_100m2: 9, ramp_years: 4},
             bass: {per_100m2: {by_year: {2000: 1, 2008: 4}}}}}
bad_years: [{name: few fish, chance: 0.2, hosts: 0.3, strikes: separately}]
quasi_extinction: {adults_below: 90}
goals: [{name: load, measure: glochidia_per_host, at_most: 15, in_years: [2006, 2014], of_years: 4}]
""", "space": """
title: Limits, movement, young carried by hosts
years: {first: 2000, last: 2014}
census: before breeding
stages: [{name: juvenile, years: 2}, {name: sub}, {name: adult, breeds: true}]
survival: {juvenile: 0.6, sub: 0.8, adult: 0.9}
growth: {sub: 0.5}
recruitment:
  per_adult: 1.6
  carried: [{from: A, to: B, share: 0.2}, {from: B, to: C, share: 0.3}]
sites:
  - {name: A, start: {sub: 20, adult: 30}, limits: {beverton_holt: {adults: 40}}}
  - {name: B, start: {sub: 20, adult: 30}, limits: {ricker: {adults: 50}}}
  - {name: C, area_m2: 101, start: {adult: 30}, capacity_per_m2: 0.4}
  - {name: D, start: {adult: 30}, limits: {ceiling: {animals: 75.8}}}
movement:
  - {stage: all, from: A, to: B, share: 0.08}
  - {stage: sub, from: A, to: C, share: 0.05}
  - {stage: adult, from: D, to: lost, share: 0.04}
releases: [{site: D, stage: sub, number: 12, first: 2002, last: 2006}]
bad_years: {none: a check}
quasi_extinction: {adults_below: 24, where: 2}
goals: [{name: wild, measure: wild_share, at_least: 0.8, in: 2010, where: [D]}]
""", "stocking": """
title: Releases, collections, a donor bed, rules
years: {first: 2000, last: 2014}
census: before breeding
""" + STAGES + """
recruitment: {per_adult: 0.6}
sites:
  - {name: Upper, start: {sub: 20, adult: 50}}
  - {name: Middle, start: {juvenile: 0, sub: 16, adult: 20}, role: donor}
  - {name: Lower, start: {sub: 10}}
releases:
  - {name: young, site: Upper, stage: juvenile, age: 2, number: {2001: 160, 2003: 35},
     delivered: {mean: 0.6, sd: 0.35}, first_year_survival: {value: 0.5, year_sd: 0.15}}
  - {name: subs, site: Lower, stage: sub, number: 25, first: 2000, last: 2009, interval: 3,
     delivered: {mean: 0.7}, cost_each: 3, until: {measure: adults, at_least: 85, running: 2}}
  - {name: again, site: Upper, stage: sub, number: 30, first: 2001, order_lead: 2,
     cost_each: 2, repeat: {measure: adults, at_most: 75, running: 2, last: 2012}}
  - {name: moved, site: Lower, stage: adult, source: Middle, number: 7, first: 2000, last: 2005,
     first_year_survival: 0.85}
collections:
  - {site: Middle, stage: juvenile, number: 5, first: 2001, last: 2006}
  - {site: Upper, stage: adult, number: 6, first: 2000, last: 2008, interval: 2}
bad_years: [{name: drought, chance: 0.1, survival: {juvenile: 0.7, sub: 0.75, adult: 0.8}}]
quasi_extinction: {adults_below: 60}
goals:
  - {name: wild, measure: wild_adults, at_least: 50, in: 2014}
  - {name: stocked, measure: stocked_adults, at_least: 20, in_years: [2006, 2010], where: [Lower]}
  - {name: many, measure: animals, at_least: 160, in: 2002, where: [Upper]}
""", "all at once": """
title: Everything in one scenario
years: {first: 2000, last: 2014}
census: after breeding
stages: [{name: juvenile, years: 2}, {name: sub, length_mm: [30, 50]},
         {name: adult, length_mm: [50, 90], breeds: true}]
survival:
  juvenile: {value: 0.6, year_sd: 0.12}
  sub: {value: 0.8, year_sd: 0.08}
  adult: {value: 0.91, year_sd: 0.04}
growth: {sub: {value: 0.4, year_sd: 0.1}}
recruitment:
  females: 0.45
  gravid: {value: 0.8, year_sd: 0.1}
  glochidia: {at_1_mm: 0.8, power: 2.6}
  fertilised: {scale: 0.01}
  attachment: 0.0004
  settlement: {calibrate: {recruits_per_adult: 0.7, hosts_per_100m2: 8, adults_per_m2: 0.1}}
  dispersion: 3
  carried: [{from: Upper, to: Lower, share: 0.2}, {from: Lower, to: Middle, share: 0.15}]
  hosts:
    - {name: drum, suitability: 0.6, capacity: 40, contact: 0.06,
       immunity: {most: 0.7, half_load: 30}}
    - {name: bass, suitability: {value: 0.2, year_sd: 0.05}, contact: 0.02,
       capacity: {value: 90, year_sd: 20}}
sites:
  - {name: Upper, area_m2: 700, river_km: 30, start: {sub: 20, adult: 60}, capacity_per_m2: 0.15,
     hosts: {drum: {per_100m2: {value: 6, year_sd: 2}}, bass: {per_100m2: 3}}}
  - {name: Middle, area_m2: 400, river_km: 20, start: {adult: 60}, survival: {adult: 0.86},
     limits: {beverton_holt: {adults: 100}}, hosts: {drum: {per_100m2: {value: 4, year_sd: 1}}}}
  - {name: Lower, area_m2: 1500, river_km: 7, start: {project_from: releases},
     limits: {ceiling: {animals: 260}, ricker: {adults: 200}},
     hosts: {drum: {until: 2004, blocked: true, then_per_100m2: 5, ramp_years: 4},
             bass: {per_100m2: {by_year: {2000: 1, 2008: 4}}}}}
movement:
  - {stage: juvenile, from: Upper, to: Middle, share: {value: 0.1, year_sd: 0.04}}
  - {stage: all, from: Middle, to: Lower, share: 0.08}
  - {stage: adult, from: Lower, to: lost, share: 0.03}
year_effects: {between_rates: 0.3, between_sites: {river_km: 25}, carry_over: 0.25}
bad_years:
  - {name: drought, chance: 0.07, length: 2, survival: {sub: 0.7, adult: 0.85}, recruitment: 0.5}
  - {name: spill, chance: 0.05, survival: 0.6, hosts: 0.5, strikes: separately}
  - {name: flood, chance: 0.1, survival: {juvenile: 0.6}, hosts: 0.7, strikes: 0.6}
releases:
  - {name: subs, site: Lower, stage: sub, number: 40, first: 2001, last: 2008, cost_each: 5,
     delivered: {mean: 0.85, sd: 0.1}, first_year_survival: {value: 0.65, year_sd: 0.1},
     until: {measure: adults, at_least: 120, where: [Lower]}}
  - {name: moved, site: Lower, stage: adult, source: Upper, number: 8, first: 2001, last: 2004,
     first_year_survival: 0.85}
collections: [{site: Upper, stage: adult, number: 4, first: 2000, last: 2006, interval: 2}]
quasi_extinction: {adults_below: 150}
goals:
  - {name: wild, measure: wild_adults, at_least: 25, in_years: [2008, 2014], of_years: 4,
     where: [Lower]}
  - {name: young, measure: recruits, at_least: 8, in_years: [2006, 2014], running: 4, where: 2}
"""}
DOUBTFUL = ("what is not known",)
