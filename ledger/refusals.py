"""What a regulator does not take in a line of a report, as the form's file says it."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping

from ledger.rulebook.form_model import Form, Refusal
from ledger.units import Units
from ledger.values.finding import Fault
from ledger.values.origin import Origin

_BOX = re.compile(r"\b(p\.?\s*o\.?|post\s+office)\s*box\b|\bp\.?\s*o\.?\s*b\b", re.IGNORECASE)
_REGISTRATION = re.compile(r"[0-9]{1,7}(-[0-9]{1,6}){1,2}")
_ZIP = re.compile(r"[0-9]{5}")
_WAY_OUT = {
    "address": "amend the entry: useledger amend {entry} address=... --because ... --by K",
    "registration": "correct the number in the label file; it stands on the label as EPA Reg. No.",
    "unit": "amend the amount to what was used by weight or volume (a station by its net weight)",
    "zip": "amend the entry: useledger amend {entry} zip=... --because ... --by K",
    "licence": "write the person's licence into useledger.toml",
    "business": "write the firm's number into useledger.toml, [firm] licence",
    "first_name": "write a shorter name into useledger.toml",
    "last_name": "write a shorter name into useledger.toml",
}  # fmt: skip


def refused(
    texts: Mapping[str, str], entry: int | None, form: Form, units: Units
) -> Iterator[Fault]:
    """Yield what the regulator refuses in one line; ``texts`` are its values before coding."""
    where = f"entry {entry}" if entry is not None else "the list of people"
    for rule in form.refusals:
        text = texts.get(rule.value, "")
        if rule.value in texts and _refuses(rule, text, units):
            way_out = _WAY_OUT.get(rule.value, "amend the entry: useledger amend {entry} ...")
            yield Fault(
                "REPORT-REFUSED", Origin(where, None, rule.value),
                f'"{text}": {rule.says} [{rule.ref.source}]', way_out.format(entry=entry),
            )  # fmt: skip
    for value in dict.fromkeys(code.value for code in form.codes):
        text = texts.get(value, "")
        if text and form.code_of(value, text) is None:
            yield Fault(
                "REPORT-REFUSED", Origin(where, None, value),
                f'"{text}": the form\'s file has no code for it',
                f"add a [[code]] to {form.path}, with the source of the code",
            )  # fmt: skip


def _refuses(rule: Refusal, text: str, units: Units) -> bool:
    """Say whether a rule refuses a text."""
    if rule.longest is not None:
        return len(text) > rule.longest
    if rule.when == "blank":
        return not text.strip()
    if rule.when == "post office box":
        return _BOX.search(text) is not None
    if rule.when == "no registration number":
        return _REGISTRATION.fullmatch(text.strip()) is None
    if rule.when == "not five digits":
        return _ZIP.fullmatch(text.strip()) is None
    unit = units.find(text)
    return unit is None or unit.dimension not in {"mass", "volume"}
