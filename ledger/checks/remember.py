"""What a check found, remembered under the questions it asked.

A check is a pure function of a case. While it runs for the first time its case is watched: every
fact it looks at is noted as a question with its answer. The next case that answers the same
questions alike has the same findings, and the check need not run again. What a check never looked
at (most of a line, for most checks) makes no difference, and so it is not part of the key.

A check that looks at the other applications of the site is remembered only where there are none.
A question that almost every line answers differently, as that for an amount, is not worth its
answers: where it would be asked the check is run each time.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Sequence
from fractions import Fraction
from operator import attrgetter, itemgetter
from typing import Any, Generic, TypeVar, cast

from ledger.checks.case import Case
from ledger.values.amount import Amount, Quantity, Used
from ledger.values.dated import Span
from ledger.values.entry import Application, Weather
from ledger.values.extent import Extent
from ledger.values.product import Product
from ledger.values.site import Address, Site

Question = Callable[[Case], Hashable]
Answers = dict[Question, Hashable]
T = TypeVar("T")

MOST = 5000
"""How many sets of answers of one check are kept; then they are forgotten, and it stays flat."""

WIDE, OF_AMOUNTS = 1000, 40
"""How many answers to one question, at one place among the questions, are kept apart; and how many
where they are amounts, which seldom come again."""

_PARTS = (Application, Site, Address, Extent, Weather, Used, Amount)
"""Values that are looked into: not they themselves are asked about but what is read of them."""


class _LooksBack(Exception):  # noqa: N818 - it ends a watched run, and is no error
    """The check looked at other applications, and there are some."""


def _alone(case: Case) -> bool:
    return not case.others


def _which_product(case: Case) -> str | None:
    return case.product.digest if case.product else None


_FIELDS: dict[str, Question] = {}


def _field(path: str) -> Question:
    """Return the question what stands in a field; the same one each time."""
    if path not in _FIELDS:
        _FIELDS[path] = attrgetter(path)
    return _FIELDS[path]


class _Measure:
    """The question for one measure of the extent."""

    def __init__(self, name: str) -> None:
        self._name = name

    def __call__(self, case: Case) -> Hashable:
        return case.use.extent.get(self._name)


class _Part:
    """A part of a watched case: reading an attribute of it asks a question."""

    __slots__ = ("_path", "_watch")

    def __init__(self, watch: Watch, path: str) -> None:
        self._watch, self._path = watch, path

    def __getattr__(self, name: str) -> Any:  # noqa: ANN401 - it stands in for any value
        path = f"{self._path}.{name}"
        value = attrgetter(path)(self._watch.case)
        if isinstance(value, _PARTS):
            return _Part(self._watch, path)
        return self._watch.ask(_field(path))

    def get(self, name: str) -> Any:  # noqa: ANN401 - as above
        """Ask for one measure, where the part is an extent."""
        path = f"{self._path}.get {name}"
        if path not in _FIELDS:
            _FIELDS[path] = _Measure(name)
        return self._watch.ask(_FIELDS[path])


class Watch:
    """A case that notes what is asked of it; it stands in for a :class:`Case`."""

    __slots__ = ("asked", "case", "firm", "site", "use", "words")

    def __init__(self, case: Case) -> None:
        self.case = case
        self.asked: dict[Question, Hashable] = {}
        self.firm, self.words = case.firm, case.words
        self.use, self.site = _Part(self, "use"), _Part(self, "site")

    def ask(self, question: Question) -> Any:  # noqa: ANN401 - as above
        """Note a question and return its answer."""
        if question not in self.asked:
            self.asked[question] = question(self.case)
        return self.asked[question]

    @property
    def product(self) -> Product | None:
        """The product, all of it: which label it is of stands for everything it says."""
        self.ask(_which_product)
        return self.case.product

    in_force: Callable[[Watch, Span], bool] = cast("Any", Case.in_force)
    applicator = property(cast("Any", Case.applicator).fget)
    supervisor = property(cast("Any", Case.supervisor).fget)
    tool = property(cast("Any", Case.tool).fget)

    @property
    def others(self) -> tuple[()]:
        """The other applications, which a remembered check must not look into."""
        if not self.ask(_alone):
            raise _LooksBack
        return ()


class _Fork(Generic[T]):
    """A question, and where each answer leads: to the next question, or to what was found."""

    __slots__ = ("after", "question")

    def __init__(self, question: Question) -> None:
        self.question = question
        self.after: dict[Hashable, _Fork[T] | _Found[T]] = {}


class _Found(Generic[T]):
    """The end of the questions: what was found; ``always_run`` where that cannot be known."""

    __slots__ = ("always_run", "value")

    def __init__(self, value: T | None, *, always_run: bool = False) -> None:
        self.value, self.always_run = value, always_run


def _width(answer: Hashable) -> int:
    return OF_AMOUNTS if isinstance(answer, (Quantity, Fraction)) else WIDE


class Remembered(Generic[T]):
    """A pure function of a case, with what it said of the cases it has seen."""

    __slots__ = ("_looks_back", "_root", "kept", "run")

    def __init__(self, run: Callable[[Case], T]) -> None:
        self.run = run
        self._root: _Fork[T] | _Found[T] | None = None
        self.kept = 0
        self._looks_back = False

    def of(self, case: Case, answers: Answers) -> T:
        """Return what the function says of a case.

        ``answers`` are the case's own, shared by all functions that are asked about it.
        """
        node = self._root
        while type(node) is _Fork:
            question = node.question
            if question in answers:
                answer = answers[question]
            else:
                answer = answers[question] = question(case)
            node = node.after.get(answer)
        if node is None:
            return self._learn(case)
        found = cast("_Found[T]", node)
        return self.run(case) if found.always_run else cast("T", found.value)

    def _learn(self, case: Case) -> T:
        watch = Watch(case)
        try:
            end = _Found(self.run(cast("Case", watch)))
        except _LooksBack:
            end = _Found(None, always_run=True)
            self._looks_back = True
        if self.kept >= MOST:
            self._root, self.kept = None, 0
        self.kept += 1
        self._keep(list(watch.asked.items()), end)
        return self.run(case) if end.always_run else cast("T", end.value)

    def _keep(self, asked: list[tuple[Question, Hashable]], end: _Found[T]) -> None:
        follow: list[_Fork[T] | _Found[T]] = [_Fork(question) for question, _ in asked]
        follow.append(end)
        node = self._root = self._root or follow[0]
        for at, (question, answer) in enumerate(asked):
            if not isinstance(node, _Fork) or node.question is not question:
                # Equal answers led to another question: not a function of its answers alone.
                self._root = _Found(None, always_run=True)
                return
            if answer not in node.after and len(node.after) >= _width(answer):
                self._run_from(asked[:at])
                return
            node = node.after.setdefault(answer, follow[at + 1])

    def _run_from(self, asked: list[tuple[Question, Hashable]]) -> None:
        """Forget what was kept beyond these answers; the check is run each time from there on."""
        end = _Found[T](None, always_run=True)
        node = self._root
        for _, answer in asked[:-1]:
            node = cast("_Fork[T]", node).after[answer]
        if asked:
            cast("_Fork[T]", node).after[asked[-1][1]] = end
        else:
            self._root = end

    @property
    def quiet(self) -> bool:
        """Whether so few different cases were told apart that others may share the questions."""
        return not self._looks_back and self.kept <= FEW


FEW = 12
"""A check that told no more cases apart than this joins the bundle."""
WARM = 100
"""After how many cases the quiet checks of one set of rules are bundled."""


class Bundle(Generic[T]):
    """Many functions of a case; the quiet ones of them are remembered as one, under one key.

    ``of`` gives the place and the value of each that has something to say; what counts as
    nothing said is any false value (an empty tuple, None).
    """

    __slots__ = ("_loud", "_parts", "_quiet", "_seen")

    def __init__(self, parts: Sequence[Remembered[T]]) -> None:
        self._parts = tuple(parts)
        self._loud = tuple(enumerate(self._parts))
        self._quiet: Remembered[tuple[tuple[int, T], ...]] | None = None
        self._seen = 0

    def of(self, case: Case, answers: Answers) -> list[tuple[int, T]]:
        """Return what the functions say, each behind its place, in the order of the places."""
        said = list(self._quiet.of(case, answers)) if self._quiet else []
        fixed = len(said)
        for place, part in self._loud:
            value = part.of(case, answers)
            if value:
                said.append((place, value))
        if fixed and len(said) > fixed:
            said.sort(key=itemgetter(0))
        self._seen += 1
        if self._seen % WARM == 0:
            self._sort_out()
        return said

    def _sort_out(self) -> None:
        """Bundle the quiet ones, again and again, since a quiet one may become loud."""
        quiet = [(place, part) for place, part in enumerate(self._parts) if part.quiet]
        if self._quiet is not None:
            if self._quiet.quiet or self._quiet.kept <= MOST // 4:
                return
            quiet = []
        self._loud = tuple(pair for pair in enumerate(self._parts) if pair not in quiet)
        self._quiet = Remembered(_together(quiet)) if quiet else None


def _together(
    parts: Sequence[tuple[int, Remembered[T]]],
) -> Callable[[Case], tuple[tuple[int, T], ...]]:
    """Return one function that says what all of these say, and nothing of the silent ones."""

    def run(case: Case) -> tuple[tuple[int, T], ...]:
        said = ((place, part.run(case)) for place, part in parts)
        return tuple((place, value) for place, value in said if value)

    return run
