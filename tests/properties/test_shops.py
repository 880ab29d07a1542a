"""The generator of random shops: what it makes is sound, and reaches what it is there to reach."""

from __future__ import annotations

import random

from .shops import random_shop, reduced, sound
from .twin import COUNTS, count_modes
from .twin_rows import codes


def test_random_shops_are_sound_and_reach_every_state():
    """The generator is worth something only if each count of each view is often above zero."""
    reached = dict.fromkeys([(view, name) for view in ("first", "attempted") for name in COUNTS], 0)
    for seed in range(40):
        drawn = random_shop(random.Random(seed))
        assert sound(drawn)
        modes = codes(drawn["catalogue"], "failure_mode")
        for view in ("first", "attempted"):
            for row in count_modes(drawn, modes, view=view):
                for name in COUNTS:
                    reached[view, name] += row[name]
    assert all(count >= 100 for count in reached.values()), reached


def test_shortening_keeps_what_fails_and_only_that():
    drawn = random_shop(random.Random(7))

    def fails(one):
        return any("unchecked" in row for sheet in one["imports"] for row in sheet["rows"])

    found = reduced(drawn, fails)
    assert [len(sheet["rows"]) for sheet in found["imports"]] == [1]
    assert set(found["imports"][0]["rows"][0]) == {
        "job", "finished", "model", "repair", "unchecked",
    }  # fmt: skip
