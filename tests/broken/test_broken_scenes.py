"""Every broken scene is refused line by line, in bounded time and memory, and nothing is written."""

import pytest
import scene_corpus
from answers import refused_line_by_line


@pytest.mark.parametrize("name", scene_corpus.CASES)
def test_a_broken_scene_is_refused(kennel, tmp_path, name):
    case = scene_corpus.CASES[name]
    case.write(tmp_path)
    refused_line_by_line(kennel, tmp_path, case.said)
