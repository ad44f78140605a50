"""The rules of the house that no linter knows: layers, sizes, declared names, light start, and words that may not stand here."""

from __future__ import annotations

import ast
import os
import re
import subprocess
import sys
from collections.abc import Iterator
from functools import cache
from importlib import import_module
from pathlib import Path
from statistics import median
from time import perf_counter

import pytest

import plant
import scenarios
import sync

ROOMS = tuple(Path(str(room.__file__)).parent for room in (plant, sync, scenarios))
HOME = Path(__file__).resolve().parent.parent
"""The checkout, or wherever the tests have been copied to; the rooms may be installed elsewhere."""

MOST_LINES = 350
MOST_BODY = 40
MOST_ARGUMENTS = 6


def _modules() -> Iterator[tuple[str, Path]]:
    for room in ROOMS:
        for path in sorted(room.rglob("*.py")):
            parts = path.relative_to(room.parent).with_suffix("").parts
            if "starters" not in parts:
                yield ".".join(part for part in parts if part != "__init__"), path


MODULES = dict(_modules())


@cache
def _tree(name: str) -> ast.Module:
    return ast.parse(MODULES[name].read_text(encoding="utf-8"))


def _declared(name: str) -> set[str]:
    for statement in _tree(name).body:
        target = statement.targets[0] if isinstance(statement, ast.Assign) else getattr(statement, "target", None)
        if isinstance(target, ast.Name) and target.id == "__all__":
            return set(ast.literal_eval(statement.value))  # type: ignore[attr-defined]
    if MODULES[name].name == "__init__.py":
        return set()  # nothing to be had from it
    raise AssertionError(f"{name} declares no __all__")


def _functions(name: str) -> Iterator[ast.FunctionDef | ast.AsyncFunctionDef]:
    yield from (node for node in ast.walk(_tree(name)) if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef))


def _imports(name: str, at_once: bool = False) -> Iterator[tuple[str, str]]:
    """Module and name of each import from our own rooms; ``at_once``: only those that importing the module brings about."""
    for node in _tree(name).body if at_once else ast.walk(_tree(name)):
        if isinstance(node, ast.ImportFrom) and node.module and node.module.split(".")[0] in ("plant", "sync", "scenarios"):
            yield from ((node.module, alias.name) for alias in node.names)


def _in_process(code: str, *words: str) -> subprocess.CompletedProcess[str]:
    environment = dict(os.environ, PYTHONPATH=str(ROOMS[0].parent))
    return subprocess.run([sys.executable, "-c", code, *words], capture_output=True, text=True, env=environment, check=False)


def test_the_three_rooms_come_from_one_place() -> None:
    assert len({room.parent for room in ROOMS}) == 1


@pytest.mark.parametrize("name", MODULES)
def test_a_module_declares_names_that_exist_and_has_a_docstring(name: str) -> None:
    module = import_module(name)

    assert [public for public in _declared(name) if not hasattr(module, public)] == []
    assert module.__doc__


def test_modules_take_only_declared_names_from_each_other() -> None:
    taken = {
        f"{name}: {source}.{wanted}"
        for name in MODULES
        for source, wanted in _imports(name)
        if f"{source}.{wanted}" not in MODULES and wanted not in _declared(source)
    }

    assert sorted(taken) == []


def test_modules_do_not_import_each_other_in_a_circle() -> None:
    edges = {
        name: {f"{source}.{wanted}" if f"{source}.{wanted}" in MODULES else source for source, wanted in _imports(name, at_once=True)}
        for name in MODULES
    }
    left = set(edges)
    while free := {name for name in left if not edges[name] & left}:
        left -= free

    assert sorted(left) == []


def test_modules_functions_and_argument_lists_stay_small() -> None:
    long_modules = [name for name, path in MODULES.items() if len(path.read_text(encoding="utf-8").splitlines()) > MOST_LINES]
    long_functions, wide_functions = [], []
    for name in MODULES:
        for function in _functions(name):
            body = function.body[1:] if ast.get_docstring(function) else function.body
            lines = (body[-1].end_lineno or 0) - body[0].lineno + 1 if body else 0
            table = len(body) == 1 and isinstance(body[0], ast.Return)  # the fields of a record, say: long, but nothing to follow
            if lines > MOST_BODY and not table:
                long_functions.append(f"{name}.{function.name}: {lines}")
            arguments = function.args.posonlyargs + function.args.args + function.args.kwonlyargs
            if len([argument for argument in arguments if argument.arg not in ("self", "cls")]) > MOST_ARGUMENTS:
                wide_functions.append(f"{name}.{function.name}")

    assert (long_modules, long_functions, wide_functions) == ([], [], [])


def test_every_function_is_annotated() -> None:
    bare = []
    for name in MODULES:
        for function in _functions(name):
            arguments = [*function.args.posonlyargs, *function.args.args, *function.args.kwonlyargs]
            untyped = [one.arg for one in arguments if one.annotation is None and one.arg not in ("self", "cls")]
            if untyped or function.returns is None:
                bare.append(f"{name}.{function.name}")

    assert bare == []


def test_kernels_use_portable_arithmetic_only() -> None:
    """Library functions round differently from machine to machine, and compiled powers differ from Python's."""
    strange = []
    for name in MODULES:
        for function in _functions(name):
            if not any(isinstance(mark, ast.Name) and mark.id in ("kernel", "inlined") for mark in function.decorator_list):
                continue
            for node in ast.walk(function):
                if isinstance(node, ast.BinOp) and isinstance(node.op, ast.Pow):
                    strange.append(f"{name}.{function.name}: **")
                if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name):
                    word = f"{node.value.id}.{node.attr}"
                    if node.value.id in ("np", "numpy", "math") and node.attr not in ("sqrt", "floor", "uint64", "int64", "float64"):
                        strange.append(f"{name}.{function.name}: {word}")

    assert strange == []


def test_the_layers_hold() -> None:
    """import-linter, with the contracts of pyproject.toml; on its own, because it must not meet the tests' path."""
    environment = {key: value for key, value in os.environ.items() if key != "PYTHONPATH"} | {"PYTHONPATH": str(ROOMS[0].parent)}
    code = "import sys; from importlinter.cli import lint_imports; sys.exit(lint_imports(cache_dir=None))"
    done = subprocess.run([sys.executable, "-c", code], cwd=HOME, env=environment, capture_output=True, text=True, check=False)

    assert done.returncode == 0, done.stdout + done.stderr


def test_help_loads_nothing_heavy_and_answers_at_once() -> None:
    code = """
import sys
from scenarios.cli import main
try:
    main(sys.argv[1:])
finally:
    heavy = {"control", "scipy", "matplotlib", "numba", "numpy", "simpy", "pydantic"} & set(sys.modules)
    print("heavy:", *sorted(heavy))
"""
    seconds = []
    for _ in range(5):
        begin = perf_counter()
        done = _in_process(code, "--help")
        seconds.append(perf_counter() - begin)

        assert done.returncode == 0, done.stderr
        assert done.stdout.splitlines()[-1] == "heavy:"
    assert median(seconds) < 0.3


@pytest.mark.parametrize("command", ["new", "sheet", "rehearse", "signal", "tune", "campaign", "schema"])
def test_the_help_of_a_command_loads_nothing_heavy(command: str) -> None:
    code = """
import sys
from scenarios.cli import main
try:
    main(sys.argv[1:])
finally:
    print("heavy:", *sorted({"control", "scipy", "matplotlib", "numba", "pydantic"} & set(sys.modules)))
"""
    done = _in_process(code, command, "--help")

    assert done.returncode == 0, done.stderr
    assert done.stdout.splitlines()[-1] == "heavy:"


def test_figures_traces_and_limits_see_neither_machine_nor_controller() -> None:
    told = [
        f"{name}: {source}"
        for name in (
            "scenarios.limits",
            "scenarios.tracks",
            "scenarios.trace_files",
            "scenarios.figures",
            "scenarios.figures_loop",
            "scenarios.loop_data",
            "scenarios.deck_drawing",
        )
        for source, _ in _imports(name)
        if source.split(".")[0] in ("plant", "sync")
    ]

    assert told == []


def test_nothing_here_is_unfinished_or_tied_to_one_machine() -> None:
    # written in parts, so that this file does not hold them itself
    forbidden = re.compile("|".join(["TO" + "DO", "FIX" + "ME", "X" + "XX", "/" + "work/", "/tmp/" + "venv", "/" + "root/", "/ho" + "me/"]))
    files = [path for room in ROOMS for path in room.rglob("*") if path.suffix in (".py", ".html", ".css")]
    files += [path for folder in ("tests", "examples") for path in (HOME / folder).rglob("*") if path.suffix in (".py", ".toml", ".c")]
    files += [path for name in ("README.md", "DEVELOPERS.md", "pyproject.toml", ".ci/run") if (path := HOME / name).is_file()]
    found = [f"{path.name}: {match}" for path in files for match in forbidden.findall(path.read_text(encoding="utf-8"))]

    assert len(files) > len(MODULES)
    assert found == []
