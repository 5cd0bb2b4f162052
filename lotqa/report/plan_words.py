"""A plan in sentences, the same in the terminal and on the page."""

from collections.abc import Mapping
from typing import Any, Final

LINE: Final = "_" * 18  # to write on


class SheetWords:
    """What stands on the lists to fill in."""

    scale = f"Scale {LINE}"
    known_mass = f"known mass, g: before {LINE} after {LINE}"
    date = f"date {LINE}"
    spool = "Spool"
    measure = "Measure"
    yes = "yes"
    name_on_it = "Name on it"
    gross = "Gross, g"
    findings = "Findings: what, class, how many"
    name_line = f"Name on it {LINE}"
    calliper_line = f"calliper {LINE}"
    hand_line = f"hand {LINE}"
    pin = "Pin, size ________ mm"
    readings_of_pin = ("1st", "2nd", "3rd")
    before = "before all readings"
    after = "after all readings"
    place = "Place"
    at_m = "At m"
    direction = "{direction}, mm"
    remark = "Remark"


SHEET_WORDS: Final = SheetWords()
MOST_NAMED: Final = 40  # drawn spools that are listed one by one


def sentences(document: Mapping[str, Any]) -> tuple[str, ...]:
    """What to do, in the order in which it is done; () where only places were asked for."""
    received, n = document["spools_received"], document["spools_to_measure"]
    if received is None:
        return ()
    state = document["state"]
    advice = state["advice"]
    return tuple(
        text
        for text in (
            state["text"],
            f"{advice[0].upper()}{advice[1:]}." if advice else "",
            _draw(document, received, n),
            _short(document),
            _time(document),
            _look(document),
            _sure(document),
        )
        if text
    )


def _spools(n: int) -> str:
    return f"{n} spool{'' if n == 1 else 's'}"


def _draw(document: Mapping[str, Any], received: int, n: int) -> str:
    if n == 0:
        return f"Weigh and look at every one of the {_spools(received)}; none has to be measured."
    if n == received:
        return f"Measure every spool of the lot: {n}."
    numbers = ", ".join(str(v) for v in document["draw"][:MOST_NAMED])
    more = n - MOST_NAMED
    listed = f"{numbers} and {more} more (--json lists all)" if more > 0 else numbers
    return (
        f"Measure {n} of {_spools(received)}, counted as they lie in the box: {listed}. Weigh "
        "every one."
    )


def _short(document: Mapping[str, Any]) -> str:
    n, asked = document["spools_to_measure"], document["spools_asked"]
    if document["state"]["state"] == "skip" and not document["state"]["is_due"]:
        return ""
    places, places_asked = document["places"], document["places_asked"]
    told = []
    if places < places_asked:
        told.append(f"{places} places a spool instead of {places_asked}")
    if n < asked:
        told.append(f"{_spools(n)} instead of {asked}, so an accepted lot stays provisional")
    if not told:
        return ""
    return f"Cut to the time at the bench: {'; '.join(told)}."


def _time(document: Mapping[str, Any]) -> str:
    minutes = document["minutes"]
    whole, look = round(minutes["needed"]), round(minutes["look"])
    text = f"That takes about {whole} min, {look} of them to weigh and look."
    if not minutes["fits"]:
        text += (
            f" It does not fit into {minutes['available']:g} min, and less would say nothing: find "
            "the time before the claim window closes."
        )
    return text


def _look(document: Mapping[str, Any]) -> str:
    rows = {row["class"]: row for row in document["findings"]}
    parts = ["none may have a critical finding"]
    for grade in ("major", "minor"):
        if grade in rows:
            row = rows[grade]
            most = row["acceptance"]
            so_many = "none" if most == 0 else f"up to {most}"
            parts.append(f"of {row['spools']} {so_many} a {grade} one (AQL {row['aql_pct']:g} %)")
    return f"Look at every spool: {', '.join(parts)}."


def _sure(document: Mapping[str, Any]) -> str:
    """The one size that a person asks for: to be sure against a third of bad spools."""
    row = document["sure"][2]
    percent, bad = f"{100 * row['confidence']:g}", row["bad_spools"]
    if row["spools"] <= document["spools_to_measure"]:
        return ""
    return (
        f"To be {percent} % sure that not {_spools(bad)} of the lot are bad, measure "
        f"{row['spools']} and find none."
        if bad > 1
        else f"To be {percent} % sure that no spool of the lot is bad, measure {row['spools']}."
    )
