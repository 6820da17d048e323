"""What was done for the label, and the questions that a line must answer."""

from __future__ import annotations

from collections.abc import Iterator

from ledger.checks.case import Case
from ledger.checks.done import Done, done_of, word_of
from ledger.checks.say import Tools, finding, said, under
from ledger.rulebook.model import Limit
from ledger.values.amount import Quantity
from ledger.values.finding import Finding, Kind
from ledger.values.lexicon import fold

_NOTICES = {"notice before the job": "before", "notice after the job": "after"}


def check_prepare(case: Case, limit: Limit, tools: Tools) -> Iterator[Finding]:
    """Judge the preparation: ``none`` is a breach, a silent line cannot be told.

    Where the rule names a step, a person or a time, the line must say it too, in parentheses.
    """
    done = done_of(case, tools)
    named = {item.word for item in done}
    undone = [word for word in limit.words if fold(word) not in named]
    if undone:
        yield _undone(case, limit, tools, undone)
        return
    for word in limit.words:
        items = [item for item in done if item.word == fold(word)]
        answers = [_as_asked(item, limit, tools) for item in items]
        if True in answers:
            continue
        kind = Kind.UNKNOWN if None in answers else Kind.BREACH
        how = _how(limit)
        cannot = "cannot tell whether " if kind is Kind.UNKNOWN else ""
        was = f"{word} was done {how}" if cannot else f"{word} was not done {how}"
        text = f"{cannot}{was}; {tools.authority} says: {limit.says}"
        yield finding(limit, tools, kind, text, "prepared", f'amend prepared, as "{word} ({how})"')


def _undone(case: Case, limit: Limit, tools: Tools, undone: list[str]) -> Finding:
    """Return the finding that something was not done, or not said."""
    listed = ", ".join(undone)
    if case.use.prepared_said == "none":
        text = f"nothing was prepared; {tools.authority} says: {limit.says}"
        return finding(limit, tools, Kind.BREACH, text, "prepared")
    text = f"cannot tell whether this was done: {listed}; {tools.authority} says: {limit.says}"
    way_out = f"amend prepared with {listed} if it was done"
    return finding(limit, tools, Kind.UNKNOWN, text, "prepared", way_out)


def _how(limit: Limit) -> str:
    lasting = said(limit.lasting) if limit.lasting else ""
    return ", ".join(part for part in (limit.who, limit.step, lasting) if part)


def _as_asked(item: Done, limit: Limit, tools: Tools) -> bool | None:
    """Say whether an item was done by whom, when and for how long the rule says."""
    answers: list[bool | None] = []
    for wanted, given in ((limit.step, item.step), (limit.who, item.who)):
        if wanted:
            answers.append(given == wanted if given else None)
    if limit.lasting is not None:
        answers.append(_lasted(item, limit.lasting, limit.inclusive, tools))
    return False if False in answers else None if None in answers else True


def _lasted(item: Done, least: Quantity, inclusive: bool, tools: Tools) -> bool | None:
    values = [tools.into(q, least.unit) for q in item.measures]
    times = [value for value in values if value is not None]
    return None if not times else not under(max(times), least.value, inclusive)


KEPT_OUT = "kept out"
"""The word of ``prepared`` that says how long people and animals stay out."""


def check_reentry(case: Case, limit: Limit, tools: Tools) -> Iterator[Finding]:
    """Judge that nobody comes back before a condition is met and a time is over; both hold."""
    done = done_of(case, tools)
    undone = [word for word in limit.words if fold(word) not in {item.word for item in done}]
    if undone:
        yield _undone(case, limit, tools, undone)
        return
    if limit.lasting is None:
        return
    answers = [
        _lasted(item, limit.lasting, limit.inclusive, tools)
        for item in done
        if item.word == KEPT_OUT
    ]
    if True in answers:
        return
    least = said(limit.lasting)
    if False in answers:
        text = f"people were kept out for less than {least}; {tools.authority} says: {limit.says}"
        yield finding(limit, tools, Kind.BREACH, text, "prepared")
        return
    if case.use.prepared_said == "none":
        yield _undone(case, limit, tools, [KEPT_OUT])
        return
    text = f"cannot tell how long people were kept out; {tools.authority} says: {limit.says}"
    way_out = f'amend prepared, as "{KEPT_OUT} ({least})"'
    yield finding(limit, tools, Kind.UNKNOWN, text, "prepared", way_out)


def check_protection(case: Case, limit: Limit, tools: Tools) -> Iterator[Finding]:
    """Judge what was worn for a task; an item without a task was worn for the whole job."""
    worn = {item.word for item in done_of(case, tools) if item.task in {"", limit.measure}}
    undone = [word for word in limit.words if fold(word) not in worn]
    if undone:
        yield _undone(case, limit, tools, undone)


def check_state(case: Case, limit: Limit, tools: Tools) -> Iterator[Finding]:
    """Judge the state of soil, surface or forecast by what the line says of it.

    One of the bad states is a breach, one of the good ones answers, and silence cannot be told.
    """
    named = {item.word for item in done_of(case, tools)}
    bad = next((words for key, words in limit.allowed if key == "bad"), ())
    met = [word for word in bad if fold(word) in named]
    if met:
        text = f"{', '.join(met)}; {tools.authority} says: {limit.says}"
        yield finding(limit, tools, Kind.BREACH, text, "prepared")
    elif not any(fold(word) in named for word in limit.words):
        text = f"cannot tell the state: {tools.authority} says: {limit.says}"
        way_out = f"amend prepared with what it was: {' or '.join(limit.words)}"
        yield finding(limit, tools, Kind.UNKNOWN, text, "prepared", way_out)


def check_ask(case: Case, limit: Limit, tools: Tools) -> Iterator[Finding]:
    """Ask a question of the line; without an answer something is missing.

    A question about the place is answered by an avoided place with that reason, by
    ``none present``, or by a preparation that has the question's word as a trait. A question
    about the notice is answered by what the customer was given.
    """
    subject = limit.words[0]
    if subject in _NOTICES:
        wanted = _NOTICES[subject]
        if wanted in case.words.traits("notice", case.use.notice):
            return
        text = f"the line does not say that the customer was given the notice {wanted} the job"
        way_out = f'amend notice, as "{wanted}" or "both"'
        yield finding(limit, tools, Kind.MISSING, text, "notice", way_out)
    elif not _answered(case, subject):
        text = f"the line does not say what was done about {subject}: {limit.says}"
        way_out = (
            f'amend avoided with the place and "({subject})", or with "none present",'
            " or prepared with what was done"
        )
        yield finding(limit, tools, Kind.MISSING, text, "avoided", way_out)


def _answered(case: Case, subject: str) -> bool:
    use, words = case.use, case.words
    if use.avoided_said == "none present":
        return True
    reasons = (reason for item in use.avoided for reason in item.reason.split(", "))
    return any(
        fold(reason) == fold(subject) or subject in words.traits("reason", reason)
        for reason in reasons
    ) or any(subject in words.traits("preparation", word_of(item)) for item in use.prepared)
