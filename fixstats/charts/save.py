"""Pictures as files: SVG, PNG, PDF, and an HTML page that needs no network."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from html import escape
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fixstats.errors import FixstatsError, UsageError
from fixstats.words import listed

if TYPE_CHECKING:
    from fixstats.charts import Picture

Spec = dict[str, Any]

_CLIP = re.compile(r'(?<=id=")clip\d+(?=")|(?<=url\(#)clip\d+(?=\))')

# Twice the size in dots, so that text stays sharp on paper and dense screens.
PNG_SCALE = 2

# Nothing may be fetched or sent; vega compiles its expressions, which needs unsafe-eval.
_POLICY = (
    "default-src 'none'; script-src 'unsafe-inline' 'unsafe-eval'; "
    "style-src 'unsafe-inline'; img-src data: blob:"
)
_PAGE = """<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta http-equiv="Content-Security-Policy" content="{policy}">
<title>{title}</title>
<style>#picture {{ display: inline-block; }}</style>
<script>{library}</script>
</head>
<body>
<div id="picture" role="img" aria-label="{description}"></div>
<noscript>{description}</noscript>
<script>vegaEmbed("#picture", {spec}, {options}).catch(console.error);</script>
</body>
</html>
"""
_EXPOSE = "window.vegaEmbed = vegaEmbed;"
# The picture may be kept as a file; its source is nobody's business but the database's.
_OPTIONS = {
    "mode": "vega-lite",
    "renderer": "svg",
    "actions": {"export": True, "source": False, "compiled": False, "editor": False},
}


def save(chart: Picture, path: Path) -> None:
    """Write a picture to ``path``, in the format its ending names.

    Raises
    ------
    UsageError
        If the ending is none of ``.svg``, ``.png``, ``.pdf``, ``.html``.
    FixstatsError
        If the file cannot be written.
    """
    write = FORMATS.get(path.suffix.lower())
    if write is None:
        ending = f"'{path.suffix}'" if path.suffix else "no ending"
        raise UsageError(
            f"{path}: a picture cannot be written as {ending}; "
            f"end the name in {listed(FORMATS, 'or')}"
        )
    content = write(chart.to_dict())
    try:
        path.write_bytes(content)
    except OSError as error:
        raise FixstatsError(f"{path}: cannot write the picture: {error.strerror}") from error


def svg_with_words(chart: Picture) -> tuple[str, str, str]:
    """The picture as SVG, to stand within a page; its title; its text alternative.

    Everything in the SVG is escaped; title and text alternative are plain text.
    """
    spec = chart.to_dict()
    return _svg(spec).decode(), _title(spec), _description(spec)


def _svg(spec: Spec) -> bytes:
    import vl_convert

    text = _own_names(vl_convert.vegalite_to_svg(spec, vl_version=_version(), allowed_base_urls=[]))
    # The converter leaves out the text alternative; a reader of the file needs it.
    words = f"<title>{escape(_title(spec))}</title><desc>{escape(_description(spec))}</desc>"
    opening, rest = text.split(">", 1)
    label = f'role="img" aria-label="{escape(_title(spec))}"'
    # The converter names every axis and mark; of one picture with words of its own they are noise.
    marks = rest.removesuffix("</svg>")
    return f'{opening} {label}>{words}<g aria-hidden="true">{marks}</g></svg>'.encode()


def _own_names(svg: str) -> str:
    """The SVG with names that follow from the picture alone.

    The converter counts its clips over all pictures of a process: the same picture would differ
    from run to run, and the clips of two in one page could not be told apart by their content.
    """
    from hashlib import sha256

    mark = sha256(_CLIP.sub("", svg).encode()).hexdigest()[:8]
    names = {name: f"clip-{mark}-{n}" for n, name in enumerate(dict.fromkeys(_CLIP.findall(svg)))}
    return _CLIP.sub(lambda found: names[found[0]], svg)


def _png(spec: Spec) -> bytes:
    import vl_convert

    content: bytes = vl_convert.vegalite_to_png(
        spec, vl_version=_version(), scale=PNG_SCALE, allowed_base_urls=[]
    )
    return content


def _pdf(spec: Spec) -> bytes:
    import vl_convert

    content: bytes = vl_convert.vegalite_to_pdf(spec, vl_version=_version(), allowed_base_urls=[])
    return content


def _html(spec: Spec) -> bytes:
    import vl_convert

    # A name out of a job sheet must not be able to end the script: "<" goes in as an escape.
    data = json.dumps(spec, ensure_ascii=False).replace("<", "\\u003c")
    page = _PAGE.format(
        policy=_POLICY,
        title=escape(_title(spec)),
        library=vl_convert.javascript_bundle(_EXPOSE, vl_version=_version()),
        description=escape(_description(spec)),
        spec=data,
        options=json.dumps(_OPTIONS),
    )
    return page.encode()


FORMATS: dict[str, Callable[[Spec], bytes]] = {
    ".svg": _svg,
    ".png": _png,
    ".pdf": _pdf,
    ".html": _html,
}


def _version() -> str:
    """The Vega-Lite version that Altair writes, as the converter names it: ``v6.4``."""
    import altair as alt

    return ".".join(alt.SCHEMA_VERSION.split(".")[:2])


def _title(spec: Spec) -> str:
    text = spec["title"]["text"]
    return text if isinstance(text, str) else " ".join(text)


def _description(spec: Spec) -> str:
    return str(spec["description"])
