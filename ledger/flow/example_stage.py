"""What every example of a rule file can count on: three people's tools, and the usual answers."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import date
from fractions import Fraction

from ledger.rulebook.grammar import PREPARED_MEASURES
from ledger.rulebook.model import Limit, Shape
from ledger.values.amount import Quantity
from ledger.values.firm import Calibration, Tool
from ledger.values.rounding import exact_text

_WEIGHED = date(2026, 1, 2)


def tools_for(product: str) -> tuple[Tool, ...]:
    """Return the tools of an example, weighed with its product, as ``rules/README.md`` lists."""

    def gives(text: str, per: str) -> tuple[Calibration, ...]:
        return (Calibration(_WEIGHED, product, Quantity(Fraction(text), "g"), per),)

    return (
        Tool(
            "example duster", "duster", Quantity(Fraction(140), "g"), Quantity(Fraction(8), "oz"),
            gives("0.11", "puff"), "duster tip", "low",
        ),
        Tool("example bait gun", "bait gun", calibrations=gives("0.25", "dab")),
        Tool("example can", "aerosol", calibrations=gives("2", "second")),
        Tool("example sprayer", "sprayer", nozzle="pin stream", pressure="low"),
        Tool("example power sprayer", "sprayer", nozzle="flat fan", pressure="high"),
    )  # fmt: skip


def usual_answers(limits: Iterable[Limit]) -> str:
    """Return what ``prepared`` says unless an example says otherwise: all that is asked for."""
    return "; ".join(dict.fromkeys(item for limit in limits for item in _answers(limit)))


def _answers(limit: Limit) -> Iterator[str]:
    lasting = _text(limit.lasting) if limit.lasting else ""
    match limit.shape:
        case Shape.PREPARE:
            said = ", ".join(part for part in (limit.who, limit.step, lasting) if part)
            yield from (f"{word} ({said})" if said else word for word in limit.words)
        case Shape.REENTRY:
            yield from limit.words
            if lasting:
                yield f"kept out ({lasting})"
        case Shape.PROTECTION:
            yield from (f"{word} ({limit.measure})" for word in limit.words)
        case Shape.STATE:
            yield from limit.words[:1]
        case Shape.WEATHER if limit.measure in PREPARED_MEASURES:
            bound = limit.least or limit.most
            if bound is not None:
                yield f"{limit.measure} ({_text(bound)})"
        case _:
            return


def _text(quantity: Quantity) -> str:
    return f"{exact_text(quantity.value)} {quantity.unit}"
