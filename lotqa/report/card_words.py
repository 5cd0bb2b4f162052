"""Every word of the tuning cards; their space is small, so they are short."""

from typing import Final


class CardWords:
    """The words, each under the name that the card asks for."""

    title = "Tuning cards: {heading}"
    link = "Tuning cards, one for each spool to be tuned (for label and phone)"
    intro = "One card for each spool to be tuned; printed, each fills a label of {size} mm."
    none = "No spool of this lot is to be tuned."
    lot = "Lot {lot}"
    spool = "Spool {spool}"
    multiplier = "multiplier to set"
    keep = "multiplier: leave it"
    now = "set now: {diameter} mm, \u00d7 {multiplier}"
    certainty = "95 %: {ci}"
    no_certainty = "no interval: read more places"
    other = "or enter diameter {diameter} mm, never both"
    dry = "Dry it first"
    dry_how = "Dry it first: {hours} h at {temperature} \u00b0C"
    left = "No setting cures: flow swings {swing} %, line width {lo} to {hi} mm"
    left_at_most = "No setting cures: flow swings at most {swing} %"
    left_unknown = "How much the flow swings along the spool was not read"
    label = "label alone: {lo} to {hi} %"
    suspicious = "Outside {lo} to {hi}: look for another cause first"
    coupon = "Coupon by {route}: {multiplier} ({ci}); {word}"
    explained = "the diameter explains it"
    not_diameter = "not the diameter"
    cannot_tell = "it cannot tell"
    made = "{when}"


CARD_WORDS: Final = CardWords()
