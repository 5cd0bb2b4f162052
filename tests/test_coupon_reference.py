"""The coupon of an earlier lot is the reference of a later one, from files and ledger to the page.

The machine is simulated (tests/printing.py): what its drive loses is known, so is every gap.
"""

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy import stats

from lotqa.evidence.coupon import Factor, factor_as_kept
from lotqa.inspection import run
from tests.printing import ASKED, NOW, document, files, laid_over_asked, printed, walls

LINE = "line_width_mm = 0.45\nlayer_height_mm = 0.2\n"
BENCH_2 = 'machine = "bench 2"\n'
# Walls are written to 0.001 mm and a mean diameter is known to 0.001 mm: 0.3 % together; of two
# coupons 0.45 %.
ONE, TWO = 0.003, 0.0045


class Shop:
    """Lots of one spool A, each with its coupon, inspected into one ledger."""

    def __init__(self, path: Path) -> None:
        self.path, self.ledger = path, str(path / "ledger.sqlite")

    def inspect(
        self,
        code: str,
        received: str | None,
        residual: float = 1.02,
        coupon: str = BENCH_2,
        *,
        true_mm: float = 1.75,
        settings: str = "",
        wall: bool = True,
        mass: bool = False,
        ledger: bool = True,
    ) -> dict[str, Any]:
        mass_g, wall_mm = printed(true_mm, residual)
        tables = {"coupon_walls": walls(wall_mm)} if wall else {}
        if mass:
            tables["weighings"] = f"spool,kind,mass_g\nA,coupon,{mass_g:.3f}\n"
        folder = self.path / code.replace("/", "_")
        folder.mkdir(exist_ok=True)
        named = f'lot = "{code}"\n' + ("" if received is None else f"received = {received}\n")
        for name, content in files(LINE + settings, ASKED + coupon, {"A": true_mm}, **tables):
            text = content.decode().replace('lot = "K 1"\n', named)
            (folder / name).write_text(text, encoding="utf-8")
        return run(folder, now=NOW, ledger=self.ledger if ledger else None).document


@pytest.fixture
def shop(tmp_path: Path) -> Shop:
    return Shop(tmp_path)


def spool(made: dict[str, Any]) -> dict[str, Any]:
    return dict(made["spools"][0])


def said_of_reference(made: dict[str, Any]) -> list[str]:
    return [p["message"] for p in made["problems"] if p["column"] == "reference"]


# ------------------------------------------------------------------- the newest of the machine


def test_the_second_lot_is_held_against_the_first(shop):
    first = spool(shop.inspect("K 1", "2026-01-05"))
    assert (first["verdict"], first["standing"]) == ("accept", "firm")
    assert first["coupon"]["reference"] is None
    made = shop.inspect("K 2", "2026-02-05", true_mm=1.78)
    found = spool(made)["coupon"]
    assert said_of_reference(made) == []
    got = found["reference"]
    assert {k: got[k] for k in ("lot", "spool", "date", "route", "machine", "named")} == {
        "lot": "K 1",
        "spool": "A",
        "date": "2026-01-05",
        "route": "wall",
        "machine": "bench 2",
        "named": False,
    }
    kept = first["coupon"]["wall"]
    assert (got["residual"], got["u"], got["u_tools"]) == (
        kept["residual"],
        kept["residual_u"],
        kept["residual_u_tools"],
    )
    # The drive loses 2 % on both: without the reference that was a gap, with it there is none.
    assert first["coupon"]["word"] == "not_diameter"
    assert found["word"] == "explained"
    assert found["wall"]["residual"] == pytest.approx(1.02, rel=ONE)
    assert found["wall"]["gap_pct"] == pytest.approx(0, abs=100 * TWO)
    assert (
        "The reference is the coupon of spool A of lot K 1 (2026-01-05) in the ledger, the newest "
        'of machine "bench 2" whose spool was firmly accepted: its print over its diameter was '
        f"{kept['residual']:.4f} by the wall."
    ) in found["text"]


def test_a_spool_that_prints_otherwise_than_the_reference_did_is_told(shop):
    shop.inspect("K 1", "2026-01-05")
    found = spool(shop.inspect("K 2", "2026-02-05", 1.05))["coupon"]
    assert found["word"] == "not_diameter"
    assert found["wall"]["gap_pct"] == pytest.approx(100 * (1.05 / 1.02 - 1), abs=100 * TWO)
    assert found["text"].endswith(
        "If the machine was changed since, and this spool is known to be good, write reference = "
        '"K 2/A" under [coupon] in the lots to come.'
    )


def test_what_the_machine_needs_is_counted_in_the_flow(shop):
    """The error is what the machine lays too little of the filament, itself taken out."""
    shop.inspect("K 1", "2026-01-05")
    made = spool(shop.inspect("K 2", "2026-02-05", true_mm=1.77, settings="multiplier = 1.01"))
    want = 100 * (laid_over_asked(1.77, 1.75, 1.01, 1.02) - 1)
    assert made["flow"]["error_pct"] == pytest.approx(want, abs=100 * TWO)
    now = made["tuning"]["set_now"]
    assert now["machine_residual"] == now["reference"]["residual"]
    assert now["reference"]["lot"] == "K 1"
    assert "by the coupon of spool A of lot K 1 (2026-01-05); standard" in made["tuning"]["text"]
    # All of its uncertainty: what the tools did to it does not fall out of the flow.
    u_all = np.hypot(now["reference"]["u"], now["reference"]["u_tools"])
    half = np.log(np.divide(*now["reference"]["residual_ci95"][::-1])) / 2
    assert now["machine_residual_u"] == pytest.approx(half / stats.norm.ppf(0.975), rel=1e-8)
    assert now["machine_residual_u"] >= u_all * (1 - 1e-9)


def test_the_machine_is_known_without_a_coupon_of_this_lot(shop):
    shop.inspect("K 1", "2026-01-05")
    made = shop.inspect("K 2", "2026-02-05", settings="multiplier = 1.02", wall=False)
    assert spool(made)["coupon"] is None
    assert spool(made)["tuning"]["set_now"]["reference"]["spool"] == "A"
    assert not any("multiplier" in m for m in made["missing"])
    unknown = shop.inspect("K 3", "2026-02-06", coupon="", settings="multiplier = 1.02", wall=False)
    assert any("How much of the multiplier 1.02" in m for m in unknown["missing"])


def test_another_machine_is_not_taken(shop):
    shop.inspect("K 1", "2026-01-05")
    for code, machine in (("K 2", 'machine = "bench 1"\n'), ("K 3", "")):
        made = spool(shop.inspect(code, "2026-02-05", coupon=machine))
        assert made["coupon"]["reference"] is None
        assert made["tuning"]["set_now"]["reference"] is None
    assert spool(shop.inspect("K 4", "2026-02-06", coupon='machine = "Bench  2"\n'))["coupon"][
        "reference"
    ]["lot"] == ("K 1")


def test_a_later_lot_is_never_the_reference_of_an_earlier_one(shop):
    shop.inspect("K 5", "2026-05-05")
    assert spool(shop.inspect("K 1", "2026-01-05"))["coupon"]["reference"] is None
    asked = BENCH_2 + 'reference = "K 5/A"\n'
    made = shop.inspect("K 2", "2026-01-06", coupon=asked)
    assert spool(made)["coupon"]["reference"] is None
    assert said_of_reference(made) == [
        'reference is "K 5/A", and lot K 5 of 2026-05-05 came later than this one: no reference is '
        'used; write lot and spool of an earlier coupon, such as "K 1/A"'
    ]


def test_a_lot_that_is_inspected_again_meets_the_same_reference(shop):
    shop.inspect("K 1", "2026-01-05")
    second = spool(shop.inspect("K 2", "2026-02-05"))["coupon"]
    shop.inspect("K 3", "2026-03-05")
    again = shop.inspect("K 2", "2026-02-05")
    assert spool(again)["coupon"] == second
    assert again["ledger"]["new"] is False
    assert spool(shop.inspect("K 1", "2026-01-05"))["coupon"]["reference"] is None


# ------------------------------------------------------------------------------ named or stated


def test_a_named_coupon_is_taken_before_a_newer_one(shop):
    shop.inspect("K 1", "2026-01-05")
    shop.inspect("K 2", "2026-02-05", 1.022)
    got = spool(shop.inspect("K 3", "2026-03-05", coupon='reference = "K 1/A"\n'))["coupon"]
    assert (got["reference"]["lot"], got["reference"]["named"]) == ("K 1", True)
    assert "in the ledger, named in the lot sheet: its print" in got["text"]


def test_a_residual_that_is_stated_always_wins(shop):
    shop.inspect("K 1", "2026-01-05")
    stated = BENCH_2 + 'reference_residual = 1.05\nreference_u = 0.001\nreference_route = "wall"\n'
    found = spool(shop.inspect("K 2", "2026-02-05", coupon=stated))["coupon"]
    assert (found["reference"]["residual"], found["reference"]["source"]) == (1.05, "lot sheet")
    assert (found["reference"]["lot"], found["reference"]["date"]) == (None, None)
    assert found["wall"]["gap_pct"] == pytest.approx(100 * (1.02 / 1.05 - 1), abs=100 * ONE)
    assert "The reference is the one written in the lot sheet" in found["text"]
    both = shop.inspect("K 3", "2026-03-05", coupon=stated + 'reference = "K 1/A"\n')
    assert spool(both)["coupon"]["reference"]["residual"] == 1.05
    assert said_of_reference(both) == [
        'reference is "K 1/A", but reference_residual is given, too: the residual is used; take '
        "one of them out"
    ]


def test_a_reference_that_is_not_there_is_a_problem(shop):
    shop.inspect("K 1", "2026-01-05")
    made = shop.inspect("K 2", "2026-02-05", coupon=BENCH_2 + 'reference = "K 0412/3"\n')
    assert [p for p in made["problems"] if p["column"] == "reference"] == [
        {
            "file": "lot.toml",
            "line": None,
            "column": "reference",
            "value": "K 0412/3",
            "message": 'reference is "K 0412/3", and the ledger has no such lot: no reference is '
            'used; write lot and spool of an earlier coupon, such as "K 1/A"',
            "row_used": True,
        }
    ]
    # The machine is known, but another coupon than the one that was named is not put in its place.
    assert spool(made)["coupon"]["reference"] is None


@pytest.mark.parametrize("ledger", [False, True])
def test_without_a_ledger_a_named_reference_is_a_problem(shop, ledger):
    made = shop.inspect("K 2", "2026-02-05", coupon='reference = "K 1/A"\n', ledger=ledger)
    assert said_of_reference(made) == [
        'reference is "K 1/A", and no ledger was there to look it up in: no reference is used; '
        "name the ledger that has it (--ledger), or write reference_residual"
    ]
    alone = document("", ASKED + 'reference = "K 1/A"\n')
    assert said_of_reference(alone) == said_of_reference(made)


# ------------------------------------------------------------------------------------- by route


def test_each_route_is_held_against_its_own(shop):
    first = spool(shop.inspect("K 1", "2026-01-05", mass=True))["coupon"]
    found = spool(shop.inspect("K 2", "2026-02-05", true_mm=1.76, mass=True))["coupon"]
    for route in ("wall", "mass"):
        assert found[route]["against_reference"] is True
        gap = found[route]["residual"] / first[route]["residual"] - 1
        assert found[route]["gap_pct"] == pytest.approx(100 * gap, abs=1e-9)
    assert found["reference"]["route"] == found["by"] == "wall"


def test_a_reference_by_the_wall_says_nothing_of_the_mass(shop):
    shop.inspect("K 1", "2026-01-05")
    found = spool(shop.inspect("K 2", "2026-02-05", wall=False, mass=True))["coupon"]
    assert found["mass"]["against_reference"] is False
    assert found["reference"]["route"] == "wall"
    assert found["text"].endswith("by the wall. It says nothing of the mass.")


def test_the_same_tools_are_for_the_buyer_to_state(shop):
    """The density is the same for both: its error falls out, if it was the same scale, too."""
    shop.inspect("K 1", "2026-01-05", wall=False, mass=True)
    apart = spool(shop.inspect("K 2", "2026-02-05", wall=False, mass=True))["coupon"]
    assert apart["word"] == "cannot_tell"
    assert (
        'If both coupons were read with the same tools, write reference_tools = "same" under '
        "[coupon]: their errors fall out."
    ) in apart["text"]
    same = BENCH_2 + 'reference_tools = "same"\n'
    found = spool(shop.inspect("K 3", "2026-02-06", coupon=same, wall=False, mass=True))["coupon"]
    assert found["word"] == "explained"
    assert "fall out" not in found["text"]


def test_wet_filament_does_not_become_the_reference_of_what_follows(shop):
    shop.inspect("K 1", "2026-01-05")
    # Set to 1.02 the machine lays 2 % more than printed() says, and still too little.
    wet = spool(shop.inspect("K 2", "2026-02-05", 1.05 / 1.02, settings="multiplier = 1.02"))
    assert wet["coupon"]["wall"]["residual"] == pytest.approx(1.05, rel=ONE)
    assert (wet["verdict"], wet["standing"]) == ("accept", "firm")
    found = spool(shop.inspect("K 3", "2026-03-05"))["coupon"]
    assert (found["reference"]["lot"], found["reference"]["passed_over"]) == ("K 1", ["K 2/A"])
    assert (
        "Newer ones are passed over, since they disagreed with a reference of their own: K 2/A."
    ) in found["text"]


# ------------------------------------------------------------------ what a document keeps of it


@pytest.mark.parametrize("df", [1.0, 3.0, 7.3, 60.0, np.inf])
@pytest.mark.parametrize("u_common", [0.0, 0.001, 0.02])
def test_a_factor_comes_back_from_its_interval(df, u_common):
    """Oracle: Welch and Satterthwaite (GUM, G.4.1) with the quantiles of scipy.stats."""
    u = 0.004
    u_all = np.hypot(u, u_common)
    student = stats.norm if np.isinf(df) else stats.t(df * (u_all / u) ** 4)
    half = student.ppf(0.975) * u_all
    got = factor_as_kept(
        1.02, 1.02 * np.exp(-half), 1.02 * np.exp(half), u_rel=u, u_common_rel=u_common
    )
    assert (got.value, got.u_rel, got.u_common_rel) == (1.02, u, u_common)
    assert got.interval() == pytest.approx((1.02 * np.exp(-half), 1.02 * np.exp(half)), rel=1e-9)
    if u_common < u:
        # Student's factor of 1e5 degrees and more is normal to 5 digits: there no df comes back.
        assert (got.df if got.df < 1e5 else np.inf) == pytest.approx(df, rel=1e-6)


def test_a_factor_without_doubt_comes_back():
    assert factor_as_kept(1.0, 1.0, 1.0, u_rel=0.0) == Factor(1.0, 0.0, np.inf)
