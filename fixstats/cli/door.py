"""The one error door: expected trouble becomes one or two lines, all else a logged fault."""

from __future__ import annotations

import sys
from collections.abc import Callable
from typing import Any

from fixstats.errors import FixstatsError

DONE, ERROR, USAGE, HELD_BACK, ALARM, STOPPED = 0, 1, 2, 3, 4, 130


def through_the_door(app: Callable[..., Any], arguments: list[str] | None = None) -> int:
    """Run the command line and return its exit code; never a traceback for a person's mistake."""
    from typer import Abort, Exit
    from typer.exceptions import TyperException

    try:
        code = int(app(args=arguments, prog_name="fixstats", standalone_mode=False) or DONE)
    except FixstatsError as trouble:
        _say(str(trouble))
        code = trouble.exit_code
    except TyperException as trouble:
        code = _usage(trouble)
    except Exit as end:
        code = end.exit_code
    except (KeyboardInterrupt, Abort) as stop:
        _say(_stopped(stop))
        code = STOPPED
    except BrokenPipeError:
        # The reader of our output (a pager, head) has closed it: not our trouble.
        sys.stderr.close()
        code = DONE
    except Exception as fault:
        code = _log(fault)
    return code


def _say(text: str) -> None:
    print(f"fixstats: {text}", file=sys.stderr)


def _stopped(stop: BaseException) -> str:
    """Whoever was writing knows what became of the records; the parser wraps its words."""
    known = str(stop.__cause__ if isinstance(stop.__cause__, KeyboardInterrupt) else stop)
    return f"stopped; {known}" if known else "stopped"


def _usage(trouble: Any) -> int:
    """Words of the parser, in our form: what, and where help is."""
    context = getattr(trouble, "ctx", None)
    command = context.command_path if context else "fixstats"
    message = trouble.format_message()
    if message:
        _say(f"{message}\nhelp: {command} --help")
    return int(trouble.exit_code)


def _log(fault: Exception) -> int:
    """A fault of ours: keep the traceback in a file and say where it is."""
    import tempfile
    import traceback
    from pathlib import Path

    text = "".join(traceback.format_exception(fault))
    with tempfile.NamedTemporaryFile(
        "w", prefix="fixstats-fault-", suffix=".txt", delete=False, encoding="utf-8"
    ) as log:
        log.write(text)
    _say(
        f"a fault in fixstats itself ({type(fault).__name__}: {fault})\n"
        f"the details are in {Path(log.name)}"
    )
    return ERROR
