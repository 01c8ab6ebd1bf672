"""Invented records of animals that lose tags, leave the site or lie out of reach, truth known."""

import numpy as np
import pandas as pd
from invented import SPECIES, records

SITE, AROUND = "Quillstone Riffle", "around Quillstone"


def study(rng, *, releases, visits, survival=0.9, detection=0.6, tag_loss=0.0, tag_shape=1.0,
          second_loss=None, staying=1.0, outside=None, shell_found=0.0, shells_anywhere=False,
          heard=0.0, heard_shells=0.0, available=1.0, passes=1):
    """Animals of dated releases (ISO date, number), looked for on ISO dates.

    `tag_loss` and `second_loss` are yearly rates at age 1 (kept to age t: exp(-rate t**shape));
    `staying` is yearly; `outside` is the chance of meeting an animal that left; a shell lasts and
    is found with `shell_found` at the first visit after the death, with its date; `heard` is the
    chance that an animal alive but not seen is heard, `heard_shells` that a dead one not found is;
    `available` is drawn anew for every animal and visit, `detection` is that of one pass.
    """
    days = pd.to_datetime(visits)
    released, met = [], []
    for batch, (date, number) in enumerate(releases):
        begun = pd.Timestamp(date)
        dies = rng.exponential(-1 / np.log(survival), number)
        leaves = rng.exponential(-1 / np.log(min(staying, 1 - 1e-12)), number)
        sheds = (rng.exponential(size=number) / max(tag_loss, 1e-12)) ** (1 / tag_shape)
        second = rng.exponential(size=number) / (second_loss or 1e-12)
        for i in range(number):
            tag, mark = f"T{batch}{i:05d}", f"S{batch}{i:05d}"
            two = second_loss is not None
            released.append({"animal": tag, "tag": tag, "species": SPECIES, "site": SITE,
                             "date": begun, "source": "hatchery", "batch": f"B{batch}", "number": 1,
                             "second_mark": mark if two else None})
            found_dead = False
            for visit, day in enumerate(days):
                t = (day - begun).days / 365.25
                if t <= 0:
                    continue
                has_tag, has_mark = t < sheds[i], two and t < second[i]
                row = {"animal": tag, "tag": tag if has_tag else None, "species": SPECIES,
                       "second_mark": mark if has_mark else None, "site": SITE,
                       "visit": f"v{visit}", "date": day, "status": "alive"}
                if not (has_tag or has_mark) or found_dead:
                    break
                left = leaves[i] < min(t, dies[i])
                if dies[i] < t:
                    if (not left or shells_anywhere) and rng.random() < shell_found:
                        found_dead = True
                        met.append({**row, "status": "shell"})
                    elif not left and rng.random() < heard_shells:
                        met.append({**row, "status": "heard"})
                elif left:
                    if outside and rng.random() < outside:
                        met.append({**row, "site": AROUND})
                else:
                    hits = np.flatnonzero(rng.random(passes) < detection) + 1
                    if rng.random() < available and hits.size:
                        more = {"pass": hits[0], "passes_met": hits.size} if passes > 1 else {}
                        met.append({**row, **more})
                    elif rng.random() < heard:
                        met.append({**row, "status": "heard"})
    sites = (SITE, AROUND) if outside else (SITE,)
    table = [{"visit": f"v{k}", "site": s, "first_date": d, "last_date": d,
              "method": "hand search", "effort_hours": 10.0, "passes": passes}
             for s in sites for k, d in enumerate(days)]
    return records(releases=released, encounters=met, visits=table)
