"""A rule file in plain words, with its sources and what was not read."""

from __future__ import annotations

from ledger.rulebook.model import Limit, Requirement, RuleFile, Source
from ledger.rulebook.telling_duties import tell_duties, tell_manners
from ledger.rulebook.telling_words import ref_words, section, span_words, when_words
from ledger.values.rounding import exact_text


def tell(file: RuleFile) -> list[str]:
    """Return the lines that ``rules show`` prints for a rule file."""
    lines = [f"{file.title} ({file.id})", f"{file.path}, checked on {file.checked_on}"]
    lines += [*_product(file), *section("Limits", (_limit(limit) for limit in file.limits))]
    lines += section("A record must hold", (_requirement(item) for item in file.requirements))
    lines += tell_duties(file)
    lines += section("Reports", (
        f"{item.form}: every {item.every}, per {item.per}, due on day {item.due_day}"
        f"{', also for a month without work' if item.nil else ''}"
        f"{span_words(item.span)}{ref_words(item)}"
        for item in file.reports
    ))  # fmt: skip
    lines += section("In the books and not in force", (
        f"{item.section} ({item.why}): {item.says}{ref_words(item)}" for item in file.dormant
    ))  # fmt: skip
    lines += section("Not read, so never passed", (
        f"{item.section}: {item.note}" for item in file.unread
    ))  # fmt: skip
    lines += section("Sources", (_source(source) for source in file.sources))
    return lines


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
    ]


def _limit(limit: Limit) -> str:
    force = "" if limit.mandatory else " (advice)"
    return f"{limit.says}{force}{when_words(limit.when)}{span_words(limit.span)}{ref_words(limit)}"


def _requirement(item: Requirement) -> str:
    either = " or ".join(" and ".join(group) for group in item.groups)
    said = f"{either}: {item.says}{tell_manners(item)}{when_words(item.when)}"
    return f"{said}{span_words(item.span)}{ref_words(item)}"


def _source(source: Source) -> str:
    parts = [source.title, source.section, source.link, str(source.read), source.note]
    return f"{source.key}: " + "; ".join(part for part in parts if part)
