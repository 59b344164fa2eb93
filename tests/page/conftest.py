"""A browser for the tests of the page, and a page about a small box."""

import page_server
import pytest
from page_server import Page, chromium, served
from small_scenes import write_scene
from warm import warm_python


@pytest.fixture(scope="session")
def warm():
    """An interpreter that has loaded raysim; seconds for each page, and for the sketch in it."""
    with warm_python() as python, pytest.MonkeyPatch.context() as patch:
        patch.setattr(page_server, "PYTHON", python)
        yield


@pytest.fixture(scope="session")
def browser(warm):
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
