"""Public is what has no leading underscore, and `__all__` lists exactly that."""

import ast

import pytest

from tests.architecture.sources import Source, app_sources

# Modules whose names are fixed by Django, which reads them by convention.
READ_BY_DJANGO = {"apps.py", "settings.py", "wsgi.py"}


def test_all_lists_exactly_the_public_names():
    wrong = {}
    for source in app_sources():
        if source.path.name in READ_BY_DJANGO or source.path.name == "__init__.py":
            continue
        public, listed = _public_names(source), _listed_names(source)
        if (public or listed) and (listed is None or set(listed) != public):
            wrong[source.name] = sorted(public.symmetric_difference(listed or []))
    assert wrong == {}


def test_all_of_a_package_lists_what_it_imports():
    wrong = {}
    for source in app_sources():
        if source.path.name == "__init__.py" and (listed := _listed_names(source)) is not None:
            imported = {alias.asname or alias.name for node in source.tree.body for alias in _imported(node)}
            own = _public_names(source)
            if set(listed) != {name for name in imported | own if not name.startswith("_")} - {"annotations"}:
                wrong[source.name] = sorted(set(listed).symmetric_difference(imported | own))
    assert wrong == {}


@pytest.mark.parametrize(
    ("text", "public"),
    [("def a(): ...\n_B = 1\nC = 2", {"a", "C"}), ("import os", set()), ("A, (B, _C) = x", {"A", "B"})],
)
def test_public_names_are_found(text, public):
    source = Source(app_sources()[0].path, text, ast.parse(text))
    assert _public_names(source) == public


def _public_names(source: Source) -> set[str]:
    """Return functions, classes and constants; a logger or a type variable is nobody else's business."""
    names: set[str] = set()
    for node in source.tree.body:
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef):
            names.add(node.name)
        elif isinstance(node, ast.Assign):
            names |= {name for target in node.targets for name in _assigned(target)}
        elif isinstance(node, ast.AnnAssign) and isinstance(node.target, ast.Name):
            names.add(node.target.id)
    return {name for name in names if not name.startswith("_")} - {"logger"}


def _assigned(target: ast.expr) -> set[str]:
    """Return the names one side of an assignment gives, also those of `A, B = 1, 2`."""
    if isinstance(target, ast.Tuple):
        return {name for element in target.elts for name in _assigned(element)}
    return {target.id} if isinstance(target, ast.Name) else set()


def _listed_names(source: Source) -> list[str] | None:
    for node in source.tree.body:
        if isinstance(node, ast.Assign) and [ast.unparse(target) for target in node.targets] == ["__all__"]:
            listed = ast.literal_eval(node.value)
            return [str(name) for name in listed]
    return None


def _imported(node: ast.stmt) -> list[ast.alias]:
    return node.names if isinstance(node, ast.ImportFrom | ast.Import) else []
