"""What was seen: units dug and units looked at on the surface, shells, units of the same name."""

import pandas as pd

from pva.report.sections.answer import _facts
from pva.report.sections.field_records import _blank, _found, _quadrats


class Records:
    """Two sites with a unit of the same name; one of them blank, one looked at from above."""

    units = pd.DataFrame({"survey": ["2025"] * 3, "site": ["A", "B", "B"],
                          "unit": ["1", "1", "2"], "excavated": [True, None, False]})
    animals = pd.DataFrame({"survey": ["2025"] * 2, "site": ["A"] * 2, "unit": ["1"] * 2,
                            "number": [3.0, 1.0], "status": ["alive", "shell"]})


def test_units_of_the_surface_are_not_called_dug_and_a_name_is_one_unit_of_its_site():
    assert _quadrats(Records.units, _blank(Records)) == (
        "Quadrats searched", "3", "2 dug and 1 looked at on the surface alone; 2 of them without a "
        "mussel; the blanks of those dug count in every density")
    assert _quadrats(Records.units[:2], _blank(Records))[0] == "Quadrats dug"


def test_animals_of_a_row_are_counted_and_shells_named():
    assert _found(Records.animals) == ("4", "1 of them shells")
    assert _found(Records.animals.drop(columns="number")[:1]) == ("1", "")


def test_mothers_are_those_of_the_order_sheet(everything):
    """3 + 2 a year are ordered where 2.04 and 1.36 would do: the page says what is ordered."""
    from dataclasses import replace

    stock = everything.stock[0]
    lines = [stock.answer["order_sheet"][0] | {"mothers": n} for n in (3, 2)]
    asked = replace(everything, stock=(replace(stock, answer=stock.answer | {
        "mothers": 3.4, "order_sheet": lines}), *everything.stock[1:]))
    assert ("5", "mothers needed at the hatchery, all orders together") in _facts(asked).pairs
