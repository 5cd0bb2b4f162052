"""``lotqa plan`` as a person and as another program meet it.

What a sample lets through: the table of the trade (accept on zero), in whole percent.
"""

import json
from typing import Any

import pytest

from lotqa.evidence.window import blind_wavelengths
from tests.cli.terminal import command

KEYS = [
    "schema",
    "spools_to_measure",
    "draw",
    "places",
    "directions_deg",
    "positions_m",
    "accept_probability",
    "seed",
]


def document(*arguments: object) -> dict[str, Any]:
    answer = command("plan", *arguments, "--json")
    assert (answer.code, answer.err) == (0, "")
    found = json.loads(answer.out)
    assert isinstance(found, dict)
    return found


def test_the_place_part_alone() -> None:
    found = document("--seed", 4)
    assert list(found) == KEYS
    assert found["schema"] == "lotqa.plan.v1"
    assert (found["places"], len(found["positions_m"])) == (20, 20)
    assert found["directions_deg"] == [0, 90]
    assert found["spools_to_measure"] is found["draw"] is found["accept_probability"] is None
    assert found["positions_m"] == sorted(found["positions_m"])
    assert 0 <= found["positions_m"][0] < found["positions_m"][-1] < 25
    assert blind_wavelengths(found["positions_m"], 0.87) == []


def test_the_seed_is_told_and_repeats_the_plan() -> None:
    found = document("--spools-received", 30)
    assert document("--spools-received", 30, "--seed", found["seed"]) == found
    assert document("--seed", 1)["positions_m"] != document("--seed", 2)["positions_m"]


# General level II of ISO 2859-1; probabilities of acceptance for 10, 30 and 50 % bad spools.
@pytest.mark.parametrize(
    ("received", "n", "percent"),
    [(8, 2, (81, 49, 25)), (10, 3, (73, 34, 12)), (25, 5, (59, 17, 3)), (50, 8, (43, 6, 0.4))],
)
def test_the_spool_part(received: int, n: int, percent: tuple[float, ...]) -> None:
    found = document("--spools-received", received, "--seed", 7)
    assert found["spools_to_measure"] == len(found["draw"]) == n
    assert set(found["draw"]) <= set(range(1, received + 1))
    rows = found["accept_probability"]
    assert [row["bad_fraction"] for row in rows] == [0.05, 0.1, 0.3, 0.5]
    for row, expected in zip(rows[1:], percent, strict=True):
        digits = 0 if expected >= 1 else 1
        assert round(100 * row["p"], digits) == expected


def test_three_directions_and_a_short_stretch() -> None:
    found = document("--places", 10, "--directions", 3, "--stretch", "2,5")
    assert found["directions_deg"] == [0, 60, 120]
    assert found["positions_m"][-1] < 2.5


def test_what_a_person_reads() -> None:
    answer = command("plan", "--seed", 3, "--places", 3, "--directions", 3, "--stretch", 4)
    metres = document("--seed", 3, "--places", 3, "--stretch", 4)["positions_m"]
    further = [b - a for a, b in zip([0.0, *metres], metres, strict=False)]
    table = [line.split() for line in answer.out.splitlines() if line.strip()[:2] in "1 2 3 "]
    rows = [line for line in table if len(line) == 3 and line[0] in "123"]
    assert rows == [[str(i + 1), f"{metres[i]:.2f}", f"{further[i]:.2f}"] for i in range(3)]
    text = " ".join(answer.out.split())
    assert "On each spool read 3 places over 4 m from the free end" in text
    assert "each in the directions 0, 60 and 120 degrees:" in text
    assert "Fewer than 10 places see some wave badly wherever they lie." in text
    assert text.endswith("Drawn with seed 3; --seed 3 draws it again.")


def test_what_a_person_reads_of_the_spools() -> None:
    answer = command("plan", "--seed", 3, "--spools-received", 10)
    drawn = document("--seed", 3, "--spools-received", 10)["draw"]
    text = " ".join(answer.out.split())
    assert f"Measure 3 of 10 spools, counted as they lie in the box: {drawn[0]}, " in text
    assert "10 % 73 %" in text
    assert max(len(line) for line in answer.out.splitlines()) <= 80
    every = command("plan", "--spools-received", 2).out
    assert "Measure every spool of the lot: 2." in every


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (
            ("--places", 40, "--stretch", 2),
            "lotqa: --places is 40, more than 2 m hold: write at most 8, or a longer --stretch\n",
        ),
        (("--places", "0"), 'lotqa: --places is "0": write a whole number from 1 to 1000\n'),
        (("--directions", "4"), 'lotqa: --directions is "4": write a whole number from 2 to 3\n'),
        (
            ("--stretch", "far"),
            'lotqa: --stretch is "far": write a number from 0.25 to 400, such as 25\n',
        ),
        (("--seed", "-1"), 'lotqa: --seed is "-1": write a whole number from 0 to 999999999\n'),
        (
            ("--spools-received", "0"),
            'lotqa: --spools-received is "0": write a whole number from 1 to 1000000\n',
        ),
    ],
)
def test_options_that_cannot_be(arguments: tuple[object, ...], message: str) -> None:
    answer = command("plan", *arguments)
    assert (answer.code, answer.out, answer.err) == (2, "", message)
