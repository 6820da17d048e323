"""A report form as its file describes it, as frozen values. The grammar makes them."""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction

from ledger.rulebook.model import Read, Source
from ledger.values.finding import Kind, RuleRef


@dataclass(frozen=True, slots=True)
class FormColumn:
    """One column of a regulator's form: heading, which value fills it, its unit, its meaning."""

    heading: str
    value: str
    meaning: str
    unit: str = ""
    places: int | None = None
    written: str = ""
    if_applied: bool = False


@dataclass(frozen=True, slots=True)
class Refusal:
    """What a regulator does not take in one value of a form: a shape of text, or one too long.

    Exactly one of ``when`` (a phrase of ``form_words.REFUSE_WHEN``) and ``longest`` (characters)
    is given.
    """

    value: str
    when: str
    longest: int | None
    says: str
    ref: RuleRef


@dataclass(frozen=True, slots=True)
class FormCode:
    """The code by which a form's file says a text of the ledger (``oz`` is ``OZ``)."""

    value: str
    of: str
    code: str
    read: Read


@dataclass(frozen=True)
class Form:
    """A report form as a file describes it.

    ``units`` maps a dimension (``mass``, ``volume``) to the units the form allows, the first being
    the one used unless a smaller one reads better; ``counts`` is ``lines`` or ``visits``;
    ``pounds_per_gallon`` and ``round_pounds`` are the form's own arithmetic for liquids.
    ``grain`` and ``writes`` are words of ``form_words``; ``only_site_kinds`` leaves other places
    out; ``beside`` names forms that are handed in with this one; ``prefix`` begins the name of
    the file for the regulator.
    """

    id: str
    title: str
    path: str
    digest: str
    jurisdiction: str
    every: str
    per: str
    columns: tuple[FormColumn, ...]
    units: tuple[tuple[str, tuple[str, ...]], ...]
    places: int
    counts: str
    counts_read: Read
    leave_out: tuple[str, ...]
    pounds_per_gallon: Fraction | None
    round_pounds: int | None
    remarks: tuple[str, ...]
    sources: tuple[Source, ...]
    signature: str = ""
    kinds: tuple[Kind, ...] = field(default=())
    grain: str = "total"
    writes: str = "table"
    only_site_kinds: tuple[str, ...] = ()
    beside: tuple[str, ...] = ()
    prefix: str = ""
    refusals: tuple[Refusal, ...] = ()
    codes: tuple[FormCode, ...] = ()

    def code_of(self, value: str, text: str) -> str | None:
        """Return how the form says a text: itself where it has no codes for that value, None
        where it has codes and none for this text."""
        codes = {code.of: code.code for code in self.codes if code.value == value}
        return codes.get(text) if codes else text
