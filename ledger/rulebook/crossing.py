"""Faults that only show when the files are laid side by side: doubles, and forms not there."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from difflib import get_close_matches
from typing import TYPE_CHECKING, Protocol, TypeVar

from ledger.rulebook.model import RuleFile
from ledger.rulebook.part import printable
from ledger.rulebook.paths import line_of
from ledger.values.finding import Fault
from ledger.values.firm import Firm
from ledger.values.lexicon import fold
from ledger.values.origin import Origin

if TYPE_CHECKING:
    from ledger.rulebook.form_model import Form

T = TypeVar("T")


class Lined(Protocol):
    """A file with the lines of its keys."""

    @property
    def path(self) -> str:
        """The path below the rules folder."""

    @property
    def lines(self) -> Mapping[str, int]:
        """The line of every key path."""


def faults_between(
    files: Sequence[RuleFile], forms: Sequence[Form], raw: Sequence[Lined]
) -> Iterator[Fault]:
    """Yield what is wrong between files; the later file in the order of paths is the one named."""
    lines = {file.path: file.lines for file in raw}
    labels = [file for file in files if file.family == "label" and file.id]

    def fault(path: str, key: str, code: str, said: tuple[str, str]) -> Fault:
        what, way_out = (printable(text, 400) for text in said)
        return Fault(code, Origin(path, line_of(lines[path], key), key), what, way_out)

    others = [(file.family, file.id, file.path) for file in files if file.family != "label"]
    others += [("form", form.id, form.path) for form in forms]
    for (_, id_, path), first in _doubles(others, lambda item: item[:2]):
        key = "form.id" if path.startswith("forms/") else "id"
        said = (f'"{id_}" is also the id of {first[2]}', "give each file an id of its own")
        yield fault(path, key, "RULE-DUPLICATE", said)
    for file, first_file in _doubles(labels, _version):
        what = f"{first_file.path} is the same version of {file.id}"
        key = "version" if "version" in lines[file.path] else "id"
        yield fault(file.path, key, "RULE-DUPLICATE", (what, "write another version"))
    for file, first_file in _doubles(labels, lambda file: (file.id, _start(file))):
        if _version(file) != _version(first_file):
            what = f"{first_file.path} holds from the same day"
            key = "from" if "from" in lines[file.path] else "version"
            said = (what, "write from = the first day of this version")
            yield fault(file.path, key, "RULE-DATES", said)
    yield from _shared(labels, fault)
    yield from _giving_way(files, fault)
    known = {form.id for form in forms}
    for file in files:
        for duty in file.reports:
            if duty.form and duty.form not in known:
                way_out = f"forms here: {', '.join(sorted(known)) or 'none'}"
                said = (f'no form file has the id "{duty.form}"', way_out)
                yield fault(file.path, f"{duty.ref.key}.form", "RULE-FORM-UNKNOWN", said)


def faults_of_firm(firm: Firm, files: Sequence[RuleFile], raw: Lined) -> Iterator[Fault]:
    """Yield registrations for a county that the jurisdiction's own file does not list."""
    counties = {file.id: [name for name, _ in file.counties] for file in files}
    for number, entry in enumerate(firm.registrations, start=1):
        known = counties.get(entry.jurisdiction)
        if known and fold(entry.county) not in map(fold, known):
            near = get_close_matches(entry.county, known, n=1)
            way_out = f'did you mean "{near[0]}"?' if near else "correct county or jurisdiction"
            key = f"registration[{number}].county"
            what = printable(f'{entry.jurisdiction} has no county "{entry.county}"', 400)
            yield Fault(
                "RULE-COUNTY", Origin(raw.path, line_of(raw.lines, key), key), what, way_out
            )


def _shared(
    labels: Sequence[RuleFile], fault: Callable[[str, str, str, tuple[str, str]], Fault]
) -> Iterator[Fault]:
    """Yield a registration or a lot that two labels claim."""
    numbers: dict[str, RuleFile] = {}
    lots: dict[tuple[str, str], RuleFile] = {}
    for file in labels:
        product = file.product
        if product is None:
            continue
        first = numbers.setdefault(product.registration or file.id, file)
        if first.id != file.id:
            what = f"{product.registration} is also the registration of {first.path}"
            said = (what, "two products cannot share a number: correct one")
            yield fault(file.path, "product.registration", "RULE-DUPLICATE", said)
        for number, lot in enumerate(product.lots, start=1):
            holder = lots.setdefault((file.id, fold(lot)), file)
            if holder is not file:
                said = (f'lot "{lot}" is also in {holder.path}', "a lot carries one label version")
                yield fault(file.path, f"product.lots[{number}]", "RULE-DUPLICATE", said)


def _giving_way(
    files: Sequence[RuleFile], fault: Callable[[str, str, str, tuple[str, str]], Fault]
) -> Iterator[Fault]:
    """Yield a name under ``supersedes`` that no rule of its file, or of the one it names, has."""
    named = {file.id: _rules_of(file) for file in files if file.family == "jurisdiction"}
    for file in files:
        for rule in file.orders:
            for number, name in enumerate(rule.supersedes, start=1):
                home, _, short = name.rpartition("/")
                known = named.get(home or file.id)
                # A file that is not there at all cannot be looked into.
                if name and known is not None and short not in known:
                    way_out = f"rules there: {', '.join(sorted(known)) or 'none'}"
                    said = (f'no rule is called "{name}"', way_out)
                    key = f"{rule.ref.key}.supersedes[{number}]"
                    yield fault(file.path, key, "RULE-SUPERSEDES", said)


def _rules_of(file: RuleFile) -> frozenset[str]:
    return frozenset(rule.name for rule in file.orders)


def _version(file: RuleFile) -> tuple[str, str]:
    return file.id, file.product.version if file.product else ""


def _start(file: RuleFile) -> str:
    start = file.product.in_force.start if file.product else None
    return start.isoformat() if start else ""


def _doubles(items: Iterable[T], key: Callable[[T], object]) -> Iterator[tuple[T, T]]:
    """Yield each item whose key an earlier one has, with that earlier one."""
    seen: dict[object, T] = {}
    for item in items:
        first = seen.setdefault(key(item), item)
        if first is not item:
            yield item, first
