"""A generated national firm of any size, the same for the same seed: people, sites, their work.

At a million lines it is a thousand people in two hundred counties of six states who use sixty
products for a year; smaller ones have fewer people, larger ones more years. Work is spread as
firms spread it: a few counties, products and customers make most of it. About one line in a
hundred is messy (some of these are held), about one in a hundred breaks a limit, and about one in
two hundred is corrected later. Everything is invented but the counties and the law.
"""

from __future__ import annotations

import csv
import io
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import accumulate, islice
from pathlib import Path
from random import Random
from typing import IO

from ledger.demo import firm_file
from ledger.rulefile import shipped_rules
from ledger.values.draft import APPLICATION_HEADINGS
from tests.bench.products import BRANDS, STEPS, WORK, Row, Work, product_id

FIRST_DAY = date(2026, 1, 2)
FEWEST, MOST = 12, 1000  # people
LINES_A_YEAR = 1000  # of one person
SITES = 150  # of one person
REST = 21  # days before a site is seen again: above every interval of the labels
AMENDED = 200  # one line in so many is corrected later
BRAND_WEIGHTS = tuple(1 / (rank + 1) ** 1.2 for rank in range(len(BRANDS)))

STATES = (("CA", 90000, 0), ("NY", 10000, 0), ("WA", 98000, 20), ("OR", 97000, 20),
          ("OH", 43000, 20), ("PA", 15000, 20))  # fmt: skip
"""State, first ZIP, and how many counties are invented where its rule file lists none."""

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
class County:
    """A county of the generated firm: its state, its name, the ZIP of its first town."""

    state: str
    name: str
    zip5: int


def counties() -> tuple[County, ...]:
    """Return the two hundred counties, those with the most work first."""
    found = []
    for state, first, invented in STATES:
        file = shipped_rules() / "jurisdictions" / f"us-{state.casefold()}.toml"
        listed = tomllib.loads(file.read_text(encoding="utf-8")).get("county", [])
        names = [county["name"] for county in listed] or list(FIRST_WORDS[:invented])
        found += [County(state, name, first + 2 * n) for n, name in enumerate(names)]
    Random(7).shuffle(found)
    return tuple(found)


def people_of(count: int) -> int:
    """Return how many people a firm of that many lines has."""
    return max(FEWEST, min(MOST, count // LINES_A_YEAR))


def homes(people: int, seed: int = 1) -> tuple[County, ...]:
    """Return the county each person works in: few counties have many people."""
    places = counties()
    weights = [1 / (rank + 8) ** 0.6 for rank in range(len(places))]
    # Every county has somebody, where there are people enough.
    drawn = Random(seed).choices(places, weights, k=max(0, people - len(places)))
    return (*places[:people], *drawn)


def firm_text(count: int = FEWEST * LINES_A_YEAR, seed: int = 1) -> str:
    """Return the ``useledger.toml`` of a firm of that many lines: the demonstration's, grown."""
    where = homes(people_of(count), seed)
    years = range(2026, 2027 + count // (LINES_A_YEAR * MOST))
    parts = [firm_file()]
    for county in dict.fromkeys(where):
        if county.state == "CA" and county.name not in {"Placer", "Nevada"}:
            parts += [
                '[[registration]]\njurisdiction = "us-ca"\n'
                f'county = "{county.name}"\nyear = {year}\n'
                for year in years
            ]
    parts += [
        f'[[person]]\nkey = "p{number}"\nname = "Person {number}"\n\n[[person.licence]]\n'
        f'number = "FR {91000 + number}"\ntitle = "field representative"\n'
        f'jurisdiction = "us-{county.state.casefold()}"\nwork = ["structural"]\n'
        'level = "certified"\nrestricted = true\nfrom = 2024-07-01\nto = 2047-06-30\n'
        for number, county in enumerate(where)
    ]
    return "\n".join(parts)


def site(person: int, number: int, home: County, seed: int = 1) -> Row:
    """Return one customer of a person, at an address that no other has, as day-sheet cells."""
    block, place = divmod(person * SITES + number, 24 * 24 * 8)
    words, suffix = divmod(place, 8)
    first, second = divmod(words, 24)
    random = Random(f"{seed} {person} {number}")
    town = random.randrange(2)
    return {
        "customer": f"{random.choice(GIVEN)} {random.choice(FAMILY)}",
        "address": f"{100 + 1000 * block + random.randrange(800)} {FIRST_WORDS[first]} "
        f"{SECOND_WORDS[second]} {SUFFIXES[suffix]}",
        "city": f"{home.name} {('City', 'Springs')[town]}", "state": home.state,
        "zip": f"{home.zip5 + town:05}", "county": home.name, "site kind": "dwelling",
    }  # fmt: skip


class _Person:
    """One person's round: which customers are seen, none again too soon."""

    _often = tuple(accumulate(1 / (rank + 20) ** 0.7 for rank in range(SITES)))

    def __init__(self, number: int, home: County, seed: int) -> None:
        self.number, self.home, self.seed = number, home, seed
        self.random = Random(f"{seed} person {number}")
        self.seen: dict[int, date] = {}

    def day(self, day: date) -> Iterator[Row]:
        """Yield the lines of a day, each visit said once."""
        for turn in range(self.random.choice((1, 1, 2, 2, 3))):
            number = self._free_site(day)
            cells = _visit(self.random, day, self.number, turn)
            cells |= site(self.number, number, self.home, self.seed)
            for work in _choose(self.random):
                yield cells | _line(self.random, work)
                cells = {}

    def _free_site(self, day: date) -> int:
        while True:
            (number,) = self.random.choices(range(SITES), cum_weights=self._often)
            last = self.seen.get(number)
            if last is None or (day - last).days >= REST:
                self.seen[number] = day
                return number


def lines(count: int, seed: int = 1) -> Iterator[Row]:
    """Yield that many lines of day sheets, in the order of the days; memory does not grow."""
    where = homes(people_of(count), seed)
    people = [_Person(number, home, seed) for number, home in enumerate(where)]
    for number, row in enumerate(islice(_days(people), count), 1):
        yield row | {"line": str(number)}


def _days(people: list[_Person]) -> Iterator[Row]:
    day = FIRST_DAY
    while True:
        for person in people:
            yield from person.day(day)
        day += timedelta(days=3 if day.weekday() == 4 else 1)


def amended(count: int, seed: int = 1) -> Iterator[tuple[str, str]]:
    """Yield the lines that are corrected later, each with the note it gets."""
    random = Random(f"{seed} amended")
    for number in range(AMENDED, count + 1, AMENDED):
        yield str(number - random.randrange(AMENDED)), "the places were written down again"


def _visit(random: Random, day: date, person: int, turn: int) -> Row:
    hour = 8 + 2 * turn
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
    (brand,) = random.choices(range(len(BRANDS)), BRAND_WEIGHTS)
    treated = random.randint(*work.size)
    share = random.randint(50, 95) if random.randrange(100) else random.randint(130, 300)
    thousandths = max(work.dose * treated * share * STEPS[brand] // 10_000, 1)
    extent = f"{treated} {work.per}" + ("; 3 ft high" if work.cells["method"] == "band" else "")
    if work.label == "alder-dust":
        extent += "; 5 voids"
    row = work.cells | {
        "product": product_id(work.label, brand), "extent": extent,
        "amount": f"{thousandths / 1000:.3f} {work.unit}",
    }  # fmt: skip
    if brand:
        row.pop("equipment", None)  # a duster is kept for one product
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


def _write(out: IO[str], count: int, seed: int) -> None:
    writer = csv.DictWriter(out, APPLICATION_HEADINGS, restval="", lineterminator="\n")
    writer.writeheader()
    writer.writerows(lines(count, seed))


def write_day_sheet(path: Path, count: int, seed: int = 1) -> None:
    """Write one long day sheet of that many lines, a line at a time."""
    with path.open("w", encoding="utf-8", newline="") as out:
        _write(out, count, seed)


def day_sheet(count: int, seed: int = 1) -> str:
    """Return one long day sheet of that many lines, as CSV text."""
    out = io.StringIO()
    _write(out, count, seed)
    return out.getvalue()
