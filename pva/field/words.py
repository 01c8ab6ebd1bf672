"""Plain words about every key of study.yaml and every column of a field table.

Kept apart from the form in `pva.field.spec`. The reference in the documentation, the schema for
editors and the printed field sheets take their words from here; ``docs/make_reference.py`` fails
where form and words have different keys.
"""

from __future__ import annotations

_SOURCE = {
    "column": "Name of the column in your table, or its number from 1.",
    "first": "Only so many characters from the beginning.",
    "last": "Only so many characters from the end.",
    "join": "Several columns joined into one value, for tags split over columns.",
    "join[].column": "Name of one of these columns.",
    "join[].first": "Only so many characters from its beginning.",
    "join[].last": "Only so many characters from its end.",
    "between": "Text put between joined parts.",
    "unit": "Unit of the numbers in the column; they are turned into the unit named below.",
}


def _table(prefix: str) -> dict[str, str]:
    words = {
        "file": "The table: CSV, TXT, TSV or XLSX.",
        "sheet": "Sheet of a workbook, by name or by place from 1; needed where several hold data.",
        "header_row": "Row that holds the names of the columns; `none` where the first row is data "
                      "already, and the columns are named by number: `{tag: 1, date: 2}`. Found by "
                      "itself where left out.",
        "delimiter": "What separates the cells of a text table; found by itself, but for "
                     "spaces.",
        "decimal": "Decimal mark; comma is assumed only beside semicolons or tabs.",
        "dates": "Order of day, month and year. Needed where dates can be read in two ways.",
        "add_days": "Days added to every date of the table, where a reader's clock ran wrong.",
        "columns": "Where each value stands, if your column has another name: "
                   "`{tag: PIT no., length_mm: Length}`.",
        "values": "What your words mean: `{status: {FD: shell, L: alive}}`.",
        "fill": "A value for every row where the column is missing or blank: `{site: Bar}`.",
    }
    out = {}
    for name, said in words.items():
        out[prefix + name] = said
        if name == "columns":
            out |= {f"{prefix}columns.NAME.{k}": v for k, v in _SOURCE.items()}
    return out


def _share(prefix: str) -> dict[str, str]:
    return {f"{prefix}value": "Share found, 0 to 1.",
            f"{prefix}interval": "Its 95 % interval; taken as certain where left out.",
            f"{prefix}source": "Where it comes from; needed beside an interval."}


STUDY_WORDS = {
    "title": "Title, one line.",
    "description": "What the study is about.",
    "species": "Species that the tables may hold.",
    "sites": "Reaches where animals are released or looked for.",
    "sites[].name": "Name of the site.",
    "sites[].also_called": "Other names the crew uses for it.",
    "sites[].area_m2": "Area, m2; needed for abundance.",
    "sites[].river_km": "Place along the river, km.",
    "sites[].corners": "Corners as latitude, longitude in decimal degrees, to check positions. "
                       "Keep them out of files that you pass on.",
    "sites[].role": "What the site is for. `donor`: animals are taken from it; its abundance is to "
                    "be read at the low end. `reference`: it is compared with. At neither is "
                    "anything stocked; where it was, a note says so. `outside`: a reach around "
                    "the sites that is searched to see who left; animals met there count as "
                    "having left, not as followed there.",
    "sites[].remarks": "Anything else.",
    "tables": "Field tables, in any number.",
    **_table("tables[]."),
    "tables[].is": "What kind of fact the rows hold.",
    "visits": "What a visit is: a table of visits, or days joined.",
    "visits.from": "File of the visits, or a table described like those above.",
    **_table("visits.from."),
    "visits.made_of_days": "A day joins the visit before it at the same site when at most so many "
                           "days lie from one to the next.",
    "new_animals": "Whether animals enter the study by release, or when they are first caught and "
                   "marked.",
    "tags": "About tags.",
    "tags.test_tags": "Tags used to test readers, besides those that begin with 999.",
    "tags.used_again": "Tags that were recovered and put on another animal.",
    "tags.used_again[].tag": "The tag, between quotation marks.",
    "tags.used_again[].from": "Day from which it is on the other animal, whose release is a row of "
                              "its own. A shell found on that day is that of the first animal.",
    "lengths": "Limits for lengths.",
    "lengths.drop_mm": "A length that falls by more than this is flagged; smaller drops are "
                       "measurement error and stay in.",
    "lengths.largest_mm": "A longer length is flagged and not used.",
    "corrected": "Table of corrected rows, with the columns of `set_aside.csv`.",
    "accepted": "Table of decisions about rows: row, decision (use, leave out), who, date, why.",
    "stages": "Stages of life by length; those of the main scenario where left out.",
    "stages[].name": "Name of the stage.",
    "stages[].length_mm": "Lower and upper length, mm.",
    "survival": "How survival is to be told apart.",
    "survival.differs_by": "What survival may differ by; fitted with and without, and compared.",
    "survival.release": "Whether survival right after release is a number of its own.",
    "survival.bad_years": "Bad years named by year and kind, such as `2019 flood`; survival of the "
                          "interval that holds one is told apart.",
    "survival.average": "Whether rates are averaged over the fitted models by their weights, with "
                        "the doubt about the model in their standard errors.",
    "survival.fit_simulations": "Studies simulated from the reported model, to judge how well it "
                                "fits; 0 for none.",
    "survival.shells": "Shells of marked animals.",
    "survival.shells.found": "Whether they are only found at the site, or anywhere: looked for all "
                             "around or sent in by people. Shells from anywhere tell leaving from "
                             "dying, and the chance of staying is estimated with survival.",
    "survival.shells.dated": "Whether the date is that of the find, or of the death (fresh remains "
                             "only): then a shell is found in the interval of the death or never.",
    "survival.staying": "Chance that an animal stays at its site for a year, to correct survival; "
                        "a number with its source, or `outside_searched`.",
    "survival.staying.value": "The chance, above 0 to 1.",
    "survival.staying.se": "Its standard error.",
    "survival.staying.source": "Where it comes from; needed with a value.",
    "survival.staying.outside_searched": "In place of a value: how well the sites with the role "
                                         "`outside` are searched for animals that left, compared "
                                         "with the site itself (1: as well; 0.5: half as well).",
    "survival.tag_retention": "Chance that a tag is kept for a year, known from elsewhere, to "
                              "correct survival where no animals carry two marks.",
    "survival.tag_retention.value": "The chance, above 0 to 1.",
    "survival.tag_retention.se": "Its standard error.",
    "survival.tag_retention.source": "Where it comes from.",
    "detection": "How the chance of being found is to be told apart.",
    "detection.differs_by": "What it may differ by.",
    "detection.availability": "Share of the living animals that can be found at a visit (not "
                              "buried too deep), known from elsewhere.",
    "detection.availability.value": "The share, above 0 to 1.",
    "detection.availability.se": "Its standard error.",
    "detection.availability.source": "Where it comes from.",
    "growth": "About growth.",
    "growth.season": "First and last month in which shells grow.",
    "growth.differs_by": "What growth may differ by; fitted with and without, and compared.",
    "growth.handling": "After which handling growth rests: not at all, after the release, or after "
                       "each time an animal is handled; the time lost is estimated.",
    "growth.steps": "How yearly steps between length stages are worked out: by following animals "
                    "of all ages along their curves, or by how long a stage lasts.",
    "growth.population_growth": "Yearly factor by which the population grows whose animals fill "
                                "the stages; 1 = steady.",
    "density": "About units dug.",
    "density.design": "How the units were laid out: `simple` at random; `stratified`, at random in "
                      "each stratum; `systematic`, on grids from random starts; `double`, looked "
                      "over at the surface everywhere and dug in some.",
    "density.strata": "Parts of a site that were sampled by themselves; for `stratified`.",
    "density.strata[].name": "Name of the stratum.",
    "density.strata[].site": "The site it is a part of.",
    "density.strata[].area_m2": "Its area, m2; the strata of a site make up its whole area.",
    "density.strata[].transects": "Transects that lie in it, where units do not name their "
                                  "stratum.",
    "density.strata[].cost_each": "Cost of one more unit there, in any unit of money or time; for "
                                  "the advice where to dig next.",
    "density.double_by": "How surface counts are corrected by the units dug: in proportion "
                         "(`ratio`) or by a line (`regression`).",
    "density.units_dug": "How many units each survey dug by the field sheet; no density where the "
                         "list has another number.",
    "density.units_dug[].site": "Site.",
    "density.units_dug[].survey": "Survey.",
    "density.units_dug[].number": "Units dug, blank ones too.",
    "density.efficiency": "Share of the animals in a unit dug that is found, where it is known: a "
                          "number, or value, interval and source.",
    **_share("density.efficiency."),
    "density.surface_finds": "Share of the animals of a stage that a search of the surface finds, "
                             "taken from elsewhere: `{adult: {value: 0.5, interval: [0.4, 0.6], "
                             "source: ...}}`. Measured here where animals say how they were found.",
    **_share("density.surface_finds.NAME."),
    "recruits": "About young animals.",
    "recruits.below_mm": "Unmarked animals shorter than this are judged as possible recruits.",
    "recruits.batch_mark_kept": "Share of batch marks that still sits after a year; where left "
                                "out, every batch mark counts as worn off.",
    "recruits.upstream_km": "Animals stocked up to so many km upstream may have been washed down "
                            "and count as well; `river_km` must grow upstream.",
    "hosts": "About host fish counted.",
    "hosts.effort_m2": "m2 of river fished by one unit of effort.",
    "hosts.efficiency": "Share of the fish present that one pass catches, by host: "
                        "`{drum: {value: 0.6, interval: [0.5, 0.7], source: ...}}`.",
    **_share("hosts.efficiency.NAME."),
    "report": "What the report answers.",
    "report.main": "The scenario that the page is about.",
    "report.compare": "Scenarios compared with it.",
    "report.sensitivity": "What the goal depends on, found by `pva report` where `pva sensitivity` "
                          "has not been run (minutes): yes, or a block with fewer runs. A finished "
                          "answer is shown in any case.",
    "report.sensitivity.draws": "Parameter draws; the scenario's where left out.",
    "report.sensitivity.replicates": "Replicates of each draw; the scenario's where left out.",
    "report.check_data": "The scenario that tells the past, held against the data by `pva report` "
                         "where `pva check-data` has not been run. Its path, or a block.",
    "report.check_data.scenario": "Its path.",
    "report.check_data.hold_out": "First year whose records the estimates may not know; the last "
                                  "where left out.",
    "report.check_data.draws": "Parameter draws; the scenario's where left out.",
    "report.check_data.replicates": "Replicates of each draw; the scenario's where left out.",
    "report.donor": "The scenario that takes animals from a donor bed; judged by `pva report` "
                    "where `pva donor` has not been run. Its path, or a block.",
    "report.donor.scenario": "Its path.",
    "report.donor.draws": "Parameter draws of each step; the scenario's where left out.",
    "report.donor.replicates": "Replicates of each draw; the scenario's where left out.",
    "report.map": "A grid of the main scenario, run by `pva report` where `pva explore` has not "
                  "been run, and drawn as a map.",
    "report.map.vary": "Scenario keys and their values, as for `pva explore`.",
    "report.map.draws": "Parameter draws at each point; the scenario's where left out.",
    "report.map.replicates": "Replicates of each draw; the scenario's where left out.",
}

KIND_WORDS = {
    "releases": "Animals put into the river: one row an animal, or one row a batch without tags.",
    "visits": "When each site was searched, how, and with how much effort. Animals cannot be told "
              "from missed ones without it.",
    "encounters": "Animals met at a visit: in the hand, heard by a reader, or as a shell.",
    "reader log": "The reads of a tag reader, read like encounters with the status `heard`; many "
                  "reads of a tag in one visit become one detection.",
    "units": "Quadrats or other units dug, the blank ones too. No density without them.",
    "animals": "Animals found in units.",
    "hosts": "Host fish counted.",
}

COLUMN_WORDS = {
    "tag": "Tag as text: 15 digits, or the hexadecimal form of the same code; or your own kind of "
           "mark.",
    "species": "Species, as named in the study.",
    "site": "Site, as named in the study.",
    "date": "Day.",
    "stage": "Stage when released.",
    "age": "Age in years when released.",
    "length_mm": "Shell length, mm.",
    "source": "Hatchery, or the site the animals come from.",
    "batch": "Name of the batch.",
    "batch_mark": "Mark shared by the batch, such as a paint dot: its name, or `present`, `absent` "
                  "(or blank) and `not checked`. An animal whose mark was not checked is never "
                  "counted as unmarked.",
    "second_mark": "A second individual mark; it tells how often tags are lost.",
    "number": "Animals in the row; 1 or blank for a tagged animal.",
    "remarks": "Remarks; words such as dead are looked for.",
    "visit": "Name of the visit.",
    "first_date": "First day of the visit.",
    "last_date": "Last day of the visit.",
    "method": "How animals were looked for.",
    "area_m2": "Area, m2.",
    "effort_hours": "Person-hours of search.",
    "passes": "Times the site was searched through.",
    "status": "`alive`, `heard` (the tag was heard, nobody saw the animal), `shell` or `removed` "
              "(taken away alive).",
    "latitude": "Decimal degrees; degrees with minutes and seconds are read too.",
    "longitude": "Decimal degrees, negative in the west; or with W or E.",
    "datum": "Datum of the position; others than WGS 84 and those that agree with it are flagged.",
    "event": "`release` where the animal was newly marked, else `encounter`.",
    "time": "Time of day.",
    "position": "Where the reader stood.",
    "survey": "Name of the survey.",
    "transect": "Transect.",
    "stratum": "Stratum, as named under `density`.",
    "start": "Which random start of a systematic grid the unit belongs to.",
    "unit": "Name of the unit, the same in both tables.",
    "excavated": "Whether the unit was dug, or only its surface looked over; of an animal: `yes` "
                 "where only digging found it, `no` where it was seen at the surface first.",
    "animals_found": "Animals found in the unit, 0 where none: the table of animals must hold as "
                     "many.",
    "depth_cm": "Depth dug, cm.",
    "sieve_mm": "Mesh of the sieve, mm.",
    "host": "Fish.",
    "count": "Fish counted.",
    "effort": "Effort of the fishing; what one unit of it fishes stands under `hosts` in the "
              "study.",
    "pass": "Which pass (1, 2, 3 ...): of a removal fishing at that site and day; of the searches "
            "through a site within a visit, one row a pass, which tell how well a search finds "
            "what can be found, apart from animals out of reach.",
    "glochidia_per_fish": "Mean glochidia counted on a fish.",
}
