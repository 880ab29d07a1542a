"""Options that several commands share say the same everywhere."""

import ast
import inspect
from importlib import import_module

import pytest
import typer

from fixstats.cli.app import app

# Days of hand-over are of another thing than days of jobs.
OWN_WORDS = {("comebacks", "since"), ("comebacks", "until")}


def options():
    """Command, option -> its declaration, of every command with a name."""
    group = typer.main.get_command(app)
    return {
        (name, option.name): option
        for name, command in group.commands.items()
        for option in command.params
    }


@pytest.mark.parametrize(
    "option", ["where", "since", "until", "confidence", "form", "out", "chart", "shop"]
)
def test_a_shared_option_has_one_help_text(option):
    shared = {
        command: (one.help, one.metavar)
        for (command, name), one in options().items()
        if name == option and (command, name) not in OWN_WORDS
        and command in ("rates", "compare", "causes", "practice", "comebacks", "costs")
    }  # fmt: skip
    assert len(shared) >= 5
    assert len(set(shared.values())) == 1


@pytest.mark.parametrize("command", ["compare", "causes", "practice", "rates", "comebacks"])
@pytest.mark.parametrize("option", ["where", "confidence"])
def test_a_shared_option_is_declared_once(command, option):
    """By its name, not written out anew: two texts would drift apart."""
    source = inspect.getsource(import_module(f"fixstats.cli.{command}"))
    (function,) = [
        node
        for node in ast.walk(ast.parse(source))
        if isinstance(node, ast.FunctionDef) and node.name == command
    ]
    (argument,) = [one for one in function.args.args if one.arg == option]
    assert isinstance(argument.annotation, ast.Name)


@pytest.mark.parametrize("command", ["compare", "causes", "practice", "rates"])
def test_a_command_can_be_read_on_one_screen(command):
    source = inspect.getsource(import_module(f"fixstats.cli.{command}"))
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.FunctionDef):
            assert node.end_lineno - node.lineno < 60, node.name
