"""The worked examples in the docstrings of the room."""

import doctest

import pytest

from lotqa.report import lookup, numbers, page, texts
from lotqa.report.plots import canvas


@pytest.mark.parametrize("module", [lookup, numbers, page, texts, canvas], ids=lambda m: m.__name__)
def test_examples_in_docstrings_hold(module):
    result = doctest.testmod(module)
    assert result.attempted > 0
    assert result.failed == 0
