"""Names of the things of the trade as they stand on pages: verdicts, checks, quantities, terms."""

from typing import Final

VERDICT_WORDS: Final[dict[str, str]] = {"accept": "accept", "tune": "tune", "reject": "reject"}
VERDICT_TITLES: Final[dict[str, str]] = {
    "accept": "Accept",
    "tune": "Tune in first",
    "reject": "Reject",
}
STANDING_WORDS: Final[dict[str, str]] = {"firm": "firm", "provisional": "provisional"}
STANDING_SENTENCES: Final[dict[str, str]] = {
    "firm": "Firm: the readings are enough; more of them would hardly change it.",
    "provisional": "Provisional: more readings could still change it.",
}
OUTCOME_WORDS: Final[dict[str, str]] = {
    "pass": "holds",
    "tune": "tune",
    "reject": "reject",
    "undecided": "undecided",
    "not_checked": "not checked",
}
# How the mass of a reel is known, and what a weighed length says beside the calliper.
TARE_WORDS: Final[dict[str, str]] = {
    "itself": "weighed empty",
    "alike": "from reels like it",
    "record": "from the ledger",
    "supposed": "supposed",
}
MEANING_WORDS: Final[dict[str, str]] = {
    "agree": "agree",
    "lighter": "differ: too light",
    "heavier": "differ: too heavy",
}
# What drying showed, and whether the loss has stopped.
STATE_WORDS: Final[dict[str, str]] = {
    "dry": "dry",
    "wet": "wet",
    "far too wet": "far too wet",
    "cannot tell": "unclear",
    "gained": "heavier than before",
    "no limit known": "no limit known",
}
PLATEAU_WORDS: Final[dict[str, str]] = {
    "plateau": "no, it stopped",
    "still losing": "yes",
    "cannot tell": "unclear",
}
CLASS_WORDS: Final[dict[str, str]] = {"critical": "critical", "major": "major", "minor": "minor"}

# Short names of the checks; a check that is not listed is shown by its key.
CHECK_NAMES: Final[dict[str, str]] = {
    "diameter.spread": "Spread of the diameter",
    "diameter.mean": "Mean diameter",
    "diameter.flow": "Flow",
    "diameter.centring": "Centring",
    "diameter.shape": "Shape of the distribution",
    "diameter.order": "Order along the filament",
    "diameter.outliers": "Places out of line",
    "readings.places": "Number of places",
    "readings.positions": "Where the places are",
    "feed.thick": "Thickest place",
    "feed.thin": "Thinnest place",
    "ovality.mean": "Ovality",
    "weight.net": "Net mass",
    "weight.agreement": "Weighed length against calliper",
    "moisture.loss": "Moisture",
    "findings.critical": "Critical findings",
    "findings.major": "Major findings",
    "findings.minor": "Minor findings",
    "gauge.pin": "Pin check of the instrument",
    "gauge.shift": "Shift of the instrument",
    "gauge.fit": "Instrument against tolerance",
    "lot.spools": "Spools of the lot",
    "lot.spread": "Spread within the spools",
    "lot.means": "Means of the spools together",
    "lot.findings_critical": "Spools with critical findings",
    "lot.findings_major": "Spools with major findings",
    "lot.findings_minor": "Spools with minor findings",
    "lot.sample": "Size of the sample",
    "lot.unopened": "Spools not opened",
    "lot.net_content": "Net content of the lot",
}

# Rows of the table of all figures.
QUANTITIES: Final[dict[str, str]] = {
    "places": "Places",
    "readings": "Readings",
    "directions": "Directions read",
    "mean": "Mean, mm",
    "u_mean": "Uncertainty of the mean (k = 2), mm",
    "median": "Median of the places, mm",
    "range": "Smallest to largest reading, mm",
    "quantiles": "5 % to 95 % of the places, mm",
    "sd_observed": "s as observed, mm",
    "sd": "Spread s of the filament, mm",
    "rounding": "Rounding taken out by",
    "cp": "Cp",
    "cpk": "Cpk",
    "cpm": "Cpm",
    "quantile_index": "Index from quantiles",
    "tolerance_interval": "Tolerance interval, mm",
    "distribution_free": "The same without a distribution, mm",
    "outside": "Outside the tolerance, %",
    "normality": "Normal distribution, p",
    "outliers": "Places out of line",
    "runs": "Runs along the filament, p",
    "trend": "Trend, mm per m",
    "trend_p": "Trend, p",
    "lag1": "Neighbours alike (lag 1)",
    "effective": "Independent places they are worth",
    "wave": "Wave along the filament",
    "ovality_max": "Largest ovality, mm",
    "swing": "Flow swing, %",
}

GLOSSARY: Final[dict[str, str]] = {
    "95 % interval": (
        "The range that the true value of the filament lies in, with 95 % confidence. It covers "
        "the sampling along the filament, the scatter of reading and the instrument."
    ),
    "s (spread)": (
        "Standard deviation of the diameter along the filament, with rounding and the scatter of "
        "the instrument taken out. No setting of the printer cures it."
    ),
    "Cp": (
        "How many times the spread of the filament (six s) fits into the tolerance band. It does "
        "not ask where the mean is."
    ),
    "Cpk": "The same for the nearer edge of the band: it falls when the mean is off centre.",
    "Cpm": "The same with the distance of the mean from nominal counted as spread.",
    "Tolerance interval": (
        "The range that holds the stated share of the places with 95 % confidence, as far as the "
        "places follow a normal distribution."
    ),
    "Flow error": (
        "Extra or missing plastic. Filament is fed by length, so flow goes with the square of the "
        "diameter: 0.01 mm on 1.75 mm is 1.1 %."
    ),
    "Swing": (
        "Flow at the thickest place minus flow at the thinnest. A swing shows as bands on walls."
    ),
    "Ovality": "Largest minus smallest diameter of the cross-section at one place.",
    "Multiplier": (
        "The number that the slicer multiplies the flow by. Enter the multiplier or the measured "
        "diameter, never both, or the correction is made twice."
    ),
    "Firm, provisional": (
        "Firm: the whole interval lies on one side of the limit. Provisional: the interval "
        "straddles the limit and the estimate decided. A firm verdict asks for an interval a "
        "little wider than the 95 % that is printed (the criteria say how sure it has to be)."
    ),
}

# These join the glossary of a lot whose spools were put on a scale.
MASS_GLOSSARY: Final[dict[str, str]] = {
    "Net mass": "Gross mass less the empty reel: the filament alone.",
    "T1, T2": (
        "The label less one and less two tolerable negative errors of one pack (Directive "
        "76/211/EEC: 15 g for 500 to 1000 g). Few packs may be below T1, none below T2."
    ),
    "g per m": (
        "Mass of a metre: area of the cross-section times density. A piece of known length on a "
        "fine scale tells it without a calliper."
    ),
    "Density by the calliper": (
        "Density that the weighed length would have if the calliper is right. Too low: voids, a "
        "lighter material or a calliper that reads thick. Too high: a filler, a heavier material "
        "or one that reads thin."
    ),
}
