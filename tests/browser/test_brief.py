"""A bench brief prints to one sheet of paper, also the fullest ones of the demo shop."""

from __future__ import annotations

import re
import shutil
import subprocess
import unicodedata

import pytest

from fixstats.cli.brief import PAGES
from fixstats.shop import open_shop

BROWSERS = ("chromium", "chromium-browser")
# The longest of all models and repairs when all were printed: few jobs, so that more is borrowed.
FULLEST = (("Norvane Pad", "battery_swap"), ("Never Seen 9", "display_swap"))


def letters(text):
    """Without spaces and line ends, ligatures taken apart."""
    return re.sub(r"\s+", "", unicodedata.normalize("NFKC", text))


@pytest.mark.parametrize(("model", "repair"), FULLEST, ids=["battery_swap", "display_swap"])
def test_it_prints_to_one_sheet_and_nothing_is_cut(model, repair, demo_shop, tmp_path):
    pypdf = pytest.importorskip("pypdf", reason="pypdf is not installed: pip install '.[test]'")
    chromium = next(filter(None, map(shutil.which, BROWSERS)), None)
    if chromium is None:
        pytest.skip("no Chromium: apt-get install chromium")
    finding = open_shop(demo_shop).brief(model=model, repair=repair).finding
    page, sheet = tmp_path / "brief.html", tmp_path / "brief.pdf"
    page.write_text(PAGES["html"](finding), encoding="utf-8")
    # A container's root has no sandbox to drop into.
    options = ["--headless", "--no-sandbox", "--disable-gpu", "--no-pdf-header-footer"]
    words = [
        chromium,
        *options,
        f"--print-to-pdf={sheet}",
        f"--user-data-dir={tmp_path / 'profile'}",
    ]
    subprocess.run([*words, page.as_uri()], check=True, capture_output=True, timeout=120)
    sheets = pypdf.PdfReader(sheet).pages
    assert len(sheets) == 1
    told = letters(sheets[0].extract_text())
    texts = [row["text"] for part in ("customer", "ready") for row in finding.parts[part]]
    texts += [row["why"] for row in finding.rows] + [finding.notes[-1].text]
    for text in texts:
        assert letters(text) in told
