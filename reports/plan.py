"""A plan as a person reads it: on a screen, as plain values, and as a page for the truck."""

from __future__ import annotations

import re
import textwrap
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

from ledger.preparing.amounts import Most
from ledger.preparing.plan import ALLOWED, Plan
from ledger.preparing.stage import Said
from ledger.preparing.tank import Tank
from ledger.values.amount import Quantity
from ledger.values.rounding import exact_text
from reports.sheet import Column, Note, Sheet

WIDTH = 100
_NAME = 11
_VERDICTS = {
    "allowed": "ALLOWED, when what stands here is done",
    "refused": "REFUSED",
    "cannot tell": "CANNOT TELL yet",
}
CAUTION = (
    "Made from the rules on file and the records of this site. The label in hand, the law of the"
    " place, the state lead agency and licensed judgement come first."
)


@dataclass(frozen=True, slots=True)
class Page:
    """A plan ready to be set: its verdict, what it is about, its titled lists of statements."""

    verdict: str
    about: tuple[tuple[str, str], ...]
    parts: tuple[tuple[str, tuple[Said, ...]], ...]


def page_of(plan: Plan, label: str) -> Page:
    """Return the page of one product's plan."""
    return Page(plan.verdict, about(plan, label), parts(plan))


def about(plan: Plan, label: str) -> tuple[tuple[str, str], ...]:
    """Return what the plan is about, as pairs of what and value."""
    return (*product_lines(plan, label), *job_lines(plan))


def product_lines(plan: Plan, label: str) -> tuple[tuple[str, str], ...]:
    """Return which product the plan is of, and which version of its label was read."""
    return (
        ("Product", f"{plan.product.name}, {plan.product.key}, {plan.product.signal_word}"),
        ("Label", label),
    )


def job_lines(plan: Plan) -> tuple[tuple[str, str], ...]:
    """Return where, what, who and when."""
    use, address = plan.use, plan.site.address
    street = " ".join(filter(None, (address.street, address.unit)))
    place = ", ".join(filter(None, (street, address.city, f"{address.state} {address.zip}")))
    told = (
        ("Where", f"{place} ({plan.site.key}), {use.county}, {use.site_kind or 'kind not said'}"),
        ("Customer", use.customer),
        ("Job", "; ".join(filter(None, (
            use.method, use.setting, ", ".join(use.places), use.extent.text,
            f"against {', '.join(use.pests)}" if use.pests else "",
        )))),
        ("Who, when", f"{use.applicator}, {use.date}"),
    )  # fmt: skip
    return tuple((what, text) for what, text in told if text)


def parts(plan: Plan | Tank) -> tuple[tuple[str, tuple[Said, ...]], ...]:
    """Return every titled list of statements that has any, the refusals and doubts first."""
    found = (("Refused", plan.refused), ("Cannot tell", plan.open), *plan.sections)
    return tuple((name, items) for name, items in found if items)


def _whole(item: Said) -> str:
    return f"{item.text.rstrip('.')}; to settle it: {item.settle}" if item.settle else item.text


_RULE = re.compile(r"(?P<file>\S+\.toml):(?P<line>\d+) (?P<rest>.+)")


@dataclass
class _Cited:
    """The sources of a page, numbered once each; a rule is cited as number and line of its file."""

    numbers: dict[str, int] = field(default_factory=dict)

    def marks(self, item: Said) -> str:
        """Return the citations of a statement: ``1:44, 3``."""
        return ", ".join(dict.fromkeys(self._mark(source) for source in item.sources))

    def _mark(self, source: str) -> str:
        rule = _RULE.fullmatch(source)
        named = f"{rule['file']}: {rule['rest']}" if rule else source
        number = self.numbers.setdefault(named, len(self.numbers) + 1)
        return f"{number}:{rule['line']}" if rule else str(number)


def plan_text(page: Page) -> str:
    """Return a plan for a terminal; sources are numbered and stand at the end, once each."""
    cited = _Cited()
    lines = [_VERDICTS[page.verdict], ""]
    for what, value in page.about:
        lines += _wrapped(what, value)
    lines.append("")
    for name, items in page.parts:
        for place, item in enumerate(items):
            marks = cited.marks(item)
            tail = f" [{marks}]" if marks else ""
            lines += _wrapped("" if place else name, _whole(item) + tail)
    lines += ["", "Sources (number:line of the file)"]
    lines += [f"{number:>3} {source}" for source, number in cited.numbers.items()]
    lines += ["", *textwrap.wrap(CAUTION, WIDTH)]
    return "\n".join(lines)


def _wrapped(name: str, text: str) -> list[str]:
    return textwrap.wrap(
        text, WIDTH, initial_indent=f"{name:<{_NAME}} ", subsequent_indent=" " * (_NAME + 1),
        break_on_hyphens=False, break_long_words=False,
    )  # fmt: skip


def quantity_values(quantity: Quantity | None) -> dict[str, str] | None:
    """Return a quantity as plain values, its number as exact text."""
    if quantity is None:
        return None
    return {"amount": exact_text(quantity.value), "unit": quantity.unit}


def said_values(items: Iterable[Said]) -> list[dict[str, Any]]:
    """Return statements as plain values."""
    return [
        {"text": item.text, "sources": list(item.sources), "settle": item.settle} for item in items
    ]


def most_values(most: Most) -> list[dict[str, str | None]]:
    """Return the most on each scale as plain values; ``amount`` is None where nothing bounds it."""
    return [
        {
            "amount": None, "unit": bound.scale.unit,
            **(quantity_values(bound.most) or {}), "basis": str(most.basis),
        }
        for bound in most.bounds
    ]  # fmt: skip


def plan_values(plan: Plan, label: str) -> dict[str, Any]:
    """Return the plan as plain values for JSON; amounts are exact text."""
    mix, use = plan.mix, plan.use
    return {
        "verdict": plan.verdict,
        "allowed": plan.verdict == ALLOWED,
        "product": plan.product.id, "registration": plan.product.registration, "label": label,
        "site": plan.site.key, "date": use.date.isoformat(), "applicator": use.applicator,
        "planned_amount": use.amount.text, "basis": str(use.amount.basis),
        "for": use.customer,
        "most": most_values(plan.most),
        "exact": [
            {**(quantity_values(most) or {}), "rule": rule.text, "sources": list(rule.sources)}
            for rule, most in plan.most.exact
        ],
        "mix": None if mix is None else {
            "finished": quantity_values(mix.finished), "exact": quantity_values(mix.exact),
            "concentrate": [quantity_values(part) for part in mix.parts],
        },
        "prepared": list(use.prepared),
        "refused": said_values(plan.refused),
        "cannot_tell": said_values(plan.open),
        **{name.casefold().replace(" ", "_"): said_values(items) for name, items in plan.sections},
    }  # fmt: skip


def plan_sheet(page: Page) -> Sheet:
    """Return a plan as a printable sheet; sources are numbered below the table."""
    cited = _Cited()
    rows = []
    for name, items in page.parts:
        for place, item in enumerate(items):
            rows.append(("" if place else name, _whole(item), cited.marks(item)))
    return Sheet(
        name="before the job",
        title=f"Before the job: {_VERDICTS[page.verdict]}",
        about=page.about,
        columns=(
            Column("What"),
            Column("Statement"),
            Column("From", "number of the remark below, and the line in that file"),
        ),
        rows=tuple(rows),
        notes=tuple(Note(source) for source in cited.numbers),
        caution=CAUTION,
    )
