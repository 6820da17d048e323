"""What checks remember never differs from what they would find if they ran again."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, time, timedelta
from random import Random
from typing import Any

import pytest

from ledger.checks.case import Case
from ledger.checks.judge import judge
from ledger.checks.remember import MOST, Remembered
from ledger.values.entry import Application, Weather
from ledger.values.finding import Kind
from tests.cases import amount, avoided, book, case, measures, q, rate, use

PRODUCTS = ("ridgeline-dust", "ridgeline-sc", "marsh-gel", "cedar-granule", "alder-dust",
            "ridgeline-aero")  # fmt: skip


def drawn(random: Random) -> Application:
    """Return an application with facts at random, most of them on the edge of some rule."""
    product = random.choice([name for name in PRODUCTS if book().versions(name)])
    said: dict[str, Any] = {
        "date": date(2026, 1, 1) + timedelta(days=random.choice((0, 3, 9, 10, 13, 40, 364, 400))),
        "start": random.choice((time(8), None)), "site": random.choice(("okafor", "voss")),
        "applicator": random.choice(("renner", "marsh", "aster", "nobody")),
        "supervisor": random.choice(("", "renner")), "notice": random.choice(("before", "")),
        "amount": amount(random.choice(("1/8", "1/4", "4", "9")), "oz"),
        "method": random.choice(("void", "crack and crevice", "bait", "band", "broadcast", "fog")),
        "setting": random.choice(("indoor", "at structure", "outdoor", "")),
        "places": random.choice(((), ("wall void",), ("kitchen counter",), ("pond edge",))),
        "pests": random.choice(((), ("ants",), ("spiders", "ants"))),
        "prepared": random.choice(((), ("hard surfaces swept",))),
        "extent": random.choice((measures(), measures(voids=8), measures(length=(180, "ft")),
                                 measures(area=(900, "sq ft"), height=(2, "ft")),
                                 measures(puffs=20, length=(10, "ft")))),
        "equipment": random.choice(("", "duster-a", "duster-d", "a spoon")),
        "weather": random.choice((Weather(), Weather(q(31, "F"), q(4, "mph"), "N", rain=False),
                                  Weather(q(96, "F"), q(14, "mph"), "", rain=True))),
        "lot": random.choice(("", "R-118")), "mix_group": random.choice(("", "t1")),
    }  # fmt: skip
    if random.random() < 0.3:
        said["avoided"] = (avoided("creek", "water", random.choice((None, 10, 60))),)
    if product == "ridgeline-sc":
        said["dilution"] = random.choice((None, rate("0.8"), rate("9")))
        said["amount"] = amount("1", "fl oz")
    return use(product, **said)


def test_a_remembered_finding_is_the_one_a_new_look_would_make() -> None:
    random = Random(7)
    kinds: set[Kind] = set()
    for _ in range(600):
        line = drawn(random)
        others = [drawn(random) for _ in range(random.choice((0, 0, 1, 3)))]
        here = [replace(other, site=line.site) for other in others]
        asked = case(line, *here, doubt=random.choice((None, None, "S0009")))
        found = judge(asked, book())
        assert found == judge(asked, replace(book())), "a copy of the book remembers nothing"
        kinds.update(finding.kind for finding in found)
    assert kinds == set(Kind)


def seen(log: list[str]) -> Remembered[str]:
    def run(of: Case) -> str:
        log.append(of.use.method)
        return f"{of.use.method} {len(of.others)}" if of.use.setting == "indoor" else "out"

    return Remembered(run)


def test_a_check_runs_again_only_where_it_would_ask_something_new() -> None:
    log: list[str] = []
    check = seen(log)
    for line in (use(), use(county="Nevada", note="other"), use(lot="9")):
        assert check.of(case(line), {}) == "void 0"
    assert len(log) == 1
    assert check.of(case(use(method="bait")), {}) == "bait 0"
    assert check.of(case(use(setting="outdoor", method="band")), {}) == "out"
    assert check.of(case(use(setting="outdoor", method="band")), {}) == "out"
    assert len(log) == 3


def test_a_check_that_looks_at_other_lines_runs_for_each() -> None:
    log: list[str] = []
    check = seen(log)
    assert check.of(case(use(), use()), {}) == "void 1"
    assert check.of(case(use(), use(), use()), {}) == "void 2"
    assert check.of(case(use()), {}) == "void 0"


def test_what_is_always_new_is_not_kept() -> None:
    check = Remembered(lambda of: of.use.note)
    for number in range(MOST + 50):
        assert check.of(case(use(note=str(number))), {}) == str(number)
    assert check.of(case(use(note="3")), {}) == "3"


def test_a_check_whose_questions_waver_is_not_trusted() -> None:
    """Equal answers that lead to different questions: then it runs each time, and stays right."""
    turns = iter(range(99))

    def wavering(of: Case) -> str:
        return of.use.lot if next(turns) % 2 else of.use.note

    check = Remembered(wavering)
    for _ in range(4):
        assert check.of(case(use(lot="a", note="a")), {}) == "a"
        assert check.of(case(use(lot="b", note="b")), {}) == "b"


@pytest.mark.parametrize("field", ["note", "lot", "line"])
def test_a_watched_case_looks_like_the_case(field: str) -> None:
    line = use(**{field: "x"})
    check = Remembered(lambda of: (getattr(of.use, field), of.tool, of.site.address.zip,
                                   of.use.extent.get("voids"), of.use.weather.rain,
                                   of.supervisor, of.use.used.quantity))  # fmt: skip
    plain = case(line)
    expected = ("x", None, "95603", q(8, "each"), False, None, line.used.quantity)
    assert check.of(plain, {}) == expected
    assert check.of(plain, {}) == expected
