"""Tables of the estimates and of the row account; no row of a field table, no position."""

from __future__ import annotations

from collections.abc import Iterator

from pva.report.estimate_rows import rows_of
from pva.report.exports.sheets import Sheet, sheet
from pva.report.material import Material

GROUPS = {"survival": "share surviving", "detection": "share", "tag_retention": "share a year",
          "growth": "", "density": "animals m-2", "recruits": "", "abundance": "animals",
          "hosts": "fish per 100 m2"}
_KEYS = ("name", "value", "low", "high", "se", "apparent", "year_sd", "n", "note")


def estimate_sheets(material: Material) -> Iterator[Sheet]:
    """Estimates, growth, models and the row account, as far as they are at hand."""
    for one in (_estimates(material), _growth(material), _recruits(material), _models(material),
                _account(material), _reasons(material)):
        if one.rows:
            yield one


def _estimates(material):
    columns = ["kind", "unit", "name", "value", "low (95 %)", "high (95 %)", "standard error",
               "apparent (tag loss as deaths)", "standard deviation between years", "n", "note"]
    return sheet("estimates", "Estimates from the field tables", columns, (
        [group.replace("_", " "), unit, *(row[k] for k in _KEYS)]
        for group, unit in GROUPS.items() if group not in ("growth", "recruits")
        for row in rows_of(material.estimates or {}, group)))


def _growth(material):
    found = (material.estimates or {}).get("growth")
    pairs = found.items() if isinstance(found, dict) else ()
    return sheet("growth", "Growth in length (mm, years)", ["number", "value"], (
        (key, value) for key, value in pairs
        if value is None or isinstance(value, (int, float, str))))


def _recruits(material):
    found = (material.estimates or {}).get("recruits") or ()
    keys = list(dict.fromkeys(k for row in found for k, v in row.items()
                              if not isinstance(v, (dict, list))))
    return sheet("recruits", "Unmarked small animals, by how sure it is that they are wild-born "
                 "(counts; densities in animals m-2)", keys,
                 ([row.get(k) for k in keys] for row in found))


def _models(material):
    found = (material.estimates or {}).get("models") or ()
    keys = ("name", "parameters", "loglik", "aicc", "weight")
    return sheet("models", "Survival models tried", ["model", "parameters", "log likelihood",
                                                     "AICc", "weight"],
                 ([row.get(k) for k in keys] for row in found))


def _account(material):
    frame = None if material.records is None else material.records.account.tables
    rows = () if frame is None else frame[
        ["file", "is", "in", "used", "flagged", "set_aside"]].itertuples(index=False)
    return sheet("row_account", "Where every row of the field tables went",
                 ["file", "kind", "rows in", "used", "flagged", "set aside"], rows)


def _reasons(material):
    frame = None if material.records is None else material.records.account.reasons
    # sentences quote cells; the code says the same without them
    rows = () if frame is None else frame[["code", "effect", "rows"]].itertuples(index=False)
    return sheet("row_reasons", "Why rows were flagged or set aside", ["reason", "effect", "rows"],
                 rows)
