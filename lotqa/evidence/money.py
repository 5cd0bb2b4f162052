"""Money: what a litre, a metre and a kilogram of filament cost, and a litre that can be used.

    per unit        = P / Q,      Q: litres m / rho, metres or kilograms on one spool of price P
    per usable litre = (P (a + t + r) - R P r + w (b (a + t + r) + c t) / 60) / (V (a + t))

a, t, r: spools accepted, tuned in, rejected;  R: share of the price that comes back for a rejected
one;  w: what an hour costs;  b, c: minutes of inspecting and of tuning in one spool;  V: litres on
one spool.  Relative u of a volume: (u_m / m)**2 + (u_rho / rho)**2 [1]_.  A price per unit falls
as the amount rises, so its interval is that of the amount turned over, exactly; it leaves out
that other spools of the lot may turn out otherwise than those inspected.  One currency at a time:
nothing here converts.

.. [1] JCGM 100:2008 (GUM), 5.1.6.
"""

from collections.abc import Mapping
from dataclasses import dataclass, fields
from math import hypot, inf

from lotqa.evidence.weight import interval, length_m, volume_ml

ML_A_LITRE = 1000.0
MINUTES_AN_HOUR = 60.0


@dataclass(frozen=True, slots=True)
class Handling:
    """What a buyer gets back and what the time at the bench costs him."""

    returned_share: float  # of the price of a rejected spool, 0 to 1
    inspection_minutes: float  # for each spool inspected
    tuning_minutes: float  # for each spool tuned in
    rate_per_hour: float  # in the currency of the price


def handling_of(limits: Mapping[str, float]) -> Handling | None:
    """Handling from limits as the criteria name them; None where one of them is not there."""
    keys = {f.name: f"money.{f.name}" for f in fields(Handling)}
    if not all(key in limits for key in keys.values()):
        return None
    return Handling(**{name: limits[key] for name, key in keys.items()})


# Nothing comes back and no time is counted: the price alone, where nothing else was told.
PRICE_ALONE = Handling(0.0, 0.0, 0.0, 0.0)


@dataclass(frozen=True, slots=True)
class UnitPrice:
    """Price per unit with its 95 % interval; ``hi`` is infinite where the amount may be nothing."""

    value: float
    lo: float
    hi: float


@dataclass(frozen=True, slots=True)
class Spent:
    """Where the money of the inspected spools went."""

    spools: float  # their price
    returned: float  # what comes back for rejected ones
    inspecting: float
    tuning: float

    @property
    def total(self) -> float:
        """All of it, less what comes back."""
        return self.spools - self.returned + self.inspecting + self.tuning


def u_volume_l(mass_g: float, u_mass_g: float, density_g_cm3: float, u_density: float) -> float:
    """Standard uncertainty of a volume in litres [1]_.

    >>> round(u_volume_l(1000.0, 3.0, 1.25, 0.005), 9)    # 0.3 % and 0.4 % of 0.8 l
    0.004
    """
    volume_l = float(volume_ml(mass_g, density_g_cm3)) / ML_A_LITRE
    return volume_l * hypot(u_mass_g / mass_g, u_density / density_g_cm3)


def unit_price(price: float, amount: float, u_amount: float) -> UnitPrice:
    """Price per unit of a spool that holds ``amount`` units.

    Raises ValueError if the amount is not above 0.

    >>> found = unit_price(20.0, 0.8, 0.0)
    >>> found.value, found.lo, found.hi
    (25.0, 25.0, 25.0)
    """
    if not amount > 0:
        raise ValueError(f"an amount of {amount}: give one above 0")
    least, most = interval(amount, u_amount)
    return UnitPrice(price / amount, price / most, price / least if least > 0 else inf)


def spent(price: float, accepted: int, tuned: int, rejected: int, handling: Handling) -> Spent:
    """Money of the inspected spools, ``price`` each, and of the time they took.

    >>> spent(20.0, 2, 1, 1, Handling(1.0, 10.0, 30.0, 24.0))
    Spent(spools=80.0, returned=20.0, inspecting=16.0, tuning=12.0)
    """
    n = accepted + tuned + rejected
    a_minute = handling.rate_per_hour / MINUTES_AN_HOUR
    return Spent(
        spools=price * n,
        returned=price * rejected * handling.returned_share,
        inspecting=a_minute * handling.inspection_minutes * n,
        tuning=a_minute * handling.tuning_minutes * tuned,
    )


def holds(mass_g: float, density_g_cm3: float, diameter_mm: float) -> tuple[float, float]:
    """(millilitres, metres) of filament in a pack.

    >>> [round(v) for v in holds(50.0, 3.0, 1.75)]
    [17, 7]
    """
    return (
        float(volume_ml(mass_g, density_g_cm3)),
        float(length_m(mass_g, density_g_cm3, diameter_mm)),
    )
