"""Limits that federal text itself states, written as rule files and held to their edges.

Each rule below is the wording of a regulation or of an agency's page, not of a product's label,
and names where it stands. The edition read is that of 2015 (1996 for 40 CFR 185.100); it may have
changed since.
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from ledger.checks.judge import judge
from ledger.flow.examples import staged
from ledger.rulebook.model import Example
from ledger.rulebook.reading import read_book
from ledger.rulefile import RawFile
from ledger.values.finding import Kind, RuleRef, render_fault
from tests.shape_labels import lists

HEAD = """\
format = 1
id = "trial"
title = "Trial"
checked_on = 2026-11-25
[product]
name = "Trial"
registration = "99999-399"
formulation = "{form}"
class = "general"
used = "{used}"
{gravity}
[[ingredient]]
name = "{ingredient}"
per_cent = "{per_cent}"
[source.text]
title = "{title}"
section = "{section}"
read = "{read}"
[[limit]]
name = "text"
source = "text"
says = "As the text says."
{limit}
"""
REGULATION, SUMMARY = "read in the regulation text", "read in an agency or extension summary"
BAND = '\n[[limit.when]]\nmethod = ["band"]'

DENY = """\
shape = "allowed"
method = ["spot", "crack and crevice"]

[[limit.when]]
setting = ["outdoor"]
places = { none_of = ["soil along foundation", "lawn", "garden bed"] }"""

TEXTS = {
    # 40 CFR 180.436(a)(2)(i), 2015: general surface treatment of food-handling establishments
    "general surface": ("liquid", "cyfluthrin", "8", "40 CFR", "180.436(a)(2)(i)", REGULATION,
                        'shape = "rate"\nbasis = "ai"\nmost = "3.8 g"\nper = "1,000 sq ft"'),
    # 40 CFR 180.436(a)(2)(ii), 2015: crack-and-crevice or spot
    "0.1 per cent": ("liquid", "cyfluthrin", "8", "40 CFR", "180.436(a)(2)(ii)", REGULATION,
                     'shape = "strength"\nmost = "0.1 % ai"'),
    # 40 CFR 180.436(a)(2)(ii), 2015: the dust itself
    "0.1 per cent dust": ("dust", "cyfluthrin", "0.1", "40 CFR", "180.436(a)(2)(ii)", REGULATION,
                          'shape = "strength"\nmost = "0.1 % ai"'),
    "0.11 per cent dust": ("dust", "cyfluthrin", "0.11", "40 CFR", "180.436(a)(2)(ii)", REGULATION,
                           'shape = "strength"\nmost = "0.1 % ai"'),
    # 40 CFR 180.436(a)(2), 2015: "at 10-day intervals"
    "ten days": ("dust", "cyfluthrin", "0.1", "40 CFR", "180.436(a)(2)", REGULATION,
                 'shape = "interval"\nleast = "10 days"\nsame = "place"'),
    # 40 CFR 185.100(a)(2)(i), 1996
    "1.0 per cent": ("liquid", "acephate", "75", "40 CFR", "185.100(a)(2)(i)", REGULATION,
                     'shape = "strength"\nmost = "1.0 % ai"'),
    "only spot and crack": ("liquid", "acephate", "75", "40 CFR", "185.100(a)(2)(i)", REGULATION,
                            'shape = "allowed"\nmethod = ["spot", "crack and crevice"]'),
    # 40 CFR 156.10(i)(2)(x)(D), 2015: total release foggers
    "one fogger": ("pressurised", "pyrethrins", "0.4", "40 CFR", "156.10(i)(2)(x)(D)", REGULATION,
                   'shape = "count"\nmeasure = "cans"\nmost = 1\nper = "1 room"'),
    "5 by 5": ("pressurised", "pyrethrins", "0.4", "40 CFR", "156.10(i)(2)(x)(D)", REGULATION,
               'shape = "enclosure"\nmore_than = "5 ft by 5 ft"'),
    # 38 FR 21685 (1973) as quoted by the New Mexico Department of Agriculture
    "a spot": ("liquid", "bifenthrin", "8", "EPA wording of a spot treatment", "38 FR 21685",
               SUMMARY, 'shape = "geometry"\nmeasure = "patch area"\nmost = "2 sq ft"'),
    # EPA, environmental hazard and general labeling for pyrethroid products
    "3 ft": ("liquid", "bifenthrin", "8", "EPA pyrethroid labeling", "side of a building", SUMMARY,
             'shape = "geometry"\nmeasure = "height"\nmost = "3 ft"' + BAND),
    "1 in": ("liquid", "bifenthrin", "8", "EPA pyrethroid labeling, 2013 option", "entry points",
             SUMMARY, 'shape = "geometry"\nmeasure = "width"\nmost = "1 in"' + BAND),
    "no rain": ("dust", "cyfluthrin", "0.1", "EPA pyrethroid labeling", "all formulations", SUMMARY,
                'shape = "weather"\nmeasure = "rain"\nexpects = false'),
    "default deny": ("liquid", "bifenthrin", "8", "EPA pyrethroid labeling", "outdoors", SUMMARY,
                     DENY),
}  # fmt: skip

MIX = {"basis": "mix", "amount": "1 gal"}
CASES = [
    # 3.8 g of cyfluthrin are 47.5 g of an 8 % product.
    ("general surface", {"amount": "47.5 g", "extent": "1,000 sq ft"}, None),
    ("general surface", {"amount": "47.500001 g", "extent": "1,000 sq ft"}, Kind.BREACH),
    ("general surface", {"amount": "47.5 g", "extent": "92.90304 sq m"}, None),
    ("general surface", {"amount": "47.5 g", "extent": "92.9 sq m"}, Kind.BREACH),
    ("general surface", {"amount": "47.5 g"}, Kind.UNKNOWN),
    ("0.1 per cent", MIX | {"dilution": "0.1 % ai"}, None),
    ("0.1 per cent", MIX | {"dilution": "0.1000001 % ai"}, Kind.BREACH),
    ("0.1 per cent", {"amount": "1 fl oz"}, Kind.UNKNOWN),
    ("0.1 per cent dust", {}, None),
    ("0.11 per cent dust", {}, Kind.BREACH),
    ("ten days", {"date": "2024-03-06"}, None),  # ten days after 25 February 2024
    ("ten days", {"date": "2024-03-05"}, Kind.BREACH),
    ("ten days", {"date": "2024-03-05", "places": ""}, Kind.UNKNOWN),
    ("1.0 per cent", MIX | {"dilution": "1.0 % ai"}, None),
    ("1.0 per cent", MIX | {"dilution": "1.01 % ai"}, Kind.BREACH),
    ("1.0 per cent", {"amount": "1 fl oz"}, Kind.UNKNOWN),
    ("only spot and crack", {"method": "spot"}, None),
    ("only spot and crack", {"method": "broadcast"}, Kind.BREACH),
    ("only spot and crack", {"method": "some way"}, Kind.UNKNOWN),
    ("one fogger", {"extent": "1 can; 1 room"}, None),
    ("one fogger", {"extent": "2 cans; 1 room"}, Kind.BREACH),
    ("one fogger", {"extent": "2 cans"}, Kind.UNKNOWN),
    ("5 by 5", {"extent": "5 ft by 5 ft room"}, Kind.BREACH),
    ("5 by 5", {"extent": "60 in by 61 in room"}, None),
    ("5 by 5", {"extent": "1 room"}, Kind.UNKNOWN),
    ("a spot", {"extent": "4 in wide; 2 sq ft each"}, None),
    ("a spot", {"extent": "4 sq ft each"}, Kind.BREACH),  # 2 ft by 2 ft are 4 sq ft
    ("a spot", {"extent": "2 spots; 5 sq ft"}, Kind.BREACH),
    ("a spot", {"extent": "2 spots; 3 sq ft"}, Kind.UNKNOWN),
    ("3 ft", {"method": "band", "extent": "36 in high"}, None),
    ("3 ft", {"method": "band", "extent": "3.01 ft high"}, Kind.BREACH),
    ("3 ft", {"method": "band", "extent": "40 ft"}, Kind.UNKNOWN),
    ("1 in", {"method": "band", "extent": "2.54 cm wide"}, None),
    ("1 in", {"method": "band", "extent": "2.55 cm wide"}, Kind.BREACH),
    ("1 in", {"method": "band", "extent": "40 ft"}, Kind.UNKNOWN),
    ("no rain", {"rain": "no"}, None),
    ("no rain", {"rain": "yes"}, Kind.BREACH),
    ("no rain", {"rain": ""}, Kind.UNKNOWN),
    ("default deny", {"setting": "outdoor", "places": "patio", "method": "broadcast"}, Kind.BREACH),
    ("default deny", {"setting": "outdoor", "places": "patio", "method": "spot"}, None),
    ("default deny", {"setting": "outdoor", "places": "lawn", "method": "broadcast"}, None),
    ("default deny", {"setting": "outdoor", "places": "", "method": "broadcast"}, Kind.UNKNOWN),
]  # fmt: skip


@pytest.mark.parametrize(("name", "said", "kind"), CASES)
def test_the_text_at_its_edges(name: str, said: dict[str, str], kind: Kind | None) -> None:
    form, ingredient, per_cent, title, section, read, limit = TEXTS[name]
    liquid = form == "liquid"
    text = HEAD.format(
        form=form, used="diluted" if liquid else "as sold", ingredient=ingredient,
        gravity='specific_gravity = "1"' if liquid else "", per_cent=per_cent, title=title,
        section=section, read=read, limit=limit,
    )  # fmt: skip
    book = read_book([*lists(), RawFile("label", "labels/trial.toml", text.encode())])
    assert [render_fault(fault) for fault in book.faults] == []
    before = ({"date": "2024-02-25"},) if name == "ten days" else ()
    example = Example(name, said, before, (), RuleRef("labels/trial.toml", 1, "", ""))
    found = judge(*staged(book, book.labels[0], example))
    kinds = [f.kind for f in found if f.name == "text" and f.kind is not Kind.ADVICE]
    assert kinds == ([] if kind is None else [kind])
    for finding in found:
        if finding.name == "text":
            assert finding.rules[0].source == f"{title}, {section}"


def test_a_text_from_memory_informs_and_never_decides() -> None:
    form, ingredient, per_cent, title, section, _, limit = TEXTS["0.11 per cent dust"]
    text = HEAD.format(
        form=form, used="as sold", ingredient=ingredient, gravity="", per_cent=per_cent,
        title=title, section=section, read="from memory, not verified", limit=limit,
    )  # fmt: skip
    book = read_book([*lists(), RawFile("label", "labels/trial.toml", text.encode())])
    example = Example("memory", {}, (), (), RuleRef("labels/trial.toml", 1, "", ""))
    case, staged_book = staged(book, book.labels[0], example)
    (found,) = (f for f in judge(case, staged_book) if f.name == "text")
    assert found.kind is Kind.ADVICE
    assert found.text.startswith("unverified: ")
    silent = replace(staged_book, labels=(replace(book.labels[0], limits=()),))
    assert "text" not in {f.name for f in judge(case, silent)}
