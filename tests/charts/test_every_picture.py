"""What must hold of every picture, in every hard case."""

from __future__ import annotations

import re
import struct
import subprocess
import sys
import xml.etree.ElementTree as ET
import zlib
from pathlib import Path

import pytest

from fixstats.charts import PICTURES, chart, picture_name
from fixstats.charts.save import FORMATS, save
from fixstats.errors import FixstatsError, UsageError

from .cases import FINDINGS, finding, grid, row

SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(params=FINDINGS, ids=lambda name: name.replace(" ", "_"))
def name(request: pytest.FixtureRequest) -> str:
    return str(request.param)


def test_every_picture_is_among_the_cases() -> None:
    assert {picture_name(one) for one in FINDINGS.values()} == set(PICTURES)


def test_words(name: str) -> None:
    """Title, subtitle and text alternative are there, and say n, view, interval and period."""
    found = FINDINGS[name]
    spec = chart(found).to_dict()
    title = " ".join(spec["title"]["text"])
    assert len(title) > 20 and spec["description"].startswith(title[:20])
    assert spec["description"].count(". ") <= 4
    under = " ".join(spec["title"].get("subtitle", []))
    if not found.rows:
        assert title.startswith("No rows to draw")
        # The reason: the finding's own note, or that nothing fits where it has none.
        why = found.notes[0].text if found.notes else "nothing in the records fits"
        assert why[1:] in spec["description"]
        return
    if found.question == "trial status":
        words = ("n: ", "by what was drawn", "confidence sequence, 96\u00a0%", "up to 2025-06-17")
        assert [word for word in words if word not in under] == []
        return
    if found.question == "decide":
        words = (
            "n: ",
            "jobs an option",
            "by first choice",
            "95\u00a0% intervals",
            "up to 2025-06-17",
        )
        assert [word for word in words if word not in under] == []
        return
    if found.question == "standards":
        words = ("n: ", "jobs since", "by first choice", "95\u00a0% intervals", "up to 2025-06-17")
        assert [word for word in words if word not in under] == []
        return
    if found.question == "watch":
        words = ("n: ", "by first choice", "against 2024-06-01", "2025-06-17", "false alarms")
        assert [word for word in words if word not in under] == []
        return
    kinds = {"compare": "s", "causes": "s", "comebacks": " (log-log)"}
    interval = "95\u00a0% interval" + kinds.get(found.question, " (Wilson)")
    for words in ("n: ", interval, "up to 2025-06-17"):
        assert words in under
    comebacks = found.question == "comebacks"  # of jobs, and of pieces in the device at the end
    assert "by first choice" in under or (comebacks and "battery grade at hand-over" in under)
    assert ("completed job" if comebacks else "opportunit") in under


# Where nobody took up a method there is no curve, and no axis.
DRAWN = [name for name, one in FINDINGS.items() if one.rows and name != "practice of nobody"]


@pytest.mark.parametrize("case", DRAWN)
def test_units_on_the_axis(case: str) -> None:
    text = str(chart(FINDINGS[case]).to_dict()).replace("\\xa0", " ")
    units = {
        "costs": "money over the period, EUR",
        "compare": "failures in 100 jobs, more or fewer than with Heated plate, timed",
        "causes": "odds ratio, log scale",
        "comebacks": "came back, % of jobs handed over",
        "trial status": "difference to ",
        "standards": "failures in 100 jobs at the choice, since less before",
        "decide": "expected cost per job, EUR",
        "decide flips": "expected cost per job, EUR",
        "rates by pair": " %",  # a grid has no axis of rates, the cells say them
    }
    unit = units.get(picture_name(FINDINGS[case]), "failures per opportunity, %")
    if case in ("watch, people", "watch, no others failed"):
        unit = "s expected, like for like"  # failures or come-backs
    assert unit in text or case in ("pairs, no opportunity", "watch, nothing out")


def test_svg(name: str, tmp_path: Path) -> None:
    """The SVG carries its text alternative, its size is sane, its font the one measured."""
    picture = chart(FINDINGS[name])
    save(picture, tmp_path / "a.svg")
    root = ET.parse(tmp_path / "a.svg").getroot()
    spec = picture.to_dict()
    assert root.get("role") == "img"
    assert root[0].tag == f"{SVG}title" and root[0].text == " ".join(spec["title"]["text"])
    assert root[1].tag == f"{SVG}desc" and root[1].text == spec["description"]
    width, height = float(root.get("width", 0)), float(root.get("height", 0))
    assert 300 < width < 1200 and 60 < height < 2000
    fonts = {text.get("font-family") for text in root.iter(f"{SVG}text")}
    assert fonts == {"DejaVu Sans, Verdana, sans-serif"}


@pytest.mark.parametrize("case", ["models and methods", "18 months", "costs", "no rows"])
def test_png(case: str, tmp_path: Path) -> None:
    """The PNG is twice the size of the SVG, and something is drawn on it."""
    save(chart(FINDINGS[case]), tmp_path / "a.svg")
    root = ET.parse(tmp_path / "a.svg").getroot()
    save(chart(FINDINGS[case]), tmp_path / "a.png")
    content = (tmp_path / "a.png").read_bytes()
    assert content[:8] == b"\x89PNG\r\n\x1a\n"
    size = struct.unpack(">II", content[16:24])
    assert size == pytest.approx([2 * float(root.get(n, 0)) for n in ("width", "height")], abs=1)
    assert len(set(zlib.decompress(_pixels(content)))) > 50


def _pixels(content: bytes) -> bytes:
    """The compressed pixels of a PNG: its IDAT chunks one after the other."""
    found, place = b"", 8
    while place < len(content):
        length, kind = struct.unpack(">I4s", content[place : place + 8])
        if kind == b"IDAT":
            found += content[place + 8 : place + 8 + length]
        place += 12 + length
    return found


def test_names_are_whole_or_say_what_they_leave_out() -> None:
    labels = " ".join(re.findall(r'"[^"]*"', _names_of("long names")))
    assert "…" in labels
    # Names that share a beginning differ at the end, so the end stays.
    assert re.search(r"2024, A\b", labels) and re.search(r"2024, B\b", labels)
    assert "…" not in _names_of("models and methods")


def _names_of(name: str) -> str:
    layers = chart(FINDINGS[name]).to_dict()["layer"]
    return str(layers[0]["encoding"]["y"]["axis"]["labelExpr"])


def test_html_needs_no_network(tmp_path: Path) -> None:
    save(chart(FINDINGS["models and methods"]), tmp_path / "a.html")
    page = (tmp_path / "a.html").read_text(encoding="utf-8")
    # Outside its scripts the page names nothing to load; inside them the policy forbids it.
    outside = re.sub(r"<script>.*?</script>", "", page, flags=re.DOTALL)
    assert "://" not in outside and "src=" not in outside and len(outside) < 3000
    assert "default-src 'none'" in page
    label = re.search(r'role="img" aria-label="([^"]+)"', page)
    assert label and "Highest: " in label[1]


def test_html_holds_names_as_data(tmp_path: Path) -> None:
    """A model name out of a sheet cannot become a part of the page."""
    nasty = '</script><script>alert("x")</script>'
    save(chart(finding([row(3, 9, model=nasty)], ("model",))), tmp_path / "a.html")
    page = (tmp_path / "a.html").read_text(encoding="utf-8")
    assert "<script>alert" not in page and page.count("</script>") == 2
    save(chart(finding([row(3, 9, model=nasty)], ("model",))), tmp_path / "a.svg")
    assert "alert" in "".join(ET.parse(tmp_path / "a.svg").getroot().itertext())


def test_pdf(tmp_path: Path) -> None:
    save(chart(FINDINGS["one row"]), tmp_path / "a.PDF")
    content = (tmp_path / "a.PDF").read_bytes()
    assert content.startswith(b"%PDF-") and len(content) > 5000


@pytest.mark.parametrize(("file", "said"), [("a.gif", "'.gif'"), ("a", "no ending")])
def test_wrong_ending(tmp_path: Path, file: str, said: str) -> None:
    words = rf"{file}: a picture cannot be written as {said}; end the name in "
    with pytest.raises(UsageError, match=words + r"\.svg, \.png, \.pdf or \.html$"):
        save(chart(FINDINGS["one row"]), tmp_path / file)
    assert not list(tmp_path.iterdir())
    assert list(FORMATS) == [".svg", ".png", ".pdf", ".html"]


def test_folder_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(FixstatsError, match=r"a\.svg: cannot write the picture: No such file"):
        save(chart(FINDINGS["one row"]), tmp_path / "none" / "a.svg")


def test_question_without_a_picture() -> None:
    drawn = sorted(name for name in PICTURES if " " not in name)
    assert {"causes", "comebacks", "rates"} < set(drawn)
    said = f"no picture of 'sums'; there is one of: {', '.join(drawn)}"
    with pytest.raises(UsageError, match=said):
        chart(finding(grid(["A"], ["heat_gun"]), ("model", "opening"), question="sums"))


def test_altair_is_loaded_late() -> None:
    code = (
        "import sys, fixstats.charts, fixstats.charts.save\n"
        "print(sorted({'altair', 'vl_convert', 'numpy', 'polars', 'duckdb'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
