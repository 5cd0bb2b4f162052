"""Sentences about spools, told once where several spools share them."""

import re
from collections.abc import Iterable, Sequence
from typing import Final

from lotqa.report.texts import plain
from lotqa.report.words import WORDS

MANY_NAMES: Final = 8  # more names than this do not help a reader
_NUMBER: Final = re.compile(r"-?\d+(?:\.\d+)?")


def pattern(text: str) -> str:
    """``text`` with every number taken out: sentences that say the same have the same pattern.

    >>> pattern("Lost 9.0 g.") == pattern("Lost 12 g.")
    True
    """
    return _NUMBER.sub("#", text)


def spool_names(names: Sequence[str]) -> str:
    """The spools as the subject of a sentence.

    >>> spool_names(["3"]), spool_names(["3", "5", "6"])
    ('Spool 3', 'Spools 3, 5, 6')
    """
    if len(names) == 1:
        return str(WORDS.spool_name.format(name=plain(names[0])))
    listed = ", ".join(plain(n) for n in names[:MANY_NAMES])
    if len(names) > MANY_NAMES:
        listed = f"{listed} {WORDS.and_more.format(n=len(names) - MANY_NAMES)}"
    return str(WORDS.spool_names.format(names=listed))


def bundled(said: Iterable[tuple[str, str]], n_spools: int) -> tuple[str, ...]:
    """(spool, sentence) pairs as lines, one for all spools that are told the same.

    Sentences that differ in their numbers only are told once, with the numbers of the first spool.
    A line without names holds for all ``n_spools``.
    """
    groups: dict[str, list[tuple[str, str]]] = {}
    for spool, sentence in said:
        groups.setdefault(pattern(sentence), []).append((spool, plain(sentence)))
    lines = []
    for pairs in groups.values():
        names = [spool for spool, _ in pairs]
        first = pairs[0][1]
        if len({sentence for _, sentence in pairs}) > 1:
            lines.append(
                WORDS.alike_note.format(
                    spools=spool_names(names), spool=plain(names[0]), text=first
                )
            )
        elif len(names) == n_spools:
            lines.append(first)
        else:
            lines.append(WORDS.spool_note.format(spools=spool_names(names), text=first))
    return tuple(lines)
