"""The pages of people: members, guests by link, tokens for programs; and those of jobs and storage."""

import re

import pytest
from playwright.sync_api import expect

from tests.browser.running_installation import SCENARIO

__all__: list[str] = []


@pytest.fixture
def study_page(visit):
    """Open the study as its lead."""
    page = visit("marchwood")
    page.goto("/")
    page.get_by_role("link", name=SCENARIO["study"]["name"]).first.click()
    return page


def test_a_lead_adds_a_member(study_page):
    form = study_page.locator("form", has=study_page.get_by_role("button", name="Add", exact=True))
    form.get_by_label("Name").fill("Wendla Okoro-Brandt")
    form.get_by_label("E-mail address").fill("wendla.okoro-brandt@lab-south.example")
    form.get_by_label("Role").select_option(label="reader")
    form.get_by_role("button", name="Add", exact=True).click()
    expect(study_page.get_by_role("row", name=re.compile("Wendla Okoro-Brandt"))).to_be_visible()
    study_page.get_by_role("row", name=re.compile("Wendla")).get_by_role("button", name="End").click()
    expect(study_page.get_by_role("row", name=re.compile("Wendla"))).to_have_count(0)


def test_a_guest_comes_in_until_the_link_is_closed(study_page, visit):
    form = study_page.locator("form", has=study_page.get_by_role("button", name="Make the link"))
    form.get_by_label("Name of the guest").fill("Corvin Achterberg")
    form.get_by_label("Days until the link ends").fill("3")
    form.get_by_role("button", name="Make the link").click()
    link = study_page.get_by_role("alert").locator("code").text_content()

    guest = visit(tolerated="40[1-4]|410")
    guest.goto(link)
    guest.get_by_role("button", name="Come in").click()
    expect(guest.get_by_role("link", name="Blue Jug with Three Walnuts")).to_be_visible()

    row = study_page.get_by_role("listitem").filter(has_text="Corvin Achterberg")
    row.get_by_role("button", name="Close the link").click()
    expect(row).to_contain_text("closed")
    guest.goto("/")
    expect(guest.get_by_role("link", name="Blue Jug with Three Walnuts")).to_have_count(0)
    guest.goto(link)
    expect(guest.get_by_role("button", name="Come in")).to_have_count(0)
    expect(guest.get_by_role("alert")).to_contain_text("link")


def test_a_token_acts_with_its_owners_rights_until_it_is_closed(visit):
    page = visit("quist")
    page.goto("/me/")
    page.get_by_label("What it is for").fill("a test")
    page.get_by_role("button", name="Make a token").click()
    secret = page.get_by_role("alert").locator("code").text_content()

    program = visit(tolerated="401|403")
    headers = {"Authorization": f"Bearer {secret}"}
    assert program.request.get("/api/v1/artworks/", headers=headers).json()["results"]
    page.goto("/me/")
    row = page.get_by_role("listitem").filter(has_text="a test").filter(has=page.get_by_role("button"))
    row.first.get_by_role("button", name="Close").click()
    assert program.request.get("/api/v1/artworks/", headers=headers).status in {401, 403}


def test_a_person_says_their_orcid_and_a_wrong_one_is_refused(visit):
    page = visit("teasdale", tolerated="400")
    page.goto("/me/")
    # The first is the example of ORCID's own description of the check digit (ISO 7064 11,2); the second breaks it.
    page.get_by_label("ORCID").fill("0000-0002-1825-0098")
    page.get_by_role("button", name="Keep").click()
    expect(page.get_by_text(re.compile("check", re.IGNORECASE)).first).to_be_visible()
    expect(page.locator("[aria-invalid=true], .errorlist").first).to_be_visible()
    page.get_by_label("ORCID").fill("0000-0002-1825-0097")
    page.get_by_role("button", name="Keep").click()
    page.goto("/me/")
    expect(page.get_by_label("ORCID")).to_have_value("0000-0002-1825-0097")


def test_jobs_tell_what_was_made_of_each_image(visit):
    page = visit("marchwood")
    page.goto("/jobs/")
    expect(page.get_by_role("heading", name="Ended")).to_be_visible()
    assert page.locator(".rows .row").filter(has_text="took").count() >= len(SCENARIO["images"])


def test_storage_tells_sizes_and_frees_only_what_is_chosen(visit):
    page = visit("marchwood")
    page.goto("/storage/")
    assert page.locator("tbody tr").count() >= len(SCENARIO["images"])
    pieces = page.get_by_role("checkbox")
    before = pieces.count()
    assert before > 0, "the replaced registrations of the scenario leave tiles that can be freed"
    pieces.first.check()
    page.get_by_role("button", name="Free what is chosen").click()
    expect(pieces).to_have_count(before - 1)
