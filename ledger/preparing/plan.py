"""The plan of one job: allowed, refused or open, and everything to know before it."""

from __future__ import annotations

from dataclasses import dataclass

from ledger.checks.say import Tools, exactly, said
from ledger.normalise.line import Normalised
from ledger.preparing.again import again_after, history, other_product, visits_left
from ledger.preparing.amounts import (
    Mix,
    Most,
    dose_cells,
    expected,
    load,
    mix_for,
    placements,
    scales,
    the_most,
)
from ledger.preparing.ladder import amount_text
from ledger.preparing.lasting import lasts_of
from ledger.preparing.rules_here import (
    Here,
    assumed,
    cautions,
    files_for,
    notice_asked,
    preparation,
    protection,
    reentry,
    restrictions,
)
from ledger.preparing.stage import Judged, Said, Stage, said_of
from ledger.preparing.wish import Wish, wish_of
from ledger.values.amount import Basis
from ledger.values.entry import Application
from ledger.values.finding import Fault, Finding, Kind
from ledger.values.product import Formulation, Product
from ledger.values.site import Site

NO_TIME = "neither label nor common practice says how long it lasts"
ALLOWED, REFUSED, CANNOT_TELL = "allowed", "refused", "cannot tell"


@dataclass(frozen=True, slots=True)
class Plan:
    """What may be done, by the rules on file and the history of the site.

    ``use`` is the line as it would be recorded at the planned amount (the one asked about, else
    the most that can be weighed or measured), ``findings`` everything the judgement says of it.
    ``sections`` are titled lists of statements, in the order in which they are needed.
    """

    verdict: str
    use: Application
    findings: tuple[Finding, ...]
    product: Product
    site: Site
    most: Most
    mix: Mix | None
    refused: tuple[Said, ...]
    open: tuple[Said, ...]
    sections: tuple[tuple[str, tuple[Said, ...]], ...]


def make_plan(stage: Stage) -> Plan | tuple[Fault, ...]:
    """Return the plan, or the faults for which the wish cannot be read at all.

    Judged exactly as the recorded line will be: what the plan allows passes, what it refuses
    breaks a rule. What the rules ask to be prepared is taken as done, since the plan says to do it.
    """
    wished = stage.cells.get("amount", "")
    wish = wish_of(stage)
    if not isinstance(wish, Wish):
        return wish
    doses, taken = dose_cells(stage, wish.rules, wish.product)
    cells = assumed(stage, wish.first) | doses

    def attempt(amount: str) -> Judged | None:
        return stage.judged(amount=amount, **cells)

    basis = Basis.MIX if doses["basis"] == Basis.MIX else Basis.PRODUCT
    least = scales(wish.product, basis)[0]
    smallest = amount_text(least.step, least.unit)
    trial = stage.read(amount=wished or smallest, **cells)
    probe = attempt(smallest)
    if trial.application is None or probe is None:
        return trial.faults
    most = the_most(stage, wish.rules, probe, attempt)
    chosen = wished or largest(most) or smallest
    read = stage.read(amount=chosen, **cells)
    if read.application is None:
        return read.faults
    planned = stage.judge(read.application)
    return plan_of(wish, planned, most, (taken, remarks_on(read, amount=bool(wished))))


def remarks_on(read: Normalised, *, amount: bool) -> tuple[Said, ...]:
    """Return what reading the line said of it; of the amount only where a person wrote it."""
    return tuple(
        Said(item.text, ("as read",), item.way_out)
        for item in read.remarks
        if amount or item.column != "amount"
    )


def largest(most: Most) -> str:
    """Return the largest amount of the first scale that is bounded, as it is written."""
    return next((b.at.use.amount.text for b in most.bounds if b.most is not None), "")


def plan_of(
    wish: Wish, planned: Judged, most: Most, more: tuple[Said | None, tuple[Said, ...]]
) -> Plan:
    """Return the plan of a judged line; ``more`` is why its strength was taken, and remarks."""
    stage, rules, product = wish.stage, wish.rules, wish.product
    use, case = planned.use, stage.case(planned.use)
    site = case.site
    taken, remarks = more
    refused = tuple(said_of(found) for found in planned.of(Kind.BREACH))
    open_ = tuple(
        said_of(found)
        for found in planned.of(Kind.UNKNOWN, Kind.MISSING)
        if found.kind is Kind.UNKNOWN or not found.code.startswith("FIELD-")
    )
    verdict = REFUSED if refused else CANNOT_TELL if open_ else ALLOWED
    tools = Tools(stage.book.units, {}, "LABEL")
    mix = None
    told = bool(most.bounds) or bool(stage.cells.get("amount"))
    if use.amount.basis is Basis.MIX and product.diluted and told:
        mix = mix_for(case, use.amount.quantity, tools)
    if verdict == REFUSED and not most.bounds:
        most = Most(most.basis, (), refused)
    counted = (*placements(stage, rules, planned), *expected(case, tools), *load(case))
    sections = (
        ("How much", (*most_in_words(most, product.file), *asked_about(stage, use), *counted)),
        ("Mix", (*_mix(mix), *((taken,) if taken else ()))),
        ("Not here", restrictions(rules)),
        ("First", preparation(rules)),
        ("Wear", protection(rules, product.file)),
        ("Back in", reentry(rules, product.file)),
        ("Customer", _notice(rules)),
        ("Again", _again(stage, rules, use, done=verdict != REFUSED)),
        ("On file", stage.filled),
        ("Before this", tuple(history(stage, use))),
        ("Instead", (other_product(stage, use),)),
        ("Advice", (*remarks, *_advice(planned, amount=bool(stage.cells.get("amount"))))),
        ("Record", _record(planned)),
        ("Care", tuple(cautions(product.formulation is Formulation.DUST, use.setting == "indoor"))),
    )
    return Plan(verdict, use, planned.findings, product, site, most, mix, refused, open_, sections)


def most_in_words(most: Most, label: str) -> tuple[Said, ...]:
    """Return the most in words: on each scale, with the rules that stop there.

    ``label`` is what governs where no rule on file bounds the amount.
    """
    told: list[Said] = []
    what = " of finished mix" if most.basis is Basis.MIX else ""
    amounts = [said(bound.most) for bound in most.bounds if bound.most is not None]
    if amounts:
        why = tuple(source for item in most.because for source in item.sources)
        text = f"at most {' or '.join(amounts)}{what} (rounded down)"
        told.append(Said(text, why))
        told += [Said(f"{exactly(q)}{what}: {rule.text}", rule.sources)
                 for rule, q in most.exact]  # fmt: skip
    elif most.bounds and not most.undecided:
        told.append(Said("no rule on file bounds the amount: the label in hand does", (label,)))
    elif not most.bounds:
        told.append(Said("none: every amount breaks what is said above", (label,)))
    if most.undecided:
        told.append(Said("the most cannot be told until what is open is answered", (label,)))
    return tuple(told)


def asked_about(stage: Stage, use: Application) -> tuple[Said, ...]:
    """Return that an amount was asked about, where one was."""
    return (Said(f"asked about: {use.amount.text}"),) if stage.cells.get("amount") else ()


def _mix(mix: Mix | None) -> tuple[Said, ...]:
    """Return how to mix, the finished volume said."""
    if mix is None or not mix.parts:
        return ()
    parts = " or ".join(said(part) for part in mix.parts)
    text = (
        f"{parts} of concentrate, filled up with water to {said(mix.finished)} of finished mix"
        f" ({exactly(mix.exact)})"
    )
    return (Said(text, ("worked out from the strength",)),)


def _notice(rules: tuple[Here, ...]) -> tuple[Said, ...]:
    return tuple(
        Said(f"{item.text} Print it: useledger notice --before.", item.sources)
        for item in notice_asked(rules)
    )


def _again(
    stage: Stage, rules: tuple[Here, ...], use: Application, *, done: bool
) -> tuple[Said, ...]:
    """Return when the same may come again, how many times more, and when it will be worn out."""
    intervals = [item.said for item in again_after(stage, rules, use, done=done)]
    if not done:
        return (*intervals,)
    lasts = lasts_of(use, stage.book)
    if lasts is None:
        next_visit = Said("no lasting time on file: look at the next visit", (NO_TIME,))
    else:
        first, last = lasts.window(use.date)
        next_visit = Said(f"next visit {first} to {last}: lasts {lasts.text}", (lasts.source,))
    return (*intervals, *visits_left(stage, rules, use), next_visit)


def _advice(planned: Judged, *, amount: bool) -> tuple[Said, ...]:
    """Return the advice; habits of how an amount is put down only where one was asked about."""
    return tuple(
        said_of(f)
        for f in planned.of(Kind.ADVICE)
        if not f.code.startswith("FIELD-")
        and (amount or f.column != "amount" or not f.code.startswith("PRACTICE-"))
    )


def _record(planned: Judged) -> tuple[Said, ...]:
    """Return what the record will still need, by the law of the place; what a source from memory
    asks for stands apart."""
    told = []
    for kind, words in ((Kind.MISSING, ""), (Kind.ADVICE, "unverified: ")):
        lacking = [found for found in planned.of(kind) if found.code.startswith("FIELD-")]
        if lacking:
            columns = ", ".join(dict.fromkeys(found.column for found in lacking))
            sources = dict.fromkeys(text for found in lacking for text in said_of(found).sources)
            told.append(Said(f"{words}the record will also need: {columns}", tuple(sources)))
    return tuple(told)


def label_line(stage: Stage, plan: Plan) -> str:
    """Return which label version was read, and how another one is named."""
    file = next(iter(files_for(plan.use, stage.book)), None)
    version = f"version {plan.product.version}" if plan.product.version else "the version on file"
    by = f"lot {plan.use.lot}" if plan.use.lot else "the newest in force; --lot names another"
    return f"{file.path if file else plan.product.file}, {version} ({by})"
