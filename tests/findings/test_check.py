"""What the records cannot support: each gap planted in a small shop, and the conclusions by hand.

Shares and limits are this project's own; there is no published value for them.
"""

import csv
import tomllib
from datetime import date, timedelta
from types import SimpleNamespace

import duckdb
import pytest

from fixstats.engines.duck import reading
from fixstats.engines.session import build_session
from fixstats.findings.check import TOPICS, check, conclude
from fixstats.findings.twins import near_twins
from fixstats.findings.watch import watch
from fixstats.findings.watch_plan import WatchAsk
from fixstats.folder import Settings, ShopFolder, build_catalogue, make_folder
from fixstats.records.importer import import_sheets
from fixstats.resources import statement
from fixstats.shop import open_shop
from fixstats.tallies.ask import Ask
from fixstats.tallies.check_counts import CheckCounts, check_counts
from fixstats.tallies.counts import count_modes

CATALOGUE = """
format = 1
step = [{code = "opening", label = "Opening", order = 1},
        {code = "release", label = "Release", order = 2}]
method = [{step = "opening", code = "heat", label = "Heat"},
          {step = "opening", code = "cold", label = "Cold"},
          {step = "release", code = "pull", label = "Pull"},
          {step = "release", code = "pry", label = "Pry"}]
part = [{code = "battery", label = "Battery"}, {code = "display", label = "Display"}]
grade = [{code = "original", label = "Original"}, {code = "copy", label = "Copy"}]
factor = [{code = "liquid", label = "Liquid", kind = "flag"},
          {code = "casing", label = "Casing", kind = "category", values = ["metal", "glass"]}]
repair = [{code = "swap", label = "Swap", steps = ["opening", "release"], parts = ["battery"], \
           factors = ["liquid"]},
          {code = "look", label = "Look", steps = ["opening"], factors = ["casing"]}]
failure_mode = [
  {code = "torn", label = "Torn", family = "broken_tabs", severity = 2, steps = ["release"], \
   methods = ["pull"]},
  {code = "lines", label = "Lines", family = "display_damage", severity = 3, steps = ["opening"]},
  {code = "refused", label = "Refused", family = "calibration_failures", severity = 2, \
   steps = ["release"]},
  {code = "clash", label = "Clash", family = "mixed_part_conflicts", severity = 3, \
   mixed = ["battery", "display"]},
  {code = "pierced", label = "Pierced", family = "cell_damage", severity = 5, safety = true, \
   cautions = ["Stop."], steps = ["release"]},
  {code = "dead", label = "Dead", family = "part_failure", severity = 2, part = "any"},
]
"""
START = date(2026, 1, 5)


def job(number, **cells):
    plain = {
        "job": f"J{number}",
        "finished": str(START + timedelta(days=number % 20)),
        "model": "Alder 5",
        "repair": "swap",
        "technician": "T1",
        "minutes": str(20 + number),
        "opening": "heat",
        "release": "pry",
        "battery_grade": "original",
        "liquid": "no",
        "failures": "",
    }
    return plain | cells


def shop(path, rows, covers="all"):
    catalogue = path / "catalogue_to_copy.toml"
    path.mkdir(exist_ok=True)
    catalogue.write_text(CATALOGUE)
    folder = make_folder(path / "shop", Settings(name="Small"), catalogue)
    take_in(folder, rows, covers)
    return folder


def take_in(folder, rows, covers="all", name="sheet.csv"):
    sheet = folder.path / name
    with sheet.open("w", newline="") as out:
        heads = list(dict.fromkeys(head for row in rows for head in row))
        writer = csv.DictWriter(out, heads)
        writer.writeheader()
        writer.writerows(rows)
    return import_sheets(folder, [sheet], covers=covers)


def checked(folder):
    with reading(folder.database) as con:
        build_session(con, folder.catalogue)
        return check(con, folder)


def rows_of(finding, topic):
    return {row["what"]: row for row in finding.rows if row["topic"] == topic}


@pytest.fixture(scope="module")
def gaps(tmp_path_factory):
    """Forty jobs with one gap of each kind; a second sheet that covers one mode only."""
    rows = [job(n) for n in range(1, 41)]
    for row in rows[:10]:
        row |= {"release": "", "battery_grade": ""}
    for row in rows[:6]:
        row["unchecked"] = "lines"
    for row in rows[10:14]:
        row |= {"opening": "heat > cold", "failures": "lines"}
    rows[14] |= {"opening": "heat > cold", "failures": "lines@2"}
    rows[15] |= {"opening": "cold", "failures": "lines", "preexisting": "refused"}
    for row in rows[16:22]:
        row["model"] = "Aldr 5"
    rows[22]["model"] = "Alder 6"
    for row in rows[:5]:
        row["battery_supplier"] = "Reed"
    rows[30]["liquid"] = ""
    rows.append(job(41) | {"repair": "look", "release": "", "battery_grade": "", "liquid": ""})
    rows.append(rows[5] | {"job": "copy of it"})
    folder = shop(tmp_path_factory.mktemp("gaps"), rows)
    take_in(folder, [job(n, release="pull") for n in range(101, 111)], "torn", "second.csv")
    take_in(folder, [job(200, opening="warm", minutes="-5")], "all", "third.csv")
    return folder


@pytest.fixture(scope="module")
def found(gaps):
    return checked(gaps)


def test_unknown_modes_add_up_and_say_why(found):
    unknown = rows_of(found, "unknown_mode")
    # ten jobs of the second sheet and, of the first, six unchecked and a copy of one of those
    assert unknown["lines"]["units"] == 17
    assert unknown["lines"]["of"] == 52
    assert "10 not covered by their sheet and 7 marked unchecked" in unknown["lines"]["advice"]
    assert "torn" not in unknown
    # one pre-existing job is no unit
    assert (unknown["refused"]["units"], unknown["refused"]["of"]) == (10, 50)


def test_unknown_units_are_those_of_the_rates(gaps):
    with reading(gaps.database) as con:
        build_session(con, gaps.catalogue)
        counts = count_modes(con, gaps.catalogue, Ask(tuple(gaps.catalogue.modes)))
        own = {row["mode"]: row for row in check_counts(con).unknown}
    for mode, unknown, fine in zip(
        counts.columns["mode"],
        counts.columns["unknown"],
        counts.columns["opportunities"],
        strict=True,
    ):
        why = [own[mode][name] for name in ("not_covered", "missing", "unchecked", "unclear")]
        assert (sum(why), own[mode]["units"]) == (unknown, unknown + fine), mode


def test_safety_modes_come_first(found):
    modes = [row["what"] for row in found.rows if row["topic"] == "unknown_mode"]
    assert modes[0] == "pierced"


def test_sightings_without_an_attempt(found):
    row = rows_of(found, "unattributed")["lines"]
    assert (row["units"], row["of"], row["unit"]) == (4, 6, "job")
    assert "mode@2" in row["advice"]


def test_blank_steps_and_grades(found):
    # the copied job is blank too; of the repair "look" the step is no part
    step = rows_of(found, "blank_step")["release"]
    assert (step["units"], step["of"]) == (11, 51)
    assert "opening" not in rows_of(found, "blank_step")
    grade = rows_of(found, "blank_grade")["battery"]
    assert (grade["units"], grade["of"], grade["unit"]) == (11, 51, "piece")


def test_columns_filled_in_on_few(found):
    rare = rows_of(found, "rarely_filled")
    assert (rare["battery_supplier"]["units"], rare["battery_supplier"]["of"]) == (46, 51)
    assert "filled in on 5 of 51" in rare["battery_supplier"]["advice"]
    # a factor counts on the jobs whose repair has it
    assert (rare["casing"]["units"], rare["casing"]["of"]) == (1, 1)
    assert "liquid" not in rare
    assert "price" not in rare
    note = next(note for note in found.notes if note.code == "never_filled")
    assert "price" in note.text
    assert "technician" not in note.text


def test_near_twins_with_lines_to_paste(found):
    twins = rows_of(found, "near_twin")
    assert list(twins) == ["Aldr 5"]
    assert (twins["Aldr 5"]["units"], "Alder 5" in twins["Aldr 5"]["advice"]) == (6, True)
    alias = tomllib.loads(twins["Aldr 5"]["paste"])["alias"]
    assert alias == [{"kind": "model", "is": "Alder 5", "also": ["Aldr 5"]}]


def test_an_alias_ends_the_twin(gaps, tmp_path):
    paste = rows_of(checked(gaps), "near_twin")["Aldr 5"]["paste"]
    folder = with_catalogue(gaps, tmp_path, CATALOGUE + paste)
    assert rows_of(checked(folder), "near_twin") == {}


def test_copies(found):
    (row,) = rows_of(found, "copies").values()
    assert row["what"] == "1 set of jobs"
    assert (row["units"], row["of"]) == (1, 52)
    assert "J6 and copy of it" in row["advice"]


def test_rows_waiting_outside(found):
    # two faults in one row are one row
    row = rows_of(found, "held_back")["third.csv"]
    assert (row["units"], row["of"], row["unit"]) == (1, 1, "row")


def test_rows_are_alike_and_the_gravest_come_first(found):
    keys = {"topic", "what", "unit", "units", "of", "share", "advice", "paste"}
    assert all(set(row) == keys for row in found.rows)
    places = [TOPICS.index(row["topic"]) for row in found.rows]
    assert places == sorted(places)
    assert all(0 <= row["share"] <= 1 for row in found.rows)


def with_catalogue(gaps, tmp_path, text):
    (tmp_path / "shop.toml").write_bytes((gaps.path / "shop.toml").read_bytes())
    (tmp_path / "shop.duckdb").write_bytes(gaps.database.read_bytes())
    (tmp_path / "catalogue.toml").write_text(text)
    return ShopFolder(tmp_path)


def test_codes_that_left_the_catalogue(gaps, tmp_path):
    text = CATALOGUE.replace('code = "lines"', 'code = "stripes"').replace('"cold"', '"chilled"')
    text = text.replace('"original"', '"genuine"').replace('"liquid"', '"damp"')
    text = text.replace('{code = "look"', '{code = "glance"')
    gone = rows_of(checked(with_catalogue(gaps, tmp_path, text)), "gone_code")
    # "lines" was seen on six jobs, unchecked on six others and on the copy of one
    jobs = {code: row["units"] for code, row in gone.items()}
    assert jobs == {"lines": 13, "opening cold": 6, "original": 40, "liquid": 50, "look": 1}
    assert "this failure mode" in gone["lines"]["advice"]


def test_nothing_is_said_of_an_empty_shop(tmp_path):
    catalogue = build_catalogue(tomllib.loads(CATALOGUE), tmp_path)
    con = duckdb.connect(":memory:")
    con.execute(statement("schema"))
    build_session(con, catalogue)
    folder = SimpleNamespace(catalogue=catalogue, settings=Settings(name="New"))
    finding = check(con, folder)
    con.close()
    assert finding.rows == ()
    assert [note.code for note in finding.notes] == ["no_records"]


# ------------------------------------------------------------------------------- conclusions


def counts(**given):
    names = CheckCounts.__dataclass_fields__
    return CheckCounts(**{name: given.get(name, []) for name in names})


def concluded(as_of=date(2026, 6, 10), jobs=500, **given):
    catalogue = SimpleNamespace(modes={})
    return conclude(counts(**given), catalogue, SimpleNamespace(jobs=jobs, as_of=as_of))


def months(**jobs):
    return [{"month": name.replace("m", "2026-"), "jobs": number} for name, number in jobs.items()]


def test_runs_of_months_and_the_open_one():
    rows = concluded(months=months(m01=30, m02=5, m03=19, m06=2, m05=20))
    assert [(row["topic"], row["what"], row["units"]) for row in rows] == [
        ("no_jobs", "2026-04", 0),
        ("few_jobs", "2026-02 to 2026-03", 24),
    ]


def test_a_month_that_is_over_counts():
    rows = concluded(as_of=date(2026, 6, 30), months=months(m05=20, m06=2))
    assert [row["what"] for row in rows] == ["2026-06"]


def test_a_year_turns():
    rows = concluded(months=[{"month": "2025-11", "jobs": 30}, {"month": "2026-02", "jobs": 30}])
    assert [row["what"] for row in rows] == ["2025-12 to 2026-01"]


@pytest.mark.parametrize(("blank", "said"), [(10, False), (11, True)])
def test_more_than_a_tenth_is_said(blank, said):
    row = {"kind": "step", "place": "opening", "blank": blank, "units": 100}
    assert bool(concluded(blank=[row])) == said


@pytest.mark.parametrize(("filled", "said"), [(20, False), (19, True)])
def test_less_than_a_fifth_is_said(filled, said):
    row = {"kind": "column", "name": "price", "unit": "job", "filled": filled, "units": 100}
    assert bool(concluded(filled=[row])) == said


def test_a_technician_never_written_down_is_said():
    row = {"kind": "column", "name": "technician", "unit": "job", "filled": 0, "units": 100}
    assert "technicians" in concluded(filled=[row])[0]["advice"]


def test_the_alias_is_toml_whatever_the_name():
    name = 'Alder "5" \\ é'
    rows = [{"kind": "lot", "name": word, "jobs": n} for n, word in ((9, name), (1, name.upper()))]
    (row,) = concluded(names=rows)
    assert tomllib.loads(row["paste"])["alias"][0]["is"] == name


# ------------------------------------------------------------------------------------- twins


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("Quillon Q5", "Quilon Q5"),
        ("Quillon Q5", "QuillonQ5"),
        ("Quillon Q5", "quillon-q5"),
        ("Harbour bench", "Harbor bench"),
        ("Corvo Supply", "Corov Supply"),
        ("Lot 007", "Lot 7"),
        ("Café Nord", "Cafe Nord"),
        ("Brask One", "Brask One."),
    ],
)
def test_likely_one_thing(one, other):
    assert near_twins({one: 9, other: 2}) == [(other, one)]
    assert near_twins({one: 2, other: 9}) == [(one, other)]


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("X2", "X3"),
        ("Quillon Q5", "Quillon Q6"),
        ("Quillon Q5", "Quillon Q5 Pro"),
        ("CV-2603", "CV-2604"),
        ("LT-1", "LT-11"),
        ("T1", "T2"),
        ("AB", "AC"),
        ("Model A", "Model B"),
        ("Ann", "Anna"),
        ("PM-2503", "PN-2503"),
        ("Alder", "Birch"),
        ("+", "-"),
    ],
)
def test_likely_two_things(one, other):
    assert near_twins({one: 9, other: 2}) == []


def test_every_twin_points_at_a_name_that_stays():
    found = near_twins({"Alder": 9, "Aldr": 5, "Aldrr": 3, "Alders": 2, "Birch": 1})
    assert {like for _, like in found}.isdisjoint(name for name, _ in found)
    assert ("Aldr", "Alder") in found
    assert ("Alders", "Alder") in found


def test_many_names_take_no_pairs():
    names = {f"LT-{number:06}": 1 for number in range(20_000)}
    assert near_twins(names | {"LT 000005": 9}) == [("LT-000005", "LT 000005")]


def test_what_was_watched_before_changes_nothing(demo_shop):
    """A report asks both in one session; watching narrows views to its own jobs meanwhile."""
    shop = open_shop(demo_shop)
    with shop.session() as con:
        before = check(con, shop.folder)
        watched = watch(con, shop.folder, WatchAsk())
        assert check(con, shop.folder) == before
        assert watch(con, shop.folder, WatchAsk()) == watched
