"""Random small shops: a catalogue and some job sheets that use every corner of the rules.

``random_shop(rng)`` draws one; ``shops()`` is the same as a Hypothesis strategy; ``write_shop``
makes a shop folder of it; ``reduced`` shortens a shop that shows a disagreement.
"""

from __future__ import annotations

import csv
import json
from datetime import date, timedelta

from hypothesis import strategies as st

from .twin import fold
from .twin_rows import ambiguous, cell, codes, items, places_of, valid

FIRST_DAY = date(2025, 11, 10)
DAYS = 120
STEPS = {
    "opening": ["heat", "cold", "blade"],
    "release": ["pull", "pry", "solvent"],
    "closing": ["glue", "tape"],
}
PARTS = ["battery", "display", "camera"]
# Open names as they were first written, and other ways in which a bench writes them.
NAMES = {
    "model": ["Alder 5", "Birch 2", "Cedar"],
    "technician": ["Ta", "Tb", "Tc"],
    "branch": ["North", "South Gate"],
    "supplier": ["Reed Parts", "Moss"],
    "lot": ["L7", "L8 b"],
}
STYLES = [str, str, str.upper, str.lower, lambda name: f" {name.replace(' ', '  ')} "]


# ---------------------------------------------------------------------------------- catalogue


def some(rng, choices, least=1, most=None):
    """A few of the choices, in their order."""
    count = rng.randint(least, min(len(choices), most or len(choices)))
    chosen = rng.sample(range(len(choices)), count)
    return [choices[n] for n in sorted(chosen)]


def chance(rng, percent):
    return rng.randrange(100) < percent


def identity(row):
    return fold(cell(row, "branch")), cell(row, "job")


def labelled(entries):
    return [{"label": entry["code"].replace("_", " "), **entry} for entry in entries]


def random_catalogue(rng):
    steps = some(rng, list(STEPS), 2)
    parts = some(rng, PARTS, 2)
    methods = {step: some(rng, STEPS[step], 2) for step in steps}
    grades = [{"code": "original"}, {"code": "pulled", "origin": "original"}]
    grades += some(rng, [{"code": "copy_a", "origin": "maker_a"}, {"code": "copy_b"}], 0)
    catalogue = {"format": 1}
    if chance(rng, 60):
        catalogue["unrecorded_grade"] = "original"
    catalogue["step"] = [{"code": step, "order": n} for n, step in enumerate(steps)]
    catalogue["method"] = [{"step": s, "code": one} for s in steps for one in methods[s]]
    catalogue["part"] = [{"code": part} for part in parts]
    catalogue["grade"] = grades
    catalogue["factor"] = [
        {"code": "prior_repair", "kind": "flag"},
        {"code": "casing", "kind": "category", "values": ["metal", "glass"]},
        {"code": "health", "kind": "number", "bands": [80]},
        {"code": "charge", "kind": "number", "bands": [20, 80], "when": "during"},
        {"code": "age", "kind": "number"},
    ]
    catalogue["repair"] = [
        {"code": "swap", "steps": some(rng, steps), "parts": some(rng, parts)},
        {"code": "screen", "steps": some(rng, steps), "parts": some(rng, parts, 0, 2)},
        {"code": "look", "steps": some(rng, steps, 0), "factors": ["casing"]},
    ]
    catalogue["failure_mode"] = random_modes(rng, steps, parts, methods, codes(catalogue, "grade"))
    for kind in ("step", "method", "part", "grade", "factor", "repair", "failure_mode"):
        catalogue[kind] = labelled(catalogue[kind])
    return catalogue


def random_modes(rng, steps, parts, methods, grades):
    several = some(rng, steps, 2)
    modes = [
        at_steps(rng, "tab_torn", "broken_tabs", [rng.choice(steps)], methods, 60),
        at_steps(rng, "lines", "display_damage", several, methods, 50),
        at_steps(rng, "dent", "display_damage", [rng.choice(steps)], methods, 0),
        at_steps(rng, "refused", "calibration_failures", [rng.choice(steps)], methods, 30),
        of_part(rng, "dead", "part_failure", "any", grades),
        of_part(rng, "weak", rng.choice(["part_failure", "broken_tabs"]), parts[0], grades),
        {"code": "clash", "family": "mixed_part_conflicts", "mixed": rng.sample(parts, 2)},
    ]
    if len(parts) == 3 and chance(rng, 60):
        mixed = rng.sample(parts, 3)
        modes.append({"code": "quarrel", "family": "mixed_part_conflicts", "mixed": mixed})
    rng.shuffle(modes)
    return [{"severity": 3, **mode} for mode in modes]


def at_steps(rng, code, family, steps, methods, limited):
    mode = {"code": code, "family": family, "steps": steps}
    if chance(rng, limited):
        mode["methods"] = some(rng, [m for step in steps for m in methods[step]], 1, 3)
    return mode


def of_part(rng, code, family, part, grades):
    mode = {"code": code, "family": family, "part": part}
    if chance(rng, 50):
        mode["grades"] = some(rng, grades, 1, 2)
    return mode


# ------------------------------------------------------------------------------------- sheets


class RowMaker:
    """Draws rows for one catalogue; every row is valid and unambiguous."""

    def __init__(self, rng, catalogue):
        self.rng = rng
        self.catalogue = catalogue
        self.modes = catalogue["failure_mode"]
        self.words = [mode["code"] for mode in self.modes]
        self.families = sorted({mode["family"] for mode in self.modes})
        self.made = []

    def row(self, number):
        while True:
            row = self.base(number) | self.steps() | self.parts() | self.factors()
            row = {column: text for column, text in row.items() if text}
            if self.fits(row):
                break
        row |= self.failures(row)
        self.made.append(row)
        return row

    def fits(self, row):
        return valid(self.catalogue, row) is None and ambiguous(self.catalogue, row) is None

    def base(self, number):
        rng = self.rng
        style = rng.choice(STYLES)
        self.name = lambda kind: style(rng.choice(NAMES[kind]))
        repairs = some(rng, codes(self.catalogue, "repair"), 1, 1 if chance(rng, 75) else 3)
        rng.shuffle(repairs)
        row = {
            "job": f"J{number}",
            "finished": str(FIRST_DAY + timedelta(days=rng.randrange(DAYS))),
            "model": self.name("model"),
            "repair": "; ".join(repairs),
            "technician": self.name("technician") if chance(rng, 80) else "",
            "branch": self.name("branch") if chance(rng, 50) else "",
            "outcome": rng.choice(
                ["", "", "completed", "completed", "abandoned", "returned_unrepaired"]
            ),
            "unchecked": self.unchecked(),
        }
        other = cell(self.made[-1], "branch") if self.made else ""
        if other and chance(rng, 30):  # a job is unique with its branch only
            same = {**row, "job": cell(self.made[-1], "job")}
            if identity(same) not in map(identity, self.made):
                row = same
        if chance(rng, 15):
            row["preexisting"] = "; ".join(some(rng, self.words, 1, 2))
        if chance(rng, 10):
            row["trial"], row["assigned"] = "spring", rng.choice(["glue", "heat"])
        # Nothing comes back as itself: such a row would be held back.
        others = [one for one in (cell(old, "job") for old in self.made) if one != row["job"]]
        if others and chance(rng, 15):
            row["return_of"] = rng.choice(others)
        return row

    def unchecked(self):
        draw = self.rng.randrange(100)
        if draw < 75:
            return ""
        if draw < 79:
            return "all"
        return "; ".join(some(self.rng, self.words if draw < 91 else self.families, 1, 2))

    def steps(self):
        found = {}
        for step in codes(self.catalogue, "step"):
            methods = [m["code"] for m in self.catalogue["method"] if m["step"] == step]
            tries = self.rng.choice([0, 0, 1, 1, 1, 1, 2, 2, 3])
            drawn = " > ".join(self.rng.choice(methods) for _ in range(tries))
            found[step] = drawn or self.rng.choice(["", "", "-"])
        return found

    def parts(self):
        found = {}
        for part in codes(self.catalogue, "part"):
            found |= self.part(part)
        return found

    def part(self, part):
        rng, draw = self.rng, self.rng.randrange(100)
        if draw < 40:
            return {}
        if draw < 48:
            return {f"{part}_grade": "-"}
        count = rng.choice([1, 1, 1, 2, 2, 3])
        row = {f"{part}_fitted": rng.choice(["", "", "", "yes", "no"])}
        if chance(rng, 85):
            row[f"{part}_grade"] = " > ".join(rng.choice(self.grades()) for _ in range(count))
        for kind in ("supplier", "lot"):
            if chance(rng, 35):
                row[f"{part}_{kind}"] = self.listed(lambda kind=kind: self.name(kind), count)
        if chance(rng, 15):
            row[f"{part}_cost"] = self.listed(lambda: str(rng.randint(5, 40)), count)
        return row

    def grades(self):
        return codes(self.catalogue, "grade")

    def listed(self, draw, count):
        """One value for all pieces, or one each."""
        return " > ".join(draw() for _ in range(1 if chance(self.rng, 30) else count))

    def factors(self):
        rng, row = self.rng, {}
        draws = {
            "prior_repair": lambda: rng.choice(["yes", "no", "no"]),
            "casing": lambda: rng.choice(["metal", "glass"]),
            "health": lambda: str(rng.choice([79, 80, 93])),
            "charge": lambda: str(rng.choice([5, 19.5, 20, 55, 80, 100])),
            "age": lambda: str(rng.choice([1, 2.5, 12])),
        }
        for code, draw in draws.items():
            if chance(rng, 60):
                row[code] = draw()
        return row

    def failures(self, row):
        """Sightings that the row can have, one added after another."""
        if chance(self.rng, 35):
            return {"failures": self.rng.choice(["", "", "-", "none"])}
        tokens = []
        for _ in range(self.rng.choice([1, 1, 2, 2, 3, 4, 5])):
            token = self.sighting()
            trial = {**row, "failures": "; ".join([*tokens, token])}
            if self.fits(trial):
                tokens.append(token)
        return {"failures": "; ".join(tokens)}

    def sighting(self):
        mode = self.rng.choice(self.modes)
        place = self.rng.choice(places_of(self.catalogue, mode))
        number = self.rng.choice([1, 1, 2, 2, 3])
        code = mode["code"]
        if "mixed" in mode:
            return code
        forms = [code, code, f"{code}@{number}", f"{code}@{place}", f"{code}@{place}.{number}"]
        return self.rng.choice(forms)


def random_covers(rng, catalogue):
    draw = rng.randrange(100)
    if draw < 50:
        return "all"
    if draw < 70:
        return "seen"
    words = codes(catalogue, "failure_mode")
    words += sorted({mode["family"] for mode in catalogue["failure_mode"]})
    return some(rng, words, 1, 5)


def random_shop(rng, jobs=25):
    """A shop of at most that many jobs; any import may repeat or change rows of earlier ones."""
    catalogue = random_catalogue(rng)
    maker = RowMaker(rng, catalogue)
    total, imports = rng.randint(1, jobs), []
    bounds = sorted({total, *(rng.randint(1, total) for _ in range(rng.randrange(3)))})
    start = 0
    for end in bounds:
        old = list(maker.made)
        rows = [maker.row(number) for number in range(start, end)]
        rows += [dict(rng.choice(rows)) for _ in range(rng.choice([0, 0, 0, 1, 2]))]
        if old and chance(rng, 40):
            rows += repeated(rng, maker, old)
        imports.append({"covers": random_covers(rng, catalogue), "rows": rows})
        start = end
    return {"catalogue": catalogue, "imports": imports}


def repeated(rng, maker, old):
    """Rows of earlier sheets: as they were, or with what was seen written anew."""
    latest = {identity(row): row for row in old}
    chosen = rng.sample(sorted(latest), rng.randint(1, min(3, len(latest))))
    rows = []
    for one in chosen:
        row = dict(latest[one])
        if chance(rng, 40):
            row.pop("failures", None)
            row |= {"technician": "Tz"} | maker.failures(row)
        rows.append(row)
    maker.made += rows
    return rows


@st.composite
def shops(draw, jobs=8):
    """The same as a strategy; Hypothesis makes the draws, so that it can shorten what it finds."""
    return random_shop(draw(st.randoms(use_true_random=False)), jobs)


# ------------------------------------------------------------------------------- on disk, shorter


def toml_text(catalogue):
    """A catalogue as TOML; JSON's texts, numbers, lists and true/false are TOML's as well."""
    lines = [f"{k} = {json.dumps(v)}" for k, v in catalogue.items() if not isinstance(v, list)]
    for kind, entries in catalogue.items():
        for entry in entries if isinstance(entries, list) else []:
            lines += ["", f"[[{kind}]]"]
            lines += [f"{key} = {json.dumps(value)}" for key, value in entry.items()]
    return "\n".join(lines) + "\n"


def write_shop(shop, path):
    """A shop folder with one CSV file an import; gives [(file, covers as the importer takes it)].

    Columns that no row of a file fills are left out of the file, as in sheets that people keep.
    """
    (path / "inbox").mkdir(parents=True)
    (path / "shop.toml").write_text('format = 1\nname = "Random shop"\n', encoding="utf-8")
    (path / "catalogue.toml").write_text(toml_text(shop["catalogue"]), encoding="utf-8")
    files = []
    for number, one_import in enumerate(shop["imports"], 1):
        file = path / f"sheet{number}.csv"
        columns = list(dict.fromkeys(column for row in one_import["rows"] for column in row))
        with file.open("w", newline="", encoding="utf-8") as out:
            writer = csv.DictWriter(out, columns, restval="")
            writer.writeheader()
            writer.writerows(one_import["rows"])
        covers = one_import["covers"]
        files.append((file, covers if isinstance(covers, str) else ",".join(covers)))
    return files


def shorter(shop):
    """Shops with one import, row, cell or sighting less."""
    for n, one_import in enumerate(shop["imports"]):
        others = shop["imports"][:n], shop["imports"][n + 1 :]
        yield {**shop, "imports": [*others[0], *others[1]]}
        for rows in shorter_rows(one_import["rows"]):
            yield {**shop, "imports": [*others[0], {**one_import, "rows": rows}, *others[1]]}


def shorter_rows(rows):
    for n, row in enumerate(rows):
        yield rows[:n] + rows[n + 1 :]
        for column in row:
            yield [*rows[:n], {k: v for k, v in row.items() if k != column}, *rows[n + 1 :]]
            for mark in (">", ";"):
                parts = items(row[column], mark)
                if len(parts) > 1:
                    for m in range(len(parts)):
                        text = f" {mark} ".join(parts[:m] + parts[m + 1 :])
                        yield [*rows[:n], {**row, column: text}, *rows[n + 1 :]]


def sound(shop):
    """Every sheet has rows, every row is valid, and none tells one job in two ways."""
    for one_import in shop["imports"]:
        stories = {}
        for row in one_import["rows"]:
            if valid(shop["catalogue"], row) or ambiguous(shop["catalogue"], row):
                return False
            if stories.setdefault(identity(row), row) != row:
                return False
        if not one_import["rows"]:
            return False
    return bool(shop["imports"])


def reduced(shop, fails):
    """The shortest shop found, step by step, for which ``fails(shop)`` still holds."""
    while True:
        smaller = next((one for one in shorter(shop) if sound(one) and fails(one)), None)
        if smaller is None:
            return shop
        shop = smaller
