"""What must be said whenever a trial is planned, begun or looked at."""

from __future__ import annotations

from collections.abc import Sequence

from fixstats.findings.compare_plan import Choice
from fixstats.findings.rates_notes import cautions_for
from fixstats.findings.safety import safety_modes
from fixstats.folder import Catalogue

# Common practice, no source.
AT_RISK = (
    "A trial puts customers' devices at risk by lot: both options must be ones that a careful "
    "bench would use on that device anyway. Whoever is at the bench may always do otherwise, says "
    "so in the job sheet, and the job still counts for the option drawn."
)


def trial_cautions(
    modes: Sequence[str], choice: Choice, options: Sequence[str], catalogue: Catalogue
) -> tuple[str, ...]:
    """Cautions of the trial, of its methods, and of cells where a mode can hurt someone."""
    methods = {method.code: method for method in catalogue.methods}
    own = [
        f"{code}: {text}" for code in options if code in methods for text in methods[code].cautions
    ]
    codes = (*modes, *safety_modes(choice, catalogue))
    rows = [{"mode": code, "family": None} for code in codes]
    return (AT_RISK, *own, *cautions_for(rows, catalogue))
