"""Every shape of limit, in a label and in a law: passing, on the boundary, breaking, not told."""

from __future__ import annotations

import re
import tomllib
from dataclasses import replace
from functools import cache

import pytest

from ledger.checks.case import Case
from ledger.checks.judge import judge
from ledger.flow.examples import run_examples, staged
from ledger.rulebook.book import Book
from ledger.rulebook.model import Example, Limit, RuleFile, Shape
from ledger.rulebook.reading import read_book
from ledger.rulefile import RawFile
from ledger.values.finding import Finding, Kind, render_fault
from tests.shape_labels import FOLDER, lists, trial_book

FILES = sorted(path.stem for path in FOLDER.glob("*.toml"))

LAW = """\
format = 1
id = "us-zz"
title = "A law with the limits of a label (invented)"
checked_on = 2026-11-25
state = "ZZ"
time_zone = "Etc/UTC"

[source.label]
title = "An invented law"
section = "of the same wording"
read = "read in the regulation text"

"""

THE_25 = {
    1: ("fell-granule", "fell-total-area", "gill-surface"), 2: ("gill-trench",),
    3: ("haze-space", "haze-void"), 4: ("haze-fogger", "fold-stations"),
    5: ("haze-floor", "haze-volume"), 6: ("fold-dab", "fold-standing"), 7: ("fold-spacing",),
    8: ("fold-visit", "fell-structure"), 9: ("gill-strength", "gill-ppm"), 10: ("gill-dilution",),
    11: ("rill-patch", "rill-height", "rill-width", "rill-depth", "rill-out"),
    12: ("rill-share",),
    13: ("tarn-year", "tarn-season", "tarn-rolling", "tarn-infestation", "tarn-life"),
    14: ("beck-ten", "beck-between", "beck-latest", "beck-active"),
    15: ("mere-year", "mere-rolling", "mere-season"),
    16: ("gale-wind", "gale-warm", "gale-surface", "gale-before", "gale-after", "gale-rain",
         "gale-soil"),
    17: ("ford-buffer",), 18: ("ford-allowed", "ford-prohibited", "ford-nozzle"),
    19: ("holm-prepare", "holm-air"), 20: ("holm-reentry",), 21: ("holm-worn",),
    22: ("holm-certified",), 23: ("ember-dates",), 24: ("ember-food",),
    25: ("ember-tank", "ember-sum"),
}  # fmt: skip
"""The shapes of limit that a rule file must express, each with the labels that show it."""

NEVER_UNKNOWN = {"ford-ask": Shape.ASK}
"""Labels of which no line leaves the answer untold, each with its shape; why stands in the file."""


def test_what_is_never_unknown_says_why_and_is_so_for_every_line_of_its_label() -> None:
    """The list is short for a reason: whatever the line leaves out, the answer is never unknown."""
    for name, shape in NEVER_UNKNOWN.items():
        text = (FOLDER / f"{name}.toml").read_text(encoding="utf-8")
        assert "\n# Never unknown: " in text[: text.index("[[limit]]")]
        file = label(name)
        assert {limit.shape for limit in file.limits} == {shape}
        for example in file.examples:
            case, book = staged(trial_book(), file, example)
            for bare in (
                case,
                replace(case, site=replace(case.site, doubt="S0002")),
                replace(case, use=replace(case.use, avoided=(), avoided_said="blank", prepared=(),
                                          prepared_said="blank", places=(), setting="")),
            ):  # fmt: skip
                assert Kind.UNKNOWN not in {f.kind for f in own(judge(bare, book), name)}
    told = [path.stem for path in FOLDER.glob("*.toml") if "# Never unknown" in path.read_text()]
    assert sorted(told) == sorted(NEVER_UNKNOWN)


def label(name: str) -> RuleFile:
    return next(file for file in trial_book().labels if file.id == name)


@cache
def under_law(name: str) -> Book:
    """Return a book in which a law says what this label says, and the label says nothing."""
    text = (FOLDER / f"{name}.toml").read_text(encoding="utf-8")
    rules = text[text.index("[[limit]]") :].partition("[[example]]")[0]
    law = RawFile("jurisdiction", "jurisdictions/us-zz.toml", (LAW + rules).encode())
    read = read_book([*lists(), law])
    assert [render_fault(fault) for fault in read.faults] == []
    return replace(read, labels=(replace(label(name), limits=()),))


def expected(name: str, example: Example) -> set[str]:
    return {text for text in example.expect if not text.startswith("advice")}


def own(found: tuple[Finding, ...], name: str) -> list[Finding]:
    names = {limit.name for limit in label(name).limits}
    return [f for f in found if f.name in names and f.kind is not Kind.ADVICE]


def test_the_trial_labels_have_no_fault_and_their_examples_give_what_they_expect() -> None:
    assert [render_fault(fault) for fault in trial_book().faults] == []
    assert [render_fault(fault) for fault in run_examples(trial_book())] == []
    assert [file.id for file in trial_book().labels] == FILES
    assert sum(len(file.examples) for file in trial_book().labels) > 230


def test_every_one_of_the_25_has_its_labels_and_every_shape_is_shown() -> None:
    assert sorted(THE_25) == list(range(1, 26))
    named = {name for names in THE_25.values() for name in names}
    assert named <= set(FILES)
    assert {file.limits[0].shape for file in trial_book().labels} == set(Shape)


@pytest.mark.parametrize("name", FILES)
def test_each_label_passes_breaks_stands_on_the_edge_and_cannot_tell(name: str) -> None:
    file = label(name)
    kinds = {text.partition(" ")[0] for e in file.examples for text in e.expect}
    assert any(e.expect == () and "passing" in e.name for e in file.examples)
    assert any(e.name.startswith("exactly") or " exactly" in e.name for e in file.examples)
    assert kinds & {"breach", "missing"}
    assert ("unknown" in kinds) is (name not in NEVER_UNKNOWN)


@pytest.mark.parametrize("name", FILES)
def test_a_law_can_say_what_a_label_says(name: str) -> None:
    """The same examples give the same answers where the law sets the limit."""
    book = under_law(name)
    for example in label(name).examples:
        found = own(judge(*staged(book, book.labels[0], example)), name)
        assert {f"{f.kind} {f.name}" for f in found} == expected(name, example), example.name
        assert all(f.code.startswith("LAW-") for f in found)


MERGED = {
    Shape.RATE, Shape.COUNT, Shape.STRENGTH, Shape.ENCLOSURE, Shape.GEOMETRY, Shape.SPACING,
    Shape.SHARE, Shape.INTERVAL, Shape.VISITS, Shape.TOTAL, Shape.WEATHER, Shape.BUFFER,
    Shape.SUPERVISION,
}  # fmt: skip


@pytest.mark.parametrize("name", FILES)
def test_of_label_and_law_one_finding_names_both(name: str) -> None:
    """Where both set a limit on one measure there is one finding with both rules; lists of words
    stand each for itself."""
    law = under_law(name)
    book = replace(law, labels=(label(name),))
    shape = label(name).limits[0].shape
    for example in label(name).examples:
        judged = judge(*staged(book, book.labels[0], example))
        found = [f for f in own(judged, name) if f.kind is Kind.BREACH]
        for finding in found if shape in MERGED else ():
            assert {ref.file for ref in finding.rules} == {
                f"labels/{name}.toml", "jurisdictions/us-zz.toml"
            }  # fmt: skip
        if expected(name, example) & {f"breach {f.name}" for f in found}:
            assert found


STRICTER = [  # a label, the law's own bound, whose finding it is then, an example that breaks both
    ("fell-granule", ('"3 lb"', '"2 lb"'), "LAW", "a breaching rate"),
    ("fell-granule", ('"3 lb"', '"3.005 lb"'), "LABEL", "a breaching rate"),
    ("fold-dab", ('"0.5 g"', '"400 mg"'), "LAW", "a breaching average"),
    ("gill-strength", ('"0.1 % ai"', '"500 ppm ai"'), "LAW", "a breaching mix"),
    ("rill-height", ('"3 ft"', '"1 yd"'), "LABEL", "a breaching size"),
    ("rill-height", ('"3 ft"', '"0.9 m"'), "LAW", "a breaching size"),
    ("mere-year", ('"10 g"', '"9 g"'), "LAW", "a breaching sum"),
    ("beck-ten", ('"10 days"', '"1 month"'), "LAW", "a breaching ninth day"),
    ("tarn-year", ("most = 2", "most = 1"), "LAW", "a breaching third visit"),
    ("gale-wind", ('"10 mph"', '"5 mph"'), "LAW", "a breaching day"),
    ("rill-share", ('"10 %"', '"5 %"'), "LAW", "a breaching share"),
    ("ford-buffer", ('"25 ft"', '"40 ft"'), "LAW", "a breaching distance"),
]


@pytest.mark.parametrize(("name", "change", "whose", "which"), STRICTER)
def test_the_strictest_of_label_and_law_wins(
    name: str, change: tuple[str, str], whose: str, which: str
) -> None:
    text = (FOLDER / f"{name}.toml").read_text(encoding="utf-8")
    rules = text[text.index("[[limit]]") :].partition("[[example]]")[0]
    assert change[0] in rules
    law = RawFile(
        "jurisdiction", "jurisdictions/us-zz.toml", (LAW + rules.replace(*change)).encode()
    )
    read = read_book([*lists(), law])
    assert read.faults == ()
    book = replace(read, labels=(label(name),))
    example = next(e for e in label(name).examples if e.name.startswith(which))
    judged = judge(*staged(book, book.labels[0], example))
    (found,) = (f for f in own(judged, name) if f.kind is Kind.BREACH)
    assert found.code.startswith(f"{whose}-")
    assert len(found.rules) == 2


def answered(file: RuleFile, example: Example, limits: tuple[Limit, ...]) -> tuple[Case, Book]:
    """Return an example of a label as written, to be judged by other limits."""
    case, book = staged(replace(trial_book(), labels=(file,)), file, example)
    return case, replace(book, labels=(replace(file, limits=limits), *book.labels[1:]))


@pytest.mark.parametrize("name", FILES)
def test_an_exclusive_bound_makes_the_edge_a_breach_and_advice_decides_nothing(name: str) -> None:
    """``inclusive = false`` and ``mandatory = false`` work for every shape that has a bound."""
    file = label(name)
    edges = [e for e in file.examples if e.name.startswith("exactly") and not e.expect]
    exclusive = tuple(replace(rule, inclusive=False) for rule in file.limits)
    advisory = tuple(replace(rule, mandatory=False) for rule in file.limits)
    bounded = any(rule.most or rule.least or rule.lasting for rule in file.limits)
    beyond = name in {"beck-active", "tarn-rolling", "tarn-life", "ember-tank"}
    for example in edges if bounded and not beyond else ():
        judged = judge(*answered(file, example, exclusive))
        kinds = {f.kind for f in judged if f.name == file.limits[0].name}
        assert Kind.BREACH in kinds, example.name
    for example in file.examples:
        assert own(judge(*answered(file, example, advisory)), name) == []


def test_every_rule_says_its_sentence_and_its_source() -> None:
    for path in FOLDER.glob("*.toml"):
        table = tomllib.loads(path.read_text(encoding="utf-8"))
        for limit in table["limit"]:
            assert re.search(r"\w{2,}.*\.$", limit["says"])
            assert limit["source"] in table["source"]
            assert "invented" in table["source"]["label"]["title"]
