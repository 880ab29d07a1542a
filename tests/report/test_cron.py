"""The cron line of the guide, rehearsed by a bare shell, as cron does: the same bytes as here."""

from __future__ import annotations

import re
import shutil
import subprocess
import sys

from .. import readme

README = readme.README


def test_the_cron_line_of_the_guide_writes_the_same_bytes(demo_shop, demo_report, tmp_path):
    (line,) = re.findall(r"```cron\n(.*)\n```", README.read_text(encoding="utf-8"))
    times, command = re.fullmatch(r"((?:\S+ ){5})(.*)", line).groups()
    assert times == "0 6 1 * * "
    assert "%" not in command  # cron would take it for the end of the line
    shutil.copytree(demo_shop, tmp_path / "demo-shop")
    program = tmp_path / "fixstats" / ".venv" / "bin" / "fixstats"
    program.parent.mkdir(parents=True)
    program.write_text(f'#!/bin/sh\nexec "{sys.executable}" -m fixstats "$@"\n')
    program.chmod(0o755)
    bare = {"HOME": str(tmp_path), "PATH": "/usr/bin:/bin"}
    # What would make sums another way; the command does not listen.
    ways = {"OPENBLAS_CORETYPE": "Prescott", "OPENBLAS_NUM_THREADS": "2"}
    done = subprocess.run(
        ["/bin/sh", "-c", command], check=False, env=bare | ways, cwd=tmp_path, timeout=120
    )
    log = (tmp_path / "fixstats-report.log").read_text(encoding="utf-8")
    assert done.returncode == 0, log
    written = tmp_path / "demo-shop" / "reports" / "2026-09"
    names = sorted(path.relative_to(demo_report) for path in demo_report.rglob("*.*"))
    assert len(names) > 20
    for name in names:
        assert (written / name).read_bytes() == (demo_report / name).read_bytes(), name
    assert readme.rehearsed(README.read_text(encoding="utf-8")).matches(
        log.replace(f"{tmp_path}/", "").rstrip("\n").split("\n")
    )
