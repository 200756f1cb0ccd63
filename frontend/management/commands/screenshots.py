"""`manage.py screenshots FOLDER`: every page of the running demo, on two screens."""

from __future__ import annotations

import json
import sys
from argparse import ArgumentParser
from dataclasses import asdict
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError
from django.utils.translation import gettext as _

from annotations.models import Annotation
from frontend.installation.refusal import EXIT_FAILED
from frontend.processes.running_demo import RunningDemo
from frontend.processes.screenshots import photograph_pages
from frontend.processes.system_package import chromium_path
from imaging.models import Frame, ImageStatus, Registration, TechnicalImage

__all__ = ["Command"]


class Command(BaseCommand):
    """Photograph the running demo."""

    help = _("Write a picture of every page of the running demo, 1440x900 and 390x844.")

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Name the options."""
        parser.add_argument("folder", type=Path)
        parser.add_argument("--json", action="store_true", help=_("print one line of JSON per picture"))

    def handle(self, *args: Any, **options: Any) -> None:
        """Take the pictures; exit code 1 when one could not be taken."""
        demo = RunningDemo.find(Path(settings.DATA_DIR))
        if not demo.sign_ins:
            raise CommandError(_("The running demo named nobody who can sign in."))
        taken = photograph_pages(
            options["folder"],
            address=demo.address,
            sign_in=demo.sign_ins[0],
            places={**_places_to_show(), **_invitation_to_show(demo)},
            chromium=chromium_path(),
        )
        for photograph in taken:
            if options["json"]:
                self.stdout.write(json.dumps(asdict(photograph)))
            else:
                self.stdout.write(f"{photograph.file or photograph.page}  {photograph.problem}".rstrip())
        if any(photograph.problem for photograph in taken):
            sys.exit(EXIT_FAILED)


def _invitation_to_show(demo: RunningDemo) -> dict[str, str]:
    """Return the link of the demo's guest."""
    links = [secret for _email, secret in demo.sign_ins if secret.startswith("/invited/")]
    return {"invitation": links[0]} if links else {}


def _places_to_show() -> dict[str, str]:
    """Return an artwork, a face, an image and so on that belong together and have something to show."""
    published = TechnicalImage.objects.filter(status=ImageStatus.PUBLISHED).order_by("brought_in_at")
    image = published.filter(registrations__isnull=False).first() or published.first()
    if image is None:
        return {}
    face = image.face
    rows = {
        "image": image,
        "face": face,
        "artwork": face.artwork,
        "study": face.artwork.study,
        "frame": Frame.objects.filter(face=face).last(),
        "registration": Registration.objects.filter(image=image).last() or Registration.objects.last(),
        "annotation": Annotation.objects.last(),
    }
    return {name: str(row.pk) for name, row in rows.items() if row is not None}
