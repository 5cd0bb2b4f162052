"""Net content of the lot as a yardstick, and what the filament costs."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from lotqa.report.lookup import get, rows, text
from lotqa.report.lot_mass import by_its_interval
from lotqa.report.numbers import DIGITS, as_typed, shown
from lotqa.report.tables import estimate, number_column, table
from lotqa.report.texts import plain
from lotqa.report.view import Cell, Column, Fact, Table
from lotqa.report.words import WORDS

Document = Mapping[str, Any]
WORTH_TELLING_PCT: Final = 5.0  # spools of one kind differ by less
SMALL_SUM: Final = 1.0  # below this a price gets the digits of a metre's


@dataclass(frozen=True, slots=True)
class NetContentView:
    """The packers' rules beside this lot: they bind the packer and not the buyer."""

    text: str
    rules: tuple[str, ...]
    reference_test: str
    bearing: str  # whether it enters the verdict


@dataclass(frozen=True, slots=True)
class MoneyView:
    """``table`` is None where no price is known; ``texts`` then say what is missing."""

    table: Table | None
    texts: tuple[str, ...]


def net_content(document: Document) -> NetContentView | None:
    """None where no spool was put on a scale: the rules then have nothing to speak of."""
    found = get(document, "lot", "net_content")
    if not found or not (get(found, "n_weighed") or get(found, "n_supposed_reel")):
        return None
    judged = get(found, "enters_verdict")
    bearing = WORDS.net_content_judged if judged else WORDS.net_content_told
    return NetContentView(
        text=text(found, "text"),
        rules=tuple(text(r, "text") for r in rows(found, "rules")),
        reference_test=plain(str(get(found, "reference_test", "text") or "")),
        bearing="" if get(found, "label_net_g") is None else bearing,
    )


def money(document: Document, number: int) -> MoneyView | None:
    """What a spool and what is in it cost; None in documents from before it was kept."""
    found = get(document, "lot", "money")
    if not found:
        return None
    if get(found, "price") is None:
        return MoneyView(None, (text(found, "text"),))
    usable, compared = get(found, "usable"), get(found, "compared")
    texts = [get(usable, "text"), get(compared, "text") if _differs(compared) else None]
    made = _table(found, usable, number)
    if made is None:
        texts.insert(0, get(found, "text"))
    return MoneyView(made, tuple(plain(str(t)) for t in texts if t))


def on_a_reel(document: Document) -> Fact | None:
    """Net mass, volume, metres and price a litre in one line; None where nothing is known."""
    found = get(document, "lot", "money")
    if get(found, "mass_g") is None:
        return None
    label = as_typed(get(document, "label", "net_g"))
    second = ""
    if get(found, "mass_source") == "weighed":
        net = by_its_interval(
            get(document, "lot", "net_content", "mean_net_g"),
            get(document, "lot", "net_content", "mean_net_ci95_g"),
        )
        if net.text == WORDS.dash:
            net = Cell(shown(found["mass_g"], 0))
        ci = f" ({net.second})" if net.second else ""
        words = WORDS.reel_of_label if label != WORDS.dash else WORDS.reel_mean
        parts = [words.format(net=f"{net.text}\u00a0g{ci}", label=label)]
    else:
        parts = [WORDS.reel_by_label.format(label=label)]
        if get(document, "lot", "net_content", "n_supposed_reel"):
            second = text(document, "lot", "net_content", "text")
    volume, length = (shown(get(found, key), 0) for key in ("volume_ml", "length_m"))
    if WORDS.dash not in (volume, length):
        parts.append(WORDS.reel_holds.format(volume=volume, length=length))
    if get(found, "per_litre") is not None:
        price = _estimate(found, "per_litre")
        parts.append(WORDS.reel_litre.format(price=_with_currency(price.text, found)))
    return Fact(WORDS.on_a_reel, "; ".join(parts), second)


def _differs(compared: Document | None) -> bool:
    """Whether this pack holds more or less than the usual one by enough to be told."""
    share_pct = get(compared, "share_pct")
    return share_pct is not None and not abs(share_pct - 100) < WORTH_TELLING_PCT


def _table(found: Document, usable: Document | None, number: int) -> Table | None:
    """One row: what each unit costs, with its interval; None where no unit is known."""
    cells = [
        (WORDS.price_kilogram, _estimate(found, "per_kilogram")),
        (WORDS.price_litre_column, _estimate(found, "per_litre")),
        (WORDS.price_metre, _estimate(found, "per_metre")),
        (WORDS.price_usable, _estimate(usable, "per_litre")),
    ]
    if get(usable, "rejected"):
        refunded = Cell(_sum(get(usable, "per_litre_if_refunded")))
        cells.append((WORDS.price_refunded, refunded))
    known = [(head, cell) for head, cell in cells if cell.text != WORDS.dash]
    if not known:
        return None
    by = WORDS.by_weighing if get(found, "mass_source") == "weighed" else WORDS.by_label
    heads = [Column(WORDS.price), *(number_column(head) for head, _ in known)]
    spool = Cell(_with_currency(_sum(found["price"]), found), WORDS.price_spool)
    row = [spool, *(cell for _, cell in known)]
    currency = get(found, "currency")
    words = WORDS.money_table if currency else WORDS.money_table_bare
    caption = words.format(currency=plain(str(currency or "")), by=by)
    return table(number, caption, heads, [row])


def _estimate(block: Document | None, key: str) -> Cell:
    value = get(block, key)
    return estimate(value, get(block, f"{key}_ci95"), _sum_digits(value))


def _sum(value: float | None) -> str:
    return shown(value, _sum_digits(value))


def _sum_digits(value: float | None) -> int:
    return DIGITS["price"] if value is None or value >= SMALL_SUM or value == 0 else 4


def _with_currency(price: str, found: Document) -> str:
    currency = get(found, "currency")
    return f"{price}\u00a0{plain(str(currency))}" if currency else price
