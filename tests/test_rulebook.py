"""Good rule files become values; the book says which of them are in force on a day."""

from __future__ import annotations

import hashlib
import tomllib
from datetime import date
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ledger.rulebook import grammar
from ledger.rulebook.firm import NO_FIRM
from ledger.rulebook.model import Op, Read, Shape, Test
from ledger.rulebook.products import REGISTRATION, cas_holds
from ledger.rulebook.reading import read_book
from ledger.rulefile import RawFile, gather, kept_files, shipped_rules
from ledger.values.amount import Basis, Quantity
from ledger.values.dated import Span
from ledger.values.finding import render_fault
from ledger.values.product import Formulation, ProductClass

ROOT = Path(__file__).parent.parent
FIRM = ROOT / "ledger" / "demo" / "useledger.toml"
LISTS = [
    RawFile(family, f"{family}.toml", (shipped_rules() / f"{family}.toml").read_bytes())
    for family in ("units", "words")
]
HEAD = """\
format = 1
id = "{id}"
title = "A dust"
checked_on = 2026-01-31
{top}
[product]
name = "A dust"
registration = "{number}"
formulation = "dust"
class = "general"
used = "as sold"
source = "label"
{product}
[[ingredient]]
name = "cyfluthrin"
per_cent = "0.1"
[source.label]
title = "Label"
section = "directions"
read = "label in hand"
[source.old]
title = "Older label"
read = "from memory, not verified"
[[limit]]
name = "uses-old"
shape = "keep_off"
source = "old"
says = "Not there."
traits = ["food surface"]
"""


def q(value: str, unit: str) -> Quantity:
    return Quantity(Fraction(value), unit)


def label(rules: str = "", **said: str) -> bytes:
    filled = {"id": "a-dust", "number": "99999-1", "top": "", "product": ""} | said
    return (HEAD.format(**filled) + rules).encode()


def book_of(*datas: bytes, family: str = "label", folder: str = "labels"):
    files = [RawFile(family, f"{folder}/{n}.toml", data) for n, data in enumerate(datas, start=1)]
    return read_book([*LISTS, *files])


def messages(book) -> list[str]:
    return [render_fault(fault) for fault in book.faults]


def limits_of(rules: str):
    book = book_of(label(rules))
    assert messages(book) == []
    return book.labels[0].limits[1:]


# --- what ships ---


def test_every_shipped_file_and_the_demonstration_firm_load_without_a_fault():
    book = read_book(gather(shipped_rules(), None, FIRM).files)
    assert messages(book) == []
    assert len(book.labels) >= 9
    assert {"us-federal", "us-ca"} <= {file.id for file in book.jurisdictions}
    assert book.form("us-ca-monthly")
    assert book.firm.person("renner").licences[0].number == "FR 90427"
    assert book.firm.tool("duster-a").calibrations[0].gives == q("0.11", "g")
    assert book.firm.month_first
    assert len(book.jurisdiction("us-ca").counties) == 58


def test_a_rule_file_knows_the_line_of_each_rule():
    book = read_book(gather(shipped_rules(), None, None).files)
    for file in book.rule_files():
        rows = (shipped_rules() / file.path).read_text(encoding="utf-8").split("\n")
        for limit in file.limits:
            assert rows[limit.ref.line - 1].startswith(("[[limit]]", "[[limit.value]]"))
            assert limit.ref.source
        for item in file.requirements:
            assert rows[item.ref.line - 1].startswith("[[require]]")
            assert f'name = "{item.name}"' in rows[item.ref.line]


# --- limits ---


@pytest.mark.parametrize(
    ("said", "expected"),
    [
        (
            'shape = "rate"\nmost = "1/2 oz"\nper = "100 ft"',
            {"most": q("1/2", "oz"), "per": q("100", "ft"), "per_what": "length"},
        ),
        (
            'shape = "rate"\nmost = "1 oz"\nper = "10 voids"',
            {"per": q("10", "each"), "per_what": "voids", "basis": Basis.PRODUCT},
        ),
        (
            'shape = "rate"\nmost = "0.5 g"\nper = "1 placement"',
            {"per": q("1", "each"), "per_what": "placements"},
        ),
        (
            'shape = "rate"\nmost = "1.25 gal"\nper = "1,000 sq ft"\nbasis = "mix"',
            {"basis": Basis.MIX, "per": q("1000", "sq ft"), "per_what": "area"},
        ),
        (
            'shape = "rate"\nmost = "3.8 g"\nper = "1,000 cu ft"\nbasis = "ai"',
            {"basis": Basis.INGREDIENT, "per": q("1000", "cu ft"), "per_what": "volume"},
        ),
        (
            'shape = "count"\nmeasure = "placements"\nmost = 30\nper = "1 dwelling"',
            {"measure": "placements", "most": q("30", "each"), "per_what": "dwellings"},
        ),
        (
            'shape = "strength"\nleast = "0.4 fl oz"\nmost = "1.2 fl oz"\nper = "1 gal"',
            {
                "least": q("0.4", "fl oz"),
                "most": q("1.2", "fl oz"),
                "per": q("1", "gal"),
                "per_what": "mix",
                "basis": Basis.PRODUCT,
            },
        ),
        (
            'shape = "strength"\nmost = "0.1 % ai"',
            {"most": q("0.1", "%"), "basis": Basis.INGREDIENT, "per": None},
        ),
        (
            'shape = "strength"\nmost = "1% product"',
            {"most": q("1", "%"), "basis": Basis.PRODUCT, "per": None},
        ),
        (
            'shape = "enclosure"\nmore_than = "5 ft by 6 ft"',
            {
                "measure": "room length",
                "least": q("5", "ft"),
                "per_what": "room width",
                "per": q("6", "ft"),
                "inclusive": False,
            },
        ),
        (
            'shape = "geometry"\nmeasure = "height"\nmost = "3 ft"',
            {"measure": "height", "most": q("3", "ft"), "inclusive": True},
        ),
        (
            'shape = "interval"\nleast = "10 days"\nsame = "place"',
            {"least": q("10", "day"), "same": "place"},
        ),
        (
            (
                'shape = "visits"\nmost = 6\nwithin = "calendar year"\nsame = "address"\n'
                'counts = "visits"'
            ),
            {"most": q("6", "each"), "within": "calendar year", "measure": "visits"},
        ),
        (
            'shape = "weather"\nmeasure = "temperature"\nleast = "-5 F"\nmandatory = false',
            {"measure": "temperature", "least": q("-5", "F"), "mandatory": False},
        ),
        (
            'shape = "weather"\nmeasure = "rain"\nexpects = false',
            {"measure": "rain", "expects": False},
        ),
        (
            'shape = "buffer"\nfrom_trait = "water"\nleast = "25 ft"',
            {"words": ("water",), "least": q("25", "ft")},
        ),
        ('shape = "keep_off"\ntraits = ["Appliance  Fan"]', {"words": ("appliance fan",)}),
        ('shape = "prepare"\ndone = ["food removed"]', {"words": ("food covered",)}),
        (
            'shape = "allowed"\nmethod = ["cracks", "void"]\npest = ["ant"]',
            {"allowed": (("method", ("crack and crevice", "void")), ("pest", ("ants",)))},
        ),
        (
            'shape = "supervision"\ncertified = "applicator or supervisor"',
            {"words": ("applicator or supervisor",)},
        ),
        (
            'shape = "prohibited"\ningredients = ["chlorophacinone"]\nexceptions = "(g), (h)"',
            {"words": ("chlorophacinone",), "exceptions": "(g), (h)"},
        ),
        (
            'shape = "ask"\nanswers = "moving air"\nblocks = true',
            {"words": ("moving air",), "blocks": True},
        ),
    ],
)
def test_each_shape_becomes_a_limit(said, expected):
    (limit,) = limits_of(f'[[limit]]\nname = "x"\nsource = "label"\nsays = "So."\n{said}\n')
    assert limit.shape == Shape(tomllib.loads(said)["shape"])
    assert {key: getattr(limit, key) for key in expected} == expected
    assert (limit.name, limit.says, limit.read) == ("x", "So.", Read.LABEL)
    assert limit.ref.source == "Label, directions"
    assert limit.ref.key == "limit[2]"


VALUES = """
[[limit]]
name = "x"
shape = "rate"
says = "So."
[[limit.value]]
from = 2020-01-01
most = "1 oz"
per = "100 ft"
source = "old"
[[limit.value]]
from = 2022-06-15
most = "0.5 oz"
per = "100 ft"
source = "label"
[[limit.value]]
from = 2024-01-01
ended = true
source = "label"
[[limit.value]]
from = 2027-01-01
planned = true
most = "0.1 oz"
per = "100 ft"
source = "label"
"""


def test_dated_values_hold_from_their_day_to_the_day_before_the_next():
    limits = limits_of(VALUES)
    assert [(item.most, item.span, item.read) for item in limits] == [
        (q("1", "oz"), Span(date(2020, 1, 1), date(2022, 6, 14)), Read.MEMORY),
        (q("0.5", "oz"), Span(date(2022, 6, 15), date(2023, 12, 31)), Read.LABEL),
        (q("0.1", "oz"), Span(date(2027, 1, 1), None), Read.LABEL),
    ]
    assert [item.ref.key for item in limits] == [
        f"limit[2].value[{number}]" for number in (1, 2, 4)
    ]
    on = {day: [i.most for i in limits if i.span.holds(day)] for day in (
        date(2019, 12, 31), date(2022, 6, 14), date(2022, 6, 15), date(2024, 1, 1),
    )}  # fmt: skip
    assert list(on.values()) == [[], [q("1", "oz")], [q("0.5", "oz")], []]


CONDITION = """
[[limit]]
name = "x"
shape = "keep_off"
source = "label"
says = "So."
traits = ["kitchen"]
"""


def test_a_condition_is_a_table_or_several():
    one = CONDITION + '[limit.when]\nmethod = ["cracks"]\nrain = false\n'
    (limit,) = limits_of(one)
    method = Test("method", Op.ANY_OF, ("crack and crevice",))
    assert limit.when == ((method, Test("rain", Op.ANY_OF, ("no",))),)
    two = CONDITION + (
        "[[limit.when]]\narea = { at_least = '1 sq ft', at_most = '1 acre' }\n"
        "[[limit.when]]\nsupervisor = { given = false }\n"
        "pest = { none_of = ['mouse'], given = true }\n"
    )
    (limit,) = limits_of(two)
    assert limit.when == (
        (
            Test("area", Op.AT_LEAST, quantity=q("1", "sq ft")),
            Test("area", Op.AT_MOST, quantity=q("1", "acre")),
        ),
        (
            Test("supervisor", Op.GIVEN, flag=False),
            Test("pest", Op.NONE_OF, ("mice",)),
            Test("pest", Op.GIVEN, flag=True),
        ),
    )


# --- products ---


def test_a_product_is_read_whole():
    data = label(
        '[[limit]]\nname="y"\nshape="keep_off"\nsource="label"\nsays="s"\ntraits=["food"]\n',
        top='version = "7"\nfrom = 2025-01-01\nuntil = 2025-12-31',
        product='lots = ["A1", "A2"]\nlasts = "6 months"\nlasts_source = "old"\n'
        'specific_gravity = "1.021"\nsignal_word = "CAUTION"',
    )
    book = book_of(data)
    assert messages(book) == []
    product = book.labels[0].product
    assert product.registration == "99999-1"
    assert product.formulation is Formulation.DUST
    assert product.product_class is ProductClass.GENERAL
    assert not product.diluted
    assert product.ingredients[0].share == Fraction(1, 1000)
    assert product.specific_gravity == Fraction("1.021")
    assert (product.version, product.lots) == ("7", ("A1", "A2"))
    assert product.in_force == Span(date(2025, 1, 1), date(2025, 12, 31))
    assert product.digest == hashlib.sha256(data).hexdigest()
    assert product.file == "labels/1.toml"
    assert book.labels[0].lasts == "6 months (from memory, not verified)"


def test_check_digits_of_cas_numbers():
    # Numbers of reference/labels-and-units section 4; water is the example everybody gives.
    good = ("7732-18-5", "68359-37-5", "82657-04-3", "7631-86-9", "51-03-6", "3691-35-8")
    assert all(map(cas_holds, good))
    wrong = [f"{cas[:-1]}{(int(cas[-1]) + 1) % 10}" for cas in good]
    assert not any(map(cas_holds, [*wrong, "7732-18", "7732185", "٧٧٣٢-18-5", ""]))


def test_forms_of_registration_numbers():
    # 40 CFR 156.10(e) and 152.132(d)(3) for two and three groups; 67 FR 02-17869 for EUP; the
    # special local need form is from memory.
    for number in (
        "432-763",
        "100-1234-5678",
        "69224-EUP-1",
        "CA-170003",
        "CA170003",
        "432-763-ZA",
    ):
        assert REGISTRATION.fullmatch(number), number
    for number in ("0432-763", "432", "6767-EGN", "12-31-2024x", "EPA 432-763", "n/a"):
        assert not REGISTRATION.fullmatch(number), number


# --- the book ---


OLD = label(top='version = "1"', product='lots = ["L1"]')
NEW = label(top='version = "2"\nfrom = 2026-01-15', product='lots = ["L2"]')


def test_the_label_in_hand_is_found_by_lot_else_by_day():
    book = book_of(NEW, OLD)
    assert messages(book) == []

    def version(day: date, lot: str = "") -> str | None:
        product = book.product("a-dust", day, lot)
        return product.version if product else None

    assert version(date(2026, 1, 14)) == "1"
    assert version(date(2026, 1, 15)) == "2"
    assert version(date(2026, 1, 15), "l1") == "1"
    assert version(date(2026, 1, 14), "L2") == "2"
    assert version(date(2026, 1, 15), "another lot") == "2"
    assert book.product("99999-1", date(2026, 2, 1)).version == "2"
    assert book.label_for("b-dust", date(2026, 2, 1)) is None
    assert [item.version for item in book.lexicon().products] == ["2", "1"]
    assert [item.version for item in book.lexicon(date(2026, 1, 1)).products] == ["1", "2"]


def test_a_label_is_not_in_force_after_its_last_day():
    book = book_of(label(top='version = "1"\nuntil = 2025-12-31'))
    assert book.label_for("a-dust", date(2025, 12, 31))
    assert book.label_for("a-dust", date(2026, 1, 1)) is None
    assert [item.id for item in book.lexicon(date(2026, 1, 1)).products] == ["a-dust"]


def test_a_version_that_cannot_be_read_leaves_the_label_in_doubt():
    broken = NEW.replace(b"formulation", b"fromulation")
    book = book_of(OLD, broken)
    assert [fault.code for fault in book.faults] == ["RULE-UNKNOWN-KEY"]
    assert book.doubtful == {"a-dust": "labels/2.toml", "99999-1": "labels/2.toml"}
    assert book.label_for("a-dust", date(2026, 2, 1)) is None
    assert book.label_for("a-dust", date(2026, 2, 1), "L1").product.version == "1"
    assert [item.version for item in book.lexicon().products] == ["1"]


@pytest.mark.parametrize(
    ("other", "code", "key"),
    [
        (label(top='version = "1"'), "RULE-DUPLICATE", "version"),
        (label(top='version = "3"'), "RULE-DATES", "version"),
        (label(id="b-dust"), "RULE-DUPLICATE", "product.registration"),
        (
            label(top='version = "2"\nfrom = 2026-01-01', product='lots = ["l1"]'),
            "RULE-DUPLICATE",
            "product.lots[1]",
        ),
    ],
)
def test_two_labels_may_not_claim_the_same(other, code, key):
    book = book_of(OLD, other)
    assert [(f.code, f.origin.file, f.origin.column) for f in book.faults] == [
        (code, "labels/2.toml", key)
    ]
    row = other.decode().split("\n")[book.faults[0].origin.row - 1]
    assert row.startswith(key.rpartition(".")[2].partition("[")[0])
    assert [file.path for file in book.labels] == ["labels/1.toml"]


def test_two_files_of_one_family_may_not_share_an_id():
    text = b'format = 1\nid = "p"\ntitle = "P"\nchecked_on = 2026-01-01\n'
    book = book_of(text, text, family="practice", folder="practice")
    assert messages(book) == [
        (
            'practice/2.toml:2: RULE-DUPLICATE id: "p" is also the id of practice/1.toml; '
            "give each file an id of its own"
        )
    ]


def test_the_same_texts_give_the_same_book_and_its_digest_is_that_of_their_list():
    files = gather(shipped_rules(), None, FIRM).files
    book = read_book(files)
    again = read_book(kept_files(book.texts))
    assert again == book
    assert again.digest == book.digest
    rows = sorted(f"{file.path}\0{hashlib.sha256(file.data).hexdigest()}" for file in files)
    listing = "".join("{1}  {0}\n".format(*row.split("\0")) for row in rows)
    assert book.digest == hashlib.sha256(listing.encode()).hexdigest()
    changed = dict(book.texts)
    changed["words.toml"] += b"\n"
    assert read_book(kept_files(changed)).digest != book.digest


def test_the_laws_of_a_place_are_the_federal_ones_and_its_own():
    book = read_book(gather(shipped_rules(), None, None).files)
    assert [file.id for file in book.laws_of("us-ca")] == ["us-federal", "us-ca"]
    assert [file.id for file in book.laws_of("us-federal")] == ["us-federal"]
    assert [file.id for file in book.laws_of("us-zz")] == ["us-federal"]
    assert book.lexicon().place_of_law("CA").county_number("placer") == "31"


def test_a_file_grows_stale_after_its_months():
    book = book_of(label(), label(id="b-dust", number="99999-2", top="stale_after_months = 1"))
    assert messages(book) == []
    assert book.stale(date(2026, 2, 28)) == ()
    assert [file.id for file in book.stale(date(2026, 3, 1))] == ["b-dust"]
    assert [file.id for file in book.stale(date(2027, 1, 31))] == ["b-dust"]
    assert [file.id for file in book.stale(date(2027, 2, 1))] == ["a-dust", "b-dust"]


def test_all_faults_come_out_at_once_in_order():
    bad = label().replace(b'used = "as sold"', b'used = "raw"').replace(b"title", b"tilte", 1)
    files = [
        RawFile("firm", "useledger.toml", b"[frim]\n"),
        RawFile("stray", "lables/x.toml", b""),
        RawFile("label", "labels/b.toml", bad),
        RawFile("label", "labels/a.toml", b"x ="),
        RawFile("practice", "practice/p.toml", b"format = 1\n"),
    ]
    book = read_book([*files, *LISTS])
    assert [(f.origin.file, f.origin.row, f.code) for f in book.faults] == [
        ("labels/a.toml", 1, "RULE-SYNTAX"),
        ("labels/b.toml", 3, "RULE-UNKNOWN-KEY"),
        ("labels/b.toml", 11, "RULE-PHRASE"),
        ("practice/p.toml", 1, "RULE-MISSING-KEY"),
        ("practice/p.toml", 1, "RULE-MISSING-KEY"),
        ("practice/p.toml", 1, "RULE-MISSING-KEY"),
        ("useledger.toml", 1, "RULE-UNKNOWN-KEY"),
        ("lables/x.toml", 1, "RULE-STRAY"),
    ]
    assert book.firm == NO_FIRM
    assert "lables/x.toml" not in book.texts


def test_a_county_that_is_not_there_is_found_against_the_jurisdiction():
    files = [file for file in gather(shipped_rules(), None, FIRM).files if file.family != "firm"]
    text = FIRM.read_text(encoding="utf-8").replace('county = "Placer"', 'county = "Placr"')
    book = read_book([*files, RawFile("firm", "useledger.toml", text.encode())])
    row = text.split("\n").index('county = "Placr"') + 1
    assert messages(book) == [
        (
            f"useledger.toml:{row}: RULE-COUNTY registration[1].county: "
            'us-ca has no county "Placr"; did you mean "Placer"?'
        )
    ]
    assert book.firm == NO_FIRM


def test_a_broken_word_list_does_not_break_other_files():
    words = LISTS[1].data + b'\n[[method]]\nname = "void"\n'
    book = read_book([LISTS[0], RawFile("words", "words.toml", words), RawFile(
        "label", "labels/1.toml", label(CONDITION + '[limit.when]\nmethod = ["a new word"]\n')
    )])  # fmt: skip
    assert [fault.origin.file for fault in book.faults] == ["words.toml"]
    assert len(book.labels) == 1
    assert book.words.find("method", "void").name == "void"


# --- nothing that a file says makes the reading raise ---


def table_of(path: Path) -> dict:
    return tomllib.loads(path.read_text(encoding="utf-8"))


SAMPLES = [
    ("label", "labels", table_of(shipped_rules() / "labels" / "ridgeline-sc.toml")),
    ("label", "labels", tomllib.loads(label(VALUES).decode())),
    ("jurisdiction", "jurisdictions", table_of(shipped_rules() / "jurisdictions" / "us-ca.toml")),
    ("form", "forms", table_of(shipped_rules() / "forms" / "us-ca-monthly.toml")),
    ("firm", "", table_of(FIRM)),
]
_odd = st.sampled_from([
    None, "", " ", "x", "1", "0.5 oz", "-1 ft", "0 voids", "1 %", "5 ft by", "\x1b[31m\n", 0, -1,
    10**12, True, [], [[]], [[1]], ["x"], [1], [{}], {}, {"x": 1}, {"given": 1}, {"at_least": 2},
    date(2026, 1, 1), date(1, 1, 1), date(9999, 12, 31), "é" * 5000,
])  # fmt: skip


def spots(value, way=()):
    """Yield the way to every key and item of a table."""
    items = value.items() if isinstance(value, dict) else enumerate(value)
    for key, item in items:
        yield (*way, key)
        if isinstance(item, (dict, list)):
            yield from spots(item, (*way, key))


def put(value, way, new):
    """Return a copy with one thing replaced (or taken out, where ``new`` is None)."""
    copy = dict(value) if isinstance(value, dict) else list(value)
    if len(way) > 1:
        copy[way[0]] = put(copy[way[0]], way[1:], new)
    elif new is None:
        del copy[way[0]]
    else:
        copy[way[0]] = new
    return copy


class Given:
    """A table handed in as if it had been read from a file."""

    def __init__(self, family: str, path: str, table: dict) -> None:
        self.family, self.path, self.table = family, path, table
        self.data, self.lines, self.faults = b"", {}, ()


@settings(max_examples=300, deadline=None)
@given(st.data())
def test_any_value_anywhere_gives_faults_and_never_raises(data):
    family, folder, table = data.draw(st.sampled_from(SAMPLES))
    for _ in range(data.draw(st.integers(1, 3))):
        ways = list(spots(table))
        table = put(table, data.draw(st.sampled_from(ways)), data.draw(_odd))
    path = f"{folder}/x.toml" if folder else "useledger.toml"
    book = read_book([*LISTS, Given(family, path, table)])
    for line in messages(book):
        assert "\n" not in line
        assert line.isprintable()
    book.lexicon(date(2026, 1, 1))
    book.stale(date(2026, 1, 1))
    book.label_for("ridgeline-sc", date(2026, 1, 1), "x")
    known = {file.path for file in (*book.rule_files(), *book.forms)}
    faulty = {fault.origin.file for fault in book.faults}
    assert not known & faulty
    if family != "firm":
        assert known | faulty == {path}


def test_the_keys_that_a_message_lists_stand_there_once() -> None:
    """Of a limit whose shape is not known any shape's key could be meant: many share their keys."""
    keys = grammar.Keys(("name", "shape"), ("most", "per", "most", "name"))
    assert keys.allowed == ("name", "shape", "most", "per")
