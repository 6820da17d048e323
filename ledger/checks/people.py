"""Who applied, under whom, and with which licence on that day."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, datetime, time, timedelta

from ledger.checks.case import Case
from ledger.checks.done import word_of
from ledger.checks.say import Tools, finding
from ledger.rulebook.model import Limit
from ledger.values.entry import Application
from ledger.values.finding import Finding, Kind
from ledger.values.firm import Licence, Person
from ledger.values.lexicon import fold

CERTIFIED, SUPERVISED, NO_LICENCE = "certified", "supervised", "none"


def licences_held(case: Case, person: Person | None) -> tuple[Licence, ...]:
    """Return the licences of a person that hold at the site, for the firm's work, on the day."""
    if person is None:
        return ()
    return licences_on(person, case.use.jurisdiction, case.firm.work, case.use.date)


def licences_on(person: Person, jurisdiction: str, work: str, day: date) -> tuple[Licence, ...]:
    """Return the licences of a person that hold in a place, for that line of work, on a day."""
    wanted = fold(work)
    return tuple(
        licence
        for licence in person.licences
        if licence.jurisdiction == jurisdiction
        and wanted in map(fold, licence.work)
        and licence.span.holds(day)
    )


def chosen(case: Case, person: Person | None, named: str) -> tuple[Licence, ...]:
    """Return the licence in question: the one named on the line, else every one that holds."""
    held = licences_held(case, person)
    return tuple(licence for licence in held if licence.number == named) or held


def level_of(case: Case, person: Person | None, named: str) -> str | None:
    """Return ``certified``, ``supervised`` or ``none``; None where several licences disagree."""
    levels = {licence.level for licence in chosen(case, person, named)}
    if len(levels) > 1:
        return None
    return levels.pop() if levels else NO_LICENCE


def applicator_level(case: Case) -> str | None:
    """Return the level of the person who applied."""
    return case.ask(_applicator_level)


def _applicator_level(case: Case) -> str | None:
    return level_of(case, case.applicator, case.use.licence)


def supervisor_level(case: Case) -> str | None:
    """Return the level of the person named as supervisor; ``none`` where nobody is named."""
    return case.ask(_supervisor_level)


def _supervisor_level(case: Case) -> str | None:
    return level_of(case, case.supervisor, case.use.supervisor_licence)


def number_of(case: Case, person: Person | None, named: str) -> str:
    """Return the licence number of a person for this line, or an empty text."""
    held = chosen(case, person, named)
    return held[0].number if held else ""


def certified_number(case: Case) -> str:
    """Return the number of the certified person who applied, else of the one who supervised."""
    use = case.use
    for person, named in (
        (case.applicator, use.licence),
        (case.supervisor, use.supervisor_licence),
    ):
        if level_of(case, person, named) == CERTIFIED:
            return number_of(case, person, named)
    return ""


def _may_supervise(case: Case, person: Person | None, named: str) -> bool | None:
    """Say whether a person is certified for restricted use here and on that day."""
    licences = chosen(case, person, named)
    answers = {item.level == CERTIFIED and item.restricted for item in licences}
    return answers.pop() if len(answers) == 1 else None if answers else False


def check_supervision(case: Case, limit: Limit, tools: Tools) -> Iterator[Finding]:
    """Judge that a certified person applied or was named as supervisor."""
    use = case.use
    category = next((words for key, words in limit.allowed if key == "category"), ())
    people = [(case.applicator, use.licence), (case.supervisor, use.supervisor_licence)]
    answers = [_certified(case, person, named, category) for person, named in people]
    if limit.words == ("applicator",):
        answers = answers[:1]
    if True in answers:
        yield from _on_site(case, limit, tools, answers[0])
        return
    if None in answers:
        text = "cannot tell whether a certified person applied: several licences hold on that day"
        yield finding(limit, tools, Kind.UNKNOWN, text, "applicator", "name the licence")
        return
    text = (
        f"a product for certified persons was applied by {_described(case, case.applicator)}"
        f" and {_supervisor_words(case)}"
    )
    nearby = _certified_nearby(case)
    way_out = ""
    if nearby is not None:
        text = f"{text}; {nearby.name}, who is certified, was at this address at that time"
        way_out = f"if {nearby.name} supervised, amend supervisor"
    yield finding(limit, tools, Kind.BREACH, text, "supervisor", way_out)


def _certified(
    case: Case, person: Person | None, named: str, category: tuple[str, ...]
) -> bool | None:
    """Say whether a person is certified for restricted use, in one of the categories if any."""
    answer = _may_supervise(case, person, named)
    if not answer or not category:
        return answer
    wanted = set(map(fold, category))
    return any(wanted & set(map(fold, item.work)) for item in chosen(case, person, named))


PRESENT = "supervisor present"
"""The word of ``prepared`` that says that the supervisor was on site."""


def _on_site(
    case: Case, limit: Limit, tools: Tools, by_applicator: bool | None
) -> Iterator[Finding]:
    """Judge that the supervisor was there, where the rule asks for it.

    Another line of the supervisor at this site and time shows it, and so does the line's word.
    """
    use = case.use
    if not limit.step or by_applicator:
        return
    lines = (o for o in case.others if o.applicator == use.supervisor and _overlap(use, o))
    if any(lines) or any(fold(word_of(item)) == PRESENT for item in use.prepared):
        return
    text = f"cannot tell whether the supervisor was on site; {tools.authority} says: {limit.says}"
    if use.prepared_said == "none":
        text = f"the supervisor was not on site; {tools.authority} says: {limit.says}"
        yield finding(limit, tools, Kind.BREACH, text, "prepared")
        return
    yield finding(limit, tools, Kind.UNKNOWN, text, "prepared", f'amend prepared with "{PRESENT}"')


def _name(case: Case, person: Person | None) -> str:
    return person.name if person else case.use.applicator


def _described(case: Case, person: Person | None) -> str:
    level = applicator_level(case)
    name = _name(case, person)
    if level == NO_LICENCE:
        return f"{name}, who holds no licence here on that day,"
    if level == CERTIFIED:
        return f"{name}, who is not certified for restricted use,"
    return f"{name}, who works under supervision,"


def _supervisor_words(case: Case) -> str:
    use = case.use
    if not use.supervisor:
        return "no certified supervisor is named"
    name = case.supervisor.name if case.supervisor else use.supervisor
    return f"{name}, named as supervisor, is not certified for this work on that day"


def _certified_nearby(case: Case) -> Person | None:
    """Return a certified person who applied at this site at that time, by the other lines."""
    for other in sorted(case.others, key=lambda other: other.applicator):
        person = case.firm.person(other.applicator)
        if person is case.applicator or not _overlap(case.use, other):
            continue
        if _may_supervise(case, person, ""):
            return person
    return None


def _overlap(one: Application, two: Application) -> bool:
    (start_one, end_one), (start_two, end_two) = _hours(one), _hours(two)
    return start_one < end_two and start_two < end_one


def _hours(use: Application) -> tuple[datetime, datetime]:
    """Return the stretch of the work; a whole day where the times are not known."""
    if use.start is None or use.end is None:
        first = datetime.combine(use.date, time(0))
        return first, first + timedelta(days=1)
    last = use.date + timedelta(days=use.end_day)
    return datetime.combine(use.date, use.start), datetime.combine(last, use.end)


def check_people(case: Case) -> Iterator[Finding]:
    """Judge the licences of the applicator and the supervisor, whatever the product."""
    use = case.use
    level, over = applicator_level(case), supervisor_level(case)
    if case.ask(_several_of_applicator):
        yield _ask_which(_name(case, case.applicator), "applicator")
    elif CERTIFIED in {level, over}:
        return
    elif case.ask(_several_of_supervisor):
        yield _ask_which(use.supervisor, "supervisor")
    elif level == SUPERVISED:
        text = (
            f"{_name(case, case.applicator)} works under supervision and {_supervisor_words(case)}"
        )
        yield Finding(
            Kind.BREACH, "PEOPLE-SUPERVISOR", "supervisor", text, "supervisor",
            "amend supervisor with the certified person who supervised",
        )  # fmt: skip
    else:
        where = f"{case.firm.work} work in {use.jurisdiction} on {use.date}"
        text = (
            f"{_name(case, case.applicator)} holds no licence for {where}"
            f" and {_supervisor_words(case)}"
        )
        yield Finding(
            Kind.BREACH, "PEOPLE-LICENCE", "licence", text, "applicator",
            "name the certified supervisor, or put the licence into useledger.toml",
        )  # fmt: skip


def _several_of_applicator(case: Case) -> bool:
    return _several(case, case.applicator, case.use.licence)


def _several_of_supervisor(case: Case) -> bool:
    return _several(case, case.supervisor, case.use.supervisor_licence)


def _several(case: Case, person: Person | None, named: str) -> bool:
    return len({licence.number for licence in chosen(case, person, named)}) > 1


def _ask_which(name: str, column: str) -> Finding:
    text = f"cannot tell which licence of {name} this was: several hold for this work on that day"
    way_out = "write the licence number instead of the name"
    return Finding(Kind.UNKNOWN, "PEOPLE-WHICH-LICENCE", "which-licence", text, column, way_out)
