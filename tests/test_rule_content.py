"""What the shipped rule files say, held against their sources and against the grammar page."""

from __future__ import annotations

import csv
import re
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Any

import pytest

from ledger.rulebook.model import Read, RuleFile, Shape
from ledger.rulebook.reading import read_book
from ledger.rulefile import RawFile, gather, kept_files
from ledger.values.draft import APPLICATION_HEADINGS
from ledger.values.product import Formulation, ProductClass
from tests.cases import book
from tests.house import ROOT

SAMPLES = ROOT / "fixtures" / "samples"


def file_of(name: str) -> RuleFile:
    return next(file for file in book().rule_files() if file.id == name)


def test_the_shipped_files_have_no_fault() -> None:
    gathered = gather(ROOT / "rules", None, None)
    assert read_book(gathered.files).faults == ()


@dataclass(frozen=True)
class Row:
    """What a label must say, by the table of invented products."""

    registration: str | None
    formulation: Formulation
    ingredients: dict[str, str]
    limits: set[str] = field(default_factory=set)
    restricted: ProductClass = ProductClass.GENERAL


# The table of invented products that the samples and the demonstration share; made up.
LABELS = {
    "ridgeline-dust": Row("99999-11", Formulation.DUST, {"cyfluthrin": "0.1"}, {
        "allowed", "rate 0.5 oz per 100 ft", "rate 1 oz per 10 voids", "interval 10 day place",
        "keep_off appliance fan", "keep_off air supply air return", "keep_off food surface",
        "prepare food covered",
    }),
    "alder-dust": Row("99999-12", Formulation.DUST, {"silicon dioxide": "92"}, {
        "allowed", "rate 4 oz per 1000 sq ft", "keep_off wet",
    }),
    "ridgeline-sc": Row("99999-21", Formulation.LIQUID, {"bifenthrin": "6.5"}, {
        "allowed", "geometry height 3 ft", "strength 0.4 fl oz to 1.2 fl oz per 1 gal",
        "rate 1.25 gal of mix per 1000 sq ft", "weather rain", "weather wind 10 mph",
        "buffer water 25 ft", "interval 7 day address", "visits 6 calendar year",
    }),
    "marsh-gel": Row("99999-31", Formulation.BAIT, {"dinotefuran": "0.4"}, {
        "allowed", "rate 0.5 g per 1 placements", "count 30 placements per 1 dwellings",
        "keep_off food surface",
    }),
    "tarn-aerosol": Row(
        "99999-41", Formulation.PRESSURISED, {"pyrethrins": "0.4", "piperonyl butoxide": "3"}, {
            "allowed", "count 1 cans per 1 rooms", "enclosure 5 ft 5 ft",
            "prepare ignition sources off occupants out ventilated",
        }),
    "cedar-granule": Row("99999-51", Formulation.GRANULE, {"lambda-cyhalothrin": "0.04"}, {
        "allowed", "rate 3 lb per 1000 sq ft", "prepare hard surfaces swept",
        "weather wind 10 mph",
    }),
    "granite-powder": Row("99999-61", Formulation.DUST, {"zinc phosphide": "8"}, {
        "supervision", "allowed", "prepare void closed", "rate 4 oz per 1 dwellings",
    }, ProductClass.RESTRICTED),
    "slate-powder": Row("99999-62", Formulation.DUST, {"chlorophacinone": "0.2"}, {
        "supervision", "allowed", "prepare void closed", "rate 4 oz per 1 dwellings",
    }, ProductClass.RESTRICTED),
    "hearth-mint": Row(None, Formulation.LIQUID, {"peppermint oil": "2"}, {"allowed"},
                       ProductClass.MINIMUM_RISK),
}  # fmt: skip


def said(value: Any) -> str:
    number = value.value
    text = str(number) if number.denominator == 1 else str(float(number))
    return text if value.unit == "each" else f"{text} {value.unit}"


def sentence(limit: Any) -> str:
    """Return a limit in few words, as the table above writes it."""
    shape = str(limit.shape)
    per = "" if limit.per is None else f" per {said(limit.per)}"
    if limit.per is not None and limit.per.unit == "each":
        per = f"{per} {limit.per_what}"
    match limit.shape:
        case Shape.RATE:
            return f"rate {said(limit.most)}{' of mix' if limit.basis == 'mix' else ''}{per}"
        case Shape.COUNT:
            return f"count {said(limit.most)} {limit.measure}{per}"
        case Shape.STRENGTH:
            return f"strength {said(limit.least)} to {said(limit.most)}{per}"
        case Shape.ENCLOSURE:
            return f"enclosure {said(limit.least)} {said(limit.per)}"
        case Shape.GEOMETRY | Shape.WEATHER:
            bound = f" {said(limit.most)}" if limit.most else ""
            return f"{shape} {limit.measure}{bound}"
        case Shape.INTERVAL:
            return f"interval {said(limit.least)} {limit.same}"
        case Shape.VISITS:
            return f"visits {said(limit.most)} {limit.within}"
        case Shape.BUFFER:
            return f"buffer {limit.words[0]} {said(limit.least)}"
        case Shape.KEEP_OFF | Shape.PREPARE:
            return f"{shape} {' '.join(limit.words)}"
        case _:
            return shape


@pytest.mark.parametrize("name", list(LABELS))
def test_the_nine_labels_say_what_the_table_says(name: str) -> None:
    file, row = file_of(name), LABELS[name]
    product = file.product
    assert product is not None
    assert (product.registration, product.formulation) == (row.registration, row.formulation)
    assert product.product_class is row.restricted
    shares = {part.name: part.share for part in product.ingredients}
    assert shares == {key: Fraction(value) / 100 for key, value in row.ingredients.items()}
    assert {sentence(limit) for limit in file.limits} == row.limits


def test_there_are_no_other_labels() -> None:
    assert {file.id for file in book().labels} == set(LABELS)


def test_cas_numbers_are_well_formed() -> None:
    # The check digit of a CAS registry number: sum of digit times position from the right,
    # modulo ten (CAS's own rule).
    for file in book().labels:
        assert file.product is not None
        for part in file.product.ingredients:
            assert part.cas is not None
            digits = part.cas.replace("-", "")
            total = sum(int(d) * n for n, d in enumerate(reversed(digits[:-1]), start=1))
            assert total % 10 == int(digits[-1]), part.name


def test_modes_of_action_are_those_of_the_scheme() -> None:
    # IRAC classification, as read in copies of the scheme; rodenticides have none.
    groups = {
        part.name: part.group
        for file in book().labels
        if file.product
        for part in file.product.ingredients
    }
    assert groups == {
        "cyfluthrin": "3A", "silicon dioxide": "UNM", "bifenthrin": "3A", "dinotefuran": "4A",
        "pyrethrins": "3A", "piperonyl butoxide": None, "lambda-cyhalothrin": "3A",
        "zinc phosphide": None, "chlorophacinone": None, "peppermint oil": None,
    }  # fmt: skip


# --- California and the United States ---


def test_the_58_counties_have_the_states_own_numbers() -> None:
    # fixtures/government/ca_counties.csv: numbers of the Department of Pesticide Regulation.
    path = ROOT / "fixtures" / "government" / "ca_counties.csv"
    with path.open(encoding="utf-8", newline="") as handle:
        rows = [(row["county"], row["pur_county_number"]) for row in csv.DictReader(handle)]
    assert len(rows) == 58
    assert list(file_of("us-ca").counties) == rows


def test_structural_work_has_the_states_own_site_code() -> None:
    path = ROOT / "fixtures" / "government" / "ca_site_codes_nonproduction.csv"
    with path.open(encoding="utf-8", newline="") as handle:
        codes = {row[0]: row[1] for row in csv.reader(handle)}
    own = dict(file_of("us-ca").site_codes)
    assert codes[own["structural"]] == "STRUCTURAL PEST CONTROL"
    assert codes[own["landscape"]].startswith("LANDSCAPE")


def test_the_monthly_report_is_owed_by_registered_county_also_for_nothing() -> None:
    # 3 CCR 6627, read in the department's study guide and form instructions.
    duty = next(item for item in file_of("us-ca").reports if item.name == "monthly")
    assert (duty.form, duty.every, duty.due_day, duty.per, duty.nil) == (
        "us-ca-monthly", "month", 10, "county", True,
    )  # fmt: skip
    assert book().form(duty.form) is not None


def test_clocks_and_years_are_those_of_the_law() -> None:
    # 7 CFR 110.3(c), (d), (e); 40 CFR 171.303(b)(7); 16 CCR 1970; B&P 8652.
    federal, state = file_of("us-federal"), file_of("us-ca")
    clocks = {item.name: (item.within.value, item.within.unit) for item in federal.deadlines}
    assert clocks == {
        "restricted-record": (14, "day"), "restricted-copy": (30, "day"),
        "training-within-a-year": (12, "month"),  # 40 CFR 171.201, from memory: it informs only
    }  # fmt: skip
    assert [d.name for d in federal.deadlines if not d.read.decides] == ["training-within-a-year"]
    assert {item.years for item in federal.retentions} == {2}
    decided = {item.name: item.years for item in state.retentions if item.read.decides}
    # 16 CCR 1970.4 asks for 3 years of the signed fumigation form.
    assert decided == {"structural-log": 3, "business-records": 3, "fumigation-notice": 3}
    memory = [item for item in state.retentions if not item.read.decides]
    assert [(item.years, item.read) for item in memory] == [(2, Read.MEMORY)]


def test_every_rule_from_memory_is_marked() -> None:
    state = file_of("us-ca")
    marked = {rule.name for rule in state.requirements if not rule.read.decides}
    assert marked == {"log-owner", "log-area", "log-pests", "log-applicator"}


def test_what_was_not_read_is_said() -> None:
    sections = {item.section for item in file_of("us-ca").unread}
    assert {"3 CCR 6624(e)", "16 CCR 1970(b)", "3 CCR 6627 and 6627.1"} <= sections
    assert "40 CFR 171.303(b)(7)" in {item.section for item in file_of("us-federal").unread}


def test_prohibitions_name_their_days_and_exceptions() -> None:
    # Food and Agricultural Code 12978.7(d), (e); letters ENF 23-19 and ENF 24-20.
    rules = {r.name: r for r in file_of("us-ca").limits if r.shape is Shape.PROHIBITED}
    days = {name: str(rule.span.start) for name, rule in rules.items()}
    assert days == {"anticoagulants-2025": "2025-01-01", "diphacinone-2024": "2024-01-01"}
    assert rules["anticoagulants-2025"].words == ("chlorophacinone", "warfarin")
    assert all("(g) and (h)" in rule.exceptions for rule in rules.values())


def test_every_limit_of_a_label_has_an_example_that_breaks_it_or_advises() -> None:
    for file in book().labels:
        spoken = {text.partition(" ")[2] for example in file.examples for text in example.expect}
        assert {limit.name for limit in file.limits} <= spoken, file.id
        assert any(not example.expect for example in file.examples), file.id


# --- words ---


def sample_rows() -> Iterator[dict[str, str]]:
    for path in sorted(SAMPLES.glob("*.csv")):
        with path.open(encoding="utf-8-sig", newline="") as handle:
            reader = csv.reader(handle)
            headings = [text.strip().lower() for text in next(reader)]
            for row in reader:
                yield dict(zip(headings, row, strict=True))


def test_every_word_of_the_sample_sheets_is_known() -> None:
    words = book().words
    lists = {
        "method": "method", "setting": "setting", "site kind": "site_kind", "places": "place",
        "pests": "pest", "prepared": "preparation", "notice": "notice",
    }  # fmt: skip
    seen = 0
    for row in sample_rows():
        for heading, name in lists.items():
            for item in filter(None, (part.strip() for part in row[heading].split(";"))):
                assert words.find(name, item) is not None, (name, item)
                seen += 1
        for item in filter(None, (part.strip() for part in row["avoided"].split(";"))):
            if item == "none present":
                continue
            place, reason = re.fullmatch(r"(.*) \(([a-z ]+).*\)", item).groups()  # type: ignore[union-attr]
            assert words.find("place", place) is not None, place
            assert words.find("reason", reason) is not None, reason
    assert seen > 80


def test_the_places_of_the_labels_carry_their_traits() -> None:
    words = book().words
    assert {"kitchen", "appliance fan"} <= words.traits("place", "Under  Fridge")
    assert "air return" in words.traits("place", "return air grille")
    assert "food surface" in words.traits("place", "countertop")
    assert "water" in words.traits("place", "creek")
    assert "appliance fan" not in words.traits("place", "vent hood")
    assert words.find("method", "Crack & Crevice") is not None


def test_nothing_is_spelt_two_ways_into_two_words() -> None:
    table = tomllib.loads((ROOT / "rules" / "words.toml").read_text(encoding="utf-8"))
    for name, rows in table.items():
        if not isinstance(rows, list):
            continue
        spellings = [text for row in rows for text in (row["name"], *row.get("also", ()))]
        folded = [" ".join(t.replace("&", " and ").casefold().split()) for t in spellings]
        assert len(folded) == len(set(folded)), name


# --- the page that explains the grammar ---

PAGE = (ROOT / "rules" / "README.md").read_text(encoding="utf-8")
PASSAGES = re.findall(r"```toml\n(.*?)```", PAGE, re.DOTALL)
HEAD = PASSAGES[0]


def made(*passages: str) -> RawFile:
    """Return a label made of passages of the page."""
    version, _, rest = PASSAGES[1].partition("[product]")
    text = HEAD.partition("[source")[0] + version + HEAD[HEAD.index("[source") :]
    text = "\n".join((text, "[product]" + rest, *passages))
    (file,) = kept_files({"labels/my-dust.toml": text.encode()})
    return file


def faults_of(*files: RawFile) -> list[str]:
    shipped = gather(ROOT / "rules", None, None).files
    singles = [file for file in shipped if file.family in {"units", "words"}]
    return [f"{fault.code} {fault.what}" for fault in read_book([*singles, *files]).faults]


LIMITS = [text for text in PASSAGES if text.startswith("[[limit]]")]


@pytest.mark.parametrize("passage", LIMITS, ids=lambda text: text.split('"')[1])
def test_every_passage_of_the_page_can_be_copied(passage: str) -> None:
    assert faults_of(made(passage)) == []


def test_the_page_shows_every_shape() -> None:
    shown = set(re.findall(r'shape = "(\w+)"', "".join(LIMITS)))
    assert shown == {str(shape) for shape in Shape}


def test_the_examples_of_the_page_can_be_copied_with_their_limits() -> None:
    (examples,) = (text for text in PASSAGES if text.startswith("[[example]]"))
    named = [t for t in LIMITS if '"crack-rate"' in t or '"ten-days"' in t]
    assert faults_of(made(*named, examples)) == []


def test_the_fields_of_a_requirement_can_be_copied() -> None:
    (require,) = (text for text in PASSAGES if text.startswith("[[require]]"))
    text = HEAD.replace('id = "my-dust"', 'id = "us-zz"\nstate = "ZZ"\ntime_zone = "Etc/UTC"')
    (file,) = kept_files({"jurisdictions/us-zz.toml": f"{text}\n{require}".encode()})
    assert faults_of(file) == []


def test_the_page_names_every_phrase_of_reading() -> None:
    for phrase in Read:
        assert f"`{phrase}`" in PAGE
    for heading in ("places", "avoided", "prepared", "notice"):
        assert heading in APPLICATION_HEADINGS
        assert f"`{heading}`" in PAGE
