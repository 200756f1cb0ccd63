"""What the server-rendered pages do with what is sent to them."""

import pytest
from django.test import Client

from imaging.models import Role, Site
from tests.factories import bring_in, make_artwork, make_face, make_frame, make_member, make_study, write_picture

pytestmark = pytest.mark.django_db
BACKEND = "django.contrib.auth.backends.ModelBackend"


@pytest.fixture
def study():
    return make_study()


def signed_in(person):
    client = Client()
    client.force_login(person, backend=BACKEND)
    return client


@pytest.fixture
def image(study, tmp_path):
    face = make_face(make_artwork(study, width_mm=32.0, height_mm=24.0))
    make_frame(face, canvas_pitch_mm=0.1)
    return bring_in(write_picture(tmp_path), face, make_member(study, name="Ilse Korvander"))


def test_a_contributor_enters_a_work_and_gets_its_page(study):
    client = signed_in(make_member(study))
    answer = client.post(
        f"/studies/{study.pk}/works/",
        {"inventory_number": "OH 1", "title": "A jug", "height_mm": 480, "width_mm": 640, "size_of": "support"},
        follow=True,
    )
    assert b"A jug" in answer.content
    assert study.artworks.get().faces.get().kind == "front"


def test_a_number_that_is_taken_is_refused_beside_its_field(study):
    make_artwork(study, inventory_number="OH 1")
    answer = signed_in(make_member(study)).post(
        f"/studies/{study.pk}/works/",
        {"inventory_number": "OH 1", "title": "A jug", "height_mm": 480, "width_mm": 640, "size_of": "support"},
    )
    assert answer.status_code == 400
    assert "inventory_number" in answer.context["form"].errors


def test_a_member_is_added_with_a_site_that_need_not_exist_yet(study):
    lead = make_member(study, Role.LEAD)
    sent = {"name": "Mirel Adeyo", "email": "m@example.org", "role": "contributor", "site": "Lab South"}
    signed_in(lead).post(f"/studies/{study.pk}/members", sent)
    assert study.memberships.get(person__email="m@example.org").site == Site.objects.get(name="Lab South")


def test_the_link_of_an_invitation_is_shown_once(study):
    client = signed_in(make_member(study, Role.LEAD))
    answer = client.post(f"/studies/{study.pk}/invitations", {"guest_name": "Rafe Ellingsund", "days": 30})
    link = answer.context["new_link"]
    assert link.encode() in answer.content
    assert link.encode() not in client.get(f"/studies/{study.pk}/").content


def test_another_tone_lays_the_tiles_anew_and_leaves_the_master(image):
    sha256, old = image.master.sha256, image.pyramids.get(kind="display", is_current=True)
    signed_in(image.brought_in_by).post(f"/images/{image.pk}/tone", {"black": 10, "white": 200, "gamma": 1.5})
    image.refresh_from_db()
    job = image.jobs.latest("wanted_at")
    assert (image.tone["gamma"], job.kind, job.status) == (1.5, "publish", "waiting")
    assert (image.master.sha256, old.sha256) == (sha256, image.pyramids.get(pk=old.pk).sha256)


def test_a_correction_by_a_contributor_stays_in_the_history(image):
    client = signed_in(image.brought_in_by)
    form = client.get(f"/images/{image.pk}/").context["form"]
    sent = {name: value for name in form.fields if (value := form[name].value()) not in (None, "")}
    client.post(f"/images/{image.pk}/correction", {**sent, "lens": "60 mm macro"})
    assert b"60 mm macro" in client.get(f"/images/{image.pk}/").content


def test_only_a_lead_says_who_sees_an_image(image):
    client = signed_in(image.brought_in_by)
    form = client.get(f"/images/{image.pk}/").context["form"]
    sent = {name: value for name in form.fields if (value := form[name].value()) not in (None, "")}
    answer = client.post(f"/images/{image.pk}/correction", {**sent, "visibility": "public"})
    image.refresh_from_db()
    assert (answer.status_code, image.visibility) == (403, "study")


def test_a_page_that_is_not_open_says_so_in_words_and_not_in_a_trace(image):
    answer = Client().get(f"/images/{image.pk}/", headers={"accept": "text/html"})
    assert (answer.status_code, b"open to you" in answer.content) == (404, True)


def test_a_refusal_is_a_problem_document_where_json_is_wanted(image):
    answer = Client().get(f"/api/v1/images/{image.pk}")
    assert answer["Content-Type"] == "application/problem+json"
    assert answer.json()["code"] == "not_found"


def test_pages_forbid_scripts_from_elsewhere(study):
    policy = Client().get("/")["Content-Security-Policy"]
    assert "default-src 'self'" in policy
    assert "unsafe" not in policy


def test_the_examination_page_without_a_frame_leads_to_setting_one_up(study):
    face = make_face(make_artwork(study))
    answer = signed_in(make_member(study)).get(f"/faces/{face.pk}/examine/")
    assert f"/faces/{face.pk}/frame/".encode() in answer.content


def test_a_frame_corrected_in_the_browser_is_a_new_version_and_lays_the_images_anew(image):
    frame = image.face.frames.get()
    sent = {"width_mm": 32.4, "height_mm": 24, "size_uncertainty_mm": 0.2, "zero_x_mm": 0.5, "zero_y_mm": 0}
    client = signed_in(image.brought_in_by)
    client.post(f"/frames/{frame.pk}/correction", {**sent, "reason": "Steel rule, twice."})
    new = image.face.frames.latest("version")
    assert (new.version, new.outline_mm[0][0]) == (2, pytest.approx(-0.5 * 32.4 / 32))
    assert image.jobs.latest("wanted_at").status == "waiting"


def test_a_correction_without_a_reason_is_refused_beside_its_field(image):
    frame = image.face.frames.get()
    sent = {"width_mm": 32.4, "height_mm": 24, "size_uncertainty_mm": 0.2, "zero_x_mm": 0, "zero_y_mm": 0}
    answer = signed_in(image.brought_in_by).post(f"/frames/{frame.pk}/correction", sent)
    assert (answer.status_code, list(answer.context["form"].errors)) == (400, ["reason"])
