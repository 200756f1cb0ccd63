"""Every page a person can open by its address, for screenshots and for checks over all pages."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["PAGES", "ListedPage"]


@dataclass(frozen=True)
class ListedPage:
    """One page; the address may name places such as `{face}` that the data at hand fill."""

    name: str
    address: str
    is_for_anybody: bool = False


PAGES = (
    ListedPage("sign-in", "/account/login/", is_for_anybody=True),
    ListedPage("new-password", "/account/password/reset/", is_for_anybody=True),
    ListedPage("invited", "{invitation}", is_for_anybody=True),
    ListedPage("works", "/"),
    ListedPage("artwork", "/works/{artwork}/"),
    ListedPage("work-correction", "/works/{artwork}/correction/"),
    ListedPage("examination", "/faces/{face}/examine/"),
    ListedPage("bring-in", "/works/{artwork}/bring-in/"),
    ListedPage("image", "/images/{image}/"),
    ListedPage("points", "/images/{image}/points/"),
    ListedPage("registration", "/registrations/{registration}/"),
    ListedPage("frame-setup", "/faces/{face}/frame/"),
    ListedPage("frame", "/frames/{frame}"),
    ListedPage("annotation", "/annotations/{annotation}"),
    ListedPage("jobs", "/jobs/"),
    ListedPage("storage", "/storage/"),
    ListedPage("study-new", "/studies/"),
    ListedPage("study", "/studies/{study}/"),
    ListedPage("work-new", "/studies/{study}/works/"),
    ListedPage("me", "/me/"),
    ListedPage("change-password", "/account/password/change/"),
    ListedPage("second-factor", "/account/2fa/"),
    ListedPage("not-found", "/works/00000000-0000-0000-0000-000000000000/"),
)
