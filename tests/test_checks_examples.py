"""The rule files' own examples run; and the sample sheets are read, normalised and judged."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import replace
from fractions import Fraction

import pytest

from ledger.checks.case import Case
from ledger.checks.judge import judge
from ledger.flow.examples import run_examples
from ledger.intake import read_sheet
from ledger.normalise.line import SiteAsk, normalise_line
from ledger.rulebook.book import Book
from ledger.rulebook.model import Example, RuleFile
from ledger.values.amount import Quantity
from ledger.values.entry import Application
from ledger.values.finding import Kind, render_fault
from ledger.values.site import Address, Site
from tests.cases import book, decided
from tests.house import ROOT

SAMPLES = ROOT / "fixtures" / "samples"


def test_every_example_of_the_shipped_files_gives_what_it_expects() -> None:
    assert [render_fault(fault) for fault in run_examples(book())] == []
    assert sum(len(file.examples) for file in book().rule_files()) > 80


def changed(name: str, **changes: object) -> Book:
    """Return the book with one rule file changed."""
    files = {family: getattr(book(), family) for family in ("labels", "jurisdictions", "practices")}
    done = {
        family: tuple(replace(f, **changes) if f.id == name else f for f in group)  # type: ignore[arg-type]
        for family, group in files.items()
    }
    return replace(book(), **done)


def file_of(name: str) -> RuleFile:
    return next(file for file in book().rule_files() if file.id == name)


def test_a_changed_bound_is_told_at_the_line_of_the_example() -> None:
    file = file_of("ridgeline-dust")
    limits = tuple(
        replace(rule, most=Quantity(Fraction("0.4"), "oz")) if rule.name == "crack-rate" else rule
        for rule in file.limits
    )
    faults = run_examples(changed("ridgeline-dust", limits=limits))
    assert faults
    at = {example.ref.line: example.name for example in file.examples}
    assert at[faults[0].origin.row or 0] == "a light coat in the cracks"
    text = render_fault(faults[0])
    assert text.startswith("labels/ridgeline-dust.toml:")
    assert "also breach crack-rate" in text


@pytest.mark.parametrize(
    ("expect", "said"),
    [
        (("breach void-rate",), "not breach void-rate"),
        (("advice void-rate",), "not advice void-rate"),
        ((), ""),
    ],
)
def test_what_does_not_come_is_told(expect: tuple[str, ...], said: str) -> None:
    file = file_of("ridgeline-dust")
    line = {"amount": "0.25 oz", "extent": "8 voids", "method": "void"}
    example = Example("made", line, (), expect, file.examples[0].ref)
    faults = run_examples(changed("ridgeline-dust", examples=(example,)))
    assert [said in fault.what for fault in faults] == ([True] if said else [])


def test_a_line_that_cannot_be_read_is_told() -> None:
    file = file_of("ridgeline-dust")
    example = Example("made", {"amount": "1/2 pt"}, (), (), file.examples[0].ref)
    (fault,) = run_examples(changed("ridgeline-dust", examples=(example,)))
    assert "cannot be read" in fault.what
    assert "amount" in fault.what


def test_examples_need_neither_labels_nor_a_firm() -> None:
    bare = replace(book(), labels=())
    assert run_examples(bare) == ()


# --- the sample sheets, from the cells to the findings ---

EXPECTED = {
    ("day-2026-01-14.csv", "*"): [],
    ("day-2026-01-15-messy.csv", "1"): ["breach ten-days", "unknown crack-rate"],
    ("day-2026-01-15-messy.csv", "4"): [
        "breach appliance-fan", "breach void-rate", "missing moving-air", "unknown kitchen-food",
    ],
    ("day-2026-01-15-messy.csv", "6"): [
        "breach mix-rate", "breach no-rain", "breach seven-days", "breach wind",
    ],
    ("day-2026-01-15-messy.csv", "10"): ["breach certified-only"],
    ("day-2026-01-15-messy.csv", "14"): ["breach seven-days"],
    ("day-2026-01-15-messy.csv", "15"): ["breach anticoagulants-2025"],
}  # fmt: skip


def test_the_sample_sheets_read_and_judged_give_exactly_what_is_expected() -> None:
    """EXPECTED.md of the samples: for each booked line the complete set of what decides."""
    sites: dict[Address, Site] = {}

    def find_site(ask: SiteAsk) -> Site:
        site = Site(
            f"S{len(sites) + 1:04d}", ask.address, ask.county, ask.jurisdiction, ask.kind,
            ask.time_zone,
        )  # fmt: skip
        return sites.setdefault(ask.address, site)

    booked: list[tuple[str, str, Application]] = []
    for path in sorted(SAMPLES.glob("*.csv")):
        sheet = read_sheet(path.name, path.read_bytes(), month_first=True)
        for draft in sheet.drafts:
            read = normalise_line(draft, book().lexicon(), book().units, find_site)
            if read.application is not None:
                booked.append((path.name, draft.text("line"), read.application))
    known = {site.key: site for site in sites.values()}
    given: dict[tuple[str, str], list[str]] = defaultdict(list)
    for name, line, use in booked:
        others = tuple(o for *_, o in booked if o is not use and o.site == use.site)
        product = book().product(use.product, use.date, use.lot)
        case = Case(use, product, known[use.site], book().firm, book().words, others)
        findings = judge(case, book())
        key = (name, "*" if name == "day-2026-01-14.csv" else line)
        given[key] += decided(findings)
        assert all(finding.text and finding.name for finding in findings)
        assert not [f for f in findings if f.kind is Kind.BREACH and f.blocks]
    assert given == EXPECTED
    assert len(booked) == 15
