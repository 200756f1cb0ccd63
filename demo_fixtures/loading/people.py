"""The invented people, their sites and the study; passwords are made once and kept beside the data."""

import dataclasses
import json
import os
import secrets
from pathlib import Path
from typing import Any

from django.conf import settings
from django.db import transaction

from imaging.models import Membership, Person, Role, Site, Study
from imaging.services.people import invite_guest

__all__ = ["SignIn", "load_people", "sign_ins"]

#: Words that are easy to type on a phone; four of 24 and a number give some 27 bits for a demo on one's own machine.
_WORDS = (
    "amber", "bistre", "canvas", "chalk", "easel", "frame", "gesso", "glaze", "ground", "indigo", "ivory", "lacquer",
    "linen", "ochre", "palette", "panel", "pigment", "poplar", "sepia", "sienna", "smalt", "umber", "varnish", "walnut",
)  # fmt: skip


@dataclasses.dataclass(frozen=True)
class SignIn:
    """How somebody of the demo comes in: an address and a password, or a link for a guest."""

    email: str
    secret: str


def _sign_ins_path() -> Path:
    """Return the file that keeps the passwords of the demo, readable by its owner only."""
    return Path(settings.DATA_DIR) / "demo_sign_ins.json"


def sign_ins() -> list[SignIn]:
    """Return how everybody signs in, in the order of the scenario."""
    if not _sign_ins_path().exists():
        return []
    return [SignIn(**row) for row in json.loads(_sign_ins_path().read_text(encoding="utf-8"))]


@transaction.atomic
def load_people(scenario: dict[str, Any]) -> dict[str, Person]:
    """Return everybody by key, making whom there is not yet; a second call changes nothing."""
    sites = {site["key"]: _make_site(site) for site in scenario["sites"]}
    study, _ = Study.objects.get_or_create(
        name=scenario["study"]["name"], defaults={"summary": scenario["study"]["summary"]}
    )
    kept = {row.email: row.secret for row in sign_ins()}
    people = {}
    members = [entry for entry in scenario["people"] if not entry.get("invited_by_link")]
    for entry in members:
        person = _make_person(entry, kept)
        Membership.objects.get_or_create(
            study=study, person=person, defaults={"role": entry["role"], "site": sites.get(entry["site"])}
        )
        people[entry["key"]] = person
    lead = next(people[entry["key"]] for entry in members if entry["role"] == Role.LEAD)
    for entry in scenario["people"]:
        if entry.get("invited_by_link") and entry["email"] not in kept:
            _invitation, secret = invite_guest(
                study, guest_name=entry["name"], days=entry["link_days"], invited_by=lead
            )
            kept[entry["email"]] = f"/invited/{secret}/"
    _keep_sign_ins([SignIn(entry["email"], kept[entry["email"]]) for entry in scenario["people"]])
    return people


def _make_site(entry: dict[str, Any]) -> Site:
    """Return a site of the scenario."""
    site, _ = Site.objects.get_or_create(name=entry["name"], defaults={"town": entry["place"]})
    return site


def _make_person(entry: dict[str, Any], kept: dict[str, str]) -> Person:
    """Return a person with a password of their own."""
    person = Person.objects.filter(email=entry["email"]).first()
    if person is not None and entry["email"] in kept:
        return person
    password = kept[entry["email"]] = _new_password()
    if person is None:
        return Person.objects.create_user(entry["email"], password, name=entry["name"])
    person.set_password(password)
    person.save(update_fields=["password"])
    return person


def _new_password() -> str:
    """Return a password of four words and a number."""
    return "-".join([*(secrets.choice(_WORDS) for _ in range(4)), str(secrets.randbelow(90) + 10)])


def _keep_sign_ins(rows: list[SignIn]) -> None:
    """Write the passwords of the demo aside and rename, readable by the owner only."""
    path = _sign_ins_path()
    path.parent.mkdir(parents=True, exist_ok=True)
    aside = path.with_suffix(".part")
    descriptor = os.open(aside, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
    with os.fdopen(descriptor, "w", encoding="utf-8") as file:
        json.dump([dataclasses.asdict(row) for row in rows], file, indent=1)
        file.flush()
        os.fsync(file.fileno())
    aside.replace(path)
