"""All words of the pages stand in two modules, each is used, and each that is used is there."""

import re
from pathlib import Path

import lotqa.report
from lotqa.report.lot_detail import _ROWS
from lotqa.report.terms import CHECK_NAMES, QUANTITIES
from lotqa.report.words import WORDS

ROOM = Path(lotqa.report.__file__).parent
SOURCES = [
    p
    for p in [*ROOM.rglob("*.py"), *ROOM.rglob("*.jinja")]
    if p.name not in ("words.py", "terms.py")
]
NAMES = {n for n in dir(WORDS) if not n.startswith("_")}


def used_in(text: str, suffix: str) -> set[str]:
    name = "w" if suffix == ".jinja" else "WORDS"
    return set(re.findall(rf"\b{name}\.(\w+)", text))


def words_in_template(text: str) -> str:
    """What a template says itself, without markup and without what it is told to insert."""
    bare = re.sub(r"\{#.*?#\}|\{%.*?%\}|\{\{.*?\}\}", "", text, flags=re.DOTALL)
    bare = re.sub(r"<style>.*?</style>|<[^>]*>", "", bare, flags=re.DOTALL)
    return "".join(re.findall(r"[A-Za-z]+", bare))


def test_every_word_is_used_and_every_used_word_is_there():
    used = set().union(*(used_in(p.read_text("utf-8"), p.suffix) for p in SOURCES))
    by_pattern = {n for n in NAMES if re.match(r"(label|print)_.*(_mm|_g|multiplier)$", n)}
    assert used - NAMES == set()
    assert NAMES - used - by_pattern == set()
    assert used_in("{{ w.no_such }}", ".jinja") - NAMES == {"no_such"}


def test_templates_say_nothing_of_their_own():
    templates = list(ROOM.rglob("*.jinja"))
    assert len(templates) >= 4
    for template in templates:
        assert words_in_template(template.read_text("utf-8")) == "", template.name
    assert words_in_template("<p class='x'>Reject {{ w.x }}</p>") == "Reject"


def test_every_quantity_has_a_row_and_every_row_a_name():
    assert list(_ROWS) == list(QUANTITIES)


def test_every_check_of_the_verdict_rooms_has_a_name():
    room = ROOM.parent / "verdict"
    text = " ".join(p.read_text("utf-8") for p in room.glob("*.py"))
    keys = set(re.findall(r'key="([a-z]+\.[a-z_]+)"', text))
    assert len(keys) >= 5
    assert keys <= set(CHECK_NAMES)
