"""Names typed by people, made fit for a page: no characters that break it, no line too long."""

import unicodedata


def plain(text: str) -> str:
    """``text`` without characters that no page can carry (controls, lone surrogates)."""
    return "".join(
        " "
        if unicodedata.category(c) == "Cc"
        else "\ufffd"
        if unicodedata.category(c) == "Cs"
        else c
        for c in text
    )


def shortened(text: str, n_most: int) -> str:
    """``text`` cut in the middle to ``n_most`` characters: both ends tell codes apart.

    >>> shortened("KR-2025-PLA-0417", 11)
    'KR-20…-0417'
    """
    text = plain(text)
    if len(text) <= n_most:
        return text
    n_front = (n_most - 1) // 2
    return f"{text[:n_front]}\u2026{text[len(text) - (n_most - 1 - n_front) :]}"
