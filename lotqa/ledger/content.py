"""When is an inspection the same as one that was entered before?

The content hash is a sha256 over

* the sha256 of each file, in the order of the hashes: a file that was only renamed is the same;
* the lot sheet as it was used, with label and print settings of the document: options given
  on the command line change a verdict as much as a line in a file does;
* the text of the criteria, and what the ledger gave: the scatter of a gauge study, the mass of
  a reel from the record of its kind, the coupon that stood for the machine, how closely the lots
  before made this one to be looked at.

What is not known is left out, so a later version that knows more fields still recognises old
content.  A lot code that was assigned, not given, is no part of it: only the lot sheet counts.
"""

import hashlib
import json
from collections.abc import Iterable, Mapping
from typing import Any

from lotqa.ledger.summary import json_text


def sha256_of_text(text: str) -> str:
    return hashlib.sha256(text.encode("utf-8", "replace")).hexdigest()


def content_hash(
    file_hashes: Iterable[str],
    sheet: Mapping[str, Any],
    document: Mapping[str, Any],
    criteria_text: str,
) -> str:
    """64 hexadecimal digits; ``sheet`` as it is read back from JSON."""
    label = {key: value for key, value in (document.get("label") or {}).items() if key != "sources"}
    given = {
        "files": sorted(file_hashes),
        "sheet": sheet,
        "label": label,
        "print": document.get("print"),
        "criteria": sha256_of_text(criteria_text),
        "study": _study(document),
        "reel": _reel(document),
        "coupon": _coupon(document),
        "effort": _effort(document),
    }
    return sha256_of_text(json_text(_known(json.loads(json_text(given)))))


def _study(document: Mapping[str, Any]) -> Any:
    """The scatter that a gauge study gave, if one did: it changes a verdict as a file does."""
    for tool in document.get("instruments") or ():
        if str(tool.get("repeatability_source") or "").startswith("gauge study"):
            return [tool.get("repeatability_sd_mm"), tool.get("repeatability_source")]
    return None


def _reel(document: Mapping[str, Any]) -> Any:
    """Masses of reels that came from the record of their kind, if any did."""
    weights = [spool.get("weight") or {} for spool in document.get("spools") or ()]
    found = {
        (w.get("tare_g"), (w.get("tare") or {}).get("u_g"))
        for w in weights
        if w.get("tare_known") == "record"
    }
    return sorted(([mass_g, u_g] for mass_g, u_g in found), key=str)


def _coupon(document: Mapping[str, Any]) -> Any:
    """The earlier coupon that told what the machine needs, if the ledger gave one."""
    for spool in document.get("spools") or ():
        set_now = (spool.get("tuning") or {}).get("set_now") or {}
        found = set_now.get("reference") or {}
        if found.get("source") == "ledger":
            return [found.get(key) for key in ("lot", "spool", "residual", "u")]
    return None


def _effort(document: Mapping[str, Any]) -> Any:
    """How many spools the history asked for, unless it is what every lot is asked for."""
    effort = (document.get("lot") or {}).get("effort") or {}
    if effort.get("state", "normal") == "normal":
        return None
    return [effort.get("state"), effort.get("is_due")]


def _known(value: Any) -> Any:
    """The same without None and without what is empty in consequence."""
    if isinstance(value, dict):
        pairs = ((key, _known(item)) for key, item in value.items())
        return {key: item for key, item in sorted(pairs) if item not in (None, {}, [])}
    if isinstance(value, list):
        return [_known(item) for item in value]
    return value
