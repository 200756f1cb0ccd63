"""`manage.py token EMAIL`: make an API token with its owner's rights."""

import json
from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from imaging.models import Person
from imaging.services.tokens import make_api_token

__all__ = ["Command"]


class Command(BaseCommand):
    """Print a new token once."""

    help = "Make an API token for a person; it is listed and can be closed on the person's page."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Name the options."""
        parser.add_argument("email")
        parser.add_argument("--days", type=int, default=None, help="days until it ends; without, it does not end")
        parser.add_argument("--json", action="store_true", help="print as JSON")

    def handle(self, *args: Any, **options: Any) -> None:
        """Make the token of an active person with an account."""
        if options["days"] is not None and options["days"] < 1:
            raise CommandError("--days must be 1 or more.", returncode=2)
        person = Person.objects.filter(email__iexact=options["email"], is_active=True).first()
        if person is None:
            raise CommandError(f"Nobody here has the address {options['email']}. Add the person to a study first.")
        token, secret = make_api_token(person, label="made on the server", days=options["days"])
        ends = token.expires_at.isoformat() if token.expires_at else None
        row = {"id": str(token.pk), "email": person.email, "token": secret, "expires_at": ends}
        self.stdout.write(json.dumps(row) if options["json"] else secret)
