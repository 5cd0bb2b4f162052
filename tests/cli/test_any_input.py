"""Whatever is thrown at ``inspect``, it answers with a verdict or with one message.

Exit status 1 is the tool's word for a fault of its own, so no input may ever bring it about.
"""

import json
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from tests.cli.contract import breaches, not_finite
from tests.cli.lots import SHEET, put_lot, readings
from tests.cli.terminal import Answer, command

FEW = settings(
    max_examples=60,
    deadline=None,  # the first example pays for the imports
    derandomize=True,
    suppress_health_check=[HealthCheck.function_scoped_fixture],  # `bench` only says where we are
)
ROW_BITS = [
    "1",
    "2",
    "",
    "1.75",
    "1,75",
    "0.069",
    "17.5",
    "1e5",
    "-1",
    "nan",
    "inf",
    "007",
    "NA",
    "2.85",
    "1.75 mm",
    "x",
    '"',
    "90",
    "1e308",
    "\u00bd",
    "\x1b[31m",
]
HEADERS = st.lists(
    st.sampled_from(
        [
            "spool",
            "position_m",
            "direction_deg",
            "diameter_mm",
            "d0_mm",
            "d90_mm",
            "diameter_in",
            "trial",
            "operator",
            "kind",
            "mass_g",
            "note",
            "diameter",
            "",
        ]
    ),
    min_size=1,
    max_size=6,
)
TABLES = st.builds(
    lambda header, rows, mark: "\n".join(mark.join(r) for r in [header, *rows]),
    HEADERS,
    st.lists(st.lists(st.sampled_from(ROW_BITS), min_size=1, max_size=6), max_size=15),
    st.sampled_from([",", ";", "\t"]),
)
SHEET_VALUES = st.one_of(
    st.sampled_from(
        [
            "nan",
            "inf",
            "-1",
            "0",
            "1e308",
            "9" * 30,
            "true",
            "[]",
            "{}",
            '""',
            "1979-05-27",
            "9999-12-31",
            "07:32:00",
            "2.85",
            "0.1",
            '"1,75 mm"',
            '"[red]"',
        ]
    ),
    st.text(max_size=12).map(lambda text: json.dumps(text)),
)
SHEET_KEYS = st.sampled_from([line.split(" =")[0] for line in SHEET.splitlines() if "=" in line])
VALUE_OPTIONS = st.sampled_from(
    [
        "--supplier",
        "--product",
        "--material",
        "--colour",
        "--lot",
        "--received",
        "--currency",
        "--spools-received",
        "--claim-days",
        "--price",
        "--nominal",
        "--tolerance",
        "--net",
        "--unit",
        "--use",
    ]
)
ARGUMENTS = st.text(
    st.characters(blacklist_characters="\0", blacklist_categories=["Cs"]), max_size=12
)


@pytest.fixture
def folder(bench: Path) -> Iterator[Path]:
    with tempfile.TemporaryDirectory(dir=bench) as name:
        yield Path(name)


def answered(answer: Answer) -> None:
    """Either a whole document, or a message and nothing else."""
    assert answer.code in (0, 2), answer.err
    assert "Traceback" not in answer.err
    if answer.code == 0:
        document = json.loads(answer.out)
        assert list(breaches(document)) == []
        assert list(not_finite(document)) == []
    else:
        assert answer.out == ""
        assert answer.err.startswith("lotqa")


def inspected(path: Path, *options: str) -> Answer:
    return command("inspect", path, "--json", "--no-report", "--no-ledger", *options)


@FEW
@given(content=st.binary(max_size=300))
@example(content=b"PK\x03\x04")
@example(content=b"\xff\xfe")
@example(content=b"\xff\xfes\0p")
def test_any_bytes_as_readings(folder: Path, content: bytes) -> None:
    put_lot(folder / "lot", readings=content)
    answered(inspected(folder / "lot"))
    for ending in (".xlsx", ".csv", ".txt"):
        (folder / f"roll{ending}").write_bytes(content)
        answered(inspected(folder / f"roll{ending}"))


@FEW
@given(readings_text=TABLES, weighings=TABLES, findings=TABLES, pins=TABLES)
@example(readings_text="spool,diameter_mm\n1,1e308\n", weighings="", findings="", pins="")
def test_any_tables(
    folder: Path, readings_text: str, weighings: str, findings: str, pins: str
) -> None:
    put_lot(
        folder / "lot",
        readings=readings_text,
        weighings=weighings,
        findings=findings,
        pin_checks=pins,
    )
    answered(inspected(folder / "lot"))


@FEW
@given(weighings=TABLES, findings=TABLES, pins=TABLES)
def test_any_tables_beside_good_readings(
    folder: Path, weighings: str, findings: str, pins: str
) -> None:
    put_lot(folder / "lot", weighings=weighings, findings=findings, pin_checks=pins)
    answered(inspected(folder / "lot"))


@FEW
@given(
    diameters=st.lists(
        st.one_of(
            st.floats(1.5, 2.0).map(lambda d: f"{d:.2f}"),
            st.sampled_from(["1.75", "1.90", "1.60", "2.85", "0.5", "5"]),
        ),
        min_size=1,
        max_size=12,
    ),
    directions=st.sampled_from([(0,), (0, 90), (0, 60, 120)]),
)
def test_any_few_diameters(folder: Path, diameters: list[str], directions: tuple[int, ...]) -> None:
    rows = [
        f"1,{place // len(directions)},{directions[place % len(directions)]},{d}"
        for place, d in enumerate(diameters)
    ]
    table = "spool,position_m,direction_deg,diameter_mm\n" + "\n".join(rows)
    put_lot(folder / "lot", readings=table)
    answered(inspected(folder / "lot"))


@FEW
@given(values=st.dictionaries(SHEET_KEYS, SHEET_VALUES, min_size=1, max_size=4))
@example(values={"received": "9999-12-31"})
def test_any_values_in_the_lot_sheet(folder: Path, values: dict[str, str]) -> None:
    lines = [
        f"{line.split(' =')[0]} = {values[line.split(' =')[0]]}"
        if line.split(" =")[0] in values
        else line
        for line in SHEET.splitlines()
    ]
    put_lot(folder / "lot", "\n".join(lines))
    answered(inspected(folder / "lot"))


@FEW
@given(text=st.one_of(st.text(max_size=80), SHEET_VALUES))
def test_any_text_as_lot_sheet(folder: Path, text: str) -> None:
    put_lot(folder / "lot", text.encode("utf-8", "replace").decode("utf-8"))
    answered(inspected(folder / "lot"))


@FEW
@given(options=st.lists(st.tuples(VALUE_OPTIONS, ARGUMENTS), min_size=1, max_size=3))
@example(options=[("--claim-days", "36500"), ("--received", "9999-12-31")])
@example(options=[("--nominal", "5")])
@example(options=[("--lot", "../../etc/passwd"), ("--supplier", "\x1b[31m")])
def test_any_options(folder: Path, options: list[tuple[str, str]]) -> None:
    put_lot(folder / "lot")
    answered(inspected(folder / "lot", *(f"{key}={value}" for key, value in options)))


@FEW
@given(arguments=st.lists(ARGUMENTS, max_size=3))
def test_any_arguments(arguments: list[str]) -> None:
    answer = command("inspect", "--no-report", "--no-ledger", "--", *arguments)
    assert answer.code == 2
    assert answer.out == ""
    assert answer.err.startswith("lotqa")


@FEW
@given(content=st.one_of(st.binary(max_size=60), st.text(max_size=60).map(str.encode)))
@example(content=b'[[stock]]\nnominal_mm = "x"\n')
@example(content=b"[spread]\ncp_min = nan\n")
@example(content=b"[[for]]\n")
@example(content=b"for = 3\n")
@example(content=b"name = 3\n")
@example(content=b"[spread]\ncp_min = " + b"9" * 400)
def test_any_criteria_and_materials(folder: Path, content: bytes) -> None:
    put_lot(folder / "lot")
    (folder / "own.toml").write_bytes(content)
    for option in ("--criteria", "--materials"):
        answered(inspected(folder / "lot", option, str(folder / "own.toml")))


def test_a_lot_that_was_answered_is_kept_and_drawn(bench: Path) -> None:
    """The oddest lots that can be judged go through the ledger and the page, too."""
    odd = {
        "one reading": "spool,diameter_mm\n1,1.75\n",
        "no spool": "diameter_mm\n1.75\n1.76\n",
        "markup": readings(spools=("<b>&amp;", "../..", "=1+1", "[red]")),
    }
    for name, table in odd.items():
        put_lot(bench / name, SHEET.replace('"K1"', f'"<script>{name}"'), readings=table)
        answer = command("inspect", bench / name, "--json")
        assert (answer.code, answer.err) == (0, ""), name
    assert command("ledger", "check").code == 0
