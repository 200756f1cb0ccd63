"""What does not work says so on a page of its own: what was asked, what is needed, where to go on."""

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect

from tests.browser.test_every_page import RULES
from tests.browser.wall import examination_of, face_of

__all__: list[str] = []


def withdrawn_annotation(page):
    """Keep a mark and withdraw it; return the path of its page."""
    data = examination_of(page)
    headers = {"X-CSRFToken": data["csrf_token"], "Referer": page.context.pages[0].url}
    draft = {
        "face": face_of(page),
        "geometry": {"type": "Point", "coordinates": [300, 200]},
        "title": "Hole",
        "observation": "A hole that turned out to be dust.",
    }
    kept = page.request.post("/api/v1/annotations/", data=draft, headers=headers)
    assert kept.status == 201, kept.text()
    document = kept.json()
    path = f"/api/v1/annotations/{document['id']}"
    withdrawn = page.request.delete(path, headers={**headers, "If-Match": f'"{document["revision"]}"'})
    assert withdrawn.ok, withdrawn.text()
    return f"/annotations/{document['id']}"


@pytest.mark.parametrize(("person", "status"), [("ellingsund", 403), ("korvander", 404), ("brenzi", 410)])
def test_a_problem_says_what_to_do(visit, person, status):
    page = visit(person, tolerated=str(status))
    page.goto("/")
    paths = {403: lambda: f"/works/{examination_of(page)['artwork']['id']}/bring-in/", 404: lambda: "/images/none/"}
    path = paths[status]() if status in paths else withdrawn_annotation(page)
    answer = page.goto(path)
    assert answer.status == status
    problem = page.get_by_role("alert")
    expect(problem).to_be_visible()
    assert len(problem.inner_text().splitlines()) >= 2, "a problem has a head and a sentence that helps"
    expect(page.get_by_role("link", name="To the works")).to_be_visible()
    assert Axe().run(page, options=RULES).violations_count == 0
