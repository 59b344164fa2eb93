"""Fixtures of the logbook's tests."""

import pytest

from raysim.logbook.book import new_logbook, open_logbook


@pytest.fixture
def path(tmp_path):
    """An empty logbook."""
    file = tmp_path / "book.db"
    new_logbook(file)
    return file


@pytest.fixture
def book(path):
    """Connection to an empty logbook."""
    with open_logbook(path) as opened:
        yield opened
