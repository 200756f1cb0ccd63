"""The vectors that the viewer's twins are checked with must be what Python computes now."""

import json

import pytest

from imaging.compute.maps import FrameMap
from imaging.map_errors import MapError
from tests.vectors.computed import FOLDER, VECTORS, refused_documents


def flat(value):
    """Return all leaves of a nested structure in order."""
    if isinstance(value, dict):
        value = [part for pair in value.items() for part in pair]
    if isinstance(value, list | tuple):
        return [leaf for part in value for leaf in flat(part)]
    return [value]


@pytest.mark.parametrize("name", VECTORS)
def test_kept_vectors_equal_fresh_computation(name):
    kept = flat(json.loads((FOLDER / f"{name}.json").read_text(encoding="utf-8")))
    fresh = flat(VECTORS[name]())
    assert len(kept) == len(fresh)
    for old, new in zip(kept, fresh, strict=True):
        if isinstance(new, float):
            # Another processor may round the last digits otherwise.
            assert old == pytest.approx(new, rel=1e-11, abs=1e-11)
        else:
            assert old == new


@pytest.mark.parametrize("case", refused_documents(), ids=lambda case: case["field"])
def test_a_wrong_map_document_is_refused_by_field(case):
    with pytest.raises(MapError, match=case["field"].replace("[", r"\[").replace("]", r"\]")):
        FrameMap.from_json(case["map"])
