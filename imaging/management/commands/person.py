"""`manage.py person EMAIL`: make the first account of an installation, or set a forgotten password."""

import getpass
import sys
from argparse import ArgumentParser
from typing import Any

from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.core.management.base import BaseCommand, CommandError

from imaging.models import Person

__all__ = ["Command"]


class Command(BaseCommand):
    """Make or mend an account; the person then begins a study in the browser."""

    help = "Make an account, or set the password of one. The password is asked for, or read from standard input."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Name the options."""
        parser.add_argument("email")
        parser.add_argument("--name", default="", help="name of a new person")

    def handle(self, *args: Any, **options: Any) -> None:
        """Set name and password."""
        person = Person.objects.filter(email__iexact=options["email"]).first()
        if person is None and not options["name"]:
            raise CommandError("A new person needs --name.", returncode=2)
        person = person or Person(email=Person.objects.normalize_email(options["email"]))
        person.name = options["name"] or person.name
        password = getpass.getpass("Password: ") if sys.stdin.isatty() else sys.stdin.readline().rstrip("\n")
        try:
            validate_password(password, person)
            person.set_password(password)
            person.full_clean()
        except ValidationError as error:
            raise CommandError(" ".join(error.messages)) from error
        person.save()
        self.stdout.write(f"{person.name} signs in as {person.email}.")
