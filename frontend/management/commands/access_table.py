"""`manage.py access_table`: ask a server of this code every route as every role in every state."""

import csv
import json
from argparse import ArgumentParser
from typing import Any, TextIO, cast

from django.core.management.base import BaseCommand

from frontend.access_check.cast import make_cast
from frontend.access_check.own_server import own_server
from frontend.access_check.probe import Answer, ask_everything

__all__ = ["Command"]


class Command(BaseCommand):
    """Make a database of its own with people of every role, serve it, ask it, drop it."""

    help = "Request every route as every role in every state and print route,role,state,status."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Name the options."""
        parser.add_argument("--csv", action="store_true", help="print as CSV (the default)")
        parser.add_argument("--json", action="store_true", help="print as JSON lines")

    def handle(self, *args: Any, **options: Any) -> None:
        """Print the table; nothing of the installation's own data is read or changed."""
        writer = csv.writer(cast(TextIO, self.stdout), lineterminator="")
        with own_server(make_cast) as (address, people):
            if not options["json"]:
                writer.writerow(Answer._fields)
            for answer in ask_everything(people, address=address):
                if options["json"]:
                    self.stdout.write(json.dumps(answer._asdict()))
                else:
                    writer.writerow(answer)
