"""What stands beside the estimates on the page: only what there is, in words."""

from pva.report.sections.beside import beside


def words(blocks):
    return repr(blocks)


def test_nothing_is_said_where_there_is_nothing():
    assert beside({}) == []
    assert beside({"tag_retention": None, "visit_by_visit": None, "known_fate": [],
                   "batch_bounds": [], "staying": [], "availability": []}) == []


def test_bounds_checks_and_rivals_are_shown():
    summary = {
        "tag_retention": {"tag": 0.98, "model": "loss constant", "models": [
            {"name": "loss constant", "aicc": 24.1, "first_year": 0.981, "fifth_year": 0.981},
            {"name": "loss changing with the age of the mark", "aicc": 28.0, "first_year": 0.99,
             "fifth_year": 0.95}]},
        "staying": [{"name": "staying/all", "value": 0.9, "low": 0.85, "high": 0.94, "note": None}],
        "batch_bounds": [{"mark": "yellow", "site": "Quillstone", "visit": "v0", "years": 1.0,
                          "released": 300, "found": 90, "shells": 0, "low": 0.256, "high": 1.0,
                          "low_even": None}],
        "known_fate": [{"group": "hatchery at Cages", "years": 1.0, "at_risk": 60, "died": 6,
                        "survival": 0.9, "se": 0.04, "low": 0.79, "high": 0.95}],
        "visit_by_visit": {"label": "visit by visit, not limited to 1", "rows": [
            {"site": "Quillstone", "visit": "v1", "survival": 1.02, "survival_se": 0.1,
             "years": 1.0, "detection": 0.5, "alive": None, "joining": -3.0}]},
    }
    said = words(beside(summary))
    for text in ("loss constant (used)", "0.900", "0.850 to 0.940", "0.256", "Met alive",
                 "hatchery at Cages", "A cross-check, visit by visit, not limited to 1", "1.020",
                 "'-3'"):
        assert text in said, text
