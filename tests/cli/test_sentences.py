"""Answers in words, whole."""

import pytest

from pva.cli import sentences, stock_words
from pva.results.wording import heard_words, survey_goal_words, years_words

RUN = {
    "draws": 200, "replicates": 50, "independent_runs": 200, "years": [2026, 2056], "seed": 41,
    "goals": [{"name": "adults in 2050", "draw_low": 0.24, "draw_high": 1.0}],
    "all_goals": {"chance": 0.8602, "low": 0.831, "high": 0.884, "draw_low": 0.24,
                  "draw_high": 1.0, "verdict": "met"},
    "quasi_extinction": {"threshold": 50, "chance": [0, 0], "low": [0, 0], "high": [0, 0.0149],
                         "draw_low": [0, 0], "draw_high": [0, 0.02]},
    "variance_shares": [
        {"outcome": "adults in the last year", "unknown": 0.7, "years": 0.2, "individuals": 0.1},
        {"outcome": "adults in 2050", "unknown": 0.3, "years": 0.6, "individuals": 0.1}],
}
STOCK = {
    "draws": 200, "replicates": 50, "independent_runs": 200, "chance_wanted": 0.8,
    "reachable": True, "number": 268,
    "low": 221.3, "high": 330.9, "draw_low": 0.0, "draw_high": None, "most": 5000.0,
    "chance_at_number": 0.801, "best_chance": 0.995, "best_number": 5000.0, "band": None,
    "release_years": list(range(2026, 2034)), "limit": None, "limits_lifted": [], "options": [],
    "releases": ["young"], "made": [], "duty": None, "cheapest": None,
}
LIFTED = [{"limit": "hosts", "best_chance": 0.91}, {"limit": "survival", "best_chance": 0.0}]


def test_a_run_with_one_goal():
    assert sentences.answer_of_run(RUN) == (
        'The chance of meeting the goal "adults in 2050" is 86 % (about 9 in 10; simulation error '
        "83 % to 88 %; 24 % to 100 % over what is not known of the rates): the chance wanted "
        "is reached.")
    assert sentences.answer_of_run(RUN, 0.8).endswith("): the chance wanted (80 %) is reached.")
    assert sentences.what_would_change_run(RUN | {"draws": 1}) == [
        "Every rate stands at its best value (one draw): nothing of what is not known about the "
        "rates is in these numbers."]


def test_what_shows_that_a_population_carries_itself():
    from pva.cli.runs import wild_table

    measures = {"wild_adults": [0.0, 1234.0], "wild_share": [None, 0.654],
                "replacement_ratio": [None, 0.876], "recruits": [12.3, 0.0]}
    assert wild_table({"years": [2026, 2036], "measures": measures}, (0, 1)) == (
        ["year", "wild-born adults, mean", "wild share", "replacement ratio", "recruits, mean"],
        [[2026, "0", None, None, "12"], [2036, "1,230", "65 %", "0.88", "0"]])


def test_a_run_with_several_goals_and_no_verdict_yet():
    goals = [{"name": n} for n in ("a", "b", "c")]
    joint = RUN["all_goals"] | {"verdict": "cannot tell yet"}
    several = RUN | {"goals": goals, "all_goals": joint}
    assert sentences.answer_of_run(several) == (
        "The chance of meeting all 3 goals in the same run is 86 % (about 9 in 10; simulation "
        "error 83 % to 88 %; 24 % to 100 % over what is not known of the "
        "rates): cannot tell yet whether the chance wanted is reached.")
    assert sentences.what_would_change_run(several) == [
        '60 % of the spread of "adults in 2050" comes from good and bad years. No field work '
        "narrows that; only a plan with more margin helps. More draws and replicates (runs) would "
        "settle the verdict."]


def test_what_is_left_to_no_chance_has_no_limit():
    sure = RUN["all_goals"] | {"chance": 1.0, "low": 1.0, "high": 1.0, "draw_low": None,
                               "draw_high": None}
    assert "is 100 % (more than 19 in 20; simulation error 100 %): " in (
        sentences.answer_of_run(RUN | {"all_goals": sure}))


def test_a_run_without_goals_never_seen_to_fail():
    none = {"chance": None, "low": None, "high": None, "verdict": None}
    assert sentences.answer_of_run(RUN | {"goals": [], "all_goals": none}) == (
        "The chance that adults fall below 50 by 2056 is below 1.5 % (fewer than 1 in 20; "
        "simulation error 0 % to 1.5 %; 0 % to 2.0 % over what is not known of the "
        "rates).")


def asked(unit="number", factor=1, **changes):
    """The answer with its number in the unit asked for; `factor` of that unit a yearly animal."""
    plan = STOCK | changes
    keys = ("number", "low", "high", "draw_low", "draw_high", "most")
    return plan | {"asked": {"unit": unit} | {
        k: None if plan[k] is None else factor * plan[k] for k in keys}}


def test_a_number_to_stock():
    assert stock_words.answer_of_stock(asked()) == (
        "Stock 270 animals a year (2026 to 2033) for an 80 % chance (about 8 in 10) of meeting "
        "the goals: the best single estimate; from simulation error 220 to 340, whose upper end, "
        "340, is the safe choice; roughly 0 to more than 5,000 over what is not known of the "
        "rates.")
    assert stock_words.answer_of_stock(asked(high=None, draw_high=4321.0)).endswith(
        "of meeting the goals: the best single estimate; from simulation error 220 to more than "
        "5,000, so no number tried is a safe choice; roughly 0 to 4,000 over what is not known of "
        "the rates.")
    assert stock_words.answer_of_stock(asked(low=268, high=268.0)).endswith(
        "(about 8 in 10) of meeting the goals; roughly 0 to more than 5,000 over what is not known "
        "of the rates.")


def test_years_with_a_gap_between_them_are_told_apart():
    gap = asked(release_years=[2026, 2027, 2028, 2040, 2042, 2043])
    assert "animals a year (2026 to 2028, 2040 and 2042 to 2043) for" in (
        stock_words.answer_of_stock(gap))
    assert years_words([2031]) == "2031" and years_words([2030, 2031]) == "2030 to 2031"


def test_draws_that_are_all_alike_have_no_range_over_what_is_not_known():
    alike = asked("number", draw_low=None, draw_high=None)
    assert stock_words.answer_of_stock(alike).endswith(
        "is the safe choice; nothing of what is not known of the rates is in it.")


def test_a_total_and_mothers_speak_in_their_unit():
    assert stock_words.answer_of_stock(asked("total", 3, draw_high=500.0)) == (
        "Stock 800 animals in all, 270 animals a year (2026 to 2033), for an 80 % chance (about 8 "
        "in 10) of meeting the goals: the best single estimate; from simulation error 660 to 1,000 "
        "in all, whose upper end, 1,000, is the safe choice; roughly 0 to 2,000 in all over what "
        "is not known of the rates.")
    assert stock_words.answer_of_stock(asked("mothers", 0.03, low=200, high=None)) == (
        "Stock the young of 8 mothers in all, 270 animals a year (2026 to 2033), for an 80 % "
        "chance (about 8 in 10) of meeting the goals: the best single estimate; from simulation "
        "error 6 to more than 150 mothers, so no number tried is a safe choice; roughly 0 to more "
        "than 150 mothers over what is not known of the rates.")


def test_when_the_duty_can_end():
    duty = {"number": 330.9, "last_year": [2025, 2026, 2027, 2033], "chance": [0, .5, .81, .85],
            "low": [0, .45, .79, .82], "high": [.01, .55, .83, .88], "ends": 2027,
            "ends_surely": 2033, "shorter": [
                {"last_year": 2026, "number": None, "total_animals": None, "cost": None},
                {"last_year": 2027, "number": 325, "total_animals": 650.0, "cost": None}]}
    with_duty = STOCK | {"duty": duty}
    assert stock_words.duty_words(with_duty) == [
        "With 340 animals a year the last release needed for the 80 % wanted is that of 2027; "
        "beyond simulation error the last is 2033."]
    for ends in (None, 2033):  # the last year planned
        assert stock_words.duty_words(
            STOCK | {"duty": duty | {"ends": ends, "ends_surely": None}}) == [
            "With 340 animals a year the duty cannot end before 2033: stopping earlier leaves less "
            "than the 80 % wanted."]
    assert stock_words.duty_rows(with_duty)[0] == ["none", "below 1.0 %", "0 % to 1.0 %"]
    assert stock_words.shorter_rows(with_duty) == [
        ["2026", "more than 5,000", "", ""], ["2027", "320", "650", "not stated"]]
    assert stock_words.duty_words(STOCK) == []


def test_options_and_the_cheapest_plan():
    one = {"name": "old", "releases": ["young"], "release_years": [2026], "reachable": True,
           "number": 268, "total_animals": 268.0, "cost": 5360.0, "mothers": None,
           "chance_at_number": .8, "best_chance": .9}
    none = one | {"name": "young", "number": None, "reachable": False, "best_chance": .4}
    plan = {"parts": [{"option": "old", "number": 268}], "cost": 5360.0, "chance": .8, "low": .77,
            "high": .83, "tried": "each alone"}
    several = asked(options=[one, none], cheapest=plan)
    assert stock_words.answer_of_stock(several).startswith(
        'With "old" alone, the cheapest option: stock 270 animals a year')
    assert stock_words.option_rows(several) == [
        ["old", "270", "2026", "270", "not stated", "5,360", "80 %"],
        ["young", "not reachable", "2026", "", "", "", "at best 40 %"]]
    assert stock_words.cheapest_words(several) == (
        'Cheapest plan found, one option alone: 268 a year of "old", cost 5,360; chance 80 % '
        "(77 % to 83 %). Tried: each alone. A mixture is told where it saves at least 2 %.")
    assert stock_words.cheapest_words(several | {"cheapest": None}) == (
        "No plan is the cheapest: an option does not say what an animal costs (cost_each).")


def test_what_was_delivered_already():
    made = [{"release": "young", "year": y, "number": 100} for y in (2024, 2025)]
    assert stock_words.made_words(STOCK | {"made": made}) == [
        "200 animals were delivered already (2024 to 2025); the number is that of the years left, "
        "2026 to 2033."]


ORDERS = [{"release": "young", "order_year": 2024 + i, "number": 135, "mothers": 2, "cost": 405.0}
          for i in range(3)]


def test_totals_beside_the_sums_of_the_order_sheet():
    plan = STOCK | {"releases": ["young"], "total_animals": 402.0, "mothers": 4.02, "cost": 1206.0,
                    "order_sheet": [*ORDERS, ORDERS[0] | {"release": "not varied"}]}
    assert stock_words.totals_words(plan) == (
        "In all 400 animals planned (order sheet, every order a whole number: 405); 4 mothers "
        "(order sheet: 6); cost 1,210 (order sheet: 1,215). Numbers are planned ones, before "
        "deliveries fall short. Besides these, 135 animals are ordered as the plan says (not "
        "varied): the order sheet holds them, these sums do not. `solve.releases` names what is "
        "varied.")
    alone = plan | {"order_sheet": ORDERS, "mothers": None, "cost": None}
    assert stock_words.totals_words(alone) == (
        "In all 400 animals planned (order sheet, every order a whole number: 405); mothers not "
        "stated; cost not stated. Numbers are planned ones, before deliveries fall short.")


def test_the_order_sheet_of_a_mixture_is_not_that_of_the_option():
    """The file holds the cheapest plan; the sums of the option alone are not called by its name."""
    other = {"release": "old", "order_year": 2022, "number": 50, "mothers": 1, "cost": 90.0}
    mixed = {"parts": [{"option": "y", "number": 60}, {"option": "o", "number": 50}],
             "cost": 600.0, "chance": .8, "low": .77, "high": .83, "tried": "all",
             "order_sheet": [other, *ORDERS[:1]]}
    plan = STOCK | {"releases": ["young"], "total_animals": 402.0, "mothers": 4.02, "cost": 1206.0,
                    "order_sheet": ORDERS, "cheapest": mixed,
                    "options": [{"releases": [name], "number": 268} for name in ("young", "old")]}
    assert stock_words.totals_words(plan) == (
        "In all 400 animals planned (whole orders, every order a whole number: 405); 4 mothers "
        "(whole orders: 6); cost 1,210 (whole orders: 1,215). Numbers are planned ones, before "
        "deliveries fall short.")
    assert stock_words.cheapest_words(plan).endswith(
        "The order sheet is that of the mixture: 185 animals, 3 mothers, cost 495.")
    assert stock_words.late_orders(plan, 2024)[0].startswith("1 of 2 orders must have been placed")


def test_orders_that_must_have_been_placed_already():
    assert stock_words.late_orders(STOCK | {"order_sheet": ORDERS}, 2026) == [
        "2 of 3 orders must have been placed before 2026, the first year of the plan (from 2024 "
        "on). If they were not, the first releases fall later and the answer changes."]
    assert stock_words.late_orders(STOCK | {"order_sheet": ORDERS}, 2024) == []


def test_the_curve_is_thinned_around_the_answer():
    numbers = [0, 100, 102, 104, 106, 200]
    curve = {k: numbers for k in ("number", "chance", "low", "high")}
    assert [r[0] for r in stock_words.thinned(curve, 102.2)] == [0, 102, 106, 200]
    assert [r[0] for r in stock_words.thinned(curve, None)] == [0, 100, 104, 200]


def test_no_stocking_needed():
    assert stock_words.answer_of_stock(STOCK | {"number": 0, "chance_at_number": 1.0}) == (
        "No stocking is needed: with none, the chance of meeting the goals is already above "
        "98.5 % (wanted 80 %).")


@pytest.mark.parametrize("limit, said", [
    ("hosts", ", because the host fish limit recruitment; with host fish in plenty it would be "
              "91 %."),
    (None, "; lifting no single limit helps."),
])
def test_not_reachable(limit, said):
    none = STOCK | {"reachable": False, "number": None, "best_chance": 0.124, "limit": limit,
                    "limits_lifted": LIFTED}
    assert stock_words.answer_of_stock(none) == (
        "Not reachable: the chance levels off at 12 % (wanted 80 %; at most 5,000 a year tried)"
        + said)
    assert stock_words.what_would_change_stock(none) == [
        "Best chance with host fish in plenty 91 %; with half of the yearly deaths avoided below "
        "1.5 %."]


def test_a_largest_number_that_is_too_small_is_no_level():
    few = STOCK | {"reachable": False, "number": None, "best_chance": 0.76, "most": 140.0,
                   "limit": "number stocked",
                   "limits_lifted": [{"limit": "number stocked", "best_chance": 1.0}]}
    assert stock_words.answer_of_stock(few) == (
        "Not reachable: the chance is 76 % at most (wanted 80 %; at most 140 a year tried), "
        "because more animals would be needed than the largest number tried; with ten times the "
        "largest number it would be above 98.5 %.")


def test_never_reached():
    none = STOCK | {"reachable": False, "number": None, "best_chance": 0.0, "limit": "hosts",
                    "limits_lifted": LIFTED}
    assert stock_words.answer_of_stock(none).startswith(
        "Not reachable: the chance stays below 1.5 % (wanted 80 %; ")


def test_cannot_tell_yet():
    unsure = STOCK | {"reachable": None, "number": None, "best_chance": 0.793}
    assert stock_words.answer_of_stock(unsure) == (
        "Cannot tell yet: the best chance found, 79 % at 5,000 a year, is within simulation error "
        "of the 80 % wanted.")


def test_more_is_not_always_better():
    assert stock_words.what_would_change_stock(STOCK | {"band": [268.0, 900.0]}) == [
        "More is not always better here: numbers from 270 to 900 a year reach the chance wanted."]
    assert stock_words.what_would_change_stock(STOCK | {"band": [268.0, 5000.0]}) == []


def difference(**more):
    return {"outcome": "all goals", "first": 0.86, "other": 0.65, "difference": -0.21,
            "low": -0.22, "high": -0.2, "settled": True} | more


def compared(row):
    return sentences.answer_of_compare({
        "draws": 200, "replicates": 50, "independent_runs": 200, "scenarios": ["A", "B"],
        "against_first": [{"scenario": "B", "differences": [row]}]})


def test_scenarios_compared():
    assert compared(difference()) == (
        '"B": the chance of meeting all goals is 21 points lower than in "A" (65 % against 86 %; '
        "95 % interval of the difference -22 to -20 points).")
    assert compared(difference(difference=0.013, low=-0.01, high=0.036, settled=False)) == (
        '"B": the chance of meeting all goals is 1.3 points higher than in "A" (65 % against '
        "86 %; 95 % interval of the difference -1.0 to +3.6 points; that difference may be luck).")
    assert compared(difference(outcome="recruits")) == '"B" and "A" have no outcome in common.'


def test_cells_of_a_comparison():
    assert sentences.compared(difference(), 10_000) == [
        "all goals", "86 %", "65 %", "-21 points", "-22 to -20 points", ""]
    adults = difference(outcome="adults in the last year", first=3081, other=2190,
                        difference=-891, low=-903, high=-879, settled=True)
    assert sentences.compared(adults, 10_000) == [
        "adults in the last year", "3,080", "2,190", "-890", "-900 to -880", ""]
    goal = difference(outcome="adults at least 300 in 2046")  # a chance, whatever its name
    assert sentences.compared(goal, 10_000)[1:4] == ["86 %", "65 %", "-21 points"]
    same = difference(first=0.0, other=0.0, difference=0.0, low=0.0, high=0.0)
    assert sentences.compared(same, 10_000) == [
        "all goals", "below 0.03 %", "below 0.03 %", "none", "", ""]


def test_the_luck_of_years_is_said_only_where_there_is_any():
    matrix = {"growth_rate": 1.041, "stochastic_growth_rate": {
        "log": 0.0099, "factor": 1.00995, "factor_low": 1.00902, "factor_high": 1.01088}}
    assert sentences.answer_of_matrix(matrix) == (
        "In the long run the population grows by 4.1 % a year (growth rate 1.041; with the luck "
        "of years 1.01, 95 % interval of the simulation 1.009 to 1.011), without limits of space "
        "and without releases.")
    assert sentences.answer_of_matrix(matrix | {"growth_rate": 0.0}) == (
        "No lineage lasts: the growth rate is 0.")


def test_readings_of_heard_tags_may_cross():
    from pva.cli.estimate_words import heard_cells

    row = {"name": "survival/juvenile", "apparent": 0.647, "corrected": 0.657,
           "heard_dead": 0.737, "heard_alive": 0.690}
    assert heard_cells(row) == ["survival/juvenile", "0.737", "0.690", "0.657", "0.657 to 0.737"]
    assert heard_cells(row | {"corrected": None}) == [
        "survival/juvenile", "0.737", "0.690", "0.647", "0.647 to 0.737"]
    assert heard_words(corrected=False) == (
        "None of the three is corrected for tag loss. These are readings, not bounds: they may "
        "cross, because each also moves deaths between the first months after release and later.")


def test_the_number_that_matters_most_is_said_in_words():
    parameter = {"value": 0.4, "source_kind": "assumed", "source": "range thought possible"}
    row = {"parameter": "recruitment/settlement/recruits_per_adult", "goals": 0.56, "adults": 0.6}
    assert sentences.followed_words(row, parameter, goals=True) == (
        "The number that matters most is the recruits per adult that settlement is solved for "
        "(0.4; assumed: range thought possible): of all that is not known exactly, the chance of "
        "meeting the goals follows it most and rises with it (rank correlation +0.56).")
    found = {"name": "survival/adult", "value": 0.93, "doubt": "se 0.01", "source_kind": "measured",
             "source": "recaptures"}
    assert sentences.leading_words(found) == (
        "The number that matters most, by its pull on growth and its doubt, is the yearly survival "
        "of the stage adult (0.93, se 0.01; measured: recaptures).")


def test_a_problem_is_told_in_sentences():
    from pva.errors import Problem

    assert str(Problem(what="No goals", done="nothing was run", todo="write one")) == (
        "No goals. Nothing was run. write one.")


def test_an_sd_between_years_of_0_shows_how_far_it_may_go():
    from pva.cli.estimate_words import survival_cells

    row = {"name": "survival/adult", "apparent": 0.923, "corrected": 0.93, "se": 0.01, "low": 0.907,
           "high": 0.947, "year_sd": 0.0, "n": 1692,
           "note": "SD between years 0.000 to 0.051 (95 %)"}
    assert survival_cells(row) == ["adult", "0.923", "0.930", "0.010", "0.907 to 0.947",
                                   "0 (to 0.051)", 1692]
    assert survival_cells(row | {"year_sd": 0.02})[5] == "0.020"
    assert survival_cells(row | {"year_sd": None})[5] is None


def test_survey_goals_are_told_apart_from_the_runs():
    goal = {"name": "density shown", "estimate": "density/Tallow Bend", "confidence": 0.9,
            "lower_limit": 0.5731, "at_least": 0.4, "verdict": "met"}
    assert survey_goal_words(goal) == (
        'Survey goal "density shown" (density at Tallow Bend): met; the lower 90 % confidence '
        "limit is 0.573, wanted at least 0.4.")
    assert survey_goal_words(goal | {"lower_limit": None}) == (
        'Survey goal "density shown" (density at Tallow Bend): cannot be told, because the '
        "estimate states no doubt or its file is not named.")
