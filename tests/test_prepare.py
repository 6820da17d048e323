"""Before the job: how much, how mixed, what first, when again; nothing is booked by asking."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import date
from fractions import Fraction

import pytest
from click.testing import CliRunner

from ledger.cli import main
from ledger.cli.prepare import where
from ledger.flow.preparing import Prepared, prepare
from ledger.flow.recording import record_sheet
from ledger.preparing.plan import ALLOWED, CANNOT_TELL, REFUSED, make_plan
from ledger.rulebook.model import RuleFile, Shape
from ledger.values.amount import Basis
from ledger.values.finding import Fault
from reports.pdf import document
from reports.plan import page_of, plan_sheet, plan_text, plan_values
from tests.cases import amount, book, limit, measures, q, rate, use
from tests.day_sheets import sheet
from tests.plans import JOB, plan, stage, texts
from tests.workspaces import sample_workspace

CRACKS = {
    "product": "ridgeline-dust", "method": "crack and crevice", "setting": "at structure",
    "places": "door frame", "extent": "180 ft",
}  # fmt: skip
BAND = {
    "product": "ridgeline-sc", "method": "band", "setting": "at structure",
    "places": "foundation", "extent": "3 ft high; 600 sq ft", "wind": "4 mph", "rain": "no",
}  # fmt: skip


def mosts(made):
    return {b.scale.unit: b.most.value for b in made.most.bounds if b.most is not None}


# --- how much --------------------------------------------------------------------------------


def test_a_dust_is_told_in_grams_and_ounces_rounded_down():
    made = plan(**CRACKS)
    # 0.5 oz per 100 ft (the label, samples/products.md) on 180 ft are 0.9 oz; an ounce is
    # 28.349523125 g (NIST SP 811, appendix B.8), so 25.51457... g.
    assert made.verdict == ALLOWED
    assert mosts(made) == {"oz": Fraction("0.9"), "g": Fraction("25.5")}
    assert made.most.exact[0][1] == q("9/10", "oz")
    assert "labels/ridgeline-dust.toml" in made.most.because[0].sources[0]


def test_a_heavy_granule_is_rounded_to_what_a_shop_scale_tells():
    made = plan(product="cedar-granule", method="broadcast", setting="outdoor", places="lawn",
                extent="777 sq ft", wind="3 mph")  # fmt: skip
    # 3 lb per 1,000 sq ft on 777 sq ft: 2.331 lb = 37.296 oz = 1057.32... g
    assert mosts(made) == {"oz": Fraction("37.2"), "g": Fraction(1057)}


def test_an_amount_asked_about_is_judged():
    assert plan(**CRACKS, amount="0.9 oz").verdict == ALLOWED
    made = plan(**CRACKS, amount="0.91 oz")
    assert made.verdict == REFUSED
    assert "the label allows 0.5 oz" in made.refused[0].text
    assert mosts(made)["oz"] == Fraction("0.9")


def test_where_nothing_bounds_the_amount_the_plan_says_so():
    made = plan(product="hearth-mint", method="spot", extent="3 spots")
    assert made.verdict == ALLOWED
    assert mosts(made) == {}
    assert texts(made, "How much")[0].startswith("no rule on file bounds the amount")


def test_without_the_extent_the_answer_that_would_settle_it_is_named():
    made = plan(**CRACKS | {"extent": "300 sq ft"})
    assert made.verdict == CANNOT_TELL
    assert "--extent" in made.open[0].settle
    assert "length of the gap" in made.open[0].settle
    assert "the most cannot be told until what is open is answered" in texts(made, "How much")


def label_with(product: str, *limits):
    """Return the shipped rules with one label that has these limits as well."""

    def grown(file: RuleFile) -> RuleFile:
        return replace(file, limits=(*file.limits, *limits)) if file.id == product else file

    return replace(book(), labels=tuple(map(grown, book().labels)))


def test_a_total_over_the_year_leaves_what_is_left_of_it():
    total = limit(
        Shape.TOTAL, name="yearly", most=q(1, "oz"), within="calendar year", same="address"
    )
    rules = label_with("ridgeline-dust", total)
    used = use(date=date(2026, 1, 2), amount=amount("3/4", "oz"), extent=measures(voids=8))
    made = plan([used], rules, **CRACKS)
    assert mosts(made)["oz"] == Fraction("0.25")
    gone = use(date=date(2026, 1, 2), amount=amount(1, "oz"), extent=measures(voids=10))
    made = plan([gone], rules, **CRACKS)
    assert made.verdict == REFUSED
    assert mosts(made) == {}


def test_a_least_amount_that_is_a_must_is_climbed_over():
    least = limit(Shape.RATE, name="not-less", least=q("0.49", "oz"), per=q(100, "ft"),
                  per_what="length", below_breaks=True)  # fmt: skip
    made = plan((), label_with("ridgeline-dust", least), **CRACKS)
    assert made.verdict == ALLOWED
    assert mosts(made)["oz"] == Fraction("0.9")


# --- the mix ---------------------------------------------------------------------------------


def test_a_mix_is_told_as_concentrate_for_a_finished_volume():
    made = plan(**BAND, dilution="1 fl oz/gal")
    # 1.25 gal per 1,000 sq ft on 600 sq ft are 0.75 gal of mix, and 1 fl oz for each gallon.
    assert made.verdict == ALLOWED
    assert mosts(made) == {"fl oz": Fraction(96), "gal": Fraction("0.75")}
    assert made.mix is not None
    assert made.mix.parts[0] == q("0.75", "fl oz")
    assert "finished mix" in texts(made, "Mix")[0]


def test_a_strength_in_per_cent_of_active_ingredient_uses_the_specific_gravity():
    made = plan(**BAND, dilution="0.06 % ai")
    # 1 gal at 0.06 % of 6.5 % w/w, specific gravity 1.021: 1.1572... fl oz (samples/EXPECTED.md),
    # so 3/4 gal take 0.8679... fl oz.
    assert made.mix is not None
    value = book().units.convert(made.mix.exact, "fl oz").value
    assert value == Fraction(96) * Fraction("0.0006") / (Fraction("0.065") * Fraction("1.021"))
    assert made.mix.parts[0] == q("0.85", "fl oz")


def test_without_a_strength_the_labels_least_is_taken_and_said():
    made = plan(**BAND)
    assert made.use.dilution is not None
    assert made.use.dilution.product == q("0.4", "fl oz")
    assert "the least that the label names" in texts(made, "Mix")[1]


def test_a_mix_that_is_too_strong_is_refused():
    made = plan(**BAND, dilution="1.3 fl oz/gal")
    assert made.verdict == REFUSED
    assert "the label allows 1.2 fl oz" in made.refused[0].text


# --- placements and puffs ----------------------------------------------------------------------


def test_placements_are_counted_and_weighed():
    made = plan(product="marsh-gel", method="bait", places="window track", extent="12 placements")
    assert mosts(made)["g"] == 6  # at most 0.5 g a placement
    told = [text for text in texts(made, "How much") if text.startswith("placements")]
    assert told == ["placements: at most 30 per dwelling, here 30; planned 12"]


def test_a_light_coat_is_told_by_the_calibration_of_the_tool():
    made = plan(**CRACKS, equipment="duster-a")
    coat = next(text for text in texts(made, "How much") if "light coat" in text)
    # 180 ft are 2,160 in: 120 puffs at 18 in, 180 at 12 in, 0.11 g each; common practice, no source
    assert "120 to 180 puffs, 13.2 g to 19.8 g" in coat
    assert any("no more than half: 4 oz" in text for text in texts(made, "How much"))


# --- refusals, preparation, cautions -----------------------------------------------------------


def test_a_prohibited_ingredient_is_refused_with_the_law():
    made = plan(product="slate-powder", pests="mice", extent="2 voids")
    # Food and Agricultural Code 12978.7(e), DPR letter ENF 24-20 of 2024-12-20
    assert made.verdict == REFUSED
    assert any("12978.7(e)" in item.text for item in made.refused)


def test_a_place_that_the_label_forbids_is_refused_with_its_line():
    made = plan(product="ridgeline-dust", places="under refrigerator", extent="4 voids")
    assert made.verdict == REFUSED
    assert "appliance fan" in made.refused[0].text
    assert made.refused[0].sources[0].startswith("labels/ridgeline-dust.toml:")


def test_what_must_be_prepared_is_told_and_taken_as_done():
    made = plan(product="ridgeline-dust", places="kitchen pipe entry", extent="8 voids")
    assert made.verdict == ALLOWED
    assert made.use.prepared == ("food covered",)
    assert "food covered" in texts(made, "First")[0]
    refused = plan(product="ridgeline-dust", places="kitchen pipe entry", extent="8 voids",
                   prepared="none")  # fmt: skip
    assert refused.verdict == REFUSED


def test_preparation_with_who_when_and_how_long_is_written_as_it_is_asked_for():
    airing = limit(Shape.PREPARE, name="airing", words=("ventilated",), step="after",
                   lasting=q(30, "min"))  # fmt: skip
    back = limit(Shape.REENTRY, name="back", lasting=q(2, "h"))
    gloves = limit(Shape.PROTECTION, name="gloves", measure="apply", words=("label in hand",))
    rules = label_with("ridgeline-dust", airing, back, gloves)
    made = plan((), rules, product="ridgeline-dust", extent="8 voids")
    assert made.verdict == ALLOWED
    assert made.use.prepared == (
        "ventilated (after, 30 min)", "kept out (2 h)", "label in hand (apply)",
    )  # fmt: skip
    assert "label in hand (apply)" in texts(made, "Wear")[0]
    assert "kept out (2 h)" in texts(made, "Back in")[0]


def test_where_the_file_says_nothing_of_protection_the_label_in_hand_does():
    made = plan(**CRACKS)
    assert texts(made, "Wear") == ["not in the label file: read the label in hand"]


def test_moving_air_must_be_answered_before_dust_goes_in():
    made = plan(product="ridgeline-dust", extent="8 voids", avoided="")
    assert made.verdict == CANNOT_TELL
    assert "moving air" in made.open[0].text
    assert "--avoided" in made.open[0].settle


def test_the_usual_cautions_stand_and_the_number_to_call_has_its_source():
    care = dict(plan(product="ridgeline-dust", extent="8 voids").sections)["Care"]
    words = " ".join(item.text for item in care)
    assert all(word in words for word in ("Power off", "Label in hand", "aquariums", "1-800"))
    assert all(item.sources for item in care)
    assert "poisonhelp.hrsa.gov" in care[-1].sources[0]


def test_every_binding_statement_names_its_source():
    for cells in (CRACKS, BAND, {"product": "tarn-aerosol", "method": "space", "extent": "1 can"}):
        made = plan([use(date=date(2026, 1, 2))], **cells)
        for name, items in made.sections:
            if name != "Advice":
                assert all(item.sources for item in items), name


# --- again, history, other products ------------------------------------------------------------


def test_the_tenth_day_after_is_the_first_on_which_it_may_be_done_again():
    assert "again from 2026-01-24" in texts(plan(**CRACKS), "Again")[0]  # 10 days, inclusive


def test_a_refusal_for_the_interval_says_from_when():
    made = plan([use(date=date(2026, 1, 9))], product="ridgeline-dust", extent="8 voids")
    assert made.verdict == REFUSED
    assert "this may be done from 2026-01-19" in texts(made, "Again")[0]


def test_visits_left_this_year():
    past = [
        use("ridgeline-sc", date=date(2026, 1, day), setting="at structure", method="band",
            amount=amount(1, "gal", Basis.MIX), dilution=rate(1), visit=f"v{day}",
            extent=measures(area=(1000, "sq ft")))
        for day in (1, 2, 3)
    ]  # fmt: skip
    made = plan(past, **BAND | {"date": "2026-02-14"})
    # six visits a calendar year (the label, samples/products.md): three gone, this is the fourth
    assert any("after this one 2 more of 6" in text for text in texts(made, "Again"))


def test_history_tells_days_products_and_modes_of_action():
    made = plan([use(date=date(2025, 12, 1), places=("attic",))], **CRACKS)
    (told,) = texts(made, "Before this")
    assert told.startswith("2025-12-01, 44 days before: Ridgeline Crevice Dust, void (attic)")
    assert told.endswith("mode of action 3A")


def test_another_product_has_none_of_the_last_modes_of_action():
    past = [use(date=date(2025, 12, 1))]
    (told,) = texts(plan(past, product="ridgeline-dust", extent="8 voids; 100 sq ft"), "Instead")
    # 3A was last; the desiccant dust is for voids indoors against ants and has no such mode
    assert told.startswith("Alder Desiccant Dust")
    (none,) = texts(plan(past, **CRACKS), "Instead")
    assert none.startswith("none;")
    (first,) = texts(plan(**CRACKS), "Instead")
    assert first.startswith("no earlier work")


def test_the_product_offered_is_one_that_the_plan_would_allow():
    past = [use(date=date(2025, 12, 1))]
    job = {"product": "ridgeline-dust", "extent": "8 voids; 100 sq ft"}
    assert texts(plan(past, **job), "Instead")[0].startswith("Alder")
    assert plan(past, **job | {"product": "alder-dust"}).verdict == ALLOWED


# --- faults, the ledger, the command -----------------------------------------------------------


def test_a_wish_that_cannot_be_read_gives_every_fault():
    found = make_plan(stage(JOB | {"product": "nothing", "applicator": "", "date": "soon"}))
    assert isinstance(found, tuple)
    assert all(isinstance(fault, Fault) for fault in found)
    assert {fault.origin.column for fault in found} >= {"product", "applicator", "date"}
    assert isinstance(make_plan(stage(JOB | CRACKS | {"amount": "5 puffs"})), tuple)


@pytest.fixture
def firm(tmp_path):
    made = sample_workspace(tmp_path / "firm")
    record_sheet(made, "day.csv", sheet({"date": "2026-01-09"}), "renner")
    return made


def test_asking_changes_nothing(firm):
    with firm.store.reading() as reader:
        head = reader.head
    new = where("9 Nowhere Lane, Auburn, CA 95603") | {"county": "Placer", "site kind": "dwelling"}
    job = {name: text for name, text in (JOB | CRACKS).items() if name != "site"}
    for cells in ({**job, "site": "S0001"}, {**job, **new}):
        assert isinstance(prepare(firm, cells), Prepared)
    with firm.store.reading() as reader:
        assert reader.head == head
        assert reader.count_sites() == 1


def test_the_ledgers_history_binds(firm):
    found = prepare(firm, JOB | CRACKS)
    assert isinstance(found, Prepared)
    assert found.plan.verdict == REFUSED  # the door frame was treated five days before
    assert "2026-01-19" in texts(found.plan, "Again")[0]


def command(firm, *more):
    job = [
        "prepare", "ridgeline-dust", "--workspace", str(firm.root), "--at", "S0001",
        "--applicator", "renner", "--method", "crack and crevice", "--setting", "at structure",
        "--places", "siding seam", "--pests", "ants", "--extent", "180 ft", "--date", "2026-01-14",
    ]  # fmt: skip
    return CliRunner().invoke(main, [*job, *more])


def test_the_command_prints_one_screen_and_ends_with_its_code(firm, tmp_path):
    done = command(firm)
    assert done.exit_code == 0, done.output
    assert done.output.startswith("ALLOWED")
    assert max(map(len, done.output.split("Sources")[0].splitlines())) <= 100
    assert command(firm, "--places", "door frame").exit_code == 1
    assert command(firm, "--extent", "").exit_code == 2
    bad = command(firm, "--applicator", "nobody")
    assert (bad.exit_code, bad.stdout) == (2, "")
    assert command(firm, "--at", "somewhere").exit_code == 2
    assert command(firm, "--out", str(tmp_path / "page.doc")).exit_code == 2


def test_json_and_the_page_say_the_same(firm, tmp_path):
    page = tmp_path / "page.pdf"
    done = command(firm, "--json", "--out", str(page))
    told = json.loads(done.stdout)
    assert told["allowed"] is True
    assert {"amount": "0.9", "unit": "oz", "basis": "product"} in told["most"]
    assert told["not_here"][0]["sources"]
    assert page.read_bytes().startswith(b"%PDF")


def test_text_values_and_sheet_hold_every_statement():
    made = plan([use(date=date(2026, 1, 2))], **CRACKS)
    text = " ".join(plan_text(page_of(made, "label")).split())
    cells = {row[1] for row in plan_sheet(page_of(made, "label")).rows}
    values = json.dumps(plan_values(made, "label"), ensure_ascii=False)
    for _, items in made.sections:
        for item in items:
            assert " ".join(item.text.rstrip(".").split()) in text
            assert any(item.text.rstrip(".") in cell for cell in cells)
            assert json.dumps(item.text, ensure_ascii=False)[1:-1] in values
    assert document([plan_sheet(page_of(made, "label"))]).startswith(b"%PDF")


def test_an_address_is_read_with_or_without_its_unit():
    assert where("s3") == {"site": "s3"}
    assert where("46 Cornish Row, Unit B, Grass Valley, CA 95945")["unit"] == "Unit B"
    assert where("118 Tollhouse Lane, Auburn, ca 95603")["state"] == "CA"


def test_what_the_records_of_a_known_site_answer_need_not_be_said(firm):
    bare = {name: text for name, text in (JOB | CRACKS).items() if name not in {"site", "customer"}}
    asked = bare | where("118 Tollhouse Ln, Auburn, CA 95603") | {"date": "2026-01-20"}
    found = prepare(firm, asked)
    assert isinstance(found, Prepared), found
    use = found.plan.use
    assert (use.site, use.county, use.site_kind) == ("S0001", "Placer", "dwelling")
    assert use.customer == "M. Okafor"
    told = texts(found.plan, "On file")
    assert (
        told[0] == "customer: M. Okafor, as recorded here on 2026-01-09 (--customer says another)"
    )
    assert any("county Placer, site kind dwelling" in text for text in told)
    other = prepare(firm, asked | {"customer": "A. Other"})
    assert isinstance(other, Prepared)
    assert other.plan.use.customer == "A. Other"
    assert not any(text.startswith("customer") for text in texts(other.plan, "On file"))


def test_a_record_after_the_day_of_the_job_answers_nothing(firm):
    found = prepare(firm, JOB | CRACKS | {"date": "2026-01-08", "customer": ""})
    assert isinstance(found, Prepared)
    assert found.plan.use.customer == ""
    assert not any(text.startswith("customer") for text in texts(found.plan, "On file"))


def test_an_address_that_the_ledger_does_not_know_is_filled_from_nothing(firm):
    near = where("118 Tollhouse Lane Apt 2, Auburn, CA 95603") | {"county": "Placer"}
    bare = {name: text for name, text in (JOB | CRACKS).items() if name not in {"site", "customer"}}
    found = prepare(firm, bare | near)
    assert isinstance(found, Prepared)
    assert found.plan.use.customer == ""
    assert texts(found.plan, "On file") == []
    assert not isinstance(prepare(firm, bare | {**near, "county": ""}), Prepared)


def test_what_breaks_whatever_the_amount_is_not_blamed_on_an_amount():
    made = plan(product="ridgeline-dust", method="crack and crevice", setting="at structure",
                places="under refrigerator", extent="12 ft")  # fmt: skip
    assert made.verdict == REFUSED
    assert [found.text for found in made.refused if "per 100 ft" in found.text] == []
    assert made.use.amount.text == "0.1 g"
