"""The questions of ``fixstats add``, in the order in which a job is remembered."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial
from typing import TYPE_CHECKING

from fixstats.cli.ask import Asker, numbered, picked
from fixstats.errors import UsageError
from fixstats.records.bench import refuse_recorded, settle_names
from fixstats.records.cells import clean_cell, options_of
from fixstats.records.columns import sheet_columns

if TYPE_CHECKING:
    from fixstats.folder.catalogue import Factor, Repair
    from fixstats.records.bench import LastJob, Memory
    from fixstats.shop import Shop

NONE_SEEN = "n"


class Interview:
    """One job asked for; ``row`` holds the cells that are known, options given first."""

    def __init__(self, shop: Shop, memory: Memory, given: dict[str, str], asker: Asker) -> None:
        self.shop, self.memory, self.asker = shop, memory, asker
        self.catalogue = shop.folder.catalogue
        self.columns = sheet_columns(self.catalogue)
        self.row = dict(given)
        self.last: LastJob | None = None
        # what a trial drew for is never filled in from an earlier job
        self.drawn_for = ""

    def run(self) -> dict[str, str]:
        """The cells of the job; nothing of it is kept yet."""
        self._device()
        self._trial()
        retried = self._worked()
        self._first_choices(retried)
        for part in self._of("parts"):
            self._part(part)
        self._factors()
        self._failures()
        if "minutes" not in self.row:
            self._put("minutes", "minutes at the bench (Enter: not recorded)")
        return self.row

    def cell(self, name: str, question: str | None = None) -> None:
        """Ask for one column, whatever it is; Enter leaves it blank."""
        self.row.pop(name, None)
        self._put(name, question or name, known=options_of(self.catalogue, self.columns[name]))

    # ------------------------------------------------------------ what and who

    def _device(self) -> None:
        if self.memory.known("branch"):
            self._name("branch", "branch")
        if "job" not in self.row:
            self._put("job", "job number", check=self._free)
        else:
            self._free(self.row["job"])
        self._name("model", "model of the device")
        self._name("technician", "technician")
        repairs = [repair.code for repair in self.catalogue.repairs]
        question = f"repair ({numbered(repairs)}; several with ;)"
        self._put("repair", question, known=repairs, check=_filled)
        model, repair = self.row["model"], self.row["repair"]
        self.last = self.shop.last_like(model, repair, self.row.get("technician"))

    def _free(self, job: str) -> None:
        _filled(job)
        refuse_recorded(self.shop.folder, job, self.row.get("branch"))

    def _name(self, name: str, question: str, default: str = "") -> None:
        """A name of an open list; one that nobody used before is asked about."""
        kind = name.rpartition("_")[2]

        def read(text: str) -> str:
            _filled(text, optional=kind in ("technician", "supplier"))
            if not text:
                return ""
            return settle_names(self.catalogue, self.memory, {name: text}, self._is_new)[name]

        if name in self.row:
            self.row[name] = read(self.row[name])
            return
        known = self.memory.known(kind)
        answer = self.asker.ask(question, read, known=known, default=default, names=True)
        self._keep(name, answer)

    def _is_new(self, kind: str, word: str, hint: str) -> bool:
        if not self.memory.known(kind):  # the first of all: nothing that it could be a slip of
            return True
        asked = f"  the {kind} '{word}' is new here{hint} (y keeps it, n asks again)"
        return self.asker.ask(asked, _yes_or_no) == "y"

    # ------------------------------------------------------------ how it was done

    def _of(self, what: str) -> list[str]:
        """Steps, parts or factors of the job's repairs, in the order of the catalogue."""
        codes = self.row["repair"].split("; ")
        repairs: list[Repair] = [one for one in self.catalogue.repairs if one.code in codes]
        belong = {code for repair in repairs for code in getattr(repair, what)}
        if what == "steps":
            return [code for code in self.catalogue.step_codes if code in belong]
        return [one.code for one in getattr(self.catalogue, what) if one.code in belong]

    def _trial(self) -> None:
        """Ask for the next option where a trial runs; what was drawn for the job is taken over."""
        from fixstats.cli.trial_ask import ask_trial

        if "trial" in self.row:
            return
        choices = [*self._of("steps")]
        choices += [
            f"{part}_{kind}" for part in self._of("parts") for kind in ("grade", "supplier")
        ]
        found = ask_trial(self.shop, self.row, choices, self.asker)
        if found is not None:
            self.row["trial"], self.row["assigned"] = found.trial, found.assigned
            self.drawn_for = found.choice

    def _worked(self) -> list[str]:
        """The steps at which the first choice did not work, asked before the work itself."""
        steps = [step for step in self._of("steps") if step not in self.row]
        if not steps:
            return []
        self.asker.say(numbered(steps))

        def read(text: str) -> str:
            if text in ("y", "yes"):
                return ""
            if not text or text in ("n", "no"):
                raise UsageError("y if it did; else the steps where it did not, such as 1, 4")
            return " ".join(picked(text, steps))

        question = "did the first choice work at every step? (y, or the steps where it did not)"
        return self.asker.ask(question, read, known=["y", *steps]).split()

    def _first_choices(self, retried: Sequence[str]) -> None:
        steps = [step for step in self._of("steps") if step not in self.row]
        as_then = [step for step in steps if self._then(step)]
        if as_then:
            self._offer_as_then(as_then)
        for step in steps:
            if step not in self.row:
                self._method(step, retried)
        for step in retried:
            if " > " not in self.row.get(step, ""):
                self._next_tries(step)

    def _then(self, name: str) -> str:
        """What the last job had there; nothing where a trial decides."""
        if self.last is None or name == self.drawn_for:
            return ""
        return self.last.cells.get(name, "")

    def _offer_as_then(self, steps: Sequence[str]) -> None:
        if self.last is None:
            return
        self.asker.say(f"first choices of job {self.last.job}, {self.last.finished}:")
        for number, step in enumerate(steps, 1):
            self.asker.say(f"  {number:2} {step:20} {self._then(step)}")

        def read(text: str) -> str:
            return " ".join(picked(text, steps))

        question = "Enter if they were the same; else the steps where not"
        other = self.asker.ask(question, read, known=steps).split()
        self.row |= {step: self._then(step) for step in steps if step not in other}

    def _method(self, step: str, retried: Sequence[str]) -> None:
        methods = options_of(self.catalogue, self.columns[step])

        def one_only(cell: str) -> None:
            if ">" in cell and step not in retried:
                raise UsageError("its first choice worked, you said: name one method")

        question = f"{step}: first choice ({numbered(methods)}; - not done, Enter not recorded)"
        self._put(step, question, known=methods, check=one_only)

    def _next_tries(self, step: str) -> None:
        """What was tried after the first choice; the cell holds all tries in order."""
        first = self.row.get(step, "?")
        methods = options_of(self.catalogue, self.columns[step])
        question = f"{step}: after {first}, what then? (in order, > between; Enter: nothing more)"
        read = partial(clean_cell, self.catalogue, self.columns[step], listed=methods)
        then = self.asker.ask(question, read, known=methods)
        self._keep(step, f"{first} > {then}" if then else first)

    def _part(self, part: str) -> None:
        grade, supplier, lot = (f"{part}_{kind}" for kind in ("grade", "supplier", "lot"))
        if grade not in self.row:
            grades = options_of(self.catalogue, self.columns[grade])
            question = f"{part}: grade ({numbered(grades)}; > between pieces, - not fitted)"
            self._put(grade, question, known=grades, default=self._then(grade))
        if self.row.get(grade) == "-":
            return
        # the supplier of a piece of another grade is another question
        same = self.row.get(grade) == self._then(grade)
        self._name(supplier, f"{part}: supplier", self._then(supplier) if same else "")
        if lot not in self.row:
            self._put(lot, f"{part}: lot (Enter: not recorded)")

    def _factors(self) -> None:
        belong = [code for code in self._of("factors") if code not in self.row]
        factors: list[Factor] = [one for one in self.catalogue.factors if one.code in belong]
        flags = [factor.code for factor in factors if factor.kind == "flag"]
        if flags:
            self._flags(flags)
        for factor in factors:
            if factor.kind != "flag":
                values = list(factor.values)
                shown = f" ({numbered(values)})" if values else ""
                self._put(factor.code, f"{factor.label}{shown}", known=values)

    def _flags(self, flags: Sequence[str]) -> None:
        """All yes-or-no factors in one answer; none is taken for no unless it says so."""
        question = (
            f"which of these? ({numbered(flags)}; n none of them, 3? not looked at, "
            "Enter nothing recorded)"
        )

        def read(text: str) -> str:
            if text == NONE_SEEN:
                return " ".join(f"{flag}=no" for flag in flags)
            if not text:
                return ""
            words = text.replace(";", " ").replace(",", " ").split()
            unknown = picked(" ".join(word[:-1] for word in words if word[-1:] == "?"), flags)
            there = picked(" ".join(word for word in words if word[-1:] != "?"), flags)
            said = {flag: "yes" if flag in there else "no" for flag in flags}
            return " ".join(f"{flag}={said[flag]}" for flag in flags if flag not in unknown)

        answer = self.asker.ask(question, read, known=flags)
        for pair in answer.split():
            flag, _, value = pair.partition("=")
            self.row[flag] = value

    # ------------------------------------------------------------ how it went

    def _failures(self) -> None:
        modes = list(self.catalogue.modes)
        if "failures" not in self.row:
            question = f"what failed? ({NONE_SEEN} none seen; modes, ; between; / lists them)"
            self._explicit("failures", question, modes, "none seen")
        for code in self.row["failures"].split("; "):
            mode = self.catalogue.modes.get(code.partition("@")[0])
            for caution in mode.cautions if mode else ():
                self.asker.say(f"caution: {caution}")
        if "unchecked" not in self.row:
            question = f"what did nobody look for? ({NONE_SEEN} nothing; modes, families or all)"
            families = [*self.catalogue.families, "all", *modes]
            self._explicit("unchecked", question, families, "all was looked for")

    def _explicit(self, name: str, question: str, known: Sequence[str], none: str) -> None:
        """A list that is never taken for empty by an Enter that went too far."""

        def read(text: str) -> str:
            if text == NONE_SEEN:
                return "none"
            if not text:
                raise UsageError(f"{NONE_SEEN} if {none}")
            return clean_cell(self.catalogue, self.columns[name], text, known)

        labels = self.catalogue.labels
        self.row[name] = self.asker.ask(question, read, known=known, labels=labels)

    # ------------------------------------------------------------ one cell

    def _put(
        self,
        name: str,
        question: str,
        *,
        known: Sequence[str] = (),
        default: str = "",
        check: Callable[[str], None] | None = None,
    ) -> None:
        if name in self.row:
            return

        def read(text: str) -> str:
            cell = clean_cell(self.catalogue, self.columns[name], text, known)
            if check is not None:
                check(cell)
            return cell

        labels = self.catalogue.labels
        self._keep(
            name, self.asker.ask(question, read, known=known, labels=labels, default=default)
        )

    def _keep(self, name: str, cell: str) -> None:
        if cell:
            self.row[name] = cell


def _filled(text: str, *, optional: bool = False) -> None:
    if not text.strip() and not optional:
        raise UsageError("this is needed")


def _yes_or_no(text: str) -> str:
    if text[:1].lower() not in ("y", "n"):
        raise UsageError("y or n")
    return text[:1].lower()
