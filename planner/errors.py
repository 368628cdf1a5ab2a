"""The family of errors that a grower can put right."""

from collections.abc import Iterable, Sequence
from difflib import get_close_matches


class PlannerError(Exception):
    """Base of every fault that the grower can mend; the command prints it and exits 1."""


class InputError(PlannerError):
    """A farm file or table is wrong; lists every fault found, not only the first.

    Each fault says where (file, row or key), what was found and what is allowed.
    """

    def __init__(self, faults: Sequence[str]) -> None:
        self.faults = tuple(faults)
        super().__init__("\n".join(self.faults))


class ImpossiblePlanError(PlannerError):
    """No plan keeps every hard rule; names the rules that collide."""


class StoppedError(PlannerError):
    """The search was asked to stop before it had a plan."""


def nearest(found: str, known: Iterable[str]) -> str:
    """Return `; did you mean "x"?` for the nearest known name, or an empty text."""
    names = {name.lower(): name for name in known}
    close = get_close_matches(found.lower(), list(names), n=1, cutoff=0.6)
    return f'; did you mean "{names[close[0]]}"?' if close else ""
