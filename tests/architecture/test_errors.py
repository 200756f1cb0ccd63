"""Every error a person can meet has a code of its own and a status chosen for it."""

import ast
from collections import Counter

import pytest

from annotations import errors as annotation_errors
from frontend.error_responses import STATUS_OF, status_of
from imaging import errors as imaging_errors
from tests.architecture.sources import app_sources

BASES = (imaging_errors.ImagingError, annotation_errors.AnnotationError)
EXCEPTION_NAMES = {"Exception", "ValueError", "RuntimeError", "OSError", "ImagingError", "AnnotationError"}


def all_errors():
    found, waiting = [], list(BASES)
    while waiting:
        kind = waiting.pop()
        below = kind.__subclasses__()
        waiting += below
        found += below
    return found


def test_no_error_falls_back_to_the_status_of_everything():
    unlisted = [
        kind.__name__ for kind in all_errors() if next(base for base in kind.__mro__ if base in STATUS_OF) in BASES
    ]
    assert unlisted == []


def test_the_codes_of_errors_differ():
    counted = Counter(kind.code for kind in all_errors() if "code" in vars(kind))
    assert {code: count for code, count in counted.items() if count > 1} == {}


def test_every_error_that_is_raised_has_a_code_of_its_own():
    leaves = [kind for kind in all_errors() if not kind.__subclasses__()]
    assert [kind.__name__ for kind in leaves if "code" not in vars(kind)] == []


def test_errors_are_written_in_modules_of_errors():
    elsewhere = [
        f"{source.name}: {node.name}"
        for source in app_sources()
        if source.app in {"imaging", "annotations"} and not source.path.stem.endswith("errors")
        for node in source.tree.body
        if isinstance(node, ast.ClassDef) and {ast.unparse(base) for base in node.bases} & EXCEPTION_NAMES
    ]
    assert elsewhere == []


@pytest.mark.parametrize("base", BASES)
def test_an_error_without_a_line_of_its_own_still_has_a_status(base):
    kind = type("UnlistedError", (base,), {"code": "unlisted", "__init__": Exception.__init__})
    try:
        assert 400 <= status_of(kind()) < 500
    finally:
        del kind
