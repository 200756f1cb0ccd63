"""Sizes that keep files and functions readable in one go."""

import ast
import re

from tests.architecture.sources import APPS, ROOT, Source, app_sources, committed_files, python_sources

MOST_FILE_LINES = 400
MOST_BODY_LINES = 60
MOST_PARAMETERS = 5
MOST_POSITIONAL_PARAMETERS = 2
DEEPEST_FOLDER = 3
CODE_SUFFIXES = {".py", ".ts", ".html", ".css"}
PLACE_PART = re.compile(r"(x|y|left|top|width|height|zoom|column|row|rows|columns)(_px|_mm)?")
FORBIDDEN_STEMS = {"utils", "util", "helpers", "helper", "common", "misc"}


def test_no_file_is_longer_than_400_lines():
    code = [path for path in committed_files() if path.suffix in CODE_SUFFIXES and "migrations" not in path.parts]
    lengths = {path.relative_to(ROOT).as_posix(): len(path.read_text(encoding="utf-8").splitlines()) for path in code}
    assert {name: length for name, length in lengths.items() if length > MOST_FILE_LINES} == {}


def test_no_function_body_is_longer_than_60_lines():
    assert [place for source in python_sources() for place in _long_functions(source)] == []


def test_no_function_takes_more_than_five_parameters():
    assert [place for source in app_sources() for place in _wide_functions(source)] == []


def test_public_functions_have_later_parameters_named_by_the_caller():
    assert [place for source in app_sources() for place in _positional_functions(source)] == []


def test_no_module_is_named_after_nothing():
    named = [path.relative_to(ROOT).as_posix() for path in committed_files() if path.stem.lower() in FORBIDDEN_STEMS]
    assert named == []


def test_folders_are_at_most_three_deep_inside_an_app():
    paths = [path.relative_to(ROOT) for path in committed_files()]
    deep = [path.as_posix() for path in paths if path.parts[0] in APPS and len(path.parts) - 2 > DEEPEST_FOLDER]
    assert deep == []


def _long_functions(source: Source) -> list[str]:
    return [
        f"{source.name}:{function.lineno} {function.name}: {lines} lines"
        for function in source.functions()
        if (lines := _body_lines(function)) > MOST_BODY_LINES
    ]


def _body_lines(function: ast.FunctionDef | ast.AsyncFunctionDef) -> int:
    """Count the lines of the body without its docstring, which may be long in compute."""
    body = function.body[1:] if ast.get_docstring(function) is not None else function.body
    if not body:
        return 0
    last_line = function.end_lineno or function.lineno
    return last_line - body[0].lineno + 1


def _wide_functions(source: Source) -> list[str]:
    return [
        f"{source.name}:{function.lineno} {function.name}: {count} parameters"
        for function in source.functions()
        if (count := len(_own_parameters(function)) + len(function.args.kwonlyargs)) > MOST_PARAMETERS
    ]


def _positional_functions(source: Source) -> list[str]:
    return [
        f"{source.name}:{function.lineno} {function.name}: {count} positional parameters"
        for function in source.functions()
        if not function.name.startswith("_")
        and not _is_called_by_a_framework(function)
        and not _is_compiled(function)
        and (count := _positional_count(function)) > MOST_POSITIONAL_PARAMETERS
    ]


def _own_parameters(function: ast.FunctionDef | ast.AsyncFunctionDef) -> list[ast.arg]:
    """Return what can be given by position, without self and cls."""
    given = [*function.args.posonlyargs, *function.args.args]
    return [argument for number, argument in enumerate(given) if number or argument.arg not in {"self", "cls"}]


def _positional_count(function: ast.FunctionDef | ast.AsyncFunctionDef) -> int:
    """Count what can be given by position; a place with its size, or a tile's address, is one thing."""
    names = [argument.arg for argument in _own_parameters(function)]
    parts = [name for name in names if PLACE_PART.fullmatch(name)]
    return len(names) - max(len(parts) - 1, 0)


def _is_compiled(function: ast.FunctionDef | ast.AsyncFunctionDef) -> bool:
    """Tell whether numba compiles the function: it knows no parameters that must be named."""
    return any("njit" in ast.unparse(decorator) for decorator in function.decorator_list)


def _is_called_by_a_framework(function: ast.FunctionDef | ast.AsyncFunctionDef) -> bool:
    """Tell whether somebody else fixes the order: the ASGI call, a view, a step of a migration."""
    names = [argument.arg for argument in _own_parameters(function)]
    return names[:3] == ["scope", "receive", "send"] or names[:1] in (["request"], ["apps"])
