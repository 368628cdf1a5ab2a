"""Find what a grower's word means among names: in any case, with spaces or underscores, or in part.

A fault is the end of a sentence that names what was written.
"""

import re
from collections.abc import Mapping

from planner.errors import nearest
from planner.wording import shown

Labels = Mapping[str, tuple[str, ...]]  # what each thing is called, by its key

_MOST_NAMES = 8


class UnclearError(ValueError):
    """More than one thing may be meant."""


def found(text: str, kind: str, labels: Labels) -> str:
    """Return the key that a text means, by its labels: the same, a beginning, or words of it.

    Raises
    ------
    ValueError
        Nothing or more than one thing is meant; says which there are, or the nearest.
    """
    return _found(text, kind, labels, labels)


def _found(
    text: str,
    kind: str,
    labels: Labels,
    nearer: Labels,
) -> str:
    """Find as `found` does; the hint is the nearest of `nearer`, or of all."""
    wanted = plain_name(text)
    plain = {key: {plain_name(label) for label in own} for key, own in labels.items()}
    same = [key for key, own in plain.items() if wanted in own]
    exact = [key for key in same if key == text.strip()]
    begun = [key for key, own in plain.items() if any(x.startswith(wanted) for x in own)]
    words = [key for key, own in plain.items() if any(_holds(x, wanted) for x in own)]
    for meant in (exact, same, begun, words) if wanted else ():
        if len(meant) == 1:
            return meant[0]
        if meant:
            raise UnclearError(f"it may be {listed(meant, ' or ')}; give more of it")
    hint = near(text, nearer) or near(text, labels)
    hint = hint or f"; there are {listed(list(labels), ', ') or 'none'}"
    raise ValueError(f"there is no such {kind}{hint}")


def near(text: str, labels: Labels) -> str:
    """Return the end of a sentence with the nearest label, or the nearest word of one."""
    known = [label for own in labels.values() for label in own]
    words = {word for label in known for word in plain_name(label).split() if len(word) > 2}
    return nearest(text.strip(), known) or nearest(text.strip(), sorted(words))


def first_found(
    text: str,
    kind: str,
    first: Labels,
    every: Labels,
) -> str:
    """Look in the first table, then in all; a fault tells of the last, or of what is unclear."""
    try:
        return found(text, kind, first)
    except UnclearError:
        raise
    except ValueError:
        return _found(text, kind, every, first)


def plain_name(text: str) -> str:
    """Return a name in small letters, its words with single spaces between."""
    return " ".join(re.split(r"[\s_,-]+", text.casefold())).strip()


def _holds(label: str, wanted: str) -> bool:
    """Whether each word wanted begins a word of the label."""
    own = label.split()
    return all(any(word.startswith(part) for word in own) for part in wanted.split())


def listed(names: list[str], joint: str) -> str:
    """Return names quoted and joined, not too many."""
    more = f" and {len(names) - _MOST_NAMES} more" if len(names) > _MOST_NAMES else ""
    return joint.join(shown(name) for name in names[:_MOST_NAMES]) + more
