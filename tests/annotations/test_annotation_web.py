"""The addresses of annotations on the web: pages for people, Web Annotations for programs, the container of a face.

Headers and status codes: Web Annotation Protocol, W3C Recommendation 23 February 2017, sections 3 and 4 (reading).
"""

from __future__ import annotations

import json

import numpy as np
import pytest
import shapely

from annotations.interop.agents import Agent
from annotations.interop.svg_shape import shape_from_svg
from annotations.interop.web_annotation import import_annotation
from annotations.services import listing
from imaging.compute.maps import FrameMap
from imaging.services.tokens import make_api_token
from tests import factories
from tests.standards.web_annotation_rules import faults_of

JSON_LD = "application/ld+json"
PROFILE = 'application/ld+json; profile="http://www.w3.org/ns/anno.jsonld"'
BROWSER = "text/html,application/xhtml+xml,application/xml;q=0.9,*/*;q=0.8"


@pytest.fixture
def annotation(scene):
    return factories.make_annotation(
        scene.face,
        scene.people["author"],
        image=scene.image,
        observation="a *dark* line <script>alert(1)</script>",
        interpretation="the boards moved",
        certainty="probable",
        certainty_reason="both sides show it",
        subject="crack",
    )


def get(scene, address, *, who="reader", accept=JSON_LD, **headers):
    names = {name.replace("_", "-"): value for name, value in headers.items()}
    return scene.client(who).get(address, headers={"Accept": accept, **names})


def test_the_document_is_sound_and_says_what_the_author_said(scene, annotation):
    document = get(scene, f"/annotations/{annotation.pk}").json()
    assert faults_of(document) == []
    said = import_annotation(document)
    assert (said.text_for("describing"), said.text_for("commenting")) == (
        annotation.observation,
        "the boards moved",
    )
    assert said.creator == Agent("Tomaso Brenzi", iri="https://orcid.org/0000-0002-1825-0097")
    assert (said.number, said.title, said.motivation) == ("A1", "Crack along the join", "describing")


def test_each_target_puts_the_shape_on_the_same_place(scene):
    """Millimetres, carried through the map that another reader has from the API, meet the SVG within a pixel."""
    tilted = FrameMap(
        np.array([[19.5, 0.4, 700.0], [-0.3, 20.2, 400.0], [2e-5, 1e-5, 1.0]]), image_size_px=(14000, 10500)
    )
    image = factories.make_image(scene.face, scene.people["lead"], modality="IRR")
    frame = scene.face.frames.get()
    factories.make_registration(image, frame, map=tilted.to_json())
    annotation = factories.make_annotation(scene.face, scene.people["author"], image=image)
    document = get(scene, f"/annotations/{annotation.pk}").json()
    maps = {
        f"/frames/{frame.pk}": lambda places: places / frame.canvas_pitch_mm,
        f"/images/{image.pk}/": tilted.px_from_mm,
    }
    assert len(document["target"]) == 2
    for target in document["target"]:
        box, svg, _fragment = target["selector"]
        project = next(project for path, project in maps.items() if target["source"].endswith(path))
        shape_px = shape_from_svg(svg["value"])
        truth_px = shapely.transform(shapely.LineString([(10.0, 20.0), (13.0, 24.0)]), project)
        assert shapely.hausdorff_distance(shape_px, truth_px) < 0.01
        left, top, width, height = (int(number) for number in box["value"].removeprefix("xywh=").split(","))
        assert shapely.box(left, top, left + width, top + height).covers(shape_px)
        assert target["state"]["sourceDate"] == "2022-02-14T00:00:00Z"
        assert str(annotation.drawn_on_registration_id) in target["state"]["cached"]


def test_a_shape_beyond_the_canvas_has_no_box_there_but_keeps_its_millimetres(scene):
    beyond = factories.make_annotation(scene.face, scene.people["author"], shape_mm=shapely.Point(-5.0, 20.0))
    document = get(scene, f"/annotations/{beyond.pk}").json()
    assert [selector["type"] for selector in document["target"]["selector"]] == ["SvgSelector", "FragmentSelector"]
    assert faults_of(document) == []


@pytest.mark.parametrize(
    ("accept", "content_type"),
    [
        (JSON_LD, PROFILE),
        (PROFILE, PROFILE),
        ("application/json", "application/json"),
        ("*/*", PROFILE),
        (BROWSER, "text/html; charset=utf-8"),
        ("text/html", "text/html; charset=utf-8"),
        ("text/html;q=0.4, application/ld+json", PROFILE),
    ],
)
def test_people_get_a_page_and_programs_a_document(scene, annotation, accept, content_type):
    response = get(scene, f"/annotations/{annotation.pk}", accept=accept)
    assert (response.status_code, response["Content-Type"]) == (200, content_type)
    assert "Accept" in response["Vary"]
    assert '<http://www.w3.org/ns/ldp#Resource>; rel="type"' in response["Link"]


def test_other_forms_are_not_offered(scene, annotation):
    assert get(scene, f"/annotations/{annotation.pk}", accept="text/turtle").status_code == 406


def test_the_page_shows_what_was_said_and_runs_nothing(scene, annotation):
    scene.client("author").patch(
        f"/api/v1/annotations/{annotation.pk}", {"title": "Split"}, format="json", headers={"If-Match": '"1"'}
    )
    page = get(scene, f"/annotations/{annotation.pk}", accept=BROWSER).content.decode()
    for shown in (
        "A1",
        "Split",
        "a <em>dark</em> line",
        "the boards moved",
        "probable",
        "5.00 ± 0.24 mm",
        "LINESTRING (10 20, 13 24)",
        "registration 1",
        "<del>Crack along the join</del>",
        "Tomaso Brenzi",
        "/examine/?x=11.500&amp;y=22.000&amp;mm-per-px=0.055556&amp;b=",
    ):
        assert shown in page
    assert "<script>alert" not in page


def test_a_document_is_sent_again_only_when_it_changed(scene, annotation):
    address = f"/annotations/{annotation.pk}"
    tag = get(scene, address)["ETag"]
    same = get(scene, address, If_None_Match=tag)
    assert (same.status_code, same.content, same["ETag"]) == (304, b"", tag)
    scene.client("author").patch(f"/api/v1{address}", {"title": "Split"}, format="json", headers={"If-Match": '"1"'})
    assert get(scene, address, If_None_Match=tag).status_code == 200


@pytest.mark.parametrize("who", ["outsider", "stranger"])
@pytest.mark.parametrize("accept", [JSON_LD, BROWSER])
def test_what_is_not_open_looks_absent(scene, annotation, who, accept):
    response = get(scene, f"/annotations/{annotation.pk}", who=who, accept=accept)
    assert response.status_code == 404
    assert "boards" not in response.content.decode()


@pytest.mark.parametrize("accept", [JSON_LD, BROWSER])
def test_a_withdrawn_annotation_leaves_a_tombstone(scene, annotation, accept):
    scene.client("author").delete(f"/api/v1/annotations/{annotation.pk}", headers={"If-Match": '"1"'})
    response = get(scene, f"/annotations/{annotation.pk}", accept=accept)
    assert response.status_code == 410
    assert "A1 was withdrawn by Tomaso Brenzi" in response.content.decode()
    assert container(scene).json()["total"] == 0


@pytest.mark.parametrize("address", ["/annotations/{annotation}", "/faces/{face}/annotations/"])
@pytest.mark.parametrize("method", ["post", "put", "patch", "delete"])
def test_these_addresses_are_for_reading(scene, annotation, address, method):
    path = address.format(annotation=annotation.pk, face=scene.face.pk)
    response = getattr(scene.client("author"), method)(path, {}, format="json")
    assert (response.status_code, response["Allow"]) == (405, "GET, HEAD, OPTIONS")


@pytest.mark.parametrize("address", ["/annotations/{annotation}", "/faces/{face}/annotations/"])
def test_a_browser_of_another_origin_may_ask_without_signing_in(scene, annotation, address):
    response = scene.client("stranger").options(address.format(annotation=annotation.pk, face=scene.face.pk))
    assert (response.status_code, response["Access-Control-Allow-Origin"]) == (200, "*")
    assert "ETag" in response["Access-Control-Expose-Headers"]


def container(scene, query="", **headers):
    return get(scene, f"/faces/{scene.face.pk}/annotations/{query}", **headers)


def test_the_container_names_its_kind_and_its_rules(scene, annotation):
    response = container(scene)
    assert '<http://www.w3.org/ns/ldp#BasicContainer>; rel="type"' in response["Link"]
    assert (
        '<http://www.w3.org/TR/annotation-protocol/>; rel="http://www.w3.org/ns/ldp#constrainedBy"' in response["Link"]
    )
    assert {"Accept", "Prefer"} <= set(response["Vary"].split(", "))
    assert response["Allow"] == "GET, HEAD, OPTIONS"
    assert response["Content-Location"] == response.json()["id"]
    assert response["ETag"]


def test_the_container_embeds_full_annotations_unless_asked_otherwise(scene, annotation):
    body = container(scene).json()
    assert body["type"] == ["BasicContainer", "AnnotationCollection"]
    assert body["total"] == 1
    item = body["first"]["items"][0]
    assert faults_of({"@context": "http://www.w3.org/ns/anno.jsonld", **item}) == []
    by_header = container(
        scene, Prefer='return=representation;include="http://www.w3.org/ns/oa#PreferContainedIRIs"'
    ).json()
    by_address = container(scene, "?iris=1").json()
    assert by_header == by_address
    assert by_header["first"]["items"] == [item["id"]]


def test_a_minimal_container_holds_no_annotations(scene, annotation):
    minimal = 'return=representation;include="http://www.w3.org/ns/ldp#PreferMinimalContainer"'
    assert isinstance(container(scene, Prefer=minimal).json()["first"], str)


def test_walking_the_pages_meets_each_annotation_once(scene, monkeypatch):
    monkeypatch.setattr(listing, "PAGE_SIZE", 2)
    made = [factories.make_annotation(scene.face, scene.people["author"]) for _turn in range(5)]
    met, page = [], container(scene, "?iris=1").json()["first"]
    while page:
        met += page["items"]
        query = page.get("next", "").rpartition("/")[2]
        page = container(scene, query).json() if query else None
    assert [address.rpartition("/")[2] for address in met] == [str(annotation.pk) for annotation in made]


def test_an_empty_container_has_no_page(scene):
    body = container(scene).json()
    assert (body["total"], "first" in body) == (0, False)
    assert container(scene, "?page=0").status_code == 404


@pytest.mark.parametrize("page", ["7", "-1", "x", "9" * 30])
def test_a_page_that_is_not_there_is_not_found(scene, annotation, page):
    assert container(scene, f"?page={page}").status_code == 404


def test_the_container_counts_only_what_the_reader_may_see(scene, annotation):
    factories.make_annotation(scene.face, scene.people["lead"], image=scene.closed_image, observation="secret")
    response = container(scene)
    assert response.json()["total"] == 1
    assert "secret" not in response.content.decode()
    assert container(scene, who="lead").json()["total"] == 2
    assert container(scene, who="stranger").status_code == 404


@pytest.mark.parametrize(("address", "words"), [("/ns/physical-mm/1", "mm=POLYGON"), ("/ns/certainty/1", "#probable")])
def test_own_terms_are_described_at_their_address(api, address, words):
    response = api.get(address)
    assert (response.status_code, response["Content-Type"]) == (200, "text/plain; charset=utf-8")
    assert words in response.content.decode()


def test_a_token_opens_the_document_as_a_session_does(scene, annotation, api):
    _token, secret = make_api_token(scene.people["reader"])
    api.credentials(HTTP_AUTHORIZATION=f"Bearer {secret}")
    response = api.get(f"/annotations/{annotation.pk}", headers={"Accept": JSON_LD})
    assert json.loads(response.content)["type"] == "Annotation"


@pytest.mark.parametrize("address", ["/annotations/{annotation}", "/faces/{face}/annotations/"])
def test_heads_are_those_of_the_document(scene, annotation, address):
    path = address.format(annotation=annotation.pk, face=scene.face.pk)
    client = scene.client("reader")
    whole, head = (ask(path, headers={"Accept": JSON_LD}) for ask in (client.get, client.head))
    assert {name: head[name] for name in ("ETag", "Link", "Vary", "Content-Type")} == {
        name: whole[name] for name in ("ETag", "Link", "Vary", "Content-Type")
    }
