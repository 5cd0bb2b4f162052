"""What the demo says of plans: how closely each lot was looked at, and plans for the next ones."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from lotqa.cli.options import catalogue_of, limits_of
from lotqa.plan import Wanted, known_of, plan_document, write_plan

if TYPE_CHECKING:
    from rich.console import Console

PLACES, DIRECTIONS, STRETCH_M = 20, 2, 25.0  # as the samples were read
MINUTES: Final = 40.0  # that the workshop has on the day a parcel comes
SEED: Final = 20260928  # any would do; the same pages every time


def next_plans(
    ledger: str,
    lots: Sequence[Mapping[str, Any]],
    criteria: Path | None,
    folder: Path,
    now: datetime,
) -> list[dict[str, Any]]:
    """A plan, with its page in ``folder``, for one more lot like the newest of each supplier."""
    limits, catalogue = limits_of(criteria), catalogue_of(criteria)
    newest = {lot["supplier"]: lot for lot in lots}  # the last one stays
    plans = []
    for lot in newest.values():
        wanted = Wanted(
            places=PLACES,
            n_directions=DIRECTIONS,
            stretch_m=STRETCH_M,
            seed=SEED,
            spools_received=lot["spools_received"],
            minutes=MINUTES,
            supplier=lot["supplier"],
            material=lot["material"],
        )
        document = plan_document(wanted, known_of(ledger, wanted, limits), limits)
        document["page"] = str(write_plan(document, catalogue, folder, now))
        plans.append(document)
    return plans


def tell_plans(
    screen: "Console", lots: Sequence[Mapping[str, Any]], plans: Sequence[Mapping[str, Any]]
) -> None:
    """The lots after which the effort changed, with the reason; then the plans for the next."""
    from lotqa.cli.screen import say, tell

    for lot in lots:
        if lot["effort"]["changed"]:
            say(screen, f"{lot['supplier']}, {lot['material']}, after lot {lot['lot']}:")
            say(screen, lot["effort"]["text"], indent=2)
    say(screen, "Plans for the next lots, to print and fill in at the bench:")
    for plan in plans:
        say(
            screen,
            f"{plan['supplier']}, {plan['material']}: {plan['state']['state']}, "
            f"{plan['spools_to_measure']} of {plan['spools_received']} spools, "
            f"{plan['places']} places, {round(plan['minutes']['needed'])} min",
            indent=2,
        )
        tell(screen, f"  {plan['page']}")
