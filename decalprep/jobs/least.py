"""How few sheets a job could ever do whose panels may go on different kinds of sheet."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from decalprep.jobs.groups import Group, nest_settings
from decalprep.jobs.spec import Job

MOST_CHOICES = 6
"""With more different choices of sheets, only each by itself and all together are looked at."""
Names = frozenset[str]


def least_sheets(groups: Sequence[Group], job: Job) -> int:
    """A number of sheets that no layout can beat.

    For a set of kinds of sheet, the pieces that may go on no other kind need so many of these;
    sets that share no kind add up.
    """
    choices = {group.names for group in groups}
    needs = {names: _bound(groups, names, job) for names in unions(choices)}
    return most_apart(needs)


def unions(choices: Iterable[Names]) -> set[Names]:
    """Every set of kinds that is a union of choices.

    >>> sorted("".join(sorted(u)) for u in unions([frozenset("a"), frozenset("bc")]))
    ['a', 'abc', 'bc']
    """
    every = sorted(choices, key=sorted)
    if len(every) > MOST_CHOICES:
        return {*every, frozenset().union(*every)}
    found: set[Names] = set()
    for names in every:
        found |= {names, *(names | other for other in found)}
    return found


def most_apart(needs: Mapping[Names, int]) -> int:
    """The largest sum of needs over sets of which no two share a kind.

    >>> most_apart({frozenset("a"): 2, frozenset("b"): 2, frozenset("ab"): 3})
    4
    """
    if not needs:
        return 0
    rest = dict(needs)
    names, count = rest.popitem()
    apart = {other: n for other, n in rest.items() if not other & names}
    taken = count + most_apart(apart)
    return taken if len(apart) == len(rest) else max(taken, most_apart(rest))


def _bound(groups: Sequence[Group], names: Names, job: Job) -> int:
    """Sheets of these kinds that the pieces need which may go on no other."""
    from decalprep.nesting.bounds import lower_bound
    from decalprep.nesting.regions import kinds_of

    inside = [group for group in groups if group.names <= names]
    specs = {spec.sheet.name: spec for group in inside for spec in group.kinds}
    settings = nest_settings(tuple(specs.values()), job)
    kinds = kinds_of(tuple(spec.sheet for spec in specs.values()), settings)
    return lower_bound([part for group in inside for part in group.parts], kinds, settings)
