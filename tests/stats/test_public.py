"""What ``fixstats.stats`` offers: every name has one home, loaded when it is asked for."""

import subprocess
import sys
from pathlib import Path

import pytest

from fixstats import stats

FILES = {path.stem for path in Path(stats.__file__).parent.glob("*.py")}


@pytest.mark.parametrize("name", stats.__all__)
def test_every_public_name_is_there(name):
    assert getattr(stats, name) is not None


def test_the_table_of_homes_is_the_public_surface():
    assert sorted(stats._HOMES) == sorted(stats.__all__) == dir(stats)
    assert set(stats._FILES) <= FILES


def test_a_function_is_not_hidden_by_its_file():
    # Loading a file makes it an attribute of the package, in place of a function of that name.
    for name in FILES & set(stats.__all__):
        assert stats._HOMES[name] == name
    code = "from fixstats import stats; stats.FirthFit; assert callable(stats.firth)"
    subprocess.run([sys.executable, "-c", code], check=True, timeout=60)


def test_an_unknown_name_is_refused():
    with pytest.raises(AttributeError, match="no attribute 'wilsons'"):
        _ = stats.wilsons


def test_an_interval_does_not_wait_for_the_fits():
    code = (
        "import sys; from fixstats import stats; stats.wilson(1, 2); "
        "print(*[m for m in sys.modules if m.startswith('fixstats.stats.')])"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=60
    )
    assert set(done.stdout.split()) == {"fixstats.stats.proportion", "fixstats.stats.validators"}
