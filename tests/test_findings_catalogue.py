"""The catalogue of findings: what ships, a user's blocks over it, and every refusal."""

import re
import tomllib
from dataclasses import replace
from importlib import resources

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lotqa.criteria import read_criteria
from lotqa.errors import UnusableCriteria
from lotqa.findings import Catalogue, read_catalogue, worst_class_per_spool
from lotqa.model import FINDING_CLASSES, Finding

SHIPPED = read_catalogue()
TOML = tomllib.loads(resources.files("lotqa").joinpath("findings.toml").read_text("utf-8"))
OWN = (
    '[[finding]]\nname = "glitter sheds"\nclass = "minor"\nlook_for = "Rub it."\n'
    'effect = "It clogs."\nphotograph = "The cloth."\n'
)


def refusal(text):
    with pytest.raises(UnusableCriteria) as caught:
        read_catalogue(text, name="mine.toml")
    return str(caught.value)


# ---- what ships ----


@pytest.mark.parametrize(("grade", "findings"), [
    # Classes as proposed in the trade: common practice, no source.
    ("critical", "metal particle, mineral particle, wrong material, smell of burning, "
     "smoke at normal heat, food claim without papers, flame grade without papers"),
    ("major", "lump, splice, neck, crossed winding, brittle, bubbles, wrong colour, "
     "ring test failed"),
    ("minor", "loose coil, soft reel, dust, colour shift, ovality, missing lot number, "
     "label misprint, torn bag"),
])  # fmt: skip
def test_classes_are_those_of_the_trade(grade, findings):
    got = {name: SHIPPED.find(name) for name in findings.split(", ")}
    assert {name: entry and entry.grade for name, entry in got.items()} == dict.fromkeys(got, grade)


@pytest.mark.parametrize("name", [
    "snap test failed", "stuck in the ring", "voids in the cut face", "drying loss",
    "layer crossings", "tangled winding", "filament crosses under", "dirt",
    "colour against the last lot", "label wrong material", "label wrong diameter",
    "net mass label", "broken flange", "moisture popping", "flat spots", "oval by feel",
    "loose winding", "free end not secured", "burnt plastic", "vacuum bag torn",
    "desiccant spent", "dusty", "matt surface", "core does not fit", "wrong winding tension",
    "damaged packaging",
])  # fmt: skip
def test_words_of_the_trade_are_known(name):
    assert SHIPPED.find(name) is not None


def test_no_name_belongs_to_two_findings():
    names = [n for e in SHIPPED.entries for n in (e.name, *e.also)]
    plain = [re.sub(r"\W", "", n.casefold()) for n in names]
    assert len(set(plain)) == len(plain)
    for entry in SHIPPED.entries:
        assert all(SHIPPED.find(n) is entry for n in (entry.name, *entry.also))


def test_every_shipped_finding_is_told_in_one_or_two_plain_sentences():
    for e in SHIPPED.entries:
        for text in (e.look_for, e.effect, e.photograph, *([e.caution] if e.caution else [])):
            sentences = re.split(r"(?<=[.!?])\s+", text)
            assert 1 <= len(sentences) <= 2, (e.name, text)
            assert text[0].isupper(), (e.name, text)
            assert text.endswith("."), (e.name, text)
            assert len(text) <= 220, (e.name, text)


def test_every_shipped_finding_says_where_it_comes_from():
    assert [row["name"] for row in TOML["finding"] if not row.get("source")] == []
    assert set(TOML) == {"finding"}


@pytest.mark.parametrize(("name", "word"), [
    ("brittle", "glasses"),  # broken ends fly
    ("free end", "glasses"),  # wound filament is a spring
    ("bubbles", "Cut"),
    ("burning smell", "air the room"),
    ("wrong material", "flame"),
    ("wet filament", "food"),  # ovens
    ("claim without papers", "no food"),
    ("desiccant spent", "microwave"),
    ("broken flange", "cut"),
])  # fmt: skip
def test_what_can_hurt_has_its_caution(name, word):
    entry = SHIPPED.find(name) or SHIPPED.find(f"{name} not secured")
    assert entry is not None
    assert word in (entry.caution or "")


# ---- names ----

NAMES = st.sampled_from([(e, n) for e in SHIPPED.entries for n in (e.name, *e.also)])


@given(NAMES, st.sampled_from([str.upper, str.title, str.casefold]), st.sampled_from(" -_  "))
def test_case_and_spaces_do_not_matter(known, case, between):
    entry, name = known
    assert SHIPPED.find(f"  {case(name).replace(' ', between)} ") is entry


@pytest.mark.parametrize(("typed", "name"), [
    ("Lumps", "lump"),
    ("SPLICES", "splice"),
    ("bubble", "bubbles"),
    ("the torn bags", "torn bag"),
    ("bubbles in cut faces", "bubbles"),
    ("sharkskin", "shark skin"),
    ("flat spot", "flat spots"),
    ("stains", "dirt"),
    ("Dust.", "dust"),
])  # fmt: skip
def test_plurals_articles_and_dashes_do_not_matter(typed, name):
    assert SHIPPED.find(typed).name == name


@pytest.mark.parametrize("typed", ["", "  ", "???", "the", "lumpy bits", "winding", "mass", "s"])
def test_what_is_not_known_is_not_guessed(typed):
    assert SHIPPED.find(typed) is None


@pytest.mark.parametrize("name", [e.name for e in SHIPPED.entries])
def test_two_letters_swapped_still_lead_to_the_finding(name):
    middle = len(name) // 2
    typed = f"{name[: middle - 1]}{name[middle]}{name[middle - 1]}{name[middle + 1 :]}"
    assert name in SHIPPED.near(typed)  # not always first: drit may be grit


@pytest.mark.parametrize(("typed", "first"), [
    ("fine dust everywhere", "dust"),
    ("metal shavings", "foreign particle"),
    ("knots in it", "crossed winding"),
    ("bag was open", "torn bag"),
    ("flange chipped", "broken flange"),
])  # fmt: skip
def test_a_shared_word_leads_to_the_finding(typed, first):
    assert SHIPPED.near(typed)[0] == first


def test_linking_words_do_not_count_against_a_shared_word():
    assert SHIPPED.near("not of the last order")[0] == "colour shift"


def test_suggestions_are_few_and_none_where_nothing_is_near():
    assert len(SHIPPED.near("winding")) == 3
    assert len(SHIPPED.near("winding", n=1)) == 1
    assert [SHIPPED.near(t) for t in ("", "???", "xyz", "1.75", "it is not on")] == [()] * 5


@given(st.text(max_size=30))
def test_no_text_makes_it_stumble(text):
    assert SHIPPED.find(text) is None or SHIPPED.find(text) in SHIPPED.entries
    assert set(SHIPPED.near(text)) <= {e.name for e in SHIPPED.entries}


def test_the_first_of_two_findings_keeps_a_name_that_both_claim():
    lump, neck = SHIPPED.find("lump"), SHIPPED.find("neck")
    assert Catalogue((lump, replace(neck, also=("bump",)))).find("bump") is lump


def test_an_empty_catalogue_knows_nothing():
    assert Catalogue(()).find("lump") is None
    assert Catalogue(()).near("lump") == ()


# ---- a user's own blocks ----


def test_a_file_without_findings_changes_nothing():
    assert read_catalogue("[spread]\ncp_min = 2.0\n") == SHIPPED
    assert read_catalogue("") == SHIPPED


def test_a_block_changes_what_it_names_and_nothing_else():
    got = read_catalogue('[[finding]]\nname = "Dust"\nclass = "major"\nalso = ["lint", "fluff"]\n')
    dust, shipped = got.find("lint"), SHIPPED.find("dust")
    assert (dust.name, dust.grade) == ("dust", "major")
    assert dust.also == (*shipped.also, "lint")
    assert (dust.look_for, dust.source) == (shipped.look_for, shipped.source)
    others = [e for e in got.entries if e.name != "dust"]
    assert others == [e for e in SHIPPED.entries if e.name != "dust"]


def test_another_name_changes_the_same_finding():
    got = read_catalogue('[[finding]]\nname = "tangles"\nclass = "critical"\n')
    assert got.find("crossed winding").grade == "critical"
    assert len(got.entries) == len(SHIPPED.entries)


def test_a_finding_of_ones_own_is_added():
    got = read_catalogue(OWN + 'also = ["Glitzer"]\ncaution = "Wash your hands."\n')
    entry = got.find("GLITZER")
    assert entry is got.entries[-1]
    assert (entry.name, entry.grade, entry.look_for) == ("glitter sheds", "minor", "Rub it.")
    assert (entry.caution, entry.source) == ("Wash your hands.", "not stated")
    assert read_catalogue(OWN + 'source = "our log"').find("glitter shed").source == "our log"


@pytest.mark.parametrize(("text", "said"), [
    ('[[finding]]\nclass = "minor"', ':1: a [[finding]] has no name: write name = "lump"'),
    ('[[finding]]\nname = "?!"', ':1: a [[finding]] has name = "?!": write name = "lump"'),
    ("[[finding]]\nname = 7", ':1: a [[finding]] has name = 7: write name = "lump"'),
    ('[[finding]]\nname = "melon"\nclass = "minor"\neffect = "None."',
     ':1: finding "melon" lacks look_for, photograph: add'),
    ('[[finding]]\nname = "dust"\nclas = "minor"',
     ':1: finding "dust" clas is not known: did you mean class?'),
    ('[[finding]]\nname = "dust"\nxyz = "minor"',
     ':1: finding "dust" xyz is not known: take it out'),
    ('[[finding]]\nname = "dust"\nclass = "bad"',
     ':1: finding "dust" class is "bad": write "critical", "major" or "minor"'),
    ('[[finding]]\nname = "dust"\nclass = ["minor"]',
     ":1: finding \"dust\" class is ['minor']: write \"critical\", \"major\" or \"minor\""),
    ('[[finding]]\nname = "dust"\neffect = " "',
     ':1: finding "dust" effect is " ": write text in double quotes'),
    ('[[finding]]\nname = "dust"\ncaution = 3',
     ':1: finding "dust" caution is 3: write text in double quotes'),
    ('[[finding]]\nname = "dust"\nalso = "lint"',
     ':1: finding "dust" also is "lint": write a list of names, such as ["bump", "blob"]'),
    ('[[finding]]\nname = "dust"\nalso = ["bumps"]',
     ':1: finding "dust" also is "bumps", a name of "lump": take it out'),
    ('# mine\n\n[[finding]]\nname = "dust"\n\n [[ finding ]] # again\nname = "dusty"',
     ':6: finding "dust" stands twice: write it as one block'),
    ('finding = [{ name = "dust" }, { class = "minor" }]',
     ': a [[finding]] has no name: write name = "lump"'),
    ('[finding]\nname = "dust"', ": finding is not a list of tables: write [[finding]]"),
    ('[[findings]]\nname = "dust"', ": [[findings]] is not known: write [[finding]]"),
    ("finding = [1]", ": finding is not a list of tables: write [[finding]]"),
    ("[[finding]]\nname = dust",
     ":2: this line is not TOML: write key = value, text in double quotes"),
])  # fmt: skip
def test_a_block_that_cannot_be_applied_is_refused(text, said):
    assert refusal(text) == f"mine.toml{said}"


def test_a_head_inside_a_text_does_not_shift_the_line_that_is_named():
    quoted = f'{OWN}caution = """\n[[finding]]\n"""\n'
    assert refusal(f'{quoted}[[finding]]\nname = "dust"\nclas = "minor"\n') == (
        'mine.toml: finding "dust" clas is not known: did you mean class?'
    )


# ---- in the criteria file ----


def test_the_criteria_file_may_hold_findings():
    text = f"[spread]\ncp_min = 2.0\n{OWN}"
    got = read_criteria(text, name="mine.toml")
    assert got["spread.cp_min"] == 2.0
    assert got.limits() == read_criteria("[spread]\ncp_min = 2.0\n", name="mine.toml").limits()
    assert got.sha256 != read_criteria("[spread]\ncp_min = 2.0\n").sha256
    assert read_catalogue(got.text).find("glitter sheds") is not None


def test_the_criteria_refuse_a_finding_that_is_no_list():
    with pytest.raises(UnusableCriteria) as caught:
        read_criteria('[finding]\nname = "dust"', name="mine.toml")
    assert str(caught.value) == "mine.toml: finding is not a list of tables: write [[finding]]"


def test_the_table_of_limits_is_no_list_of_findings():
    assert read_catalogue("[findings]\nmajor_max = 1\n") == SHIPPED


# ---- spools by their worst finding ----


def test_a_spool_counts_by_its_worst_finding():
    rows = [("2", "minor"), ("1", "minor"), ("2", "critical"), ("1", "minor"), ("2", "major")]
    got = worst_class_per_spool(Finding(s, "x", g) for s, g in rows)
    assert list(got.items()) == [("2", "critical"), ("1", "minor")]
    assert worst_class_per_spool([]) == {}


@given(st.lists(st.tuples(st.sampled_from("AB7"), st.sampled_from(FINDING_CLASSES))))
def test_no_finding_of_a_spool_is_worse_than_its_class(rows):
    worse_than = {"critical": set(), "major": {"critical"}, "minor": {"critical", "major"}}
    got = worst_class_per_spool([Finding(s, "x", g) for s, g in rows])
    assert got.keys() == {s for s, _ in rows}
    for spool, grade in got.items():
        classes = {g for s, g in rows if s == spool}
        assert grade in classes
        assert not classes & worse_than[grade]
