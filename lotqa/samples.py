"""Where the sample measurements are: beside the package in a checkout, inside it when installed."""

from pathlib import Path

from lotqa.errors import UnusableInput


def sample_lots() -> list[Path]:
    """Folders of the demo scenario, in date order.

    Raises UnusableInput if they were not shipped.
    """
    here = Path(__file__).parent
    for folder in (here / "sample_measurements", here.parent / "sample_measurements"):
        lots = sorted(p.parent for p in folder.glob("*/lot.*"))
        if lots:
            return list(dict.fromkeys(lots))
    raise UnusableInput(f"no sample measurements beside {here}: install lotqa again from its wheel")
