"""Names of materials as people write them: ``Silk PLA``, ``nylon 6``, ``TPU95A``, ``PETG-CF15``.

A name is cut into words.  A known name fits when all of its words occur; the one with most words
wins, and two different ones with equally many leave it open.  Words that nobody knows (colours,
trade words) are ignored, except those that tell of something in the plastic, or of another plastic.
"""

import difflib
import re
from collections.abc import Mapping, Sequence

# Words of one meaning.
_SAME = (
    (r"CF\d*|CARBON\w*", "CF"),
    (r"GF\d*|GLASS\w*", "GF"),
    (r"WOOD\w*|CORK\w*|BAMBOO\w*", "WOOD"),
    (r"METAL|METALFILL\w*", "METAL"),
    (r"STONE\w*", "STONE"),
    (r"MATTE", "MATT"),
    (r"SILKY", "SILK"),
    (r"GLOWING|PHOSPHORESCENT|LUMINOUS", "GLOW"),
)
_FILLERS = frozenset({"CF", "GF", "WOOD", "METAL", "STONE", "GLOW"})
# Something may be in the plastic, or only its colour is meant: an unfilled material does not fit.
_METALLIC = re.compile(r"METAL\w+|BRONZE|COPPER|BRASS|STEEL|IRON")
_OPEN = re.compile(_METALLIC.pattern + r"|\w*FILL(ED)?|FR|ESD|CONDUCTIVE|LW|FOAM\w*|AERO")
_OTHER_PLASTICS = frozenset({"PBT", "PET", "PHA", "PCL", "PPS", "PMMA", "PEEK", "PEI", "LDPE"})


def best_fit(name: str, known: Mapping[str, Sequence[str]]) -> str | None:
    """The key of the one material that ``name`` means; ``known`` gives each key's names."""
    if name.strip().upper() in known:
        return name.strip().upper()
    wholes = _wholes(known)
    vocabulary = frozenset().union(*(words for words, _ in wholes))
    # First as it is written, then with PA612 read as PA and ABS+ as ABS.
    for wanted in (_words(name, vocabulary, False), _words(name, vocabulary, True)):
        if wanted & _OTHER_PLASTICS - vocabulary:
            return None
        marked = wanted & _FILLERS or any(_OPEN.fullmatch(w) for w in wanted)
        fits = [
            (len(words), key)
            for words, key in wholes
            if words <= wanted and not (marked and not words & _FILLERS)
        ]
        if fits:
            most = max(n for n, _ in fits)
            best = {key for n, key in fits if n == most}
            return best.pop() if len(best) == 1 else None
    return None


def likely(name: str, known: Mapping[str, Sequence[str]], n: int = 3) -> list[str]:
    """Keys of up to ``n`` materials that share most words with ``name``, or are spelt like it."""
    wholes = _wholes(known)
    vocabulary = frozenset().union(*(words for words, _ in wholes))
    wanted = _words(name, vocabulary, True)
    if wanted & _OTHER_PLASTICS - vocabulary:
        return []
    if any(_METALLIC.fullmatch(w) for w in wanted):
        wanted |= {"METAL"}
    shared = sorted(
        ((len(words & wanted), -len(words - wanted), -i, key)
         for i, (words, key) in enumerate(wholes) if words & wanted),
        reverse=True,
    )  # fmt: skip
    whole = [key for _, missing, _, key in shared if not missing]
    keys = list(dict.fromkeys(whole or [key for *_, key in shared]))
    if keys:
        return keys[:n]
    return difflib.get_close_matches(name.strip().upper(), list(known), n=n)


def _wholes(known: Mapping[str, Sequence[str]]) -> list[tuple[frozenset[str], str]]:
    return [
        (_words(written, frozenset(), False), key)
        for key, names in known.items()
        for written in names
    ]


def _words(name: str, vocabulary: frozenset[str], loosely: bool) -> frozenset[str]:
    """The words of a name, each in one spelling.

    >>> [sorted(_words(n, frozenset(), False)) for n in ("Shore A95 TPU", "nylon 6.6 cf15")]
    [['95A', 'TPU'], ['CF', 'PA66']]
    """
    text = name.upper().replace("NYLON", "PA").replace("SHORE", " ")
    text = re.sub(r"\bPA[\s-]*6[\s]?[./,][\s]?6\b", "PA66", text)
    text = re.sub(r"\bPA[\s-]+(\d+)\b", r"PA\1", text)
    text = re.sub(r"\b(TPU|TPE)(?=\d)", r"\1 ", text)
    text = re.sub(r"\b([AD])[\s-]?(\d\d)\b", r"\2\1", text)  # A95 is 95A
    text = re.sub(r"\b(\d\d)[\s-]([AD])\b", r"\1\2", text)
    text = re.sub(r"\b(BRONZE|COPPER|BRASS|STEEL|IRON|METAL)[\s-]*FILL\w*", "METAL", text)
    text = re.sub(r"\s+\+(?![^\W_])", "+", text)
    found = set()
    for word in re.findall(r"[^\W_]+(?:\+(?![^\W_]))?", text):
        one = next((to for pattern, to in _SAME if re.fullmatch(pattern, word)), word)
        found.add(_loose(one, vocabulary) if loosely else one)
    return frozenset(found)


def _loose(word: str, vocabulary: frozenset[str]) -> str:
    """``word`` without a plus, a number behind or an R (recycled) before, where that is known."""
    if word in vocabulary:
        return word
    bare = word.rstrip("+")
    head = re.match(r"[A-Z]+(?=\d)", bare)
    for short in (bare, head[0] if head else "", bare.removeprefix("R")):
        if short in vocabulary:
            return short
    return word
