"""Several products in one tank: what is allowed passes line by line, what is refused breaches.

The lines are written down as a person would write them, as the bytes of one day sheet, and go the
way of every recorded line: read, normalised, judged with each other. The plan is not asked again.
"""

from __future__ import annotations

import csv
import io
import json
from dataclasses import replace
from datetime import date
from fractions import Fraction
from functools import cache

import pytest
from click.testing import CliRunner
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from ledger.checks.case import Case
from ledger.checks.dose import ingredient_used
from ledger.checks.judge import judge
from ledger.checks.rates import check_rate
from ledger.checks.say import Tools
from ledger.cli import main
from ledger.cli.prepare import tank_mate
from ledger.flow.judging import latest_findings
from ledger.flow.recording import record_sheet
from ledger.intake import read_sheet
from ledger.normalise.line import normalise_line
from ledger.preparing.plan import ALLOWED, CANNOT_TELL, REFUSED
from ledger.preparing.stage import Stage
from ledger.preparing.tank import Tank, make_tank
from ledger.rulebook.book import Book
from ledger.rulebook.reading import read_book
from ledger.rulefile import RawFile, gather
from ledger.values.amount import Basis, Quantity
from ledger.values.draft import APPLICATION_HEADINGS
from ledger.values.finding import Fault, Kind, render_fault
from ledger.values.rounding import exact_text
from reports.pdf import document
from reports.plan import plan_sheet, plan_text
from reports.tank import tank_page
from tests.cases import SITES, amount, measures, rate, use
from tests.house import ROOT
from tests.plans import JOB, kinds
from tests.workspaces import sample_workspace

FOLDER = ROOT / "fixtures" / "tank_labels"
BAND = JOB | {
    "method": "band", "setting": "at structure", "places": "foundation", "pests": "ants",
    "extent": "2 ft high; 600 sq ft", "wind": "4 mph", "rain": "no",
}  # fmt: skip
SC, EC, IGR = "ridgeline-sc", "fenwick-ec", "coppice-igr"


@cache
def rules() -> Book:
    """Return the shipped rules, the firm of the demonstration, and the labels of the tanks."""
    firm = ROOT / "ledger" / "demo" / "useledger.toml"
    shipped = gather(ROOT / "rules", None, firm).files
    labels = [
        RawFile("label", f"labels/{path.name}", path.read_bytes())
        for path in sorted(FOLDER.glob("*.toml"))
    ]
    book = read_book([*shipped, *labels])
    assert [render_fault(fault) for fault in book.faults] == []
    return book


def tank(*products: tuple[str, str], history=(), **said: str) -> Tank | tuple[Fault, ...]:
    """Return the plan of products with their strengths; ``said`` is what differs from a band."""
    cells = BAND | {name.replace("_", " "): text for name, text in said.items()}
    jobs = [cells | {"product": name, "dilution": strong} for name, strong in products]
    lexicon = rules().lexicon()
    return make_tank([
        Stage(rules(), lexicon, lambda _: SITES["okafor"], lambda _: history, job) for job in jobs
    ])  # fmt: skip


def planned(*products: tuple[str, str], history=(), **said: str) -> Tank:
    found = tank(*products, history=history, **said)
    assert isinstance(found, Tank), found
    return found


def sheet_of(made: Tank, said: dict[str, str], mix: str = "") -> bytes:
    """Return the day sheet of whoever did what the plan says, one line for each product."""
    out = io.StringIO()
    writer = csv.DictWriter(out, APPLICATION_HEADINGS, restval="", extrasaction="ignore")
    writer.writeheader()
    for plan in made.plans:
        assert plan.use.dilution is not None
        writer.writerow({
            **BAND, **said, "product": plan.product.id, "dilution": plan.use.dilution.text,
            "amount": mix or plan.use.amount.text, "basis": "mix", "mix": made.mark,
            "prepared": "; ".join(plan.use.prepared) or said.get("prepared", ""),
            "notice": plan.use.notice,
        })  # fmt: skip
    return out.getvalue().encode()


def recorded(made: Tank, said: dict[str, str], history=(), mix: str = ""):
    """Return the findings of every line as ``record`` would find them."""
    drafts = read_sheet("day.csv", sheet_of(made, said, mix), month_first=True).drafts
    book = rules()
    uses = []
    for draft in drafts:
        read = normalise_line(draft, book.lexicon(), book.units, lambda _: SITES["okafor"])
        assert read.application is not None, read.faults
        uses.append(read.application)
    found = []
    for line in uses:
        others = (*history, *(other for other in uses if other is not line))
        product = book.product(line.product, line.date, line.lot)
        case = Case(line, product, SITES["okafor"], book.firm, book.words, others)
        found.append(judge(case, book))
    return found


def texts(made: Tank, section: str) -> list[str]:
    return [item.text for name, items in made.sections if name == section for item in items]


# --- what one plan says --------------------------------------------------------------------------


def test_the_strictest_label_stops_the_whole_tank_and_is_named():
    made = planned((SC, "0.4 fl oz/gal"), (EC, "0.4 fl oz/gal"))
    assert made.verdict == ALLOWED
    # 1 gal for 1,000 sq ft (Fenwick) is stricter than 1.25 gal (Ridgeline): 0.6 gal on 600 sq ft.
    assert [exact_text(bound.most.value) for bound in made.most.bounds if bound.most] == [
        "76", "0.5",
    ]  # fmt: skip
    assert any("fenwick-ec" in source for said in made.most.because for source in said.sources)
    alone = planned((SC, "0.4 fl oz/gal"), (IGR, "0.5 fl oz/gal"))
    assert [exact_text(bound.most.value) for bound in alone.most.bounds if bound.most] == [
        "96", "0.75",
    ]  # fmt: skip


def test_a_shared_active_ingredient_is_added_up():
    # 0.06 % together; Ridgeline at 0.6 fl oz/gal brings 0.6/128 * 1.021 * 6.5 % = 0.0311 %.
    inside = planned((SC, "0.6 fl oz/gal"), (EC, "1.9 fl oz/gal"))
    beyond = planned((SC, "0.6 fl oz/gal"), (EC, "2 fl oz/gal"))
    other = planned((IGR, "0.6 fl oz/gal"), (EC, "2 fl oz/gal"))
    assert [made.verdict for made in (inside, beyond, other)] == [ALLOWED, REFUSED, ALLOWED]
    assert beyond.most.bounds == ()  # no amount helps: the strength itself is too much
    assert {said.text.split(",")[0] for said in beyond.refused} == {
        "Fenwick Emulsion: about 0.0608 % active ingredient"
    }
    (told,) = texts(inside, "Together")
    assert "bifenthrin from Ridgeline Residual Concentrate and Fenwick Emulsion" in told
    assert texts(other, "Together") == []


def test_the_mix_says_how_much_of_each_for_the_finished_volume():
    made = planned((SC, "1 fl oz/gal"), (IGR, "0.5 fl oz/gal"), amount="2 gal",
                   extent="2 ft high; 4,000 sq ft")  # fmt: skip
    assert made.verdict == ALLOWED
    first, second, whole = texts(made, "Mix")
    assert first.startswith("Ridgeline Residual Concentrate (1 fl oz/gal): 2 fl oz or 59.1 mL")
    assert second.startswith("Coppice Growth Regulator (0.5 fl oz/gal): 1 fl oz or 29.5 mL")
    assert whole == "all of it in one tank, filled up with water to 2 gal of finished mix"
    assert 'with the finished mix as amount, "mix" as basis and "tank"' in texts(made, "Record")[0]


def test_whatever_one_label_asks_for_binds_every_line():
    made = planned((SC, "1 fl oz/gal"), (IGR, "0.5 fl oz/gal"))
    for plan in made.plans:
        assert "food covered" in plan.use.prepared
    bare = planned((SC, "1 fl oz/gal"), (IGR, "0.5 fl oz/gal"), prepared="none")
    assert bare.verdict == REFUSED
    low = planned((SC, "0.4 fl oz/gal"), (EC, "0.4 fl oz/gal"), extent="2.5 ft high; 600 sq ft")
    assert low.verdict == REFUSED  # Ridgeline allows 3 ft; Fenwick's 2 ft binds the tank


def test_a_third_product_is_refused_where_a_label_allows_two():
    made = planned((SC, "0.4 fl oz/gal"), (EC, "0.4 fl oz/gal"), (IGR, "0.5 fl oz/gal"))
    assert made.verdict == REFUSED
    assert [said.text for said in made.refused] == [
        "Coppice Growth Regulator: 3 products in one tank, the label allows 2"
    ]
    assert len(texts(made, "Mix")) == 0  # nobody is told how to mix what may not be mixed


def test_a_mix_that_no_rule_bounds_is_said_to_be_unbounded():
    made = planned((EC, "0.06 % ai"), (IGR, "0.5 fl oz/gal"), method="spot", extent="2 ft high")
    assert made.verdict == CANNOT_TELL  # a rate without its area; no amount too large to be kept
    assert all(bound.most is None or bound.most.value < 10**9 for bound in made.most.bounds)


def test_history_binds_a_tank_product_by_product():
    week = use(
        SC, date=date(2026, 1, 5), setting="at structure", method="band", visit="v0",
        amount=amount(1, "gal", Basis.MIX), dilution=rate(1), places=("foundation",),
        extent=measures(area=(1000, "sq ft"), height=(2, "ft")),
    )  # fmt: skip
    made = planned((SC, "0.4 fl oz/gal"), (IGR, "0.5 fl oz/gal"), history=(week,))
    assert made.verdict == ALLOWED  # nine days are more than seven
    near = planned((SC, "0.4 fl oz/gal"), (IGR, "0.5 fl oz/gal"), history=(week,),
                   date="2026-01-11")  # fmt: skip
    assert near.verdict == REFUSED
    assert all(said.text.startswith("Ridgeline") for said in near.refused)
    assert len(texts(near, "Before this")) == 1  # the other lines of the tank are no history


@pytest.mark.parametrize(
    ("products", "said", "what"),
    [
        (((SC, "1 fl oz/gal"), ("ridgeline-dust", "")), {}, "is used as it comes"),
        (((SC, "1 fl oz/gal"), (SC, "0.5 fl oz/gal")), {}, "stands twice"),
        (((SC, "1 fl oz/gal"), (EC, "")), {"basis": "product"}, "that of its finished mix"),
        (((SC, "1 fl oz/gal"), ("nosuch", "")), {}, "no label file has the product"),
    ],
)
def test_what_is_no_tank_is_said_and_not_planned(products, said, what):
    found = tank(*products, **said)
    assert not isinstance(found, Tank)
    assert any(what in fault.what for fault in found)
    assert all(fault.way_out for fault in found)


def test_a_product_without_a_strength_takes_its_labels_least_or_most_and_says_so():
    made = planned((SC, ""), (IGR, ""))
    strengths = [plan.use.dilution.text for plan in made.plans if plan.use.dilution]
    assert strengths == ["0.4 fl oz per 1 gal", "0.5 fl oz per 1 gal"]
    assert sum("no strength was given" in text for text in texts(made, "Mix")) == 2


def test_lines_without_a_mark_may_be_one_tank_and_an_active_ingredient_cannot_be_told():
    """2 g of active ingredient per 1,000 sq ft: alone neither breaks it, together they would."""
    said = {"extent": "2 ft high; 100 sq ft", "amount": "0.1 gal"}
    made = planned((EC, "1 fl oz/gal"), (SC, "0.4 fl oz/gal"), **said)
    book = rules()
    (rule,) = [r for r in book.labels if r.id == EC]
    (limit,) = [one for one in rule.limits if one.name == "active-per-area"]
    grams = sum(
        used.value for plan in made.plans
        if (used := ingredient_used(_case(plan.use), Tools(book.units, {}), None)) is not None
    )  # fmt: skip
    assert limit.most is not None
    bound = replace(limit, most=Quantity(grams * 10 - Fraction(1, 10**6), "g"))
    first, second = (plan.use for plan in made.plans)
    answers = {}
    for mark in ("tank", "", "alone"):
        mine, other = (replace(one, mix_group=mark) for one in (first, second))
        if mark == "alone":
            other = replace(other, mix_group="by itself")
        case = replace(_case(mine), others=(other,))
        tools = Tools(book.units, {}, "LABEL", lambda one: book.product(one.product, one.date))
        answers[mark] = [found.kind for found in check_rate(case, bound, tools)]
    assert answers == {"tank": [Kind.BREACH], "": [Kind.UNKNOWN], "alone": []}


def _case(line):
    product = rules().product(line.product, line.date, line.lot)
    return Case(line, product, SITES["okafor"], rules().firm, rules().words)


# --- the property --------------------------------------------------------------------------------

strengths = {
    SC: st.sampled_from(["0.4 fl oz/gal", "0.6 fl oz/gal", "1.2 fl oz/gal", "1.3 fl oz/gal", ""]),
    EC: st.sampled_from(["0.3 fl oz/gal", "1.9 fl oz/gal", "2 fl oz/gal", "0.06 % ai"]),
    IGR: st.sampled_from(["0.5 fl oz/gal", "1 fl oz/gal", "1.1 fl oz/gal", ""]),
}


@st.composite
def tanks(draw):
    names = draw(st.lists(st.sampled_from([SC, EC, IGR]), min_size=2, max_size=3, unique=True))
    if draw(st.booleans()):
        names = names[:2]
    products = tuple((name, draw(strengths[name])) for name in names)
    said = {
        "extent": draw(st.sampled_from([
            "2 ft high; 600 sq ft", "2 ft high; 4,000 sq ft", "3 ft high; 150 sq ft", "40 ft", "",
        ])),
        "wind": draw(st.sampled_from(["4 mph", "4 mph", "11 mph", ""])),
        "avoided": draw(st.sampled_from(["none present", "none present", "creek (water, 9 ft)"])),
        "prepared": draw(st.sampled_from(["", "", "none"])),
        "amount": draw(st.sampled_from(["", "", "0.5 gal", "3 gal"])),
    }  # fmt: skip
    past = ()
    if draw(st.booleans()):
        past = (use(
            SC, date=date(2026, 1, draw(st.sampled_from([2, 7, 8, 13]))), method="band",
            setting="at structure", amount=amount(1, "gal", Basis.MIX), dilution=rate(1),
            places=("foundation",), visit="v0",
            extent=measures(area=(1000, "sq ft"), height=(2, "ft")),
        ),)  # fmt: skip
    return products, said, past


@st.composite
def lawful_tanks(draw):
    """Draw two products in strengths that each label allows, with an area: some amount passes."""
    names = draw(st.sampled_from([(SC, EC), (EC, SC), (SC, IGR), (IGR, EC)]))
    inside = {SC: ["0.4 fl oz/gal", "0.6 fl oz/gal", ""], EC: ["0.3 fl oz/gal", "1.9 fl oz/gal"],
              IGR: ["0.5 fl oz/gal", "1 fl oz/gal", ""]}  # fmt: skip
    products = tuple((name, draw(st.sampled_from(inside[name]))) for name in names)
    area = draw(st.integers(40, 9000))
    return products, {"extent": f"2 ft high; {area} sq ft"}


BOUNDED = settings(
    max_examples=12, deadline=None, suppress_health_check=[HealthCheck.too_slow]
)  # fmt: skip


def broken(found) -> bool:
    return any(kinds(findings, Kind.BREACH) for findings in found)


@BOUNDED
@given(case=tanks())
def test_a_tank_that_is_allowed_passes_and_one_that_is_refused_breaches(case):
    products, said, past = case
    made = tank(*products, history=past, **said)
    assume(isinstance(made, Tank))
    assert isinstance(made, Tank)
    found = recorded(made, said, past)
    assert [tuple(findings) for findings in found] == [plan.findings for plan in made.plans]
    unsaid = {
        one.name
        for findings in found
        for one in findings
        if one.kind is Kind.UNKNOWN
        or (one.kind is Kind.MISSING and not one.code.startswith("FIELD-"))
    }
    if made.verdict == ALLOWED:
        assert not broken(found)
        assert not unsaid
    elif made.verdict == REFUSED:
        assert broken(found)
    else:
        assert made.verdict == CANNOT_TELL
        assert unsaid
        assert not broken(found)


@BOUNDED
@given(case=lawful_tanks(), share=st.fractions(0, 1))
def test_up_to_the_most_of_a_tank_passes_and_the_next_step_does_not(case, share):
    products, said = case
    past = ()
    made = planned(*products, **said)
    assert any(bound.most is not None for bound in made.most.bounds)
    for bound in made.most.bounds:
        if bound.most is None:
            continue
        step, most, unit = bound.scale.step, bound.most.value, bound.most.unit
        for value in (most, max(step, Fraction(share * most // step) * step)):
            assert not broken(recorded(made, said, past, f"{exact_text(value)} {unit}"))
        coarse = step if most < bound.scale.heavy else bound.scale.coarse
        assert broken(recorded(made, said, past, f"{exact_text(most + coarse)} {unit}"))


# --- the command ---------------------------------------------------------------------------------


@pytest.fixture
def firm(tmp_path):
    made = sample_workspace(tmp_path / "firm")
    for path in FOLDER.glob("*.toml"):
        (tmp_path / "firm" / "rules" / "labels" / path.name).write_bytes(path.read_bytes())
    made.store.close()
    return tmp_path / "firm"


def command(firm, *more, words=("prepare", SC), wind=("--wind", "4 mph")):
    job = [
        *words, "--dilution", "0.4 fl oz/gal", "--workspace", str(firm),
        "--at", "118 Tollhouse Lane, Auburn, CA 95603", "--county", "Placer",
        "--site-kind", "dwelling", "--customer", "M. Okafor", "--applicator", "renner",
        "--start", "08:05", "--end", "09:20",
        "--method", "band", "--setting", "at structure", "--places", "foundation",
        "--pests", "ants", "--extent", "2 ft high; 600 sq ft", "--date", "2026-01-14",
        "--avoided", "none present", *wind, "--rain", "no",
    ]  # fmt: skip
    return CliRunner().invoke(main, [*job, *more])


def test_the_command_plans_a_tank_and_what_it_allows_is_recorded_without_a_breach(firm, tmp_path):
    from ledger.flow.workspace import open_workspace

    page = tmp_path / "tank.pdf"
    mate = ("--with", "fenwick-ec at 0.4 fl oz/gal")
    done = command(firm, *mate, "--json", "--out", str(page))
    assert done.exit_code == 0, done.output
    told = json.loads(done.stdout)
    assert told["allowed"]
    assert page.read_bytes().startswith(b"%PDF")
    head = "date,start,end,applicator,customer,address,city,state,zip,county,site kind,product,"
    head += "amount,basis,dilution,mix,method,setting,places,avoided,prepared,pests,extent,wind,"
    lines = [head + "rain,notice"]
    for one in told["products"]:
        lines.append(",".join([
            "2026-01-14,08:05,09:20,renner,M. Okafor,118 Tollhouse Lane,Auburn,CA,95603,Placer",
            f"dwelling,{one['product']},{told['finished']['amount']} {told['finished']['unit']}",
            f"mix,{one['dilution']},{told['mix']},band,at structure,foundation,none present",
            f"{'; '.join(one['prepared'])},ants,2 ft high; 600 sq ft,4 mph,no,before",
        ]))  # fmt: skip
    opened = open_workspace(str(firm))
    booked = record_sheet(opened, "day.csv", "\n".join(lines).encode(), "renner")
    with opened.store.reading() as reader:
        for outcome in booked.outcomes:
            assert outcome.line.state == "booked"
            found = latest_findings(reader, outcome.seq)
            assert not kinds(found, Kind.BREACH, Kind.UNKNOWN, Kind.MISSING)
    opened.store.close()


def test_the_command_says_what_the_tank_breaks_and_ends_with_its_code(firm):
    refused = command(firm, "--with", "fenwick-ec at 9 fl oz/gal")
    assert refused.exit_code == 1
    assert refused.output.startswith("REFUSED")
    nothing = command(firm, "--with", "ridgeline-dust")
    assert (nothing.exit_code, nothing.stdout) == (2, "")
    assert "used as it comes" in nothing.stderr


def test_with_names_a_product_its_strength_and_its_lot():
    assert tank_mate("fenwick-ec") == {"product": "fenwick-ec", "dilution": "", "lot": ""}
    assert tank_mate(" 99999-471 at 0.06 % ai, lot B 7 ") == {
        "product": "99999-471", "dilution": "0.06 % ai", "lot": "B 7",
    }  # fmt: skip
    with pytest.raises(SystemExit):
        tank_mate("  ")


def test_the_page_of_a_tank_holds_every_statement():
    made = planned((SC, "0.4 fl oz/gal"), (EC, "0.4 fl oz/gal"))
    page = tank_page(made, ["label one", "label two"])
    text = " ".join(plan_text(page).split())
    for _, items in made.sections:
        for item in items:
            assert " ".join(item.text.rstrip(".").split()) in text
    assert ("Label", "label two") in page.about
    assert document([plan_sheet(page)]).startswith(b"%PDF")


# --- the customer's paper ------------------------------------------------------------------------


def papered(firm, *more, words=("notice", "--before", SC)):
    done = command(firm, *more, "--json", words=words)
    assert done.stdout, done.stderr
    return json.loads(done.stdout)


def test_the_paper_of_a_tank_is_refused_for_what_its_products_come_to_together(firm):
    # 0.0311 % from Ridgeline at 0.6 fl oz/gal beside Fenwick's at 2: more than 0.06 % together
    strong = ("--dilution", "2 fl oz/gal", "--amount", "0.5 gal")
    alone = papered(firm, *strong, words=("notice", "--before", "fenwick-ec"))
    strength = ("--dilution", "0.6 fl oz/gal", "--amount", "0.5 gal")
    other = papered(firm, *strength)
    mate = (*strength, "--with", "fenwick-ec at 2 fl oz/gal")
    both = papered(firm, *mate)
    told = json.loads(command(firm, *mate, "--json").stdout)
    assert (alone["refused"], other["refused"]) == ([], [])
    assert both["refused"] == [item["text"] for item in told["refused"]]
    assert "Fenwick Emulsion: about 0.0608 % active ingredient" in both["refused"][0]


def test_the_paper_of_a_tank_names_every_product_and_what_stands_beside_it(firm):
    mate = ("--with", "fenwick-ec at 0.4 fl oz/gal", "--amount", "0.5 gal")
    told = papered(firm, *mate, "--by", "renner")
    named = next(item["texts"] for item in told["lines"] if item["heading"].startswith("Product"))
    assert len(named) == 2
    assert (told["refused"], told["cannot_tell"]) == ([], [])
    assert told["entry"]
    three = papered(firm, *mate, words=("notice", "--before", SC, "hearth-mint"))
    named = next(item["texts"] for item in three["lines"] if item["heading"].startswith("Product"))
    assert len(named) == 3


def test_the_paper_of_a_tank_says_what_is_no_part_of_one_and_what_is_still_open(firm):
    nothing = command(firm, "--with", "ridgeline-dust", words=("notice", "--before", SC))
    assert nothing.exit_code == 2
    assert "used as it comes" in nothing.stderr
    mate, words = ("--with", "fenwick-ec at 0.4 fl oz/gal"), ("notice", "--before", SC)
    open_ = command(firm, *mate, words=words, wind=())
    assert open_.exit_code == 1
    assert "the plan behind it leaves open: " in open_.stderr
    assert "(--wind)" in open_.stderr
    after = CliRunner().invoke(main, ["notice", "--after", "3", "--with", "fenwick-ec"])
    assert after.exit_code == 2
    assert "--with is for the paper before the job" in after.stderr
