"""A browser for the tests of the page, and a page about a small box."""

import pytest
from page_server import Page, chromium, served
from small_scenes import write_scene


@pytest.fixture(scope="session")
def browser():
    with chromium() as found:
        yield found


@pytest.fixture
def scene(tmp_path):
    return write_scene(tmp_path)


@pytest.fixture
def page(browser, scene):
    """A page about the small box; afterwards nothing may have been complained of."""
    with served(scene) as server:
        found = Page(browser, server.address)
        found.server = server
        yield found
        found.page.close()
        assert found.complaints == []
