"""A generated firm of any size, the same for the same seed: people, sites and their work.

Work is spread as firms spread it: a few products do most of it, some customers are seen often,
most seldom. About one line in a hundred is messy (some of these are held) and about one in a
hundred breaks a limit. Everything is invented; the products are those of the shipped labels.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import accumulate
from random import Random

from ledger.demo import firm_file
from ledger.values.draft import APPLICATION_HEADINGS

Row = dict[str, str]

FIRST_DAY = date(2026, 1, 2)
PEOPLE = 12
VISITS_A_DAY = 8
REST = 21  # days before a site is seen again: above every interval of the labels

TOWNS = (
    ("Auburn", "95603", "Placer"),
    ("Colfax", "95713", "Placer"),
    ("Penryn", "95663", "Placer"),
    ("Loomis", "95650", "Placer"),
    ("Newcastle", "95658", "Placer"),
    ("Grass Valley", "95945", "Nevada"),
    ("Nevada City", "95959", "Nevada"),
    ("Penn Valley", "95946", "Nevada"),
)
FIRST_WORDS = (
    "Amber", "Basin", "Cedar", "Drift", "Ember", "Flume", "Garnet", "Hollow", "Iron", "Juniper",
    "Kestrel", "Larkspur", "Madrone", "Nugget", "Osprey", "Pumice", "Quartz", "Raven", "Saddle",
    "Talus", "Upland", "Vesper", "Willow", "Yarrow",
)  # fmt: skip
SECOND_WORDS = (
    "Anvil", "Bluff", "Copper", "Dell", "Echo", "Fern", "Gulch", "Heron", "Island", "Jay",
    "Knoll", "Ledge", "Meadow", "Notch", "Orchard", "Prairie", "Quail", "Rapids", "Spring",
    "Timber", "Union", "Valley", "Whistle", "Yoke",
)  # fmt: skip
SUFFIXES = ("Road", "Lane", "Court", "Drive", "Way", "Street", "Terrace", "Circle")
GIVEN = ("Ada", "Bo", "Cyd", "Dov", "Esme", "Finn", "Gus", "Hana", "Ike", "June", "Kai", "Lior")
FAMILY = ("Abel", "Birch", "Croft", "Dale", "Eames", "Frost", "Gale", "Holt", "Ives", "Joyce")


@dataclass(frozen=True, slots=True)
class Work:
    """How one product is used: how often, its day-sheet cells, and the dose.

    ``size`` bounds how much is treated; ``dose`` is per one of ``per`` at the label's limit, in
    thousandths of ``unit``; a lawful line stays below it, a breach goes above.
    """

    weight: int
    cells: Row
    unit: str
    dose: int
    per: str
    size: tuple[int, int]


WORK = (
    Work(34, {
        "product": "ridgeline-dust", "method": "crack and crevice", "setting": "at structure",
        "places": "door frame; siding seam; window frame", "avoided": "none present",
        "pests": "stink bugs; lady beetles", "equipment": "duster-a",
    }, "oz", 5, "ft", (60, 300)),
    Work(20, {
        "product": "ridgeline-dust", "method": "void", "setting": "indoor",
        "places": "wall void; base plate", "avoided": "refrigerator (moving air)",
        "pests": "spiders", "equipment": "duster-a",
    }, "oz", 100, "voids", (3, 12)),
    Work(22, {
        "product": "marsh-gel", "method": "bait", "setting": "indoor",
        "places": "kitchen pipe entry; window track", "avoided": "counter (food)", "pests": "ants",
    }, "g", 500, "placements", (6, 20)),
    Work(12, {
        "product": "ridgeline-sc", "method": "band", "setting": "at structure", "basis": "mix",
        "dilution": "0.8 fl oz/gal", "places": "foundation", "avoided": "creek (water, 60 ft)",
        "pests": "ants", "equipment": "tank-4",
    }, "gal", 1, "sq ft", (300, 1200)),
    Work(8, {
        "product": "cedar-granule", "method": "broadcast", "setting": "outdoor",
        "places": "soil along foundation", "avoided": "none present",
        "prepared": "hard surfaces swept", "pests": "ants",
    }, "lb", 3, "sq ft", (300, 1500)),
    Work(4, {
        "product": "alder-dust", "method": "void", "setting": "indoor", "places": "base plate",
        "avoided": "return air grille (moving air)", "pests": "crickets", "equipment": "duster-d",
    }, "oz", 4, "sq ft", (100, 500)),
)  # fmt: skip


def firm_text() -> str:
    """Return the generated firm's ``useledger.toml``: the demonstration's, with more people."""
    people = [
        f'[[person]]\nkey = "p{number}"\nname = "Person {number}"\n\n[[person.licence]]\n'
        f'number = "FR {91000 + number}"\ntitle = "field representative"\n'
        'jurisdiction = "us-ca"\nwork = ["structural"]\nlevel = "certified"\nrestricted = true\n'
        "from = 2024-07-01\nto = 2027-06-30\n"
        for number in range(PEOPLE)
    ]
    return "\n".join([firm_file(), *people])


def sites(random: Random, count: int) -> list[Row]:
    """Return that many customers at addresses of their own, as day-sheet cells."""
    found = []
    for number in range(count):
        words, suffix = divmod(number, len(SUFFIXES))
        first, second = divmod(words, len(SECOND_WORDS))
        block, first = divmod(first, len(FIRST_WORDS))
        city, postcode, county = TOWNS[random.randrange(len(TOWNS))]
        street = f"{FIRST_WORDS[first]} {SECOND_WORDS[second]} {SUFFIXES[suffix]}"
        found.append({
            "customer": f"{random.choice(GIVEN)} {random.choice(FAMILY)}",
            "address": f"{100 + 1000 * block + random.randrange(800)} {street}",
            "city": city, "state": "CA", "zip": postcode, "county": county,
            "site kind": "dwelling",
        })  # fmt: skip
    return found


def lines(count: int, seed: int = 1) -> Iterator[Row]:
    """Yield that many lines of day sheets, in the order of the days, visits said once."""
    random = Random(seed)
    places = sites(random, max(count // 10, PEOPLE * VISITS_A_DAY * REST))
    often = list(accumulate(1 / (rank + 20) ** 0.7 for rank in range(len(places))))
    seen: dict[int, date] = {}
    day, done = FIRST_DAY, 0
    while done < count:
        for person in range(PEOPLE):
            for turn in range(VISITS_A_DAY):
                place = _free_place(random, often, seen, day)
                visit = _visit(random, day, person, turn) | places[place]
                for work in _choose(random):
                    if done < count:
                        done += 1
                        yield visit | _line(random, work) | {"line": str(done)}
                        visit = {}
        day += timedelta(days=3 if day.weekday() == 4 else 1)


def _free_place(random: Random, often: list[float], seen: dict[int, date], day: date) -> int:
    """Return a place not seen lately, popular ones more often; mark it as seen."""
    while True:
        (place,) = random.choices(range(len(often)), cum_weights=often)
        if place not in seen or (day - seen[place]).days >= REST:
            seen[place] = day
            return place


def _visit(random: Random, day: date, person: int, turn: int) -> Row:
    hour = 7 + turn
    return {
        "date": day.isoformat(), "start": f"{hour:02}:05", "end": f"{hour:02}:50",
        "applicator": f"p{person}", "temperature": f"{random.randint(28, 60)} F",
        "wind": f"{random.randint(1, 9)} mph {random.choice('NSEW')}", "rain": "no",
        "notice": "before",
    }  # fmt: skip


def _choose(random: Random) -> list[Work]:
    """Return one to four different uses for a visit."""
    wanted = random.choices((1, 2, 3, 4), (25, 40, 25, 10))[0]
    chosen: list[Work] = []
    for work in random.choices(WORK, [work.weight for work in WORK], k=wanted * 2):
        if work not in chosen and len(chosen) < wanted:
            chosen.append(work)
    return chosen


def _line(random: Random, work: Work) -> Row:
    """Return one use: lawful, or above its limit, or written in some messy way."""
    treated = random.randint(*work.size)
    share = random.randint(50, 95) if random.randrange(100) else random.randint(130, 300)
    thousandths = max(work.dose * treated * share // 100, 1)
    extent = f"{treated} {work.per}" + ("; 3 ft high" if work.cells["method"] == "band" else "")
    if work.cells["product"] == "alder-dust":
        extent += "; 5 voids"
    row = work.cells | {"extent": extent, "amount": f"{thousandths / 1000:.3f} {work.unit}"}
    return row | _mess(random, row) if not random.randrange(100) else row


def _mess(random: Random, row: Row) -> Row:
    """Return cells as hurried people write them; the last three kinds are held."""
    return random.choice((
        {"product": f" {row['product'].upper()} "},
        {"method": row["method"].title().replace(" And ", " & ")},
        {"amount": f"  {row['amount']}\u00a0"},
        {"amount": "½ oz" if row["amount"].endswith(" oz") else row["amount"]},
        {"amount": row["amount"].replace(".", ",")},
        {"amount": "3 each"},
        {"product": "99999-77"},
    ))  # fmt: skip


def day_sheet(count: int, seed: int = 1) -> str:
    """Return one long day sheet of that many lines, as CSV text."""
    out = io.StringIO()
    writer = csv.DictWriter(out, APPLICATION_HEADINGS, restval="", lineterminator="\n")
    writer.writeheader()
    writer.writerows(lines(count, seed))
    return out.getvalue()
