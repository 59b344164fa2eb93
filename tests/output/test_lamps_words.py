"""What is said of lamps, figure by figure."""

from types import SimpleNamespace

import pytest

from raysim.output.words.lamps import proof


@pytest.mark.parametrize(
    ("gain", "told"), [(0.0, "0.10 %"), (0.053, "5.3 %"), (0.89, "89 %"), (1.1, "110 %")]
)
def test_what_another_choice_could_gain_is_told_without_powers_of_ten(gain, told):
    said = proof(
        SimpleNamespace(places=[1, 2]), SimpleNamespace(number=2, could_gain=gain, taken=0.0)
    )
    assert f"more than {told} more light" in said
