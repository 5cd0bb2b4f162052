"""Every word that the pages and plots say, in one place.

Sentences with ``{braces}`` are filled by ``str.format``.  What a verdict room or an intake room
has already put into a sentence is shown as it stands and is not repeated here.  Names of verdicts,
checks and quantities are in ``terms``.
"""

from typing import Final


class Words:
    """The words, each under the name that pages and plots ask for."""

    language = "en"
    dash = "\u2013"
    at_most = "at most {value}"
    at_least = "at least {value}"
    lo_to_hi = "{lo} to\u00a0{hi}"
    and_more = "and {n} more"
    date = "{day} {month} {year}"
    months = (
        "January",
        "February",
        "March",
        "April",
        "May",
        "June",
        "July",
        "August",
        "September",
        "October",
        "November",
        "December",
    )
    # heads
    lot = "Lot"
    lot_title = "Lot {lot}"
    no_lot_code = "without a lot code"
    no_supplier = "supplier not given"
    self_assigned = "lot code given by the buyer"
    inspected = "inspected {when}"
    received = "received {when}"
    running_page = "page"
    running_of = "of"
    contents = "On this page"
    full_size = (
        "Printed at full size, the line under the heading is as thick as the filament: {value} mm."
    )
    # 1 decision
    decision = "Decision"
    what_now = "What to do now"
    standing = "Standing"
    firm_by_places = "Spool {spool}: {n} more places would settle it."
    firm_by_place = "Spool {spool}: 1 more place would settle it."
    tune_numbers = "Number to enter"
    tune_multiplier = "multiplier {value}"
    tune_diameter = "diameter {value} mm"
    tune_or = "or"
    tune_never_both = "Enter one of the two, never both."
    tune_only = (
        "Enter it as multiplier and leave the diameter in the slicer as it is; never change "
        "both. The number of each spool stands in table {number}."
    )
    tune_spool = "spool {spool}: {numbers}"
    tune_each = "Each spool has its own number; see table {number}."
    claim = "Claim"
    claim_until = "until {when}, that is {days} days from receipt"
    claim_until_only = "until {when}"
    claim_unknown = "last day not known: the lot sheet gives no claim days"
    spools = "Spools"
    spool_count = (
        "{received} received, {inspected} measured: {accepted} accept, {tuned} tune, "
        "{rejected} reject"
    )
    spool_count_unknown = "{inspected} measured: {accepted} accept, {tuned} tune, {rejected} reject"
    tally_label = "One mark for each spool: {text}."
    tally_spool = "spool {spool} {verdict}"
    tally_unopened = "{n} not opened"
    unopened = "Not opened"
    only_weighed = "not measured"
    # 2 spool table
    spool = "Spool"
    spool_table = "The spools, one row each"
    spools_intro = "Intervals are 95 % and speak of the filament, not only of the places read."
    verdict = "Verdict"
    mean_mm = "Mean, mm"
    sd_mm = "Spread s, mm"
    cpk = "Cpk"
    flow_pct = "Flow, %"
    enter = "Enter"
    ovality_mm = "Ovality, mm"
    net_g = "Net, g"
    places_readings = "{places} places, {readings} readings"
    place_reading = "{places} place, {readings} readings"
    enter_nothing = "nothing"
    lot_line = (
        "Mean of the lot {mean} mm (95 % interval {ci}). Between spools s {between} mm, "
        "within a spool s {within} mm."
    )
    # 3 strips
    strips = "Filament strips"
    strips_intro = (
        "Each bar is a place: from its smallest to its largest direction, the tick is "
        "the mean of the place. All strips have the same scale."
    )
    strip_caption = "Spool {spool}"
    not_drawn = (
        "{n} of {total} spools are not drawn: only the {drawn} that look worst are. The "
        "numbers of all spools stand in table {number}; all figures are in the JSON document of "
        "the inspection."
    )
    means_caption = "Mean of each spool with its 95 % interval"
    no_strips = "No readings to draw."
    # 4 reasons
    reasons = "Reasons"
    reasons_lot = "The lot"
    reasons_spool = "Spool {spool}"
    what_to_do = "Do"
    how_sure = "How sure"
    gauge_study = "Gauge study"
    may_be_stated = "What may be stated to the supplier"
    reasons_alike = "All spools alike"
    holding = "{n} checks that hold"
    holding_one = "1 check that holds"
    not_made = "{n} that could not be made"
    not_made_one = "1 that could not be made"
    no_failures = "Nothing speaks against it."
    no_reasons = "No checks were made."
    value_limit = "value {value}, limit {limit}"
    value_only = "value {value}"
    # 5 weigh-ins, moisture, findings
    mass_and_findings = "Mass, moisture and findings"
    weigh_table = "Weigh-ins"
    instrument_note = "{name}: {text}"
    spool_note = "Spool {spool}: {text}"
    weigh_none = "No weigh-ins: net mass and density are not known."
    short_g = "Short of label, g"
    gross_g = "Gross, g"
    tare_g = "Tare, g"
    length_m = "Length, m"
    volume_ml = "Volume, ml"
    density = "Density, g/cm\u00b3"
    apparent = "{value} from a cut length"
    moisture_table = "Loss on drying"
    moisture_none = "No weighing before and after drying: moisture is not known."
    loss_g = "Loss, g"
    loss_pct = "Loss, %"
    drying = "Dried"
    drying_text = "{hours} h at {temperature} \u00b0C"
    findings_table = "Findings"
    findings_none = "Looked for, and nothing was found."
    findings_unknown = "No findings file: winding, colour, dirt and bubbles were not judged."
    finding = "Finding"
    finding_class = "Class"
    count = "Count"
    position_m = "At, m"
    note = "Note"
    # 6 figures, method, limits
    method = "Figures, limits and method"
    figures_table = "Diameter in full, spools {first} to {last}"
    figures_table_one = "Diameter in full, spool {first}"
    quantity = "Quantity"
    coverage = "holds {value} % of the places"
    not_judged = "too few places to judge"
    no_outliers = "none"
    outlier = "place {place}: {mean} mm"
    p_is = "p {p}"
    limits_table = "Limits that were applied: criteria \u201c{name}\u201d"
    limit = "Limit"
    limit_value = "Value"
    why = "Why"
    label_table = "What the label promises"
    label_field = "On the label"
    label_source = "Taken from"
    label_nominal_mm = "Nominal diameter, mm"
    label_tolerance_mm = "Tolerance, mm"
    label_net_g = "Net mass, g"
    label_ovality_mm = "Ovality, mm"
    print_settings = "Printer settings counted with"
    print_line_width_mm = "Line width, mm"
    print_layer_height_mm = "Layer height, mm"
    print_set_diameter_mm = "Diameter set, mm"
    print_multiplier = "Multiplier set"
    instruments_table = "Instruments"
    instruments_none = "No instrument was named; the uncertainty of reading is then a guess."
    instrument = "Instrument"
    step = "Step"
    limit_of_error = "Limit of error"
    repeatability = "Repeatability s"
    offset = "Offset taken off"
    shift = "Shift"
    plus_minus = "{value} \u00b1 {u}"
    pin_readings = "{n} pin readings"
    criteria_text = "The whole criteria file"
    criteria_hash = "Criteria file, SHA-256:"
    glossary = "What the words mean"
    # 7 cautions
    cautions = "Cautions"
    cautions_none = "None beyond the method itself."
    # 8 input
    input = "What was given"
    problems_table = "Problems found in the input"
    problems_none = "No problems were found in the input."
    where = "Where"
    column = "Column"
    typed = "As typed"
    message = "What to do"
    row = "Row"
    row_used = "used"
    row_left_out = "left out"
    files_table = "Files"
    file = "File"
    rows_read = "Rows read"
    rows_used = "Used"
    rows_reported = "Reported"
    bytes = "Bytes"
    sha256 = "SHA-256"
    missing = "Not given, and what it costs"
    made_by = "Made by lotqa {version}; document {schema}."
    ledger_line = "Ledger {ledger}, inspection {inspection}."
    ledger_again = "The same input had been entered before; nothing was entered twice."
    ledger_earlier = "Earlier inspections of this lot: {n}."
    # numbering
    table_number = "Table {number}"
    figure_number = "Figure {number}"
    # plots
    axis_position = "metres along the filament, from the free end"
    axis_position_short = "metres from the free end"
    axis_place = "place number (positions were not given)"
    axis_place_short = "place number"
    axis_diameter = "diameter, mm"
    axis_flow = "flow error, %"
    axis_mean = "mean diameter, mm"
    axis_sd = "spread s, mm"
    plot_nominal = "nominal {value}"
    plot_upper = "tolerance {value}"
    plot_lower = "tolerance {value}"
    plot_thick = "feed limit {value}"
    plot_thin = "feed limit {value}"
    plot_off_above = "feed limit {value}\u2191"
    plot_off_below = "feed limit {value}\u2193"
    plot_mean = "mean {value}"
    strip_alt = (
        "Filament strip of spool {spool}, verdict {verdict}, {standing}: {n} places, "
        "diameters from {low} to {high} mm, mean of the places {mean} mm"
    )
    strip_alt_ci = ", 95 % interval of the mean {ci} mm"
    strip_alt_band = "; tolerance band {lo} to {hi} mm"
    means_alt = "Means with 95 % intervals: {text}."
    spreads_alt = "Spread s with 95 % intervals: {text}."
    row_alt = "{label} {value} ({ci})"
    lots_alt = "Strips of {n} lots side by side on one scale: {text}."
    lot_alt = "lot {lot}, {verdict}, {n} spools"
    # supplier page
    supplier_title = "{supplier}, lot by lot"
    supplier_subtitle = "All lots, in the order received"
    lots_head = "Lots"
    supplier_summary = "In short"
    lots_count = "{n} lots, {first} to {last}: {accepted} accept, {tuned} tune, {rejected} reject"
    lots_count_undated = "{n} lots: {accepted} accept, {tuned} tune, {rejected} reject"
    last_lot = "Latest lot"
    lots_title = "Lots"
    lots_table = "Each lot as it was inspected"
    lots_intro = "Means, spreads and intervals are those of the inspection of each lot."
    lot_strips = "Strips of all lots"
    lot_strips_intro = (
        "Each block is a lot, each group of bars a spool; the wash is the tolerance "
        "band of the label. All lots of one nominal diameter stand on one scale."
    )
    lot_strips_caption = "Lots {first} to {last}, nominal diameter {nominal}"
    lot_strips_caption_one = "Lot {first}, nominal diameter {nominal}"
    lot_means = "Means and spreads"
    lot_means_intro = (
        "The oldest lot stands at the top. The wash is the tolerance band of the label or the "
        " largest spread that the criteria allow."
    )
    lot_means_caption = "Mean of each lot with its 95 % interval, nominal diameter {nominal}"
    lot_spreads_caption = "Spread s of each lot with its 95 % interval, nominal diameter {nominal}"
    product = "Product"
    spools_head = "Spools"
    price_litre = "Price a litre"
    no_lots = "No lots are known."
    nominal_unknown = "not given"


WORDS: Final = Words()
