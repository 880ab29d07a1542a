"""Every parameter of the invented workshop. Nothing here is measured; all of it is made up.

Failures are drawn from probabilities on the logit scale: a base, plus what the device model, the
technician, the method and the circumstances add. ``outcomes.py`` adds them up, ``facts.py`` works
out the true rates that follow from them.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date

UNTIL = date(2026, 9, 30)
MONTHS = 18
MANY_MONTHS = 60  # for sheets so large that 18 months would make an absurd shop
MANY_JOBS = 200_000
DEMO_JOBS = 6_000
DEMO_SEED = 20260930
JOBS_PER_TECHNICIAN = 1_200  # a larger sheet is a larger workshop, not busier people
MOST_TECHNICIANS = 50
REWORK_SHARE = 0.02  # rows of a sheet that are come-backs of other rows


@dataclass(frozen=True)
class DeviceModel:
    """One invented device model.

    ``hard`` is 1 for devices that are hard to work on; ``shift`` and ``tab_shift`` move all
    failures and snapped tabs on the logit scale; ``price`` multiplies part prices.
    """

    name: str
    maker: str
    share: float
    hard: int
    shift: float
    tab_shift: float
    price: float


MODELS = (
    DeviceModel("Quillon Q5", "Quillon", 0.180, 0, 0.00, -0.4, 0.8),
    DeviceModel("Quillon Q6", "Quillon", 0.150, 0, -0.10, 0.1, 1.0),
    DeviceModel("Quillon Q6 Mini", "Quillon", 0.080, 1, 0.20, 0.6, 1.0),
    DeviceModel("Quillon Slate 9", "Quillon", 0.040, 1, 0.10, -0.2, 1.6),
    DeviceModel("Brask One", "Brask", 0.140, 0, 0.10, 0.9, 0.6),
    DeviceModel("Brask Two", "Brask", 0.110, 0, -0.20, 0.3, 0.7),
    DeviceModel("Brask Two Plus", "Brask", 0.070, 1, 0.00, -0.6, 0.9),
    DeviceModel("Brask Tab", "Brask", 0.030, 1, 0.30, 0.0, 1.4),
    DeviceModel("Norvane 21", "Norvane", 0.090, 0, 0.00, 0.4, 0.7),
    DeviceModel("Norvane 22", "Norvane", 0.060, 1, -0.10, -0.1, 0.9),
    DeviceModel("Norvane 23 Air", "Norvane", 0.045, 1, 0.20, 0.2, 1.2),
    DeviceModel("Norvane Pad", "Norvane", 0.005, 1, 0.00, 0.0, 1.5),
)

BRANCHES = ("Harbour bench", "Mill bench")


@dataclass(frozen=True)
class Hands:
    """A kind of technician; with more than five technicians the kinds repeat.

    ``shift`` moves every hand-made failure on the logit scale, ``display_shift`` those of opening
    and display handling besides; ``hard_share`` and ``easy_share`` say how many of the hard and
    easy devices go to this kind.
    """

    branch: int
    shift: float
    display_shift: float
    careful: int
    hard_share: float
    easy_share: float


TECHNICIANS = (
    Hands(0, -0.30, 0.0, 1, 0.46, 0.09),
    Hands(0, 0.00, 0.0, 0, 0.14, 0.24),
    Hands(1, 0.00, 0.0, 0, 0.14, 0.24),
    Hands(0, 0.20, 0.7, 0, 0.12, 0.20),  # T4: the weaker one
    Hands(1, 0.00, 0.0, 0, 0.14, 0.23),
)
WEAK = 3

# repair codes as written in the sheet -> share of jobs
REPAIRS = {
    "battery_swap": 0.48,
    "display_swap": 0.27,
    "charge_port_swap": 0.10,
    "back_glass_swap": 0.07,
    "battery_swap; display_swap": 0.08,
}
# The demo workshop records fewer steps than the default catalogue offers.
STEPS_OF = {
    "battery_swap": ("opening", "display_handling", "battery_release", "resealing", "calibration"),
    "display_swap": ("opening", "display_handling", "resealing", "calibration"),
    "charge_port_swap": ("opening", "display_handling", "resealing"),
    "back_glass_swap": ("glass_removal", "resealing"),
}
FACTORS = ("swollen", "prior_repair", "battery_health", "charge", "connection")

METHODS = {
    "opening": ("heat_plate", "heat_pad", "heat_gun"),
    "display_handling": ("display_on_stand", "display_detached"),
    "battery_release": ("pull_tab", "solvent_drip", "thread_cut", "pry_tool"),
    "glass_removal": ("laser_ablation", "heat_scrape"),
    "resealing": ("cut_seal", "tape_strip"),
    "calibration": ("on_device", "service_console"),
}

# Methods shift over time: shares on the first and the last day, straight line between.
OPENING_SHARES = ((0.10, 0.30, 0.60), (0.55, 0.30, 0.15))
# Chance of `display_detached` on the logit scale: base, hard device, careful technician.
DETACHED = (-2.4, 3.4, 1.6)
RELEASE_SHARES_BEFORE = (0.58, 0.38, 0.00, 0.04)
RELEASE_SHARES_AFTER = (0.42, 0.25, 0.30, 0.03)
THREAD_FROM = date(2025, 9, 15)
LASER_SHARE = 0.5
TAPE_SHARE = (0.65, 0.35)  # by branch
CONSOLE_SHARE = (0.45, 0.55)  # by branch


@dataclass(frozen=True)
class Mode:
    """How one failure mode comes about at one step, on the logit scale."""

    base: float
    method: dict[str, float] = field(default_factory=dict)
    maker_method: dict[tuple[str, str], float] = field(default_factory=dict)
    hard: float = 0.0
    model: float = 1.0  # weight of DeviceModel.shift
    tabs: float = 0.0  # weight of DeviceModel.tab_shift
    hands: float = 1.0  # weight of Hands.shift
    display: float = 0.0  # weight of Hands.display_shift
    swollen: float = 0.0


NEVER = -99.0
STEP_MODES: dict[str, dict[str, Mode]] = {
    "opening": {
        # one method clearly better: heat_plate
        "display_lines": Mode(-3.2, {"heat_plate": -1.3, "heat_gun": 0.3}, hard=0.5, display=1.0),
        "glass_cracked": Mode(-4.0, {"heat_plate": -0.9, "heat_gun": 0.2}, hard=0.3, display=1.0),
        "frame_parted": Mode(-4.6, {"heat_gun": 0.5}, hard=0.4),
        "clip_snapped": Mode(-3.9, hard=0.3, tabs=0.3),
        "heat_mark": Mode(-5.2, {"heat_gun": 1.2}),
    },
    "display_handling": {
        # the reversal: detached is better on every device with every technician, but it is
        # used on the hard ones
        "display_flex_torn": Mode(-4.0, {"display_detached": -0.7}, hard=2.0, display=1.0),
        "dust_under_glass": Mode(-3.8),
    },
    "battery_release": {
        "tab_snapped": Mode(
            -2.3, {"solvent_drip": NEVER, "thread_cut": NEVER, "pry_tool": NEVER}, tabs=1.0
        ),
        "flex_cut": Mode(-4.6, {"thread_cut": 0.5}),
        "cell_bent": Mode(-5.8, {"pry_tool": 2.2}, swollen=0.8),
        "cell_pierced": Mode(-8.0, {"pry_tool": 3.0}, swollen=0.8, model=0.0, hands=0.0),
    },
    "glass_removal": {"coil_damaged": Mode(-3.0, {"laser_ablation": -0.6}, hard=0.3)},
    # two methods equal: nothing below depends on the method
    "resealing": {"seal_lifts": Mode(-3.4, hard=0.3), "gap_uneven": Mode(-3.3, hard=0.3)},
    "calibration": {
        # the better method depends on the maker: the rank turns round by model
        "calibration_refused": Mode(
            -3.6,
            maker_method={("Norvane", "on_device"): 1.3, ("Quillon", "service_console"): 1.2},
            hands=0.0,
        ),
        "calibration_stalled": Mode(-4.4, hands=0.0),
    },
}

# A drift: dust under the glass, from this day.
DRIFT_FROM = date(2026, 3, 1)
DRIFT = 1.1
# A method being learned: added to `flex_cut` with thread_cut, falling with the technician's uses.
LEARNING = 2.2
LEARNING_USES = 30.0  # uses after which exp(-1) of it is left
PRACTISED = 1_000_000
# Conditions of calibration, added to `calibration_refused`.
LOW_CHARGE_BELOW = 20
LOW_CHARGE = 1.8
HOTSPOT = 1.1
SEVERAL_PARTS = 0.8
MIXED_GRADES = 0.7

# After a snapped tab: who rescues the battery how. After a refused calibration: tried again,
# with the other method, and refused once more.
RESCUE = {"solvent_drip": 0.75, "pry_tool": 0.25}
TRY_AGAIN = 0.85
OTHER_METHOD = 0.5
REFUSED_AGAIN = 0.15

GRADES = ("original", "refurbished", "aftermarket_high", "aftermarket_low")
GRADE_SHARES = {"battery": (0.30, 0.15, 0.35, 0.20), "display": (0.25, 0.30, 0.30, 0.15)}
# Grades already in a device that was repaired before.
PRIOR_GRADES = (0.35, 0.20, 0.25, 0.20)
SUPPLIERS = ("Halden Parts", "Pinemark", "Corvo Supply")
LOT_PREFIX = ("HD", "PM", "CV")
# Share of each supplier by grade of battery.
SUPPLIER_SHARES = ((1.0, 0.0, 0.0), (0.5, 0.5, 0.0), (0.0, 0.5, 0.5), (0.0, 0.4, 0.6))
PIECE_COST = {"battery": (28.0, 20.0, 14.0, 6.0), "display": (120.0, 75.0, 55.0, 24.0)}
DEAD_ON_ARRIVAL = {"battery": (0.006, 0.020, 0.015, 0.035), "display": (0.008, 0.030, 0.025, 0.060)}

# The bad lot: one supplier's batteries of two months.
LOT_MONTHS = 2
BAD_SUPPLIER = 2
BAD_LOT = "CV-2603"
BAD_LOT_FROM = date(2026, 3, 1)
BAD_LOT_UNTIL = date(2026, 4, 30)
BAD_DEAD_ON_ARRIVAL = 0.12
BAD_HAZARD_RATIO = 6.0

# Conflict of battery and display where the origins differ: by (battery, display).
RESTART_CONFLICT = (
    #  display: original refurbished high  low
    (0.000, 0.012, 0.025, 0.060),  # battery original
    (0.015, 0.000, 0.030, 0.060),  # refurbished
    (0.025, 0.030, 0.000, 0.070),  # aftermarket_high
    (0.060, 0.060, 0.070, 0.000),  # aftermarket_low
)
# Conflict of battery and charge port; the port is the maker's own in a device never opened.
CHARGING_CONFLICT = (0.000, 0.004, 0.008, 0.020)

# Come-backs: probability within 90 days by grade if nothing else happened; constant hazard.
COMEBACK_DAYS = 90
DRAINS_FAST = (0.010, 0.030, 0.022, 0.060)
TOUCH_ERRATIC = (0.008, 0.025, 0.025, 0.060)
CELL_SWELLED = (0.0002, 0.001, 0.0007, 0.002)
SEAL_COMES_OFF = 0.008
UNRELATED = 0.010
# After a year nobody comes back to complain.
LONGEST_RETURN = 365

# Circumstances.
PRIOR_REPAIR = 0.18
SWOLLEN = 0.06
CONNECTIONS = {"cable": 0.25, "wifi": 0.60, "hotspot": 0.15}
HEALTH = (79.0, 7.0)
# What the bench leaves blank or does not look for.
BLANK_STEP = 0.03
BLANK_FACTOR = {"swollen": 0.03, "prior_repair": 0.05, "battery_health": 0.3, "charge": 0.2,
                "connection": 0.2}  # fmt: skip
IN_DEVICE_NOTED = 0.7
UNCHECKED = {"dust_under_glass": 0.04, "seal_lifts; gap_uneven": 0.02, "all": 0.01}
PREEXISTING = {"display_lines": 0.15, "glass_cracked": 0.30}
ABANDONED = 0.012
UNREPAIRED = 0.010

# Minutes: median and spread (sigma of the logarithm) by method.
STEP_MINUTES = {
    "opening": {"heat_plate": 8.0, "heat_pad": 10.0, "heat_gun": 7.0},
    "battery_release": {"pull_tab": 3.0, "solvent_drip": 11.0, "thread_cut": 6.0, "pry_tool": 5.0},
}
MINUTES_SPREAD = 0.3
RESCUE_MINUTES = 14.0
# Wright's learning curve: minutes of thread_cut = practised minutes x (1 + extra x uses^-slope).
WRIGHT_EXTRA = 1.5
WRIGHT_SLOPE = 0.45
OTHER_MINUTES = {"battery_swap": 14.0, "display_swap": 22.0, "charge_port_swap": 30.0,
                 "back_glass_swap": 45.0, "battery_swap; display_swap": 30.0}  # fmt: skip
FAILURE_MINUTES = 15.0
PRICE = {"battery_swap": 69.0, "display_swap": 149.0, "charge_port_swap": 79.0,
         "back_glass_swap": 99.0, "battery_swap; display_swap": 199.0}  # fmt: skip
