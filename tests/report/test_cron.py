"""The cron line of the guide, rehearsed: run by a bare shell, as cron does."""

from __future__ import annotations

import re
import shutil
import subprocess
import sys

from .. import readme

README = readme.README


def test_the_cron_line_of_the_guide_runs(demo_shop, tmp_path):
    (line,) = re.findall(r"```cron\n(.*)\n```", README.read_text(encoding="utf-8"))
    times, command = re.fullmatch(r"((?:\S+ ){5})(.*)", line).groups()
    assert times == "0 6 1 * * "
    assert "%" not in command  # cron would take it for the end of the line
    shutil.copytree(demo_shop, tmp_path / "demo-shop")
    program = tmp_path / "fixstats" / ".venv" / "bin" / "fixstats"
    program.parent.mkdir(parents=True)
    program.write_text(f'#!/bin/sh\nexec "{sys.executable}" -m fixstats "$@"\n')
    program.chmod(0o755)
    bare = {"HOME": str(tmp_path), "PATH": "/usr/bin:/bin", "OPENBLAS_NUM_THREADS": "1"}
    done = subprocess.run(
        ["/bin/sh", "-c", command], check=False, env=bare, cwd=tmp_path, timeout=120
    )
    log = (tmp_path / "fixstats-report.log").read_text(encoding="utf-8")
    assert done.returncode == 0, log
    assert (tmp_path / "demo-shop" / "reports" / "2026-09" / "report.html").exists()
    assert readme.rehearsed(README.read_text(encoding="utf-8")).matches(
        log.replace(f"{tmp_path}/", "").rstrip("\n").split("\n")
    )
