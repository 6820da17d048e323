"""A rule file in plain words: source by source, with a mark at all that was not verified.

The rules stand under the law they rest on, so that a person with the text in hand can compare
them paragraph by paragraph. What was not read comes last and counts as nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import Any

from ledger.rulebook.field_words import field_words
from ledger.rulebook.form_model import Form
from ledger.rulebook.model import Limit, ReportDuty, Requirement, RuleFile, Source
from ledger.rulebook.telling_duties import (
    deadline_words,
    incident_words,
    manner_words,
    paper_words,
    retention_words,
)
from ledger.rulebook.telling_words import MARK, tail_words
from ledger.values.finding import RuleRef
from ledger.values.period import Period
from ledger.values.rounding import exact_text

LEGEND = (
    f"{MARK} marks what was not verified (from memory, an old edition, inferred): it informs and "
    "decides nothing."
)


def tell(file: RuleFile, forms: Sequence[Form] = ()) -> list[str]:
    """Return the lines that ``rules show`` prints for a rule file.

    ``forms`` are the report forms on file: what of a report's form was not verified is told with
    the report.
    """
    lines = [f"{file.title} ({file.id})", f"{file.path}, checked on {file.checked_on}"]
    if not all(source.read.decides for source in file.sources):
        lines.append(LEGEND)
    lines += _product(file)
    verified_first = sorted(file.sources, key=lambda source: not source.read.decides)
    silent = []
    for source in verified_first:
        parts = list(_parts(file, source, forms))
        if parts:
            lines += ["", *source_lines(source), *parts]
        else:
            silent.append(source)
    if silent:
        lines += ["", "Sources that no rule rests on"]
        lines += [f"  {line}" for source in silent for line in source_lines(source)]
    if file.unread:
        lines += ["", "Not read, so never passed"]
        lines += [f"  - {part.section}: {part.note}" for part in file.unread]
    return lines


def source_lines(source: Source) -> Iterator[str]:
    """Yield a source: its title and section, how and when it was read, where it stands."""
    mark = "" if source.read.decides else f"{MARK} "
    yield f"{mark}{_cited(source)}"
    read_on = f" on {source.read_on}" if source.read_on else ""
    yield f"  {source.read}{read_on}{f'; {source.link}' if source.link else ''}"
    if source.note:
        yield f"  {source.note}"


def _parts(file: RuleFile, source: Source, forms: Sequence[Form]) -> Iterator[str]:
    """Yield everything in the file that rests on a source, kind by kind."""
    papers = {paper.name for paper in file.papers}
    clocks = [item for item in file.deadlines if item.name not in papers]
    titled: tuple[tuple[str, Iterable[Any], Callable[[Any], str]], ...] = (
        ("Limits", file.limits, _limit),
        ("A record must hold", file.requirements, _requirement),
        ("By when", clocks, deadline_words),
        ("Kept for", file.retentions, retention_words),
        ("Papers for people", file.papers, paper_words),
        ("When something goes wrong", file.incidents, incident_words),
        ("Reports", file.reports, lambda duty: _report(duty, forms)),
        ("In the books and not in force", file.dormant,
         lambda item: f"{item.section} ({item.why}): {item.says} (line {item.ref.line})"),
    )  # fmt: skip
    mark = "" if source.read.decides else f"{MARK} "
    for title, items, words in titled:
        rows = [words(item) for item in items if _rests_on(item.ref, source)]
        if rows:
            yield f"  {title}:"
            yield from (f"    - {mark}{row}" for row in rows)


def _cited(source: Source) -> str:
    """Return how a rule cites its source."""
    return ", ".join(filter(None, (source.title, source.section)))


def _rests_on(ref: RuleRef, source: Source) -> bool:
    return (ref.source, ref.confidence) == (_cited(source), source.read.value)


def _product(file: RuleFile) -> list[str]:
    product = file.product
    if product is None:
        return []
    number = product.registration or "no registration number (minimum risk)"
    actives = ", ".join(
        f"{item.name} {exact_text(item.share * 100)} %"
        + (f" (group {item.group})" if item.group else "")
        for item in product.ingredients
    )
    gravity = product.specific_gravity
    return [
        f"{product.name}, {number}, {product.formulation}, {product.product_class}",
        f"active ingredients: {actives}",
        f"signal word: {product.signal_word or 'none'}"
        + (f"; specific gravity {exact_text(gravity)}" if gravity is not None else ""),
        *([f"lasts {file.lasts}"] if file.lasts else []),
    ]


def _limit(limit: Limit) -> str:
    force = "" if limit.mandatory else " (advice)"
    return f"{limit.says.removesuffix('.')}{force}{tail_words(limit)}"


def _requirement(item: Requirement) -> str:
    groups = [" and ".join(map(field_words, group)) for group in item.groups]
    either = "; or ".join(groups)
    blocks = "; the day does not close without it" if item.blocks else ""
    said = f"{item.says.removesuffix('.')}: {either}{blocks}"
    return f"{said}{manner_words(item)}{tail_words(item)}"


def _report(duty: ReportDuty, forms: Sequence[Form]) -> str:
    form = next((form for form in forms if form.id == duty.form), None)
    title = f"{form.title} ({duty.form})" if form else duty.form
    parts = [f"{title}: every {duty.every}, per {duty.per}", _due(duty)]
    if duty.nil:
        parts.append("owed without work as well")
    doubts = [source for source in form.sources if not source.read.decides] if form else []
    if doubts:
        said = "; ".join(f"{source.title} ({source.read})" for source in doubts)
        parts.append(f"of its form {MARK} {said}; useledger rules show {duty.form}")
    return f"{', '.join(parts)}{tail_words(duty)}"


def _due(duty: ReportDuty) -> str:
    if not duty.due_read:
        return "its due day was not read: ask the agency, and nothing is called late"
    moved = ", or the next open day" if duty.due_rule != "fixed" else ""
    post = "; the postmark counts as delivery" if duty.postmark else ""
    if duty.every == "month":
        return f"due on day {duty.due_day} of the next month{moved}{post}"
    month = Period(2000, duty.due_month or 1).text.partition(" ")[0]
    return f"due on {duty.due_day} {month} of the next year{moved}{post}"
