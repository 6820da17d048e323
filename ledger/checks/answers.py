"""What was done for the label, and the questions that a line must answer."""

from __future__ import annotations

from collections.abc import Iterator

from ledger.checks.case import Case
from ledger.checks.say import Tools, finding
from ledger.rulebook.model import Limit
from ledger.values.finding import Finding, Kind
from ledger.values.lexicon import fold

_NOTICES = {"notice before the job": "before", "notice after the job": "after"}


def check_prepare(case: Case, limit: Limit, tools: Tools) -> Iterator[Finding]:
    """Judge the preparation: ``none`` is a breach, a silent line cannot be told."""
    use = case.use
    done = {fold(word) for word in use.prepared}
    undone = [word for word in limit.words if fold(word) not in done]
    if not undone:
        return
    listed = ", ".join(undone)
    if use.prepared_said == "none":
        text = f"nothing was prepared; {tools.authority} says: {limit.says}"
        yield finding(limit, tools, Kind.BREACH, text, "prepared")
    else:
        text = f"cannot tell whether this was done: {listed}; {tools.authority} says: {limit.says}"
        way_out = f"amend prepared with {listed} if it was done"
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
    ) or any(subject in words.traits("preparation", word) for word in use.prepared)
