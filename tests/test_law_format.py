"""What a jurisdiction file can say beside limits: each new thing, right and wrong, on its own."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import date, datetime, timedelta
from fractions import Fraction
from typing import Any

import pytest

from ledger.checks.facts import facts_of
from ledger.checks.judge import judge
from ledger.checks.jurisdiction import check_requirement
from ledger.checks.manners import initials_only, manners, post_office_box, said_under, units_taken
from ledger.checks.say import Tools
from ledger.flow.clocks import late_clocks
from ledger.rulebook import grammar
from ledger.rulebook.model import Read, Requirement, RuleFile
from ledger.rulebook.reading import read_book
from ledger.rulebook.telling import tell
from ledger.rulebook.when import holds
from ledger.rulefile import gather, kept_files
from ledger.values.amount import Dilution, Quantity, Strength
from ledger.values.extent import Extent
from ledger.values.finding import Kind
from tests.cases import amount, book, case, use
from tests.house import ROOT

HEAD = """format = 1
id = "us-zz"
title = "Nowhere"
checked_on = 2026-01-31
state = "ZZ"
time_zone = "America/New_York"

[source.rule]
title = "An invented rule"
section = "1.2"
read = "{read}"
note = "Edition of 2007."
"""
REGULATION = "read in the regulation text"


def law(text: str, read: str = REGULATION) -> RuleFile:
    """Return an invented law, read from its file."""
    singles = [
        f for f in gather(ROOT / "rules", None, None).files if f.family in {"units", "words"}
    ]
    (file,) = kept_files({"jurisdictions/us-zz.toml": (HEAD.format(read=read) + text).encode()})
    found = read_book([*singles, file])
    assert found.faults == ()
    return found.jurisdictions[0]


def rule(text: str, read: str = REGULATION) -> Requirement:
    """Return the one requirement of an invented law."""
    head = '[[require]]\nname = "it"\nsource = "rule"\nsays = "It stands in the record."\n'
    return law(head + text, read).requirements[0]


def found(of: Any, required: Requirement) -> list[tuple[Kind, str]]:
    """Return kind and code of what a requirement finds in a case."""
    tools = Tools(book().units, facts_of(of), "LAW")
    return [(item.kind, item.code) for item in check_requirement(of, required, tools)]


# --- clocks ---


def clock(within: str, more: str = "") -> Any:
    text = f'[[deadline]]\nname = "it"\nwhat = "write it"\nsource = "rule"\nwithin = "{within}"\n'
    return law(text + more).deadlines[0]


@pytest.mark.parametrize(
    ("text", "value", "unit"),
    [("24 h", 24, "h"), ("14 days", 14, "day"), ("5 business days", 5, "business day"),
     ("1 business day", 1, "business day"), ("same day", 0, "day"), ("2 months", 2, "month")],
)  # fmt: skip
def test_a_clock_says_hours_days_open_days_and_the_same_day(text: str, value: int, unit: str):
    assert clock(text).within == Quantity(Fraction(value), unit)


def test_a_clock_says_who_to_whom_from_what_and_with_which_grace() -> None:
    item = clock(
        "24 h",
        'about = "handover"\ncounted_from = "completion of the work"\nwho = "the applicator"\n'
        'to = "the business"\ngrace = "unless good cause is shown"\n',
    )
    assert (item.about, item.counted_from) == ("handover", "completion of the work")
    assert (item.who, item.to, item.grace) == (
        "the applicator", "the business", "unless good cause is shown",
    )  # fmt: skip


def test_a_paper_with_a_time_is_a_clock_too() -> None:
    text = """[[paper]]
name = "copy"
at = "{at}"
to = "the customer"
says = "a copy"
source = "rule"
within = "30 days"
"""
    after = law(text.format(at="after the work"))
    assert [(c.name, c.about, c.counted_from) for c in after.deadlines] == [
        ("copy", "paper", "application")
    ]
    asked = law(text.format(at="on request"))
    assert [(c.about, c.counted_from) for c in asked.deadlines] == [("request", "request")]


def written(text: str, moment: str, **more: Any) -> list[str]:
    of = case(replace(use(), **more))
    of = replace(of, site=replace(of.site, time_zone="America/New_York"))
    return list(late_clocks(of, law(text), datetime.fromisoformat(moment), book().units))


HOURS = '[[deadline]]\nname = "it"\nwhat = "write it"\nsource = "rule"\nwithin = "24 h"\n'


def test_hours_run_from_the_start_or_from_the_end_of_the_work() -> None:
    of = use()
    assert of.start is not None
    assert of.end is not None
    after = of.date + timedelta(days=1)
    assert written(HOURS, f"{after}T{of.start:%H:%M}") == []
    assert written(HOURS, f"{after}T{of.start:%H:%M}:01") == ["it"]
    ends = HOURS + 'counted_from = "completion of the work"\n'
    assert written(ends, f"{after}T{of.end:%H:%M}") == []
    assert written(ends, f"{after}T{of.end:%H:%M}:01") == ["it"]
    # Work past midnight ends a day later, and so does its clock.
    assert written(ends, f"{after}T{of.end:%H:%M}:01", end_day=1) == []


def test_hours_are_elapsed_time_on_the_day_the_clocks_change() -> None:
    # 8 March 2026: New York goes from 02:00 to 03:00 (15 U.S.C. 260a). 24 h from the day before.
    of = use()
    assert of.start is not None
    hour = of.start.replace(hour=of.start.hour + 1)
    day = date(2026, 3, 7)
    assert written(HOURS, f"2026-03-08T{hour:%H:%M}", date=day) == []
    assert written(HOURS, f"2026-03-08T{hour:%H:%M}:01", date=day) == ["it"]


# --- how a field is said ---


def test_fixed_words_stand_in_the_field_or_in_the_note() -> None:
    words = rule('field = "method"\nwords = ["spot treatment"]\n')
    assert found(case(use(method="spot")), words) == []
    assert found(case(use(method="void")), words) == [(Kind.MISSING, "FIELD-WORDS")]
    assert found(case(use(method="void", note="Spot  Treatment, sill")), words) == []


def test_no_dilution_is_said_and_not_left_blank() -> None:
    words = rule('field = "dilution"\nwords = ["no dilution", "aerosol", "rtu"]\n')
    none = use(dilution=Dilution("none", Strength.NONE))
    assert said_under(case(none), "dilution") == ("none", "no dilution")
    assert found(case(none), words) == []
    assert found(case(use(dilution=None)), words) == [(Kind.MISSING, "FIELD-DILUTION")]


def test_a_post_office_box_is_no_place_of_work() -> None:
    box = rule('field = "customer_address"\nnot_as = ["post-office box"]\n')
    for text in ("PO Box 12", "P.O. Box 12, Utica", "p o box 12", "Post Office Box 7", "POB 7"):
        assert found(case(use(customer_address=text)), box) == [(Kind.MISSING, "FIELD-WAY")], text
    for text in ("12 Boxwood Ln", "1 Post Office Sq", "4 Popo Box Cir"):
        assert post_office_box(case(use(customer_address=text)), "customer_address") == "", text


def test_initials_are_no_name() -> None:
    for text in ("J. D.", "J. Doe", "J D"):
        assert initials_only(case(use(customer=text)), "customer") == text
    for text in ("Jo Doe", "Jane D. Doe"):
        assert initials_only(case(use(customer=text)), "customer") == ""


def test_a_general_word_is_refused_where_the_law_wants_it_specific() -> None:
    specific = rule('field = "pests"\nrefused = ["bugs"]\n')
    assert found(case(use(pests=("ants", "Bugs"))), specific) == [(Kind.MISSING, "FIELD-REFUSED")]
    assert found(case(use(pests=("ants",))), specific) == []


def test_only_the_units_of_the_law_are_taken() -> None:
    units = rule('field = "amount"\nunits = ["lb", "oz", "gal"]\n')
    assert units.units == ("lb", "oz", "gal")
    assert found(case(use(amount=amount(1, "oz"))), units) == []
    assert found(case(use(amount=amount(1, "g"))), units) == [(Kind.MISSING, "FIELD-UNIT")]
    assert units_taken(case(use(amount=amount(1, "g"))), ("lb",)) == "g"


def test_the_length_is_counted_in_characters_and_the_bound_is_allowed() -> None:
    length = rule('field = "customer"\nlongest = 10\n')
    assert found(case(use(customer="x" * 10)), length) == []
    assert found(case(use(customer="x" * 11)), length) == [(Kind.MISSING, "FIELD-LENGTH")]


def test_a_list_of_the_firm_stands_in_for_a_field() -> None:
    kept = rule('field = "lot"\nelsewhere = ["product list"]\n')
    bare = case(use(lot=""))
    assert found(bare, kept) == [(Kind.MISSING, "FIELD-LOT")]
    assert found(replace(bare, firm=replace(bare.firm, keeps=("product list",))), kept) == []
    other = replace(bare, firm=replace(bare.firm, keeps=("person list",)))
    assert found(other, kept) == [(Kind.MISSING, "FIELD-LOT")]


def test_what_cannot_be_told_is_not_missing_and_an_old_edition_informs() -> None:
    text = (
        'field = "method"\nwords = ["spot treatment"]\n\n[[require.when]]\nrate_per_area = true\n'
    )
    void = case(use(method="void"))
    assert found(void, rule(text)) == [(Kind.UNKNOWN, "FIELD-WORDS")]
    old = rule(text, "read in an old edition, may have changed")
    assert old.read is Read.OLD
    assert found(void, old) == [(Kind.ADVICE, "FIELD-WORDS")]
    (said,) = list(check_requirement(void, old, Tools(book().units, facts_of(void), "LAW")))
    assert said.text.startswith("unverified: ")


def test_manners_of_a_rule_without_any_are_none() -> None:
    assert list(manners(case(use()), rule('field = "method"\n'))) == []


# --- conditions ---


@pytest.mark.parametrize("flag", [True, False, None])
def test_a_flag_of_the_label_is_a_condition(flag: bool | None) -> None:
    when = rule('field = "end"\n\n[[require.when]]\nreentry_interval = true\n').when
    of = case(use())
    assert of.product is not None
    flags = () if flag is None else (("reentry_interval", flag),)
    facts = facts_of(replace(of, product=replace(of.product, flags=flags)))
    assert holds(when, facts, book().units) is flag


@pytest.mark.parametrize(
    ("setting", "out", "answer"),
    [("indoor", None, False), ("outdoor", "3", False), ("outdoor", "3.01", True),
     ("outdoor", None, None)],
)  # fmt: skip
def test_more_than_leaves_the_bound_itself_out(
    setting: str, out: str | None, answer: bool | None
) -> None:
    text = 'field = "wind"\n\n[[require.when]]\nfrom_structure = { more_than = "3 ft" }\n'
    measures = (("distance out", Quantity(Fraction(out), "ft")),) if out else ()
    of = case(use(setting=setting, extent=Extent("", measures)))
    assert holds(rule(text).when, facts_of(of), book().units) is answer


def test_less_than_is_the_other_side() -> None:
    text = 'field = "wind"\n\n[[require.when]]\narea = { less_than = "0.1 acre" }\n'
    when = rule(text).when
    for feet, answer in ((4355, True), (4356, False)):
        area = Extent("", (("area", Quantity(Fraction(feet), "sq ft")),))
        assert holds(when, facts_of(case(use(extent=area))), book().units) is answer


# --- what gives way ---


def test_a_rule_that_was_read_puts_another_out_of_force_from_its_day() -> None:
    text = """[[require]]
name = "new"
field = "pests"
source = "rule"
says = "New."
supersedes = ["old", "us-federal/restricted-date"]
from = 2026-01-10

[[require]]
name = "old"
field = "lot"
source = "rule"
says = "Old."
"""

    def asked(file: RuleFile, day: int, method: str = "void") -> set[str]:
        federal = book().jurisdiction("us-federal")
        assert federal is not None
        here = replace(book(), jurisdictions=(federal, file))
        line = use(
            date=date(2026, 1, day), jurisdiction="us-zz", lot="", pests=(), method=method
        )  # fmt: skip
        found = judge(case(line, firm=here.firm), here)
        return {finding.name for finding in found} & {"old", "new"}

    assert asked(law(text), 9) == {"old"}
    assert asked(law(text), 10) == {"new"}
    unsure = law(text, "from memory, not verified")
    assert asked(unsure, 10) == {"old", "new"}, "what was not read puts nothing out of force"
    condition = '\n[[require.when]]\nmethod = ["bait"]\n\n[[require]]'
    on_condition = text.replace("\n\n[[require]]", condition, 1)
    assert asked(law(on_condition), 10, "bait") == {"new"}
    assert asked(law(on_condition), 10, "void") == {"old"}


# --- papers, incidents, what lies dormant; told in plain words ---

WHOLE = """[[retention]]
name = "short"
years = 1
counted_from = "contract end"
of = "contracts"
source = "rule"

[retention.when]
product_class = ["general"]

[[paper]]
name = "copy"
at = "on completion"
to = "the residents"
says = "an invoice"
source = "rule"
fields = ["product", "poison_control"]
statement = "Keep out until dry."
waiver = "on a form"
electronic = "with consent in writing"

[[incident]]
name = "spill"
what = "a spill"
more_than = ["1 gal", "4 lb"]
within = "24 h"
to = "the department"
how = "by telephone"
says = "At any hour."
source = "rule"

[[dormant]]
section = "1.1"
why = "superseded"
says = "It asks for totals."
source = "rule"

[[unread]]
section = "1.3"
note = "Cut off."
source = "rule"
"""


def test_papers_incidents_and_dormant_rules_are_values() -> None:
    file = law(WHOLE)
    (paper,), (incident,), (dormant,) = file.papers, file.incidents, file.dormant
    assert (paper.to, paper.fields, paper.within) == (
        "the residents", ("product", "poison_control"), None,
    )  # fmt: skip
    assert paper.statement == "Keep out until dry."
    assert incident.more_than == (Quantity(Fraction(1), "gal"), Quantity(Fraction(4), "lb"))
    assert incident.within == Quantity(Fraction(24), "h")
    assert dormant.why == "superseded"
    assert file.retentions[0].when
    assert file.retentions[0].counted_from == "contract end"


def test_all_of_it_is_told_in_plain_words() -> None:
    told = "\n".join(tell(law(WHOLE)))
    for words in (
        "contracts: 1 year, counted from contract end, only if the product is of general use",
        "on completion, to the residents: an invoice", "name of the product, poison control",
        '"Keep out until dry."', "on a form", "with consent in writing",
        "a spill of more than 1 gal or 4 lb: to the department within 24 h, by telephone",
        "In the books and not in force", "Not read, so never passed", "  - 1.3: Cut off.",
        "An invented rule, 1.2\n  read in the regulation text",
    ):  # fmt: skip
        assert words in told, words
    assert "within 5 business days from the application" in "\n".join(
        tell(law('[[deadline]]\nname = "it"\nwhat = "write it"\nsource = "rule"\n'
                 'within = "5 business days"\n'))
    )  # fmt: skip


# --- the page that explains it ---

PAGE = (ROOT / "rules" / "README.md").read_text(encoding="utf-8")
DUTIES = re.findall(
    r"```toml\n(\[\[(?:deadline|retention|paper|incident)\]\].*?)```", PAGE, re.DOTALL
)


def test_every_passage_on_duties_can_be_copied() -> None:
    assert len(DUTIES) == 4
    file = law("\n".join(DUTIES).replace('source = "label"', 'source = "rule"'))
    assert (len(file.deadlines), len(file.retentions), len(file.papers)) == (2, 1, 1)
    assert (len(file.incidents), len(file.dormant), len(file.unread)) == (1, 1, 1)


@pytest.mark.parametrize(
    "words",
    [grammar.ABOUT, grammar.STARTS, grammar.PAPER_AT, grammar.DORMANT_WHY, grammar.NOT_AS,
     grammar.FIRM_LISTS, grammar.LABEL_FLAGS, grammar.REQUIREMENT_FIELDS],
)  # fmt: skip
def test_the_page_names_every_word_of_the_closed_lists(words: tuple[str, ...]) -> None:
    assert [word for word in words if f"`{word}`" not in PAGE] == []
