"""What fails: the probability of each mode, and the draw."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from fixstats.demo import truth
from fixstats.demo.cases import Columns, expit, per_kind, per_model

if TYPE_CHECKING:
    import numpy as np

Array = Any  # an array of one value a job


def mode_chance(c: Columns, step: str, mode: str, method: Array) -> Array:
    """Probability of a mode at one attempt of a step with ``method`` (indices, or one index)."""
    import numpy as np

    what = truth.STEP_MODES[step][mode]
    names = truth.METHODS[step]
    by_method = np.array([what.method.get(name, 0.0) for name in names])
    makers = [
        [what.maker_method.get((model.maker, name), 0.0) for name in names]
        for model in truth.MODELS
    ]
    method = np.broadcast_to(np.asarray(method), c["model"].shape)
    logit = (
        what.base
        + by_method[method]
        + np.array(makers)[c["model"], method]
        + what.hard * c["hard"]
        + what.model * per_model("shift")[c["model"]]
        + what.tabs * per_model("tab_shift")[c["model"]]
        + what.hands * per_kind("shift")[c["kind"]]
        + what.display * per_kind("display_shift")[c["kind"]]
        + what.swollen * c["swollen"]
        + _circumstances(c, mode, np.array(names)[method])
    )
    return expit(logit)


def _circumstances(c: Columns, mode: str, method: Array) -> Array:
    """What drift, learning and the conditions of calibration add on the logit scale."""
    import numpy as np

    if mode == "dust_under_glass":
        return truth.DRIFT * (c["finished"] >= np.datetime64(truth.DRIFT_FROM))
    if mode == "flex_cut":
        learning = truth.LEARNING * np.exp(-c["uses"] / truth.LEARNING_USES)
        return learning * (method == "thread_cut")
    if mode == "calibration_refused":
        return (
            truth.LOW_CHARGE * (c["charge"] < truth.LOW_CHARGE_BELOW)
            + truth.HOTSPOT * (c["connection"] == list(truth.CONNECTIONS).index("hotspot"))
            + truth.SEVERAL_PARTS * (c["battery_new"] & c["display_new"])
            + truth.MIXED_GRADES * c["mixed"]
        )
    return 0.0


def first_choice_chance(c: Columns, step: str, mode: str, method: int) -> Array:
    """Probability that a job first tried with ``method`` sees the mode, rescue tries included."""
    direct = mode_chance(c, step, mode, method)
    if step != "battery_release" or mode == "tab_snapped":
        return direct
    snapped = mode_chance(c, step, "tab_snapped", method)
    names = truth.METHODS[step]
    rescued = sum(
        share * mode_chance(c, step, mode, names.index(name))
        for name, share in truth.RESCUE.items()
    )
    return direct + (1.0 - direct) * snapped * rescued


def draw_failures(rng: np.random.Generator, c: Columns) -> None:
    """Draw every failure; ``fail:<mode>`` and, where a step is tried again, ``again:<mode>``."""
    import numpy as np

    n = len(c["model"])
    for step, modes in truth.STEP_MODES.items():
        for mode in modes:
            chance = mode_chance(c, step, mode, np.maximum(c[step], 0))
            seen = (c[step] >= 0) & (rng.random(n) < chance)
            before = c.get(f"{mode}_before")
            c[f"fail:{mode}"] = seen if before is None else seen & ~before
    _draw_rescue(rng, c)
    _draw_second_calibration(rng, c)
    _draw_part_failures(rng, c)


def _draw_rescue(rng: np.random.Generator, c: Columns) -> None:
    import numpy as np

    n = len(c["model"])
    names = truth.METHODS["battery_release"]
    snapped = c["fail:tab_snapped"]
    tools = np.array([names.index(name) for name in truth.RESCUE])
    drawn = tools[(rng.random(n) >= next(iter(truth.RESCUE.values()))).astype(int)]
    c["battery_release_again"] = np.where(snapped, drawn, -1).astype(np.int8)
    for mode in ("flex_cut", "cell_bent", "cell_pierced"):
        chance = mode_chance(c, "battery_release", mode, drawn)
        # A mode seen at the first try is not counted a second time.
        c[f"again:{mode}"] = snapped & ~c[f"fail:{mode}"] & (rng.random(n) < chance)


def _draw_second_calibration(rng: np.random.Generator, c: Columns) -> None:
    import numpy as np

    n = len(c["model"])
    again = c["fail:calibration_refused"] & (rng.random(n) < truth.TRY_AGAIN)
    other = np.where(rng.random(n) < truth.OTHER_METHOD, 1 - c["calibration"], c["calibration"])
    c["calibration_again"] = np.where(again, other, -1).astype(np.int8)
    c["again:calibration_refused"] = again & (rng.random(n) < truth.REFUSED_AGAIN)


def _draw_part_failures(rng: np.random.Generator, c: Columns) -> None:
    import numpy as np

    n = len(c["model"])
    for part, by_grade in truth.DEAD_ON_ARRIVAL.items():
        chance = np.array(by_grade)[c[f"{part}_grade"]]
        if part == "battery":
            chance = np.where(c["bad_lot"], truth.BAD_DEAD_ON_ARRIVAL, chance)
        c[f"dead:{part}"] = c[f"{part}_new"] & (rng.random(n) < chance)
    battery, display = c["battery_grade"], c["display_grade"]
    some = c["battery_new"] | c["display_new"]
    chance = np.array(truth.RESTART_CONFLICT)[battery, display]
    c["fail:restart_conflict"] = some & (rng.random(n) < chance)
    port = np.where(c["prior_repair"], 0.0, np.array(truth.CHARGING_CONFLICT)[battery])
    c["fail:charging_conflict"] = c["battery_new"] & (rng.random(n) < port)


def comeback_hazards(c: Columns) -> dict[str, Array]:
    """Hazard a day of each reason to come back."""
    import numpy as np

    def hazard(within: Array) -> Array:
        return -np.log1p(-np.asarray(within, dtype=float)) / truth.COMEBACK_DAYS

    new_battery, new_display = c["battery_new"], c["display_new"]
    ratio = np.where(c["bad_lot"] & ~c["dead:battery"], truth.BAD_HAZARD_RATIO, 1.0)
    n = len(new_battery)
    # A dead first piece is replaced by the maker's own: that one is in the device.
    battery = np.where(c["dead:battery"], 0, c["battery_grade"])
    display = np.where(c["dead:display"], 0, c["display_grade"])
    return {
        "drains_fast": new_battery * ratio * hazard(truth.DRAINS_FAST)[battery],
        "cell_swelled": new_battery * hazard(truth.CELL_SWELLED)[battery],
        "touch_erratic": new_display * hazard(truth.TOUCH_ERRATIC)[display],
        "seal_lifts": np.full(n, hazard(truth.SEAL_COMES_OFF)),
        "unrelated": np.full(n, hazard(truth.UNRELATED)),
    }


def draw_comebacks(rng: np.random.Generator, c: Columns) -> None:
    """Day and reason of the first come-back, where it falls within the records."""
    import numpy as np

    n = len(c["model"])
    hazards = comeback_hazards(c)
    rates = np.stack(list(hazards.values()), axis=1)
    total = rates.sum(axis=1)
    wait = np.ceil(rng.exponential(1.0, n) / total)
    back = c["finished"] + np.minimum(wait, 10_000).astype("timedelta64[D]")
    edges = np.cumsum(rates, axis=1)[:, :-1] / total[:, None]
    c["reason"] = (rng.random(n)[:, None] >= edges).sum(axis=1)
    c["back"] = (
        (c["outcome"] == 0) & (wait <= truth.LONGEST_RETURN) & (back <= np.datetime64(truth.UNTIL))
    )
    c["returned"] = back
