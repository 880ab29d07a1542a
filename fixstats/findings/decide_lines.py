"""Expected cost per job along one input, all else being as it is: straight lines; pure."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import numpy as np

from fixstats.findings.decide_figures import ChoiceWeighed
from fixstats.findings.decide_rows import slopes
from fixstats.findings.safety import WORSE

HEAD = ("choice", "scope", "model", "option", "cost_per_job", "cost_low", "cost_high")


def line_rows(
    answer: ChoiceWeighed, options: Sequence[Mapping[str, Any]]
) -> Iterator[dict[str, Any]]:
    """A line for each input and each of ``options`` (as ``option_rows``) that is not ruled out.

    ``now``: the present value, None where a cost is not set (its line begins at 0);
    ``cost_per_job``, ``cost_low``, ``cost_high``: there; ``per_unit``: money a job for one unit
    more of the input.
    """
    for name, (now, slope) in slopes(answer):
        for one in options:
            if one["safety"] == WORSE:
                continue
            at = answer.place(one["model"])
            value = now[at] if isinstance(now, np.ndarray) else now
            yield {key: one[key] for key in HEAD} | {
                "input": name,
                "now": None if value is None else float(value),
                "per_unit": float(slope[answer.options.index(one["option"]), at]),
            }
