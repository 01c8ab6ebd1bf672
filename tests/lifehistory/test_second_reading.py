"""The catalogue against a second, independent reading of the same sources, field by field.

`shared/second_reading.csv` was entered by another reader from the compilation, not from the
catalogue. Where that compilation lies beside the checkout, both readings are held against it too.
"""

import copy
import csv
import math
import re
from pathlib import Path

import pytest

from pva.files import read_yaml, shipped

DOCUMENT = read_yaml(shipped("shared/life_history.yaml"))[0]
NUMBERS = ("value", "lower", "upper", "se")
RANGES = "default ranges"
# the compilation's words for a unit and the catalogue's; the latter may go on ("share of fish")
UNITS = {
    "glochidia/female/yr": "glochidia per female and year", "yr": "years", "1/yr": "per year",
    "mm/yr": "mm per year", "annuli/yr": "rings per year", "fraction": "share", "": "share|none",
    "per occasion (8 occasions in 4 months)": "per visit", "3 yr": "over 3 years",
    "study period (length not stated)": "over the study", "25 months": "over 25 months",
    "18 months": "over 18 months", "about 6 months": "over about 6 months",
    "22 wk": "over 22 weeks", "trial": "over the trial", "60 d": "over 60 days",
    "probability": "chance per visit", "mussels/m2": "per m2", "males/m2": "males per m2",
    "fish/100 m2": "fish per 100 m2", "years in the 1983-1998 record": "years of 1983-1998",
    "Ne": "effective animals", "lambda": "factor per year", "16 wk": "over 16 weeks",
    "2 yr": "over 2 years", "%/yr": "% per year",
}
PER_VISIT = "detection/unio_crassus/internal_tags"  # a fraction of one search


def second_reading():
    with open(shipped("shared/second_reading.csv"), encoding="utf-8", newline="") as handle:
        return list(csv.DictReader(line for line in handle if not line.startswith("#")))


ROWS = second_reading()
KEYED = [row for row in ROWS if row["key"]]


def number(text):
    return None if text == "" else float(text)


def section_of(row, document):
    if row["reference_row"] == RANGES:
        return "ranges"
    return next((s for s in ("values", "findings", "unknown") if row["key"] in document[s]), None)


def differences(row, document):
    """What the catalogue says otherwise than the second reading, in words."""
    section = section_of(row, document)
    entry = document[section].get(row["key"]) if section else None
    if entry is None:
        return ["not in the catalogue"]
    found = []
    if section in ("ranges", "values"):
        ends = entry.get("interval") or (entry.get("at_least"), entry.get("at_most"))
        own = (entry.get("value"), *ends, entry.get("se"))
        for name, here in zip(NUMBERS, own, strict=True):
            if here != number(row[name]):
                found.append(f"{name} {here}, second reading {row[name] or 'nothing'}")
    if section == "ranges":
        return found
    cited = document["citations"].get(entry.get("citation", ""), "")
    if row["cited"] not in cited:
        found.append(f"cites {cited}, second reading {row['cited']}")
    doi = re.search(r"doi:(\S+?)(?:,| |$)", cited)
    if (doi[1] if doi else "") != row["doi"] and row["key"] not in NO_DOI_THERE:
        found.append(f"doi {doi and doi[1]}, second reading {row['doi']}")
    if section == "unknown":
        return found
    return found + other_words(row, entry, section)


# the compilation gives this DOI beside the paper's other row only
NO_DOI_THERE = ("maximum_age_from_growth_rate/north_american_species",)


def other_words(row, entry, section):
    found = []
    if entry["status"] != row["status"]:
        found.append(f"status {entry['status']}, second reading {row['status']}")
    sure = row["confidence"].replace("medium-high", "medium")  # the lower of the two
    allowed = {"read": ("high",), "derived": ("medium",), "memory": (sure,)}[row["status"]]
    if entry["confidence"] not in allowed and row["key"] != "female_share/quadrula_metanevra":
        found.append(f"confidence {entry['confidence']}, second reading {allowed[0]}")
    if section == "findings":
        seen = numbers_in(entry["finding"])
        if not {float(n) for n in row["value"].split()} <= seen:
            found.append(f"finding has {sorted(seen)}, second reading {row['value']}")
        return found
    if not unit_fits(row, entry["unit"]):
        found.append(f"unit {entry['unit']}, second reading {row['unit']}")
    latin = [w for w in re.findall(r"\w+", entry["species"]) if w in LATIN]
    if not all(word in row["species"] for word in latin):
        found.append(f"species {entry['species']}, second reading {row['species']}")
    return found


# second words of Latin names, as the compilation writes them
_NAMES = r"(?:[A-Z][a-z]+|[A-Z]\.) ([a-z]{4,})"
LATIN = {w for row in KEYED for w in re.findall(_NAMES, row["species"])} - {
    "river", "riverine", "mussels", "assemblage", "assemblages", "basin", "species", "sites"}


def unit_fits(row, unit):
    if row["key"] == PER_VISIT:
        return unit == "chance per visit"
    wanted = UNITS.get(row["unit"], row["unit"]).split("|")
    return unit in wanted or ("share" in wanted and unit.startswith("share of "))


def numbers_in(text):
    joined = re.sub(r"(?<=\d),(?=\d{3}\b)", "", text)
    return {float(n) for n in re.findall(r"\d+(?:\.\d+)?(?:e[-+]?\d+)?", joined)}


def test_both_readings_have_the_same_keys():
    entered = [row["key"] for row in KEYED if row["reference_row"] != RANGES]
    assert len(set(entered)) == len(entered)
    assert set(entered) == {k for s in ("values", "findings", "unknown") for k in DOCUMENT[s]}
    assert [r["key"] for r in KEYED if r["reference_row"] == RANGES] == list(DOCUMENT["ranges"])
    assert all(row["rule"].startswith("left out: ") for row in ROWS if not row["key"])


def test_the_two_readings_agree_in_every_field():
    found = {row["key"]: differences(row, DOCUMENT) for row in KEYED}
    assert {key: words for key, words in found.items() if words} == {}


def changed_digits(value):
    """The number with one digit changed, for every digit; bounds of 0 and 1 included."""
    text = f"{value:.10g}" if abs(value) >= 1e-3 else f"{value:.1e}"
    for i, sign in enumerate(text):
        if sign.isdigit():
            yield float(text[:i] + str((int(sign) + 1) % 10) + text[i + 1:])


def test_any_single_changed_digit_is_found():
    tried = 0
    for row in KEYED:
        section = section_of(row, DOCUMENT)
        if section not in ("ranges", "values"):
            continue
        entry = DOCUMENT[section][row["key"]]
        spots = [n for n in ("value", "se", "at_least", "at_most") if n in entry]
        for spot in spots + [("interval", i) for i in range(len(entry.get("interval", ())))]:
            name, index = spot if isinstance(spot, tuple) else (spot, None)
            right = entry[name] if index is None else entry[name][index]
            for wrong in changed_digits(right):
                one = copy.deepcopy(entry)
                if index is None:
                    one[name] = wrong
                else:
                    one[name] = [wrong if i == index else e for i, e in enumerate(one[name])]
                document = DOCUMENT | {section: {row["key"]: one}}
                assert wrong == right or differences(row, document), (row["key"], right, wrong)
                tried += wrong != right
    assert tried > 600


@pytest.mark.parametrize(
    ("field", "wrong", "told"),
    [
        ("status", "memory", "status memory, second reading read"),
        ("confidence", "low", "confidence low, second reading high"),
        ("unit", "per month", "unit per month, second reading 1/yr"),
        ("species", "Lampsilis fasciola",
         "species Lampsilis fasciola, second reading Pleurobema riddellii"),
        ("citation", "hyde_2017", "second reading Ford, Plants-Paris & Ford 2022"),
    ],
)
def test_a_wrong_word_is_found(field, wrong, told):
    key = "adult_survival/pleurobema_riddellii"
    row = next(r for r in KEYED if r["key"] == key)
    entry = DOCUMENT["values"][key] | {field: wrong}
    found = differences(row, DOCUMENT | {"values": {key: entry}})
    assert any(told in words for words in found)


# against the compilation itself

REFERENCE = Path(__file__).parents[3] / "shared" / "literature" / "life_history.csv"
absent = pytest.mark.skipif(
    not REFERENCE.is_file(),
    reason="the compilation the values came from is no part of the project and not beside it",
)
STATUS = {"VERIFIED": "read", "DERIVED": "derived", "FROM MEMORY": "memory", "NOT FOUND": None}


def reference():
    """Line number to row; a cell with loose commas is put together again."""
    with open(REFERENCE, encoding="utf-8", newline="") as handle:
        names, *lines = csv.reader(handle)
    return {i: dict(zip(names, [*c[:2], ",".join(c[2:len(c) - 9]), *c[len(c) - 9:]], strict=True))
            for i, c in enumerate(lines, 2)}


def slips(row, there):
    """Where the second reading differs from the row of the compilation."""
    found = []
    status = next(word for start, word in STATUS.items() if there["verified"].startswith(start))
    worked_out = row["rule"] and status == "read" and row["status"] == "derived"
    if status is not None and row["status"] != status and not worked_out:
        found.append(f"status {status}, entered {row['status']}")
    sure = re.match(r"FROM MEMORY: (medium-high|\w+)", there["verified"])
    if row["confidence"] != (sure[1] if sure else ""):
        found.append(f"confidence, entered {row['confidence']}")
    for name, here in (("unit", there["unit"]), ("doi", there["doi"].partition(" ")[0])):
        if row[name] != here:
            found.append(f"{name} {here}, entered {row[name]}")
    if row["species"] != there["species"] and "broken" not in row["rule"]:
        found.append(f"species {there['species']}, entered {row['species']}")
    if row["cited"] not in there["source"] + there["doi"]:
        found.append(f"source {there['source']}, entered {row['cited']}")
    return found + other_numbers(row, there)


def other_numbers(row, there):
    text = there["value"]
    plain = re.fullmatch(r"[\d.]+(?:e\d+)?", text)
    entered = [row[n] for n in ("value", "lower", "upper") if row[n]]
    spread = row["se"] and f"SE {float(row['se']):g}" not in there["notes"]
    found = [f"SE {row['se']} not in {there['notes']}"] if spread else []
    if plain or (not text and (there["lower"] or there["upper"])):
        for name in ("value", "lower", "upper"):
            if number(there[name]) != number(row[name]):
                found.append(f"{name} {there[name]}, entered {row[name]}")
        return found
    seen = numbers_in(f"{text} {there['quantity']} {there['notes']} {there['n']}")
    seen |= {round(1 - n, 10) for n in seen if row["rule"].startswith("1 - ")}
    seen |= {a / b for a in seen for b in (a + 1,)} if row["rule"].startswith("1.5 ") else set()
    many = [float(n) for n in " ".join(entered).split()]
    if not all(any(math.isclose(abs(n), s) for s in seen) for n in many):
        found.append(f"{entered} not in {text}")
    return found


@absent
def test_every_row_of_the_compilation_is_entered_or_left_out_with_a_reason():
    entered = {int(row["reference_row"]) for row in ROWS if row["reference_row"] != RANGES}
    assert entered == set(reference())


@absent
def test_second_reading_repeats_every_field_of_the_compilation():
    lines = reference()
    rows = [r for r in KEYED if r["reference_row"] != RANGES]
    found = {r["key"]: slips(r, lines[int(r["reference_row"])]) for r in rows}
    assert {key: words for key, words in found.items() if words} == {}


@absent
def test_a_changed_digit_of_the_compilation_is_found():
    lines, tried = reference(), 0
    for row in KEYED:
        if row["reference_row"] == RANGES:
            continue
        there = lines[int(row["reference_row"])]
        for name in ("value", "lower", "upper"):
            if re.fullmatch(r"[\d.]+(?:e\d+)?", there[name]):
                for wrong in changed_digits(float(there[name])):
                    if wrong != float(there[name]):
                        assert slips(row, there | {name: f"{wrong:.12g}"}), row["key"]
                        tried += 1
    assert tried > 500


# arithmetic of what is derived

VALUES = DOCUMENT["values"]


def value(key):
    return VALUES[key]["value"]


def after_hoenig(age):
    """Yearly survival after Hoenig 1983: ln Z = 1.23 - 0.832 ln(maximum age)."""
    return math.exp(-math.exp(1.23 - 0.832 * math.log(age)))


def derived_again():
    """Key to the value worked out from the entries it rests on, and the last digit given."""
    again = {
        "fecundity_mean_over_life/margaritifera_margaritifera":
            (value("fecundity_lifetime/margaritifera_margaritifera") / 75, 1e5),
        "female_share/quadrula_metanevra": (1.5 / 2.5, 0.01),
        "adult_survival/fusconaia_ebena": (0.09 ** (1 / 15), 0.001),
        "spills_1967_1998/clinch_and_powell": (len((1967, 1970, 1996, 1998)), 1),
        "die_off_decline/actinonaias_pectorosa": (1 - 14_000 / 94_000, 0.01),
        "survival_from_maximum_age/margaritifera_auricularia": (after_hoenig(68), 0.001),
        "survival_from_maximum_age/one_hundred_years": (after_hoenig(100), 0.001),
    }
    for key in VALUES:
        group, _, rest = key.partition("/")
        if group == "survival_from_maximum_age" and f"maximum_age/{rest}" in VALUES:
            again[key] = (after_hoenig(value(f"maximum_age/{rest}")), 0.001)
        if group == "survival_from_age_1_share":
            again[key] = (1 - value(f"age_1_share_stable/{rest}"), 0.01)
        if group == "immunity_multiplier":
            primed, naive = (value(f"metamorphosis/{rest}/{w}") for w in ("primed", "naive"))
            again[key] = (primed / naive, 0.001)
    return again


def test_every_derived_value_follows_from_what_it_rests_on():
    again = derived_again()
    assert set(again) == {key for key, row in VALUES.items() if row["status"] == "derived"}
    off = {key: (value(key), right) for key, (right, digit) in again.items()
           if abs(value(key) - right) > 0.501 * digit}
    assert off == {}


def test_arithmetic_told_in_the_notes():
    yearly = {"clinch_tennessee": ("1979_2004", 1), "clinch_virginia": ("2004_1979", -1),
              "pendleton_island": ("2004_1979", -1), "powell": ("2004_1979", -1)}
    for place, (years, sign) in yearly.items():
        row = VALUES[f"density_{years}/{place}"]
        low, high = row["interval"]
        told = float(row["notes"].rpartition(" ")[2])
        assert told == pytest.approx((high / low) ** (sign / 25), abs=0.0006)
    for species, told in (("epioblasma_brevidens", 0.30), ("epioblasma_capsaeformis", 1.12),
                          ("lampsilis_fasciola", 0.58)):
        low, high = VALUES[f"age_1_share/{species}"]["interval"]
        # mean span of five draws of a normal law is 2.326 SD
        assert math.log(high / low) / 2.326 == pytest.approx(told, abs=0.006)
        assert f"log SD about {told:.2f}" in VALUES[f"age_1_share/{species}"]["notes"]
    for key, years in (("survival_three_years/actinonaias_ligamentina/relocated", 3),
                       ("survival_three_years/lampsilis_cardium/relocated", 3)):
        told = float(VALUES[key]["notes"].split(" ")[0])
        assert told == pytest.approx(value(key) ** (1 / years), abs=0.0006)
    assert (1 - value("mortality_18_months/relocated_tagged")) ** (12 / 18) == pytest.approx(
        0.968, abs=0.0006)
    for tag, told in (("shellfish_tag", 0.84), ("fingerling_tag", 0.92)):
        lost = value(f"tag_loss_16_weeks/{tag}")
        assert (1 - lost) ** (52 / 16) == pytest.approx(told, abs=0.006)
        assert f"{told} kept a year" in VALUES[f"tag_loss_16_weeks/{tag}"]["notes"]


def test_the_pearl_mussel_chain_closes_on_replacement():
    # Bauer 1987 (read) with Young & Williams 1984 (from memory): two recruits a female
    chain = [value(f"{step}/margaritifera_margaritifera")
             for step in ("fecundity_lifetime", "attachment", "metamorphosis", "settlement")]
    assert math.prod(chain) == pytest.approx(2)


def test_intervals_of_95_percent_are_those_the_source_calls_so():
    called_so = [k for k, row in VALUES.items() if row.get("interval_is") == "95 %"]
    assert called_so == [f"adult_survival/lampsilis_radiata_luteola/{which}"
                         for which in ("male", "female", "downstream")]
