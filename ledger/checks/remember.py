"""What a check found, remembered under the questions it asked.

A check is a pure function of a case. While it runs for the first time its case is watched: every
fact it looks at is noted as a question with its answer. The next case that answers the same
questions alike has the same findings, and the check need not run again. What a check never looked
at (most of a line, for most checks) makes no difference, and so it is not part of the key.

A check that looks at the other applications of the site is remembered only where there are none.
One whose questions are answered differently by almost every line is not worth remembering: after
``MOST`` different answers it is simply run each time.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable
from operator import attrgetter
from typing import Any, Generic, TypeVar, cast

from ledger.checks.case import Case
from ledger.values.amount import Amount, Used
from ledger.values.dated import Span
from ledger.values.entry import Application, Weather
from ledger.values.extent import Extent
from ledger.values.site import Address, Site

Question = Callable[[Case], Hashable]
Answers = dict[Question, Hashable]
T = TypeVar("T")

MOST = 2000
"""How many different sets of answers of one check are kept."""

_PARTS = (Application, Site, Address, Extent, Weather, Used, Amount)
"""Values that are looked into: not they themselves are asked about but what is read of them."""


class _LooksBack(Exception):  # noqa: N818 - it ends a watched run, and is no error
    """The check looked at other applications, and there are some."""


def _alone(case: Case) -> bool:
    return not case.others


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

    __slots__ = ("asked", "case", "firm", "product", "site", "use", "words")

    def __init__(self, case: Case) -> None:
        self.case = case
        self.asked: dict[Question, Hashable] = {}
        self.product, self.firm, self.words = case.product, case.firm, case.words
        self.use, self.site = _Part(self, "use"), _Part(self, "site")

    def ask(self, question: Question) -> Any:  # noqa: ANN401 - as above
        """Note a question and return its answer."""
        if question not in self.asked:
            self.asked[question] = question(self.case)
        return self.asked[question]

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


class Remembered(Generic[T]):
    """A pure function of a case, with what it said of the cases it has seen."""

    __slots__ = ("_kept", "_root", "_run")

    def __init__(self, run: Callable[[Case], T]) -> None:
        self._run = run
        self._root: _Fork[T] | _Found[T] | None = None
        self._kept = 0

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
        return self._run(case) if found.always_run else cast("T", found.value)

    def _learn(self, case: Case) -> T:
        watch = Watch(case)
        try:
            end = _Found(self._run(cast("Case", watch)))
        except _LooksBack:
            end = _Found(None, always_run=True)
        self._kept += 1
        if self._kept > MOST:
            self._root = _Found(None, always_run=True)
        else:
            self._keep(list(watch.asked.items()), end)
        return self._run(case) if end.always_run else cast("T", end.value)

    def _keep(self, asked: list[tuple[Question, Hashable]], end: _Found[T]) -> None:
        follow: list[_Fork[T] | _Found[T]] = [_Fork(question) for question, _ in asked]
        follow.append(end)
        node = self._root = self._root or follow[0]
        for (question, answer), fresh in zip(asked, follow[1:], strict=True):
            if not isinstance(node, _Fork) or node.question is not question:
                # Equal answers led to another question: not a function of its answers alone.
                self._root = _Found(None, always_run=True)
                return
            node = node.after.setdefault(answer, fresh)
