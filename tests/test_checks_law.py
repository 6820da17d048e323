"""The law of the place, the people, practice, and two rules on one measure."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, time
from fractions import Fraction
from typing import Any

import pytest

from ledger.checks.judge import judge
from ledger.checks.jurisdiction import check_requirement
from ledger.checks.strictest import Outcome, strictest_of
from ledger.rulebook.model import Op, Read, Requirement, RuleFile, Shape, Test
from ledger.values.amount import Amount, Used
from ledger.values.dated import Span
from ledger.values.entry import Application
from ledger.values.extent import Extent
from ledger.values.finding import Finding, Kind, RuleRef
from ledger.values.firm import Licence, Person
from tests.cases import amount, book, case, decided, judged, limit, measures, q, tools, use
from tests.test_checks_samples import line_6, line_7, messy_1, powder

FRIDAY = date(2026, 1, 16)


def found(line: Application, *others: Application, **changes: Any) -> tuple[Finding, ...]:
    return judge(case(line, *others, **changes), book())


def advice(line: Application, *others: Application, **changes: Any) -> dict[str, str]:
    findings = found(line, *others, **changes)
    return {f.name: f.text for f in findings if f.kind is Kind.ADVICE}


# --- fields of the record: 3 CCR 6624(b), 7 CFR 110.3, 40 CFR 171.303(b)(7) ---


@pytest.mark.parametrize(
    ("said", "expected"),
    [
        ({"start": None, "end": None}, ["missing date-and-time", "missing log-time"]),
        ({"customer": ""}, ["missing operator-of-the-property"]),
        ({"site_kind": ""}, ["missing site", "unknown where-and-what"]),
        ({"extent": Extent("")}, ["missing units-treated", "unknown void-rate"]),
        ({"notice": ""}, ["missing notice-before"]),
        ({"notice": "after"}, ["missing notice-before"]),
        ({"notice": "both"}, []),
    ],
)
def test_what_california_wants_of_every_record(said: dict[str, Any], expected: list[str]) -> None:
    assert judged(use(**said)) == expected


def test_the_older_part_of_the_log_is_from_memory_and_informs() -> None:
    said = advice(use(pests=()))
    assert said["log-pests"].startswith("unverified: ")


def test_additions_of_october_2024_hold_from_that_day() -> None:
    # Department letter ENF 24-16: from 1 October 2024.
    blank = {"start": None, "end": None}
    assert "missing log-time" not in judged(use(date=date(2024, 9, 30), **blank))
    assert "missing log-time" in judged(use(date=date(2024, 10, 1), **blank))


def test_no_number_is_asked_of_a_minimum_risk_product() -> None:
    mint = use("hearth-mint", method="spot", pests=("ants",), amount=amount(4, "fl oz"))
    assert judged(mint) == []


def test_a_restricted_product_is_recorded_for_the_federal_government() -> None:
    bare = replace(line_7(), extent=Extent(""))
    # 7 CFR 110.3(b): without a size the record carries the words "spot application".
    assert judged(bare) == [
        "missing epa-extent-and-site", "missing restricted-spot-words", "missing units-treated",
    ]  # fmt: skip
    general = replace(use(), extent=Extent(""))
    assert "missing epa-extent-and-site" not in judged(general)


def test_the_spot_set_serves_only_under_a_tenth_of_an_acre() -> None:
    # 7 CFR 110.3(b): less than 1/10 acre (4,356 sq ft).
    rules = {r.name: r for law in book().laws_of("us-ca") for r in law.requirements}
    spot, full = rules["restricted-area-or-spot"], rules["restricted-area"]
    small = replace(line_7(), site_kind="", extent=measures(area=(4355, "sq ft")))
    large = replace(line_7(), site_kind="", extent=measures(area=(4356, "sq ft")))
    for line, expected in ((small, []), (large, [Kind.MISSING])):
        of = case(line)
        assert not list(check_requirement(of, spot, tools(of, "LAW")))
        assert [f.kind for f in check_requirement(of, full, tools(of, "LAW"))] == expected


def requirement(*groups: tuple[str, ...], **said: Any) -> Requirement:
    ref = RuleRef("jurisdictions/made.toml", 3, "require[1]", "made", str(Read.REGULATION))
    return Requirement("made", groups, ref, "As made.", said.pop("read", Read.REGULATION), **said)


def test_any_group_of_fields_will_do() -> None:
    of = case(use(note="", lot=""))
    law = tools(of, "LAW")
    assert not list(check_requirement(of, requirement(("note",), ("places", "method")), law))
    lacking = list(check_requirement(of, requirement(("note",), ("lot", "method")), law))
    assert [(f.kind, f.code) for f in lacking] == [(Kind.MISSING, "FIELD-NOTE")]


def test_a_condition_that_cannot_be_told_matters_only_where_the_field_is_lacking() -> None:
    restricted = ((Test("product_class", Op.ANY_OF, ("restricted",)),),)
    of = case(use(note=""), product=None)
    law = tools(of, "LAW")
    assert not list(check_requirement(of, requirement(("places",), when=restricted), law))
    lacking = list(check_requirement(of, requirement(("note",), when=restricted), law))
    assert [f.kind for f in lacking] == [Kind.UNKNOWN]


def test_a_field_from_memory_informs() -> None:
    of = case(use(note=""))
    rule = requirement(("note",), read=Read.MEMORY, blocks=True)
    lacking = list(check_requirement(of, rule, tools(of, "LAW")))
    assert [(f.kind, f.blocks) for f in lacking] == [(Kind.ADVICE, False)]


@pytest.mark.parametrize("field", ["note", "lot", "customer_address", "supervisor_number"])
def test_every_field_can_be_lacking(field: str) -> None:
    of = case(use())
    assert list(check_requirement(of, requirement((field,)), tools(of, "LAW")))


# --- what is not on file ---


def test_a_place_without_a_rule_file_cannot_be_told() -> None:
    line = replace(use(), jurisdiction="us-wy", licence="")
    names = judged(line)
    assert "unknown law-not-on-file" in names
    assert not [name for name in names if name.startswith("missing units")]


def test_a_label_that_cannot_be_read_cannot_tell() -> None:
    line = replace(use(), product="lost", product_key="99999-99", label="")
    assert "unknown label-cannot-tell" in judged(line, product=None)


def test_a_county_without_registration_is_advice() -> None:
    assert "county-registration" not in advice(use())
    assert "Yuba County" in advice(use(county="Yuba"))["county-registration"]
    assert "2027" in advice(use(date=date(2027, 1, 5)))["county-registration"]


def test_a_file_nobody_checked_for_a_year_says_so() -> None:
    assert "stale" not in advice(use(date=date(2027, 11, 25)))
    assert "stale" in advice(use(date=date(2027, 11, 26)))


def test_a_rule_that_may_not_apply_is_unknown_and_never_a_breach() -> None:
    # Whether "the nook" is a kitchen cannot be told, so neither can the rule on food in kitchens.
    nook = use(places=("the nook",), prepared_said="none")
    kinds = {f.name: f.kind for f in found(nook)}
    assert kinds["kitchen-food"] is Kind.UNKNOWN
    kitchen = use(places=("kitchen pipe entry",), prepared_said="none")
    assert {f.name: f.kind for f in found(kitchen)}["kitchen-food"] is Kind.BREACH
    covered = use(places=("the nook",), prepared=("food covered",))
    assert "kitchen-food" not in {f.name for f in found(covered)}


# --- people ---


def test_a_trainee_alone_is_one_breach_and_under_a_certified_person_none() -> None:
    assert judged(use(applicator="aster")) == ["breach licence"]
    assert judged(use(applicator="aster", supervisor="renner")) == []
    assert judged(use(applicator="aster", supervisor="marsh")) == ["breach licence"]


def test_a_supervised_person_needs_a_certified_one_on_that_day() -> None:
    assert judged(use(applicator="marsh", supervisor="renner")) == []
    assert judged(use(applicator="marsh")) == ["breach supervisor"]
    assert judged(use(applicator="marsh", supervisor="marsh")) == ["breach supervisor"]


def test_a_licence_is_chosen_by_the_day() -> None:
    # Marsh's runs out on 2026-01-31, Renner's on 2027-06-30.
    last = use(applicator="marsh", supervisor="renner", date=date(2026, 1, 31))
    assert judged(last) == []
    after = use(applicator="marsh", supervisor="", date=date(2026, 2, 1))
    assert judged(after) == ["breach licence"]
    assert judged(use(date=date(2027, 7, 1))) == ["breach licence"]


def test_a_licence_is_chosen_by_place_and_work() -> None:
    firm = book().firm
    assert "breach licence" in judged(use(), firm=replace(firm, work="fumigation"))
    elsewhere = replace(use(), jurisdiction="us-wy", licence="")
    assert "breach licence" in judged(elsewhere)


def two_licences(level: str) -> Any:
    firm = book().firm
    renner = firm.person("renner")
    assert renner is not None
    second = Licence("RA 1", "second", "us-ca", ("structural",), level, False, Span())
    both = replace(renner, licences=(*renner.licences, second))
    others = tuple(person for person in firm.people if person.key != "renner")
    return replace(firm, people=(*others, both))


def test_several_licences_need_the_line_to_name_one() -> None:
    firm = two_licences("supervised")
    assert judged(use(licence="FR 90427"), firm=firm) == []
    assert judged(use(licence="RA 1"), firm=firm) == ["breach supervisor"]
    assert judged(use(licence=""), firm=firm) == ["unknown which-licence"]


def test_restricted_products_need_a_certified_person_for_them() -> None:
    assert judged(powder("granite-powder")) == []
    assert judged(powder("granite-powder", applicator="aster", supervisor="renner")) == []
    firm = book().firm
    plain_people = tuple(
        replace(p, licences=tuple(replace(item, restricted=False) for item in p.licences))
        for p in firm.people
    )
    line = powder("granite-powder")
    assert judged(line, firm=replace(firm, people=plain_people)) == ["breach certified-only"]


def test_a_certified_person_at_another_hour_is_not_spoken_of() -> None:
    alone = powder("granite-powder", applicator="aster")
    later = replace(line_6(), start=time(15), end=time(16))
    text = next(f.text for f in found(alone, later) if f.name == "certified-only")
    assert "Renner" not in text


def test_nobody_of_that_name_is_nobody_with_a_licence() -> None:
    line = replace(use(), applicator="ghost", licence="")
    assert judged(line, firm=replace(book().firm, people=(Person("x", "X"),))) == ["breach licence"]


# --- practice: all advice, all marked ---


def weighed(before: str, after: str) -> Amount:
    used = Fraction(before) - Fraction(after)
    return Amount("w", q(used, "g"), amount(1, "g").basis, (q(before, "g"), q(after, "g")))


def test_a_duster_loaded_past_half_is_advised_against() -> None:
    # duster-a: empty 140.0 g, holds 8 oz (226.8 g), half is 113.4 g.
    half = Fraction(4) * Fraction("28.349523125")
    exactly = use(amount=weighed(str(140 + half), "240"), equipment="duster-a")
    assert "duster-fill" not in advice(exactly)
    over = use(amount=weighed(str(140 + half + Fraction(1, 10)), "240"), equipment="duster-a")
    text = advice(over)["duster-fill"]
    assert text.endswith("(common practice, no source)")


def test_one_duster_for_two_products_is_advised_against() -> None:
    alder = use("alder-dust", pests=("ants",), equipment="duster-a",
                extent=measures(area=(250, "sq ft")))  # fmt: skip
    dust = use(equipment="duster-a", date=FRIDAY)
    assert "Alder" in advice(dust, alder)["one-duster"]
    assert "one-duster" not in advice(replace(dust, equipment="duster-b"), alder)
    assert "one-duster" not in advice(alder, dust)  # what comes later soils nothing
    granite = replace(line_7(), equipment="duster-a", site="S0001")
    assert "restricted" in advice(dust, granite)["one-duster"]


@pytest.mark.parametrize(("puffs", "told"), [(100, False), (150, False), (99, True), (151, True)])
def test_a_puff_every_12_to_18_inches(puffs: int, told: bool) -> None:
    line = replace(messy_1(), extent=measures(length=(150, "ft"), puffs=puffs))
    assert ("puff-spacing" in advice(line)) is told


def test_the_same_mode_of_action_twice_is_advised_against() -> None:
    band = replace(line_6(), site="S0001")
    assert "3A" in advice(use(date=FRIDAY), band)["rotation"]
    gel = use("marsh-gel", method="bait", amount=amount(1, "g"), extent=measures(placements=9))
    assert "rotation" not in advice(use(date=FRIDAY), gel)
    assert "rotation" not in advice(use(), band)  # the same day is one treatment
    last = replace(gel, date=date(2026, 1, 15))
    assert "rotation" not in advice(use(date=FRIDAY), band, last)


def test_desiccants_may_follow_themselves() -> None:
    alder = use("alder-dust", pests=("ants",), extent=measures(area=(250, "sq ft")))
    assert "rotation" not in advice(replace(alder, date=FRIDAY), alder)


def test_an_old_calibration_is_advised_against() -> None:
    # The firm of the demonstration calibrated duster-a on 2026-01-02.
    line = use(used=Used(1, 4, "oz", estimate=True), equipment="duster-a")
    assert "old-calibration" not in advice(line)
    old = replace(line, date=date(2027, 1, 3))
    assert "2026-01-02" in advice(old)["old-calibration"]
    weighed_in = replace(old, used=Used(1, 4, "oz"))
    assert "old-calibration" not in advice(weighed_in)


# --- two rules on one measure ---


def outcome(name: str, most: str, unit: str, per: int, file: str, breach: bool) -> Outcome:
    ref = RuleRef(file, 1, name, file, "")
    rule = limit(
        Shape.RATE, name=name, ref=ref, most=q(most, unit), per=q(per, "sq ft"), per_what="area"
    )
    hit = Finding(Kind.BREACH, "X-RATE", name, name, rules=(ref,))
    return Outcome(rule, (hit,) if breach else ())


@pytest.mark.parametrize("swap", [False, True])
def test_the_strictest_is_the_finding_and_both_are_named(swap: bool) -> None:
    label = outcome("label", "4", "oz", 1000, "labels/a.toml", breach=True)
    law = outcome("law", "1", "lb", 5000, "jurisdictions/b.toml", breach=True)  # 3.2 oz per 1,000
    both = (law, label) if swap else (label, law)
    merged = strictest_of(both, tools(case(use())))
    assert [f.name for f in merged] == ["law"]
    assert {ref.file for ref in merged[0].rules} == {"labels/a.toml", "jurisdictions/b.toml"}


def test_the_broken_one_names_the_kept_one_too() -> None:
    label = outcome("label", "4", "oz", 1000, "labels/a.toml", breach=False)
    law = outcome("law", "3", "oz", 1000, "jurisdictions/b.toml", breach=True)
    merged = strictest_of((label, law), tools(case(use())))
    assert [len(f.rules) for f in merged] == [2]


def test_different_measures_are_two_findings() -> None:
    area = outcome("area", "4", "oz", 1000, "a", breach=True)
    length = replace(area, limit=replace(area.limit, per=q(100, "ft"), per_what="length"))
    assert len(strictest_of((area, length), tools(case(use())))) == 2


def test_a_law_may_carry_any_shape_of_a_label() -> None:
    ref = RuleRef("jurisdictions/us-ca.toml", 9, "limit[9]", "made law", "")
    stricter = limit(
        Shape.RATE, name="law-voids", ref=ref, read=Read.REGULATION, most=q("0.2", "oz"),
        per=q(10, "each"), per_what="voids",
    )  # fmt: skip
    law: RuleFile = book().laws_of("us-ca")[1]
    changed = replace(law, limits=(*law.limits, stricter))
    federal = book().laws_of("us-ca")[0]
    with_law = replace(book(), jurisdictions=(federal, changed))
    findings = judge(case(use()), with_law)  # 0.3125 oz per 10 voids, the label allows 1
    assert decided(findings) == ["breach law-voids"]
    said = next(f for f in findings if f.name == "law-voids")
    assert said.text == "0.3125 oz per 10 voids, the law allows 0.2 oz"
    assert {r.file for r in said.rules} == {
        "jurisdictions/us-ca.toml", "labels/ridgeline-dust.toml",
    }  # fmt: skip
