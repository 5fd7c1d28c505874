"""Layers of wax: said before or after what they govern; without one, a single entry `whole`."""

from collections.abc import Callable

import pytest


@pytest.mark.parametrize(
    ("said", "layers"),
    [
        ("Hard wax.", {"whole": "hard"}),
        ("Hard brown wax.", {"whole": "hard brown"}),
        ("Hard wax. It is brown.", {"whole": "hard brown"}),
        ("Wax hard on top and soft behind.", {"surface": "hard", "inner": "soft"}),
        ("Wax, hard on the outside, soft on the inside.", {"surface": "hard", "inner": "soft"}),
        ("The wax is hard at the front, softer behind it.", {"surface": "hard", "inner": "soft"}),
        ("The wax is harder at the back, soft in front.", {"inner": "hard", "surface": "soft"}),
        ("It is soft, harder underneath.", {"whole": "soft", "inner": "hard"}),
        ("Hard wax, soft behind the crust.", {"whole": "hard", "inner": "soft"}),
        ("Hard outer crust, soft wax underneath.", {"surface": "hard", "inner": "soft"}),
        (
            "On the surface the wax is dry and black. Behind that it is sticky.",
            {"surface": "dry black", "inner": "sticky"},
        ),
        (
            "The outer layer is dry, the middle layer soft, the inner layer wet.",
            {"surface": "dry", "middle": "soft", "inner": "wet"},
        ),
        ("Wax dry on the surface, brown underneath.", {"surface": "dry", "inner": "brown"}),
        ("The middle layer of wax is soft.", {"middle": "soft"}),
        (
            "Black crumbly wax on top, honey coloured and sticky beneath.",
            {"surface": "crumbly black", "inner": "sticky honey"},
        ),
        ("Closest to the drum the wax is liquid.", {"inner": "liquid"}),
        (
            "The face of the plug is hard, behind it it's soft and yellow.",
            {"surface": "hard", "inner": "soft yellow"},
        ),
        # merged
        ("Wax hard on top, soft behind. The top is black.", {"surface": "hard black", "inner": "soft"}),
        ("Hard wax, and hard again further on.", {"whole": "hard"}),
        # near misses: places and words that are no layers of wax
        ("Hard wax behind the bend.", {"whole": "hard"}),
        ("Hard wax behind the hairs.", {"whole": "hard"}),
        ("Hard wax. The drum is behind that.", {"whole": "hard"}),
        ("Hard wax in the middle of the canal.", {"whole": "hard"}),
        ("Hard wax. On top of that he is dizzy.", {"whole": "hard"}),
        ("Hard wax in front of the drum.", {"whole": "hard"}),
        # denied and doubted
        ("Wax not hard but soft.", {"whole": "soft"}),
        ("Hard wax on top, possibly soft behind.", {"surface": "hard", "inner": "soft?"}),
        ("The wax looks dark brown, maybe black.", {"whole": "dark_brown black?"}),
        # degrees and shades
        ("Rock hard, almost black wax.", {"whole": "hard black"}),
        ("Wax like clay, light brown.", {"whole": "clay_like light_brown"}),
        ("Reddish brown wax, firm.", {"whole": "firm red_brown"}),
        ("Gray flaky wax.", {"whole": "flaky grey"}),
    ],
)
def test_layers(wax: Callable[[str], dict[str, str]], said: str, layers: dict[str, str]) -> None:
    assert wax(f"Left ear, otoscope. {said}") == layers
