"""Networks of parts in series and parallel: counted, listed each once, and with a part at fault.

A network is a part, named by a whole number, or a group of two or more networks in series or in
parallel. A group never holds a group of its own kind, and order within a group means nothing, so
that each network has one form.
"""

from collections.abc import Iterator
from functools import lru_cache
from itertools import product
from math import comb
from typing import Literal, NamedTuple, TypeAlias

Kind = Literal["series", "parallel"]
Fault = Literal["open", "short"]


class Group(NamedTuple):
    """Two or more networks in series or in parallel."""

    kind: Kind
    parts: tuple["Network", ...]


Network: TypeAlias = int | Group
# Parts by kind: how many of each there are, those of one kind alike.
Content: TypeAlias = tuple[int, ...]


@lru_cache(maxsize=256)
def network_count(content: Content) -> int:
    """Return the number of networks that use every part of a content, without listing them.

    Parameters
    ----------
    content
        Number of parts of each kind [1], one or more in all.

    Returns
    -------
    int
        Each network counted once, whatever the order of its groups.

    Notes
    -----
    With ``p(m)`` networks of content ``m`` that are no series group, the networks of any kind have
    the generating function ``prod over m of (1 - x^m)^-p(m)``: a series group is a multiset of what
    is none. Series and parallel are dual, so that ``p(m)`` is half of all where ``m`` has two parts
    or more.

    References
    ----------
    P. A. MacMahon, The combinations of resistances (1892); OEIS A000084 for parts all alike,
    A006351 for parts all unlike (memory).
    """
    counted = {(0,) * len(content): 1}
    plain: dict[Content, int] = {}
    for entry in _contents_within(content):
        plain[entry] = 1 if sum(entry) == 1 else counted[entry]
        counted = _with_copies(counted, entry, plain[entry], content)
    return plain[content] if sum(content) == 1 else 2 * plain[content]


def networks(content: Content) -> tuple[Network, ...]:
    """Return all networks that use every part of a content, each once.

    Parameters
    ----------
    content
        Number of parts of each kind [1], one or more in all. The work grows as the number of
        networks; ask ``network_count`` before.

    Returns
    -------
    tuple
        Networks whose parts are kinds of the content: series groups, then their duals.
    """
    by_content: dict[Content, tuple[Network, ...]] = {}
    for entry in _contents_within(content):
        if sum(entry) == 1:
            by_content[entry] = (entry.index(1),)
        else:
            by_content[entry] = tuple(
                dual_of(Group("series", parts)) for parts in _multisets(entry, by_content)
            )
    found = by_content[content]
    return found if sum(content) == 1 else (*map(dual_of, found), *found)


def _contents_within(content: Content) -> list[Content]:
    """Return what can be taken out of a content, one part or more, by number of parts."""
    every = product(*(range(count + 1) for count in content))
    return sorted(filter(any, every), key=lambda entry: (sum(entry), entry))


def _with_copies(
    counted: dict[Content, int], entry: Content, choices: int, content: Content
) -> dict[Content, int]:
    """Return counts of multisets after a content joins them that can be met in several ways."""
    joined: dict[Content, int] = {}
    for before, count in counted.items():
        copies = 0
        after = before
        while all(map(int.__le__, after, content)):
            chosen = comb(choices + copies - 1, copies)
            joined[after] = joined.get(after, 0) + count * chosen
            copies += 1
            after = tuple(map(int.__add__, after, entry))
    return joined


def _multisets(
    content: Content, by_content: dict[Content, tuple[Network, ...]]
) -> Iterator[tuple[Network, ...]]:
    """Yield the multisets of two or more networks that make up a content."""
    choices = [
        (entry, network)
        for entry, found in by_content.items()
        if all(map(int.__le__, entry, content))
        for network in found
    ]

    def chosen(left: Content, start: int) -> Iterator[tuple[Network, ...]]:
        if not any(left):
            yield ()
        for place in range(start, len(choices)):
            entry, network = choices[place]
            if all(map(int.__le__, entry, left)):
                after = tuple(map(int.__sub__, left, entry))
                for others in chosen(after, place):
                    yield (network, *others)

    yield from chosen(content, 0)


def dual_of(network: Network) -> Network:
    """Return a network with series and parallel exchanged."""
    if isinstance(network, int):
        return network
    kind: Kind = "parallel" if network.kind == "series" else "series"
    return Group(kind, tuple(map(dual_of, network.parts)))


def parts_of(network: Network) -> Iterator[int]:
    """Yield the parts of a network in the order in which it is written."""
    if isinstance(network, int):
        yield network
    else:
        for part in network.parts:
            yield from parts_of(part)


def with_parts(network: Network, parts: Iterator[Network]) -> Network:
    """Return a network with others in place of its parts.

    Parameters
    ----------
    network
        Any.
    parts
        What stands for each part, in the order of ``parts_of``.

    Returns
    -------
    int or Group
        In the one form: a group within a group of its own kind is dissolved.
    """
    if isinstance(network, int):
        return next(parts)
    return _group_of(network.kind, [with_parts(part, parts) for part in network.parts])


@lru_cache(maxsize=4096)
def order_of(network: Network) -> tuple[int, str, tuple[object, ...]]:
    """Return what networks are ordered by: single parts first, then groups by their parts."""
    if isinstance(network, int):
        return (0, "", (network,))
    return (len(network.parts), network.kind, tuple(map(order_of, network.parts)))


def in_order(network: Network) -> Network:
    """Return a network with the members of each group in order, so that equals look alike."""
    if isinstance(network, int):
        return network
    return Group(network.kind, tuple(sorted(map(in_order, network.parts), key=order_of)))


def after_fault(network: Network, part: int, fault: Fault) -> Network | Fault:
    """Return what is left of a network when one part is open or shorted.

    Parameters
    ----------
    network
        Each part once.
    part
        The one at fault.
    fault
        Open: no current can pass the part. Short: no voltage can stand across it.

    Returns
    -------
    int or Group or str
        The parts that still carry current, or ``open`` or ``short`` where none does: what the
        whole network then is.

    References
    ----------
    Kirchhoff's laws: one current through a series group, one voltage across a parallel group.
    """
    if isinstance(network, int):
        return fault if network == part else network
    left = [after_fault(member, part, fault) for member in network.parts]
    ends_all: Fault = "open" if network.kind == "series" else "short"
    if ends_all in left:
        return ends_all
    # The other fault takes its member out and leaves the rest as it was.
    return _group_of(network.kind, [member for member in left if not isinstance(member, str)])


def _group_of(kind: Kind, members: list[Network]) -> Network:
    """Return members as a group in the one form; a single one needs none."""
    if len(members) == 1:
        (only,) = members
        return only
    dissolved: list[Network] = []
    for member in members:
        if isinstance(member, Group) and member.kind == kind:
            dissolved.extend(member.parts)
        else:
            dissolved.append(member)
    return Group(kind, tuple(dissolved))
