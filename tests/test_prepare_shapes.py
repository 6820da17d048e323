"""Every shape of limit before the job: each trial label's own examples asked as plans.

The plan is written down as a line of a day sheet and judged by its bytes, as in
``test_prepare_property.py``; here the rules are the trial labels, one for each of the 25 limits,
said by a label or by a law, and the sites lie in every state that is described.
"""

from __future__ import annotations

import csv
import io
from dataclasses import replace
from fractions import Fraction
from functools import cache

import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from ledger.checks.case import Case
from ledger.checks.judge import judge
from ledger.flow.examples import staged, written
from ledger.intake import read_sheet
from ledger.normalise.line import normalise_line
from ledger.preparing.plan import ALLOWED, CANNOT_TELL, REFUSED, Plan, make_plan
from ledger.preparing.stage import Stage
from ledger.rulebook.book import Book
from ledger.rulebook.model import Example, RuleFile, Shape
from ledger.values.draft import APPLICATION_HEADINGS
from ledger.values.finding import Finding, Kind
from ledger.values.firm import Firm
from ledger.values.rounding import exact_text
from tests.cases import book as shipped
from tests.plans import as_written, kinds
from tests.shape_labels import trial_book
from tests.test_shape_labels import FILES, label, under_law

F = Fraction

SAID_BY = ("the label", "the law")
TAKEN_AS_DONE = {Shape.PREPARE, Shape.REENTRY, Shape.PROTECTION, Shape.STATE, Shape.ASK}
"""What a plan tells its reader to do, and so takes as done: before the job nobody has done it."""


@cache
def rules_of(name: str, by: str) -> Book:
    return trial_book() if by == "the label" else under_law(name)


def asked(
    name: str, example: Example, by: str, **cells: str
) -> tuple[dict[str, str], Case, Book, Stage]:
    """Return an example's line, its case with what was done before it, the rules, and its plan's
    stage; ``cells`` change the line."""
    file = next(item for item in rules_of(name, by).labels if item.id == name)
    case, rules = staged(rules_of(name, by), file, example)
    line = written(trial_book(), label(name), example) | cells
    stage = Stage(rules, rules.lexicon(), lambda _: case.site, lambda _: case.others, line)
    return line, case, rules, stage


def judged(line: dict[str, str], case: Case, rules: Book) -> tuple[Finding, ...]:
    """Return the findings of a line from a sheet's bytes on, with what was done before it."""
    out = io.StringIO()
    writer = csv.DictWriter(out, APPLICATION_HEADINGS, restval="", extrasaction="ignore")
    writer.writeheader()
    writer.writerow(line)
    (draft,) = read_sheet("day.csv", out.getvalue().encode(), month_first=True).drafts
    read = normalise_line(draft, rules.lexicon(), rules.units, lambda _: case.site)
    use = read.application
    assert use is not None, read.faults
    product = rules.product(use.product, use.date, use.lot)
    return judge(Case(use, product, case.site, rules.firm, rules.words, case.others), rules)


def agrees(made: Plan, findings: tuple[Finding, ...]) -> None:
    """What the plan allows passes, what it refuses breaches, what it cannot tell cannot be told."""
    assert findings == made.findings
    broken = kinds(findings, Kind.BREACH)
    unsaid = kinds(findings, Kind.UNKNOWN) | {
        f.name for f in findings if f.kind is Kind.MISSING and not f.code.startswith("FIELD-")
    }
    assert {ALLOWED: not broken and not unsaid, REFUSED: bool(broken),
            CANNOT_TELL: not broken and bool(unsaid)}[made.verdict]  # fmt: skip


@pytest.mark.parametrize("by", SAID_BY)
@pytest.mark.parametrize("name", FILES)
def test_the_plan_of_an_example_is_what_the_example_expects(name: str, by: str) -> None:
    names = {limit.name for limit in label(name).limits}
    shapes = {limit.shape for limit in label(name).limits}
    for example in label(name).examples:
        line, case, rules, stage = asked(name, example, by)
        made = make_plan(stage)
        assert isinstance(made, Plan), (example.name, made)
        agrees(made, judged(as_written(line, made), case, rules))
        told = {f"{f.kind} {f.name}" for f in made.findings if f.name in names}
        wanted = {text for text in example.expect if text.startswith(("breach", "unknown"))}
        decided = {text for text in told if text.startswith(("breach", "unknown"))}
        if shapes & TAKEN_AS_DONE:
            assert decided <= wanted, example.name
        else:
            assert decided == wanted, example.name


# --- any site, any amount, any of the labels ------------------------------------------------------


@cache
def answers() -> dict[str, list[str]]:
    """Return what the examples of all trial labels write in the columns that limits look at."""
    found: dict[str, list[str]] = {}
    for name in FILES:
        for example in label(name).examples:
            for heading, text in example.line.items():
                if heading in {"extent", "places", "wind", "rain", "temperature", "avoided"}:
                    found.setdefault(heading, [""]).append(text)
    return {heading: sorted(set(texts)) for heading, texts in found.items()}


amounts = st.tuples(
    st.one_of(
        st.fractions(F(1, 100), 2, max_denominator=100), st.fractions(1, 40, max_denominator=8)
    ),
    st.sampled_from(["oz", "g", "g", "fl oz", "gal"]),
)


@st.composite
def questions(draw: st.DrawFn) -> tuple[str, Example, str, dict[str, str], RuleFile]:
    """Draw a label, one of its examples with some cells from anywhere, and the law of a place."""
    name = draw(st.sampled_from(FILES))
    example = draw(st.sampled_from(label(name).examples))
    cells = {
        heading: draw(st.sampled_from(answers()[heading]))
        for heading in draw(
            st.one_of(st.just(frozenset()), st.sets(st.sampled_from(sorted(answers())), max_size=2))
        )
    }
    places = [law for law in shipped().jurisdictions if law.state]
    return name, example, draw(st.sampled_from(SAID_BY)), cells, draw(st.sampled_from(places))


def licensed_in(law: RuleFile, firm: Firm) -> Firm:
    """Return the firm of the examples, its people licensed in another state."""
    people = tuple(
        replace(who, licences=tuple(replace(one, jurisdiction=law.id) for one in who.licences))
        for who in firm.people
    )
    return replace(firm, home=law.id, people=people)


def in_a_state(
    question: tuple[str, Example, str, dict[str, str], RuleFile], amount: str
) -> tuple[dict[str, str], Case, Book, Stage]:
    """Return the question put in that state, whose law and the federal one hold there too."""
    name, example, by, cells, law = question
    line, case, rules, _ = asked(name, example, by, **cells, amount=amount)
    site = replace(
        case.site, jurisdiction=law.id, county=law.counties[0][0] if law.counties else "",
        address=replace(case.site.address, state=law.state),
    )  # fmt: skip
    others = tuple(replace(use, jurisdiction=law.id) for use in case.others)
    laws = [file for file in shipped().jurisdictions if file.id in {law.id, "us-federal"}]
    if by == "the law":
        extra = next(file for file in rules.jurisdictions if file.id == "us-zz")
        laws = [replace(file, limits=(*file.limits, *extra.limits)) if file is law else file
                for file in laws]  # fmt: skip
    rules = replace(rules, jurisdictions=tuple(laws), firm=licensed_in(law, rules.firm))
    case = replace(case, site=site, others=others)
    stage = Stage(rules, rules.lexicon(), lambda _: site, lambda _: others, line)
    return line, case, rules, stage


BOUNDED = settings(
    max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow]
)  # fmt: skip


@BOUNDED
@given(question=questions(), amount=amounts)
def test_any_amount_of_any_label_anywhere_is_judged_as_it_was_planned(question, amount):
    line, case, rules, stage = in_a_state(question, f"{exact_text(amount[0])} {amount[1]}")
    made = make_plan(stage)
    assume(isinstance(made, Plan))
    agrees(made, judged(as_written(line, made), case, rules))


@BOUNDED
@given(question=questions())
def test_the_most_of_any_label_anywhere_passes_and_the_next_step_does_not(question):
    """The next step breaks a rule, or it cannot be told any more that it breaks none."""
    line, case, rules, stage = in_a_state(question, "")
    made = make_plan(stage)
    assume(isinstance(made, Plan))
    agrees(made, judged(as_written(line, made), case, rules))
    for bound in made.most.bounds:
        if bound.most is None:
            continue
        most, unit = bound.most.value, bound.most.unit
        passes = judged(as_written(line, made, f"{exact_text(most)} {unit}"), case, rules)
        coarse = bound.scale.step if most < bound.scale.heavy else bound.scale.coarse
        next_ = judged(as_written(line, made, f"{exact_text(most + coarse)} {unit}"), case, rules)
        assert not kinds(passes, Kind.BREACH), (most, unit)
        doubted = kinds(next_, Kind.UNKNOWN) - kinds(passes, Kind.UNKNOWN)
        assert kinds(next_, Kind.BREACH) or doubted, (most + coarse, unit)
