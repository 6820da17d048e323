"""The examples that rule files carry, run: someone without Python can test an edit.

Each example's line is normalised and judged like any other, by its own file alone, and the
findings of that file are compared with what the example expects. ``rules/README.md`` documents
the line that an example starts from and the made-up products it may name.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from fractions import Fraction

from ledger.checks.case import Case
from ledger.checks.judge import judge
from ledger.flow.clocks import late_clocks
from ledger.flow.example_duties import duties_otherwise, late_reports
from ledger.flow.example_stage import tools_for, usual_answers
from ledger.normalise.line import SiteAsk, normalise_line
from ledger.rulebook.book import Book
from ledger.rulebook.model import Example, RuleFile, Shape
from ledger.values.dated import Span
from ledger.values.draft import APPLICATION_HEADINGS, Draft
from ledger.values.entry import Application
from ledger.values.finding import Fault, Finding, Kind
from ledger.values.firm import Firm, Licence, Person
from ledger.values.lexicon import Lexicon, fold
from ledger.values.origin import Cell, Origin
from ledger.values.product import Formulation, Ingredient, Product, ProductClass
from ledger.values.site import Address, Site

USUAL_DAY = date(2026, 1, 14)
_MADE_UP = re.compile(
    r"example (?P<class>restricted |minimum risk )?(?P<form>dust|bait|granule|spray)"
    r"(?: of (?P<ingredient>.+?))?(?P<flags>(?:,? (?:with|without) [a-z _]+)*)"
)
_FLAG = re.compile(r"(with|without) ([a-z _]+?)(?=,| with|$)")
_ALWAYS = {
    "site": "S0001", "start": "09:00", "end": "10:00", "applicator": "certified",
    "customer": "an example", "site kind": "dwelling", "places": "wall void",
    "avoided": "none present", "temperature": "50 F", "wind": "2 mph", "rain": "no",
    "notice": "before",
}  # fmt: skip
_FALLBACK = {"setting": "indoor", "method": "void", "pests": "ants"}
_LISTS = {"setting": "setting", "method": "method", "pest": "pests", "site_kind": "site kind"}


@dataclass(frozen=True)
class _Stage:
    """What an example is played on: its file, the law's place, a firm of three, a book of one
    file, the words and products that a line may use."""

    file: RuleFile
    place: RuleFile | None
    book: Book
    lexicon: Lexicon

    @property
    def state(self) -> str:
        """The state of the example's address."""
        return self.place.state if self.place else "CA"

    @property
    def jurisdiction(self) -> str:
        """The jurisdiction of the example's address."""
        return self.place.id if self.place else f"us-{self.state.lower()}"

    def site(self, county: str, address: Address | None = None) -> Site:
        """Return the example's site, in that county or the first one of the law."""
        zone = self.place.time_zone if self.place else "America/Los_Angeles"
        if not county and self.place and self.place.counties:
            county = self.place.counties[0][0]
        usual = Address("1 EXAMPLE ST", "", "EXAMPLE", self.state, "00000")
        return Site("S0001", address or usual, county, self.jurisdiction, "dwelling", zone)


def run_examples(book: Book) -> tuple[Fault, ...]:
    """Return a fault for each example of a rule file that does not give what it expects.

    A fault stands at the example's own line and says what came instead, or why its line cannot
    be read. Labels, jurisdictions and practices are run in that order.
    """
    found: list[Fault] = []
    for file in book.rule_files():
        for example in file.examples:
            found.extend(_run(_stage(book, file, example), example))
    return tuple(found)


def _stage(book: Book, file: RuleFile, example: Example) -> _Stage:
    """Return the stage of an example: its file alone is judged by, all words can be used."""
    places = [law for law in book.jurisdictions if law.state]
    place = file if file.state else (places[0] if places else None)
    firm = replace(
        _firm(place.id if place else "us-ca", example.work), tools=tools_for(_usual_product(file))
    )
    labels = (file,) if file.family == "label" else book.labels
    made = tuple(_made_labels(file, example))
    alone = replace(
        book, firm=firm, labels=(*labels, *made),
        jurisdictions=(file,) if file.family == "jurisdiction" else (),
        practices=(file,) if file.family == "practice" else (),
    )  # fmt: skip
    laws = replace(book, firm=firm, labels=alone.labels)
    return _Stage(file, place, alone, laws.lexicon())


def _usual_product(file: RuleFile) -> str:
    return file.id if file.family == "label" else "example dust"


def _firm(jurisdiction: str, work: str) -> Firm:
    """Return a firm of three: one certified, one who works under supervision, a trainee."""

    def licence(number: str, level: str, *, restricted: bool) -> Licence:
        return Licence(number, level, jurisdiction, (work,), level, restricted, Span())

    people = (
        Person("certified", "a certified person", (licence("C 1", "certified", restricted=True),)),
        Person(
            "supervised", "a supervised person", (licence("S 1", "supervised", restricted=False),),
            supervisor="certified",
        ),
        Person("trainee", "a trainee", supervisor="certified"),
    )  # fmt: skip
    return Firm(
        name="an example", licence="E 1", address="", city="", state="", zip="",
        home=jurisdiction, time_zone="America/Los_Angeles", month_first=True, ratio="1 in N",
        work=work, people=people,
    )  # fmt: skip


def _made_labels(file: RuleFile, example: Example) -> Iterator[RuleFile]:
    """Yield a label without limits for each made-up product that an example names."""
    said = [line.get("product", "") for line in (example.line, *example.before)]
    if file.family == "label":
        said = [text for text in said if text]
    for number, text in enumerate(dict.fromkeys(fold(text or "example dust") for text in said)):
        product = _made_up(text, number)
        if product is not None:
            yield RuleFile(
                "label", product.id, product.name, "", "", USUAL_DAY, 1200, (), product=product
            )


def _made_up(text: str, number: int) -> Product | None:
    found = _MADE_UP.fullmatch(text)
    if found is None:
        return None
    kind = ProductClass((found["class"] or "general").strip())
    liquid = found["form"] == "spray"
    formulation = Formulation.LIQUID if liquid else Formulation(found["form"])
    plain = kind is ProductClass.MINIMUM_RISK
    flags = tuple(
        (what.strip().replace(" ", "_"), word == "with")
        for word, what in _FLAG.findall(found["flags"] or "")
    )
    return Product(
        id=text, name=text, registration=None if plain else f"99999-9{number}",
        formulation=formulation, product_class=kind, diluted=liquid and not plain,
        ingredients=(Ingredient(found["ingredient"] or "an example", Fraction(1, 100)),),
        specific_gravity=Fraction(1) if liquid else None, digest="0" * 64, flags=flags,
    )  # fmt: skip


def _run(stage: _Stage, example: Example) -> Iterator[Fault]:
    """Yield the fault of an example, if it has one."""
    case, why = _case(stage, example)
    if case is None:
        what = f'the line of "{example.name}" cannot be read: {why}'
        yield _fault(example, what, "correct the line of the example")
        return
    late = [
        *late_clocks(case, stage.file, example.recorded, stage.book.units),
        *late_reports(example, case, stage.file),
    ]
    parts = [
        _difference(stage.file, example, judge(case, stage.book), late),
        *duties_otherwise(example, case, stage.file, stage.book),
    ]
    difference = " and ".join(filter(None, parts))
    if difference:
        way_out = "correct the rule or what the example expects"
        yield _fault(example, f'"{example.name}" gives {difference}', way_out)


def _case(stage: _Stage, example: Example) -> tuple[Case | None, str]:
    """Return the case of an example, or why one of its lines cannot be read."""
    lines: list[Application] = []
    sites: list[Site] = []
    for cells in (example.line, *example.before):
        application, why = _read(stage, example, cells, sites)
        if application is None:
            return None, why
        lines.append(application)
    use, *others = lines
    product = stage.book.product(use.product, use.date, use.lot)
    case = Case(use, product, sites[0], stage.book.firm, stage.book.words, tuple(others))
    return case, ""


def staged(book: Book, file: RuleFile, example: Example) -> tuple[Case, Book]:
    """Return the case of an example and ``book`` with the firm and the products it needs, so that
    it can be judged by every file of the book. ValueError where a line cannot be read."""
    stage = _stage(book, file, example)
    case, why = _case(stage, example)
    if case is None:
        raise ValueError(why)
    labels = (*book.labels, *_made_labels(file, example))
    return case, replace(book, firm=stage.book.firm, labels=labels)


def written(book: Book, file: RuleFile, example: Example) -> dict[str, str]:
    """Return the line of an example as a day sheet would write it, with what it starts from."""
    return _defaults(_stage(book, file, example), example.line) | dict(example.line)


def _fault(example: Example, what: str, way_out: str) -> Fault:
    origin = Origin(example.ref.file, example.ref.line, example.ref.key)
    return Fault("RULE-EXAMPLE-RUN", origin, what, way_out)


def _difference(
    file: RuleFile, example: Example, found: Sequence[Finding], late: Iterable[str]
) -> str:
    """Return what came that was not expected and what was expected and did not come."""
    own = [f for f in found if any(ref.file == file.path for ref in f.rules)]
    clocks = {f"late {name}" for name in late}
    came = {f"{f.kind} {f.name}" for f in own} | clocks
    decided = {f"{f.kind} {f.name}" for f in own if f.kind is not Kind.ADVICE} | clocks
    expected = set(example.expect)
    parts = []
    if decided - expected:
        parts.append(f"also {', '.join(sorted(decided - expected))}")
    if expected - came:
        parts.append(f"not {', '.join(sorted(expected - came))}")
    return " and ".join(parts)


def _read(
    stage: _Stage, example: Example, said: Mapping[str, str], sites: list[Site]
) -> tuple[Application | None, str]:
    """Return the application of an example's line, or why there is none; add its site."""
    cells = _defaults(stage, said) | dict(said)
    if said.get("address"):
        cells = {"city": "Example", "state": stage.state, "zip": "00000"} | cells
        cells["site"] = ""
    draft = _draft(example, cells)

    def find_site(ask: SiteAsk) -> Site:
        given = ask.address if said.get("address") else None
        site = stage.site(ask.county or cells.get("county", ""), given)
        sites.append(replace(site, doubt="S0002") if example.in_doubt else site)
        return sites[-1]

    read = normalise_line(draft, stage.lexicon, stage.book.units, find_site)
    why = "; ".join(f"{fault.origin.column}: {fault.what}" for fault in read.faults)
    return read.application, why


def _draft(example: Example, cells: Mapping[str, str]) -> Draft:
    at = Origin(example.ref.file, example.ref.line)
    filled = {heading: cells[heading] for heading in APPLICATION_HEADINGS if cells.get(heading)}
    origins = {h: Origin(at.file, at.row, h) for h in filled}
    return Draft(at, {h: Cell(text, origins[h]) for h, text in filled.items()}, filled)


def _defaults(stage: _Stage, said: Mapping[str, str]) -> dict[str, str]:
    """Return the line that every example starts from, as ``rules/README.md`` documents it."""
    file, label = stage.file, stage.file.product
    cells = dict(_ALWAYS) | _FALLBACK
    cells["date"] = _day(label).isoformat()
    cells["product"] = _usual_product(file)
    for limit in file.limits if label else ():
        if limit.shape is Shape.ALLOWED:
            cells |= {
                _LISTS[heading]: words[0] for heading, words in limit.allowed if heading in _LISTS
            }
    if label:
        cells["prepared"] = usual_answers(file.limits)
    text = said.get("product") or cells["product"]
    named = stage.book.product(fold(text), USUAL_DAY) if said.get("product") else label
    product = named or stage.book.product(fold(text), USUAL_DAY)
    cells["amount"] = "1 oz" if product is None or product.weighed else "1 fl oz"
    if product is not None and product.diluted:
        cells["basis"] = "product"
    return cells


def _day(label: Product | None) -> date:
    """Return the usual day, or the nearest one on which the label is in force."""
    span = label.in_force if label else Span()
    if span.start is not None and span.start > USUAL_DAY:
        return span.start
    return span.end if span.end is not None and span.end < USUAL_DAY else USUAL_DAY
