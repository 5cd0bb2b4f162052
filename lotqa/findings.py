"""Findings: what can be seen or felt on a spool, how to look for it and what it does to a print.

The shipped ``findings.toml`` explains its keys; the ``[[finding]]`` blocks of a criteria file are
laid over it, finding by finding and key by key.  A name is found by any of its names, whatever
its case, spaces, dashes, articles and plural; it is never guessed, near ones are only suggested.

A spool with several findings is a spool of its worst class [1]_.

.. [1] MIL-STD-105E, definitions of critical, major and minor defective (from memory, and as
   inspection manuals repeat them): the worst class names the unit, whatever else it has.
"""

import difflib
import re
import tomllib
import unicodedata
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from importlib import resources
from typing import Any

from lotqa.criteria import toml_trouble
from lotqa.errors import UnusableCriteria
from lotqa.model import FINDING_CLASSES, Finding, FindingClass

SHIPPED = "findings.toml"
_NEEDED = ("class", "look_for", "effect", "photograph")  # of a finding that does not ship
_TEXTS = ("look_for", "effect", "photograph", "caution", "source")
_KEYS = ("name", "also", "class", *_TEXTS)
_SMALL = frozenset({"a", "an", "the"})  # left out of names
_LINKS = frozenset(
    {"and", "at", "by", "for", "in", "is", "it", "no", "not", "of", "on", "or", "to", "with"}
)  # alone they make no two findings alike
_NEAR = 0.7  # of the spelling: 'lmup' and 'splcie' pass, 'hump' for 'dust' does not
_SHARED = 0.5  # of the words: half of those of the shorter name


@dataclass(frozen=True, slots=True)
class CatalogueEntry:
    """One finding; ``photograph`` is what a claim needs, ``caution`` what can hurt."""

    name: str
    also: tuple[str, ...]
    grade: FindingClass
    look_for: str
    effect: str
    photograph: str
    caution: str | None = None
    source: str = "not stated"


@dataclass(frozen=True, slots=True)
class Catalogue:
    """All findings that are known, in the order of the file."""

    entries: tuple[CatalogueEntry, ...]
    _index: Mapping[str, CatalogueEntry] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        index: dict[str, CatalogueEntry] = {}
        for entry in self.entries:
            for name in (entry.name, *entry.also):
                index.setdefault(_folded(name), entry)
        object.__setattr__(self, "_index", index)

    def find(self, name: str) -> CatalogueEntry | None:
        """The entry that answers to ``name``; None where none does.

        >>> shipped = read_catalogue()
        >>> [shipped.find(n).name for n in ("Lumps", " shark-skin", "voids in cut face")]
        ['lump', 'shark skin', 'bubbles']
        """
        folded = _folded(name)
        return self._index.get(folded) if folded else None

    def near(self, name: str, n: int = 3) -> tuple[str, ...]:
        """Names of up to ``n`` entries that share words with ``name`` or are spelt like it.

        >>> read_catalogue().near("splcie"), read_catalogue().near("fine dust everywhere")
        (('splice',), ('dust',))
        """
        typed, folded = frozenset(_words(name)) - _LINKS, _folded(name)
        if not folded:
            return ()
        scored = []
        for place, entry in enumerate(self.entries):
            likeness = max(_likeness(typed, folded, known) for known in (entry.name, *entry.also))
            if likeness > (0.0, 0.0):
                scored.append((likeness, -place, entry.name))
        return tuple(name for *_, name in sorted(scored, reverse=True)[:n])


def read_catalogue(extra_text: str | None = None, name: str = "criteria") -> Catalogue:
    """The shipped findings with the ``[[finding]]`` blocks of the criteria file ``extra_text``.

    A block whose name is a known one, or another name of it, changes that entry: keys it does not
    give stay, other names are added.  Whatever else the file holds is left to the criteria.

    Raises UnusableCriteria naming the file ``name``, line, finding, key and what would be right.
    """
    shipped = resources.files("lotqa").joinpath(SHIPPED).read_text(encoding="utf-8")
    found: dict[str, CatalogueEntry] = {}  # by folded main name
    names: dict[str, str] = {}  # any folded name: folded main name
    for file, text in [(SHIPPED, shipped)] + ([] if extra_text is None else [(name, extra_text)]):
        here: set[str] = set()
        for where, block in _blocks(file, text):
            key = _lay(where, block, found, names)
            if key in here:
                raise UnusableCriteria(
                    f'{where}: finding "{found[key].name}" stands twice: write it as one block'
                )
            here.add(key)
    return Catalogue(tuple(found.values()))


def worst_class_per_spool(findings: Iterable[Finding]) -> dict[str, FindingClass]:
    """The worst class found on each spool, in the order in which the spools come [1]_.

    >>> worst_class_per_spool([Finding("A", "dust", "minor"), Finding("A", "lump", "major")])
    {'A': 'major'}
    """
    worst: dict[str, FindingClass] = {}
    for f in findings:
        worst[f.spool] = min(worst.get(f.spool, f.grade), f.grade, key=FINDING_CLASSES.index)
    return worst


# ---- names ----


def _words(name: str) -> list[str]:
    """Words of a name in one spelling, without articles.

    >>> _words("Voids, in the Cut-Faces")
    ['void', 'in', 'cut', 'face']
    """
    text = unicodedata.normalize("NFKC", name).casefold()
    return [_singular(word) for word in re.findall(r"[^\W_]+", text) if word not in _SMALL]


def _singular(word: str) -> str:
    """A word without the ending of a plural; both sides of a comparison go through here.

    >>> [_singular(w) for w in ("splices", "scratches", "impurities", "brittleness", "gas")]
    ['splice', 'scratch', 'impurity', 'brittleness', 'gas']
    """
    if len(word) < 4 or not word.endswith("s") or word.endswith(("ss", "us", "is")):
        return word
    if word.endswith("ies"):
        return f"{word[:-3]}y"
    return word[:-2] if word.endswith(("ches", "shes", "sses", "xes")) else word[:-1]


def _folded(name: str) -> str:
    """A name as it is compared: 'Shark-skin' and 'shark skin' are one."""
    return "".join(_words(name))


def _likeness(typed: frozenset[str], folded: str, known: str) -> tuple[float, float]:
    """Shared words and spelling, 0 where neither is near; larger is nearer."""
    words, whole = frozenset(_words(known)) - _LINKS, _folded(known)
    fewer = min(len(typed), len(words))
    shared = len(typed & words) / fewer if fewer else 0.0
    spelt = difflib.SequenceMatcher(None, folded, whole, autojunk=False)
    # The two quick bounds are far cheaper than the ratio and never below it.
    close = min(spelt.real_quick_ratio(), spelt.quick_ratio()) >= _NEAR
    alike = spelt.ratio() if close or shared >= _SHARED else 0.0
    if shared < _SHARED and alike < _NEAR:
        return 0.0, 0.0
    return max(shared, alike), alike


# ---- blocks of a file ----


def _blocks(file: str, text: str) -> Iterator[tuple[str, dict[str, Any]]]:
    """Each [[finding]] block with 'file:line' of its head."""
    try:
        tables = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise UnusableCriteria(toml_trouble(file, error)) from None
    if isinstance(tables.get("findings"), list):  # the criteria's table of that name is none
        raise UnusableCriteria(f"{file}: [[findings]] is not known: write [[finding]]")
    blocks = tables.get("finding", [])
    if not isinstance(blocks, list) or not all(isinstance(row, dict) for row in blocks):
        raise UnusableCriteria(f"{file}: finding is not a list of tables: write [[finding]]")
    heads = [
        number
        for number, line in enumerate(text.splitlines(), 1)
        if re.match(r"\s*\[\[\s*finding\s*\]\]", line)
    ]
    for n, block in enumerate(blocks):
        # Written another way, or quoted in a text, a head is not where it seems: leave the line.
        yield f"{file}:{heads[n]}" if len(heads) == len(blocks) else file, block


def _lay(
    where: str,
    block: Mapping[str, Any],
    found: dict[str, CatalogueEntry],
    names: dict[str, str],
) -> str:
    """Lay one block over what is there; the folded main name of its entry."""
    name = block.get("name")
    if not isinstance(name, str) or not _folded(name):
        typed = "has no name" if name is None else f"has name = {_shown(name)}"
        raise UnusableCriteria(f'{where}: a [[finding]] {typed}: write name = "lump"')
    head = f"{where}: finding {_shown(name)}"
    fields = _fields(head, block)
    others = fields.pop("also", ())
    key = names.get(_folded(name), _folded(name))
    entry = found.get(key)
    if entry is None:
        missing = [k for k in _NEEDED if k not in block]
        if missing:
            raise UnusableCriteria(f"{head} lacks {', '.join(missing)}: add")
        entry = CatalogueEntry(name=name.strip(), also=(), **fields)
    else:
        entry = replace(entry, **fields)
    names[key] = key
    also = list(entry.also)
    for other in others:
        taken = names.setdefault(_folded(other), key)
        if taken != key:
            raise UnusableCriteria(
                f'{head} also is {_shown(other)}, a name of "{found[taken].name}": take it out'
            )
        if _folded(other) not in map(_folded, (entry.name, *also)):
            also.append(other)
    found[key] = replace(entry, also=tuple(also))
    return key


def _fields(head: str, block: Mapping[str, Any]) -> dict[str, Any]:
    """The keys of a block but its name, checked, as fields of an entry."""
    fields: dict[str, Any] = {}
    for key, value in block.items():
        if key not in _KEYS:
            close = difflib.get_close_matches(key, _KEYS, n=1)
            todo = f"did you mean {close[0]}?" if close else "take it out"
            raise UnusableCriteria(f"{head} {key} is not known: {todo}")
        if key == "class":
            if value not in FINDING_CLASSES:
                *first, last = (f'"{c}"' for c in FINDING_CLASSES)
                right = f"{', '.join(first)} or {last}"
                raise UnusableCriteria(f"{head} class is {_shown(value)}: write {right}")
            fields["grade"] = value
        elif key == "also":
            if not isinstance(value, list) or not all(
                isinstance(v, str) and _folded(v) for v in value
            ):
                right = 'a list of names, such as ["bump", "blob"]'
                raise UnusableCriteria(f"{head} also is {_shown(value)}: write {right}")
            fields["also"] = tuple(v.strip() for v in value)
        elif key in _TEXTS:
            if not isinstance(value, str) or not value.strip():
                right = "text in double quotes"
                raise UnusableCriteria(f"{head} {key} is {_shown(value)}: write {right}")
            fields[key] = value.strip()
    return fields


def _shown(value: object) -> str:
    text = f'"{value}"' if isinstance(value, str) else repr(value)
    return text if len(text) <= 40 else f"{text[:37]}..."
