"""Annotations through the API: who sees, draws, changes and withdraws them, and what happens when two do."""

from __future__ import annotations

import json

import pytest

from annotations.models import Annotation
from tests import factories

URL = "/api/v1/annotations/"
LINE = {"type": "LineString", "coordinates": [[10.0, 20.0], [13.0, 24.0]]}
AREA = {"type": "Polygon", "coordinates": [[[0, 0], [10, 0], [10, 10], [0, 10], [0, 0]]]}


def draw(scene, who, **fields):
    body = {"face": str(scene.face.pk), "geometry": LINE, "drawn_on_image": str(scene.image.pk), **fields}
    return scene.client(who).post(URL, body, format="json")


@pytest.fixture
def annotation(scene) -> Annotation:
    return factories.make_annotation(scene.face, scene.people["author"], image=scene.image)


@pytest.mark.parametrize(
    ("who", "status"),
    [
        ("lead", 201),
        ("author", 201),
        ("commenter", 403),
        ("reader", 403),
        ("guest", 403),
        ("outsider", 404),
        ("stranger", 404),
    ],
)
def test_contributors_draw_and_others_do_not(scene, who, status):
    response = draw(scene, who)
    assert response.status_code == status
    assert Annotation.objects.count() == (1 if status == 201 else 0)


def test_a_new_annotation_says_where_it_was_drawn_and_on_what(scene):
    response = draw(scene, "author", observation="a dark line", certainty="probable", subject="crack")
    body = response.json()
    assert body["geometry"] == LINE
    assert (body["key"], body["revision"], body["certainty"], body["subject"]) == ("A1", 1, "probable", "crack")
    assert (body["frame_version"], body["drawn_on_registration_version"]) == (1, 1)
    assert body["author"] == {"id": str(scene.people["author"].pk), "name": "Tomaso Brenzi"}
    assert response["ETag"] == '"1"'
    assert response["Location"] == body["url"]
    assert body["url"].endswith(f"/annotations/{body['id']}")


def test_a_length_comes_with_its_uncertainty(scene):
    """Check value C6a: u = sqrt(2 (p^2 / 12 + s^2)), here with p = 0.08 mm, s = 1 px and a scale of 0.1 %."""
    measured = draw(scene, "author").json()["measurements"]
    assert measured["length_mm"] == pytest.approx(5.0)
    expected_mm = 2 * (2 * 0.08**2 * (1 / 12 + 1) + (0.001 * 5.0) ** 2) ** 0.5
    assert measured["uncertainty_mm"] == pytest.approx(expected_mm)
    assert measured["sentence"] == "5.00 ± 0.24 mm (k = 2)"
    assert measured["can_resolve"] is True


def test_what_three_pixels_do_not_resolve_is_no_number(scene):
    short = {"type": "LineString", "coordinates": [[10.0, 20.0], [10.2, 20.0]]}
    measured = draw(scene, "author", geometry=short).json()["measurements"]
    assert (measured["length_mm"], measured["can_resolve"]) == (None, False)
    assert measured["resolvable_mm"] == pytest.approx(0.24)
    assert "Cannot resolve" in measured["sentence"]


def test_an_area_and_a_count_are_measured(scene):
    assert draw(scene, "author", geometry=AREA).json()["measurements"]["area_mm2"] == pytest.approx(100.0)
    holes = {"type": "MultiPoint", "coordinates": [[1, 2], [3, 4], [5, 6]]}
    assert draw(scene, "author", geometry=holes).json()["measurements"]["count"] == 3


def test_numbers_of_a_face_run_on_and_are_never_given_twice(scene):
    keys = [draw(scene, "author").json()["key"] for _turn in range(2)]
    last = Annotation.objects.get(number=2)
    scene.client("author").delete(f"{URL}{last.pk}", headers={"If-Match": '"1"'})
    assert [*keys, draw(scene, "lead").json()["key"]] == ["A1", "A2", "A3"]


@pytest.mark.parametrize(
    ("fields", "code"),
    [
        (
            {"geometry": {"type": "Polygon", "coordinates": [[[0, 0], [9, 9], [9, 0], [0, 9], [0, 0]]]}},
            "invalid_geometry",
        ),
        ({"geometry": {"type": "Circle", "coordinates": [0, 0]}}, "geometry_format"),
        ({"geometry": {"type": "Point", "coordinates": [5e6, 0]}}, "out_of_bounds_geometry"),
        ({"certainty": "quite"}, "fields_refused"),
        ({"subject": "Crack!"}, "field_refused"),
        ({"text_language": "British English"}, "field_refused"),
        ({"face": "not-an-id"}, "fields_refused"),
        ({"title": "x" * 201}, "fields_refused"),
        ({"observations": "a dark line"}, "fields_refused"),
        ({"geometry": None}, "fields_refused"),
    ],
)
def test_what_cannot_be_kept_is_refused_with_its_reason(scene, fields, code):
    response = draw(scene, "author", **fields)
    assert (response.status_code, response.json()["code"]) == (400, code)
    assert Annotation.objects.count() == 0


def test_an_image_of_another_face_is_refused(scene):
    other = factories.make_face(scene.face.artwork, kind="back")
    factories.make_frame(other)
    response = draw(scene, "author", face=str(other.pk))
    assert (response.status_code, response.json()["field"]) == (400, "drawn_on_image")


def test_a_registration_of_another_image_is_refused(scene):
    other = str(scene.closed_image.registrations.get().pk)
    response = draw(scene, "lead", drawn_on_registration=other)
    assert (response.status_code, response.json()["field"]) == (400, "drawn_on_registration")


def test_a_face_without_frame_has_no_millimetres_to_draw_in(scene):
    back = factories.make_face(scene.face.artwork, kind="back")
    response = draw(scene, "author", face=str(back.pk), drawn_on_image=None)
    assert (response.status_code, response.json()["code"]) == (409, "unfit_state")


@pytest.mark.parametrize(
    ("who", "is_seen"),
    [("lead", True), ("author", True), ("reader", True), ("guest", True), ("outsider", False), ("stranger", False)],
)
def test_an_annotation_is_seen_where_its_image_is(scene, annotation, who, is_seen):
    client = scene.client(who)
    assert client.get(f"{URL}{annotation.pk}").status_code == (200 if is_seen else 404)
    assert [row["id"] for row in client.get(URL).json()["results"]] == ([str(annotation.pk)] if is_seen else [])


@pytest.mark.parametrize(("who", "is_seen"), [("lead", True), ("author", False), ("reader", False), ("guest", False)])
def test_an_embargo_closes_the_words_with_the_pixels(scene, who, is_seen):
    """The author was a lead's own pen here: only leads and who brought the image in see past an embargo."""
    hidden = factories.make_annotation(scene.face, scene.people["lead"], image=scene.closed_image)
    client = scene.client(who)
    assert client.get(f"{URL}{hidden.pk}").status_code == (200 if is_seen else 404)
    listed = client.get(URL, {"face": scene.face.pk}).json()
    assert (listed["count"], len(listed["results"])) == ((1, 1) if is_seen else (0, 0))
    assert client.get(URL, {"image": scene.closed_image.pk}).json()["count"] == (1 if is_seen else 0)


def test_absent_forbidden_and_misspelt_get_the_same_answer(scene):
    hidden = factories.make_annotation(scene.face, scene.people["lead"], image=scene.closed_image)
    client = scene.client("reader")
    answers = []
    for name in (str(hidden.pk), "00000000-0000-4000-8000-000000000000", "nonsense"):
        response = client.get(f"{URL}{name}")
        answers.append((response.status_code, response.content.decode().replace(name, "ID")))
    assert len(set(answers)) == 1
    assert answers[0][0] == 404


@pytest.mark.parametrize(("who", "status"), [("author", 200), ("lead", 403), ("contributor", 403), ("reader", 403)])
def test_words_are_changed_by_their_author_only(scene, annotation, who, status):
    response = scene.client(who).patch(
        f"{URL}{annotation.pk}", {"title": "Split"}, format="json", headers={"If-Match": '"1"'}
    )
    assert response.status_code == status
    annotation.refresh_from_db()
    assert annotation.title == ("Split" if status == 200 else "Crack along the join")


@pytest.mark.parametrize(
    ("who", "status"), [("author", 204), ("lead", 204), ("contributor", 403), ("reader", 403), ("stranger", 404)]
)
def test_an_annotation_is_withdrawn_by_its_author_or_a_lead(scene, annotation, who, status):
    response = scene.client(who).delete(f"{URL}{annotation.pk}", headers={"If-Match": '"1"'})
    assert response.status_code == status
    annotation.refresh_from_db()
    assert annotation.status == ("withdrawn" if status == 204 else "active")


def test_a_withdrawn_annotation_says_so_to_those_who_could_see_it(scene, annotation):
    scene.client("author").delete(f"{URL}{annotation.pk}", headers={"If-Match": '"1"'})
    seen = scene.client("reader").get(f"{URL}{annotation.pk}")
    assert (seen.status_code, seen.json()["code"], seen.json()["by"]) == (410, "annotation_withdrawn", "Tomaso Brenzi")
    assert "a dark line" not in seen.content.decode()
    assert scene.client("stranger").get(f"{URL}{annotation.pk}").status_code == 404
    assert scene.client("reader").get(URL).json()["count"] == 0
    assert scene.client("reader").get(URL, {"face": scene.face.pk}).json()["count"] == 0


def test_the_words_of_a_withdrawn_annotation_stay_with_its_author_and_the_leads(scene, annotation):
    scene.client("author").delete(f"{URL}{annotation.pk}", headers={"If-Match": '"1"'})
    statuses = {
        who: scene.client(who).get(f"{URL}{annotation.pk}/revisions").status_code
        for who in ("author", "lead", "contributor", "stranger")
    }
    assert statuses == {"author": 200, "lead": 200, "contributor": 410, "stranger": 404}


def test_a_withdrawn_annotation_cannot_be_changed(scene, annotation):
    client = scene.client("author")
    client.delete(f"{URL}{annotation.pk}", headers={"If-Match": '"1"'})
    response = client.patch(f"{URL}{annotation.pk}", {"title": "x"}, format="json", headers={"If-Match": '"2"'})
    assert response.status_code == 410


@pytest.mark.parametrize("header", [{}, {"If-Match": "*"}])
@pytest.mark.parametrize("method", ["patch", "delete"])
def test_a_change_must_say_what_it_began_from(scene, annotation, method, header):
    response = getattr(scene.client("author"), method)(f"{URL}{annotation.pk}", {}, format="json", headers=header)
    assert (response.status_code, response.json()["code"]) == (428, "revision_missing")


def test_a_tag_that_is_no_revision_is_refused(scene, annotation):
    response = scene.client("author").patch(
        f"{URL}{annotation.pk}", {}, format="json", headers={"If-Match": '"latest"'}
    )
    assert (response.status_code, response.json()["field"]) == (400, "If-Match")


def test_a_compressing_proxy_may_weaken_the_tag(scene, annotation):
    response = scene.client("author").patch(
        f"{URL}{annotation.pk}", {"title": "Split"}, format="json", headers={"If-Match": 'W/"1"'}
    )
    assert (response.status_code, response["ETag"]) == (200, '"2"')


@pytest.mark.parametrize("method", ["patch", "delete"])
def test_the_second_of_two_editors_gets_what_the_first_kept(scene, annotation, method):
    client = scene.client("author")
    client.patch(f"{URL}{annotation.pk}", {"title": "First"}, format="json", headers={"If-Match": '"1"'})
    response = getattr(client, method)(
        f"{URL}{annotation.pk}", {"title": "Second"}, format="json", headers={"If-Match": '"1"'}
    )
    problem = response.json()
    assert (response.status_code, problem["code"], problem["current"]) == (412, "annotation_conflict", 2)
    assert (problem["current_state"]["title"], problem["current_state"]["revision"]) == ("First", 2)
    annotation.refresh_from_db()
    assert (annotation.title, annotation.status) == ("First", "active")


def test_shape_and_words_changed_together_are_one_revision(scene, annotation):
    body = {"geometry": AREA, "observation": "a loss", "certainty": None}
    response = scene.client("author").patch(f"{URL}{annotation.pk}", body, format="json", headers={"If-Match": '"1"'})
    assert response.json()["revision"] == 2
    assert response.json()["geometry"]["type"] == "Polygon"
    annotation.refresh_from_db()
    assert (annotation.max_x_mm, annotation.max_y_mm) == (10.0, 10.0)


def test_a_change_that_changes_nothing_makes_no_revision(scene, annotation):
    response = scene.client("author").patch(
        f"{URL}{annotation.pk}", {"title": annotation.title}, format="json", headers={"If-Match": '"1"'}
    )
    assert (response.status_code, response.json()["revision"]) == (200, 1)


def test_history_tells_who_changed_what(scene, annotation):
    client = scene.client("author")
    client.patch(f"{URL}{annotation.pk}", {"title": "Split"}, format="json", headers={"If-Match": '"1"'})
    client.patch(f"{URL}{annotation.pk}", {"geometry": AREA}, format="json", headers={"If-Match": '"2"'})
    scene.client("lead").delete(f"{URL}{annotation.pk}", headers={"If-Match": '"3"'})
    revisions = client.get(f"{URL}{annotation.pk}/revisions").json()["results"]
    assert [(row["number"], row["editor"]["name"]) for row in revisions] == [
        (1, "Tomaso Brenzi"),
        (2, "Tomaso Brenzi"),
        (3, "Tomaso Brenzi"),
        (4, "Odile Marchwood"),
    ]
    assert revisions[1]["changes"] == [{"field": "title", "before": "Crack along the join", "after": "Split"}]
    assert revisions[2]["changes"][0]["after"] == json.loads(json.dumps(AREA))
    assert revisions[3]["changes"] == [{"field": "status", "before": "active", "after": "withdrawn"}]


@pytest.mark.parametrize(
    ("window", "keys"),
    [
        ((0, 0, 640, 480), ["A1", "A2"]),
        ((0, 0, 50, 50), ["A1"]),
        ((300, 300, 50, 50), []),
        ((13, 24, 0, 0), ["A1"]),
    ],
)
def test_a_window_finds_what_meets_it(scene, annotation, window, keys):
    far = {"type": "Point", "coordinates": [200, 100]}
    draw(scene, "author", geometry=far)
    names = ("x_mm", "y_mm", "width_mm", "height_mm")
    query = {"face": scene.face.pk, **dict(zip(names, window, strict=True))}
    listed = scene.client("reader").get(URL, query).json()["results"]
    assert [row["key"] for row in listed] == keys


@pytest.mark.parametrize(
    "query", [{"x_mm": 1}, {"x_mm": "nan", "y_mm": 1, "width_mm": 1, "height_mm": 1}, {"image": "nonsense"}]
)
def test_half_a_window_and_nonsense_are_refused(scene, query):
    assert scene.client("reader").get(URL, query).status_code == 400


def test_a_face_that_is_not_open_has_no_list(scene):
    assert scene.client("outsider").get(URL, {"face": scene.face.pk}).status_code == 404


def test_lists_come_in_pages(scene):
    for _turn in range(3):
        draw(scene, "author")
    client, url, keys = scene.client("reader"), f"{URL}?face={scene.face.pk}&limit=2", []
    while url:
        page = client.get(url).json()
        keys += [row["key"] for row in page["results"]]
        url = page["next"]
    assert keys == ["A1", "A2", "A3"]


def test_a_list_costs_a_fixed_number_of_queries(scene, django_assert_max_num_queries):
    for _turn in range(5):
        draw(scene, "author")
    with django_assert_max_num_queries(16):
        assert scene.client("reader").get(URL, {"face": scene.face.pk}).json()["count"] == 5


@pytest.mark.parametrize(("who", "status"), [("reader", 200), ("guest", 200), ("outsider", 404), ("stranger", 404)])
def test_an_annotation_on_no_image_is_seen_where_its_face_is(scene, who, status):
    drawn = factories.make_annotation(scene.face, scene.people["author"])
    client = scene.client(who)
    assert client.get(f"{URL}{drawn.pk}").status_code == status
    assert client.get(URL).json()["count"] == (1 if status == 200 else 0)


@pytest.mark.parametrize(
    "body",
    [
        {"title": "\ud800"},
        {"observation": "a\x00b"},
        {"geometry": {"type": "Point", "coordinates": [10**400, 0]}},
        {"geometry": {"type": "Point", "coordinates": [True, 0]}},
        {"geometry": {"type": ["Point"], "coordinates": [0, 0]}},
        {"geometry": [[1, 2]]},
        {"title": {"en": "Crack"}},
        {"drawn_on_image": "IMG_0001"},
    ],
)
def test_hostile_values_are_refused_and_break_nothing(scene, body):
    whole = {"face": str(scene.face.pk), "geometry": LINE, **body}
    # Escaped, so that half a character reaches the server as clients can send it.
    response = scene.client("author").post(URL, json.dumps(whole), content_type="application/json")
    assert response.status_code == 400


def test_a_body_that_is_no_object_is_refused(scene):
    client = scene.client("author")
    assert client.post(URL, [1, 2], format="json").status_code == 400
    assert client.post(URL, "x" * 10, content_type="application/json").status_code == 400
    assert client.post(URL, "a=1", content_type="application/x-www-form-urlencoded").status_code == 415


def test_a_window_larger_than_numbers_go_finds_everything(scene, annotation):
    window = {"x_mm": "-1e308", "y_mm": "-1e308", "width_mm": "1.7e308", "height_mm": "1.7e308"}
    assert scene.client("reader").get(URL, {"face": scene.face.pk, **window}).json()["count"] == 1
