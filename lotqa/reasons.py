"""Why a limit is what it is: the comments above the keys of a criteria file."""


def _as_written(value: str) -> str:
    """A nominal diameter as the reasons name it; whatever is no number stays as it is."""
    text = value.split("#")[0].strip()
    try:
        return f"{float(text):g}"
    except ValueError:
        return text


def reasons_above(text: str) -> dict[str, str]:
    """The comment lines right above each key, joined: the reason of that limit.

    Keys of the n-th ``[[for]]`` block begin with ``for#n.``.

    >>> reasons_above("[flow]\\n# Feed is by length.\\nerror_max_pct = 2.0")
    {'flow.error_max_pct': 'Feed is by length.'}
    """
    found: dict[str, str] = {}
    comment: list[str] = []
    head, n_for = "", 0
    for line in text.splitlines():
        stripped = line.strip()
        if stripped.startswith("#"):
            comment.append(stripped.lstrip("# ").rstrip())
        elif stripped.startswith("["):
            head, comment = stripped.split("#")[0].strip("[] "), []
            if head == "for":
                n_for += 1
            if head == "for" or head.startswith("for."):
                head = head.replace("for", f"for#{n_for}", 1)
        elif "=" in stripped:
            key, _, value = stripped.partition("=")
            if key.strip() == "nominal_mm":
                head = f"stock {_as_written(value)}"
            found[f"{head}.{key.strip()}" if head else key.strip()] = " ".join(comment)
            comment = []
        else:
            comment = []
    return found
