"""The statements of queries/ as the tests walk over them."""

import re
from pathlib import Path

from fixstats.engines.session import BOTH, DIGGING, VIEWS
from fixstats.resources import resource

FOLDER = resource("queries")
FILES = sorted(FOLDER.rglob("*.sql"))


def in_room(*rooms):
    return [path for path in FILES if path.relative_to(FOLDER).parts[0] in rooms]


def name_of(path):
    return str(path.relative_to(FOLDER).with_suffix(""))


def body(path):
    """The text after the header."""
    lines = path.read_text(encoding="utf-8").splitlines()
    first = next(n for n, line in enumerate(lines) if not line.startswith("--"))
    return "\n".join(lines[first:])


def select_of(path):
    """The query, without the words that make a view of it."""
    return re.sub(r"^create or replace temp (view|table) [\w/*]+ as", "", body(path).strip())


def with_slots_filled(text):
    """Slots as a tally fills them: one key, one view, one target, no filter."""
    slots = {
        "keys": '"model", ',
        "view": "first",
        "units": "units_first",
        "marks": "flags",
        "unclear": "false",
        "excluded": "preexisting",
        "beside": "part_units",
        "targets": "1",
        "joins": "",
        "filters": "",
        "modes": "",
        "value": "technician",
        "jobs": "watched_jobs",
        "changes": "watched_changes",
        "followups": "watched_followups",
        "of": "jobs",
        "pieces": "first_pieces",
        "part": "battery",
        "alike": '"quarter"',
        "choice": '"opening"',
        "name": "''",
        "place": "''",
        "rows": "select model, cluster, failures, opportunities, unknown, unknown_failed from t",
    }
    return re.sub(r"/\*(\w+)\*/", lambda slot: slots.get(slot[1], ""), text)


def view_paths():
    """View -> its file; a file with the slot view makes two."""
    found = {}
    for name in (*VIEWS, *DIGGING):
        path = FOLDER / "views" / f"{name}.sql"
        both = [f"{name}_{view}" for view in BOTH]
        names = both if "/*view*/" in path.read_text(encoding="utf-8") else [name]
        found |= dict.fromkeys(names, path)
    return found


def root(*parts):
    return Path(__file__).parent.joinpath(*parts)
