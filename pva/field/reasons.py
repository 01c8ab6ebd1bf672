"""Every reason why a row is set aside or flagged: a stable code and a sentence with advice.

In a sentence ``{value}`` is the cell as written and ``{column}`` its column; other braces are
filled by the check that found the row.
"""

from __future__ import annotations

SET_ASIDE, FLAGGED = "set aside", "flagged"

_SET_ASIDE = {
    # the row itself
    "row-too-long": "Cells beyond the header: {surplus}. Nobody can say which cell of the row "
    "belongs where. Put quotation marks around text that holds the separator; where the comma is "
    "the decimal mark, part the cells by semicolons.",
    "header-repeated": "The row repeats the names of the columns, as when tables are pasted under "
    "each other. Nothing to do.",
    "reader-message": "The line of the reader's log names no tag: {value}. Nothing to do if it is "
    "a message of the reader; if it was a read, correct it.",
    "left-out": "Left out by decision of {who} on {date}: {why}",
    # tags
    "tag-rounded": "Tag {value} is a number that a spreadsheet has rounded; its last digits are "
    "lost. Copy the tag from the reader or the field sheet into a column stored as text.",
    "tag-impossible": "No transponder can carry the number {value}: the part after the first three "
    "digits lies above 274877906943, or the prefix is impossible. Compare with the field sheet."
    "{near}",
    "tag-malformed": "{value} has too many or too few characters for a transponder, or a letter "
    "among its digits. Compare with the field sheet.{near}",
    "tag-test": "{value} is a test tag, not an animal. Nothing to do unless a test tag was put on "
    "an animal.",
    "tag-missing": "The read names no tag, so nobody can say whose it was. Add the tag from the "
    "reader's memory; nothing to do if it is lost.",
    "tag-unknown": "Tag {value} was never released.{near} Compare with the field sheet; correct "
    "the tag or add the missing release.",
    "tag-of-a-release-set-aside": "Tag {value} was released in row {other_row} of {other_file}, "
    "but that row was set aside. Correct the release and read again.",
    "tag-released-twice": "Tag {value} was already released in row {other_row} of {other_file} "
    "({other}), and one tag cannot stand for two animals. Compare both field sheets and correct "
    "the slip. If the tag was recovered and put on another animal, write `tags: {{used_again: "
    "[{{tag: TAG, from: DAY}}]}}` in the study.",
    "marks-disagree": "The tag belongs to animal {animal}, but the second mark {value} to animal "
    "{other}. Compare with the field sheet.",
    "tag-on-two-animals": "The second tag {value} also belongs to the animal of row {other_row} of "
    "{other_file}. Compare both field sheets and correct one.",
    "shell-of-unknown-animal": "Tag {value} was found on a shell, but was never recorded on a "
    "live animal.{near} Compare with the field sheet.",
    # species, sites
    "species-unknown": "{value} is not among the species of the study. {advice} Correct it, or say "
    "what it stands for under `values: {{species: ...}}` of this table in the study.",
    "site-missing": "The row does not say at which site. Add the site.",
    "site-unknown": "{value} is not among the sites of the study. {advice} Correct it, or write "
    "it under `also_called` of its site in the study.",
    # dates, visits
    "date-missing": "The row has no date. Add it from the field sheet.",
    "date-unreadable": "{value} is not a date. Write it as year-month-day.",
    "date-impossible": "{value} is no day of the calendar, or lies centuries away. Correct the "
    "date, or the order of day and month stated for this table (`dates`).",
    "date-ambiguous": "{value} can be read as {first} or as {second}. Write `dates: day first` or "
    "`dates: month first` for this table, or write the date as year-month-day.",
    "date-in-future": "The date {date} lies a year and more ahead of today. Correct the year, or, "
    "where the clock of a reader ran wrong, write `add_days` under this table in the study.",
    "date-before-release": "The animal was seen on {date}, before its release on {released} (row "
    "{other_row} of {other_file}). Check the tag and both dates.",
    "last-day-before-first": "The visit ends on {date}, before it begins. Correct the dates.",
    "visit-missing": "The row names neither a visit nor a date, so nobody can say when it was. Add "
    "one of them.",
    "visit-to-come": "The visit begins on {date}, ahead of today, and nothing was recorded at it; "
    "every animal would count as missed. Nothing to do if it is only planned; else correct the "
    "date.",
    "visit-unknown": "There is no visit called {value}{at}. {advice}",
    "visit-set-aside": "The visit {value} at {site} is listed in row {other_row} of {other_file}, "
    "but that row was set aside. Correct the visit and read again.",
    "visit-listed-twice": "The visit {value} at this site is already listed in row {other_row}. "
    "Keep one of the two.",
    "outside-visits": "{date} lies in no visit to {site}{nearest}. Correct the date, or add the "
    "visit with its effort.",
    "date-outside-its-visit": "The row belongs to visit {visit} at {site} ({first} to {last}), but "
    "its date is {date}. Correct the date or the visit.",
    # what was seen
    "status-missing": "The row does not say whether the animal was alive, heard, a shell or "
    "removed. Add the status from the field sheet.",
    "status-unknown": "The status {value} is not known. Write alive, heard, shell or removed, or "
    "map this word under `values` in the study.",
    "event-unknown": "The word {value} is neither a release nor an encounter. Map it under "
    "`values: {{event: ...}}` in the study.",
    "after-shell": "The animal was {status} on {date}, but its shell was found on {shell} (row "
    "{other_row} of {other_file}). The tag may have been heard in the dead shell; if the animal "
    "lived, correct the earlier row; if the tag is on another animal now, write `used_again` under "
    "`tags` in the study.",
    "after-removal": "The animal was {status} on {date}, but had been removed on {shell} (row "
    "{other_row} of {other_file}). If it was put back, its status that day was alive, not removed; "
    "else check the tag.",
    # numbers
    "number-unreadable": "{value} in column {column} is not a usable number. Correct it{advice}.",
    "number-missing": "Column {column} is empty, and the row cannot be used without it. Fill it "
    "in.",
    "tag-for-several": "One tag cannot stand for {value} animals. Give every animal its own row, "
    "or leave the tag out for a batch.",
    # quadrats and other units
    "unit-missing": "The row does not name its unit, so it cannot be told from a unit forgotten. "
    "Add the unit from the field sheet.",
    "unit-listed-twice": "Unit {value} of this survey and site is already listed in row "
    "{other_row}. Keep one, or give the other its own name.",
    "animal-in-unlisted-unit": "An animal was found in unit {value}, which is not among the units "
    "dug{at}.{near} Add the unit with its area, or correct its name.",
    "animal-in-several-units": "Unit {value} is listed {count} times; say which survey and site "
    "the animal belongs to.",
    "host-missing": "The row does not name the host fish. Add it.",
}

_FLAGGED = {
    "species-differs": "The row says {value}, but the animal was recorded as {other} in row "
    "{other_row} of {other_file}. A tag misread or a species mistaken: compare with the field "
    "sheet. The row was used.",
    "species-missing": "Neither this row nor another of the same animal says its species. The row "
    "was used where species does not matter; add the species.",
    "marked-new-again": "The animal was recorded as newly marked, but its tag was already on an "
    "animal in row {other_row} of {other_file}. Was the tag issued twice or is this a recapture? "
    "It was used as a recapture.",
    "recapture-never-marked": "The animal was recorded as a recapture, but no row says when it was "
    "marked.{near} It was used from this row on; check the tag.",
    "site-differs": "The animal was released at {other} and found at {value}. It was used as "
    "found; check the site.",
    "dead-only-in-remarks": "The status is {status}, but the remarks say: {value}. The row was "
    "used as {status}; correct the status if the animal was dead.",
    "alive-and-shell-one-day": "The animal is recorded as {status} and as a shell on the same day "
    "({date}; row {other_row} of {other_file}). Both rows were used; correct the wrong one.",
    "date-after-last-visit": "The date {date} lies after the year that follows the last visit "
    "({last}). The row was used as it is; check the year.",
    "length-unreadable": "The length {value} is not a number. The row was used without a length; "
    "correct it{advice}.",
    "length-impossible": "A length of {value} mm{written} cannot be. The row was used without a "
    "length; correct it.",
    "length-in-centimetres": "The length {value} among lengths near {usual} mm may be in "
    "centimetres. The row was used without a length; write it in millimetres, or accept it.",
    "length-dropped": "The length fell from {before} to {value} mm since {date} (row {other_row} "
    "of {other_file}), more than {drop} mm of measurement error. The row was used as it is; check "
    "the length and the tag.",
    # no position is repeated here: sentences are read aloud and passed on, places may be secret
    "position-unreadable": "The position cannot be read or lies nowhere on earth. The row was used "
    "without it; write decimal degrees.",
    "position-half": "Only one of latitude and longitude is written. The row was used without its "
    "position; add the other from the field sheet.",
    "position-swapped": "Latitude and longitude seem to be swapped. The row was used without its "
    "position; correct it.",
    "position-sign": "The position lies on another side of the earth; a minus sign seems to be "
    "missing. The row was used without its position; correct it.",
    "position-far": "The position lies {distance} km from {site}. The row was used without it; "
    "check the position and the site.",
    "position-datum": "The position is given in {value}, not in WGS 84 as the others; it may lie "
    "off by tens of metres and more. The row was used without it; convert it.",
    "number-left-out": "{value} in column {column} is not a usable number. The row was used "
    "without it; correct it{advice}.",
    "excavated-unreadable": "The word {value} does not say whether the unit was excavated, or an "
    "animal found by digging. The row was used without it; write yes or no, or map this word under "
    "`values: {{excavated: ...}}` of this table in the study.",
    "animals-found-differs": "{value} animals are written for the unit, but the rows of animals "
    "hold {listed} that could be used. A row may be lost, set aside, or name another unit: compare "
    "with the field sheet. The unit was used with the rows it has.",
    "unit-area-differs": "The unit's area of {value} is {ratio} times that of nearly all others of "
    "the table ({usual} m2). The row was used as it is; correct the area, or accept it.",
}

EFFECT = dict.fromkeys(_SET_ASIDE, SET_ASIDE) | dict.fromkeys(_FLAGGED, FLAGGED)
SENTENCE = _SET_ASIDE | _FLAGGED


def sentence(code: str, **words: object) -> str:
    """The whole sentence of one row."""
    return SENTENCE[code].format(**words)
